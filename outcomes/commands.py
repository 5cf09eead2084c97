"""What each command does, in the order of the data's way: check, load, report."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from outcomes.errors import DataProblem, Misuse
from outcomes.progress import Progress

REPORTS = {name: f"outcomes.analyses.{name}:report" for name in ("clinic_audit", "insert_longevity", "housing_longevity", "satisfaction", "strategy_comparison", "retention_changes", "gallery")}


def demo(options) -> int:
    """Simulate the demo clinic, then do with its files what a clinic does with its own."""
    from outcomes import synthetic_data

    progress = Progress(quiet=options.quiet)
    out = _folder(options.out)
    files, store = out / "clinic_files", out / "demo.duckdb"
    if options.patients is not None and not 20 <= options.patients <= 1_000_000:
        raise Misuse("--patients takes a number from 20 to 1,000,000.")
    with progress.step("Simulating an invented clinic"):
        clinic = synthetic_data.simulate("demo", patients=options.patients, seed=options.seed)
        shutil.rmtree(files, ignore_errors=True)
        # A workbook is what a clinic keeps; beyond some ten thousand patients no spreadsheet would open it.
        written = synthetic_data.write(clinic, files, form="day sheet", file="xlsx" if (options.patients or 0) <= 20_000 else "csv")
    for left in (store, store.with_name(store.name + ".wal")):
        left.unlink(missing_ok=True)
    options.files, options.store, options.plan = [Path(path) for path in written], store, None
    options.good_rows = options.withdraw = False
    return audit(options)


def template(options) -> int:
    """Write the empty workbook."""
    from outcomes.intake.template import write_template

    if options.out.exists():
        raise Misuse(f"{options.out.name} is there already. Give another name with --out, so that no log is overwritten.")
    write_template(options.out)
    print(f"Wrote {options.out}. Fill it in, then run: outcomes audit {options.out}")
    return 0


def check(options) -> int:
    """Print every problem; exit status 1 where rows would be kept out."""
    checked = _checked(options, Progress(quiet=options.quiet))
    from outcomes import intake

    for sentence in intake.summary(checked):
        print(sentence)
    if options.problems:
        intake.write_problems(checked, options.problems)
        print(f"Every problem is in {options.problems}.")
    if options.marked:
        intake.marked_copy(checked, options.marked)
        print(f"A marked copy is in {options.marked}.")
    return 1 if checked.error_count else 0


def load(options) -> int:
    """Check, then add to the store in one transaction."""
    progress = Progress(quiet=options.quiet)
    checked = _checked(options, progress)
    return _load(checked, options, progress)


def audit(options) -> int:
    """Check, load and report."""
    from outcomes.plan import read_plan

    progress = Progress(quiet=options.quiet)
    plan = read_plan(options.plan)
    checked = _checked(options, progress)
    _load(checked, options, progress)
    return _report(["clinic_audit"], options.store, options.out, plan, progress)


def report(options) -> int:
    """Write the named reports from the store, or hold one against its manifest."""
    from outcomes.plan import read_plan

    if options.verify is not None:
        return _verify(options)
    missing = [name for name in ("store", "out") if getattr(options, name) is None]
    if missing:
        raise Misuse(f"outcomes report: the following arguments are required: {', '.join(f'--{name}' for name in missing)}. To hold a report against its manifest, give --verify MANIFEST.")
    return _report(options.names or ["clinic_audit"], options.store, options.out, read_plan(options.plan), Progress(quiet=options.quiet))


def history(options) -> int:
    """Print the store's loads, oldest first."""
    from outcomes.store import open_store

    with open_store(options.store, read_only=True) as store:
        for sentence in store.history_sentences() or ["Nothing has been loaded yet."]:
            print(sentence)
    return 0


def undo(options) -> int:
    """Take back the last load."""
    from outcomes.store import open_store

    with open_store(options.store) as store:
        for sentence in store.undo().sentences:
            print(sentence)
    return 0


def export(options) -> int:
    """Write the tables for other programs."""
    from outcomes.store import open_store
    from outcomes.store.export import export as write

    with open_store(options.store, read_only=True) as store:
        write(store, _folder(options.out))
    print(f"Wrote the tables and datapackage.json to {options.out}.")
    return 0


def _checked(options, progress: Progress):
    from outcomes import intake

    paths = _paths(options.files)
    reading = intake.Options(date_order=options.__dict__.get("date_order"), decimal=options.__dict__.get("decimal"),
                             separator="\t" if options.__dict__.get("separator") == "tab" else options.__dict__.get("separator"),
                             encoding=options.__dict__.get("encoding"))
    store_path = options.store
    with progress.step(f"Checking {len(paths)} file{'s' if len(paths) > 1 else ''}"):
        if store_path is not None and Path(store_path).exists():
            from outcomes.store import open_store

            with open_store(store_path, read_only=True) as store:
                checked = intake.check(paths, options=reading, store=store)
        else:
            checked = intake.check(paths, options=reading)
    for sentence in checked.decisions:
        progress.say(sentence)
    return checked


def _load(checked, options, progress: Progress) -> int:
    from outcomes import intake
    from outcomes.store import open_store

    if checked.error_count and not options.good_rows:
        for sentence in intake.summary(checked):
            print(sentence, file=sys.stderr)
        raise DataProblem("Nothing was loaded. Mend the rows above (outcomes check FILE --problems FILE.csv lists each with its cell), "
                          "or load the other rows with --good-rows.")
    with progress.step("Loading"):
        with open_store(options.store, create=True) as store:
            loaded = store.load(checked, good_rows=options.good_rows, withdraw=options.withdraw)
    for sentence in loaded.sentences:
        progress.say(sentence)
    if checked.warning_count:
        progress.say(f"{checked.warning_count} warnings; outcomes check lists them.")
    return 0


def _report(names: list[str], store_path: Path, out: Path, plan, progress: Progress) -> int:
    from outcomes.store import open_store

    writers = [(name, _writer(name)) for name in names]
    with open_store(store_path, read_only=True) as store:
        if store.connection.execute("SELECT count(*) FROM visits").fetchone() == (0,):
            raise DataProblem(f"{Path(store_path).name} holds no visit, so there is nothing to report. Write the visits into the day sheet, "
                              "one line for each denture seen, and run the command again.")
        out = _folder(out)
        for name, write in writers:
            page = write(store, plan, out if len(names) == 1 else _folder(out / name), progress)
            print(f"Open {page} in a browser.")
    return 0


def _verify(options) -> int:
    """Say what differs from a report's manifest; exit status 1 where anything does."""
    from outcomes.plan import read_plan
    from outcomes.present import verify

    if options.names or options.out is not None:
        raise Misuse("--verify takes the report's name from its manifest and writes nothing: leave out the report's name and --out.")
    record = verify.read(options.verify)
    own = read_plan(options.plan) if options.plan is not None else None
    said = verify.files(record) + verify.packages(record) + verify.altered(record)
    said += verify.settings(record, own) if own is not None else []
    if options.store is not None:
        said += _made_again(record, options, own)
    for sentence in [*said, *verify.summary(record, said, plan=own is not None, store=options.store is not None)]:
        print(sentence)
    return 1 if said else 0


def _made_again(record, options, own) -> list[str]:
    """What differs in the store, and what comes out otherwise where the report is written anew, by its own plan unless another is given."""
    from tempfile import TemporaryDirectory

    from outcomes.analyses.who import inputs
    from outcomes.present import verify
    from outcomes.store import open_store

    progress, write = Progress(quiet=options.quiet), _writer(record.body["report"])
    with open_store(options.store, read_only=True) as store, TemporaryDirectory() as made:
        said = verify.inputs(record, inputs(store)) + verify.store(record, store.revision)
        plan, unknown = verify.plan(record)
        if own is None:
            said += unknown
        write(store, plan if own is None else own, Path(made), progress)
        return said + verify.again(record, Path(made))


def _writer(name: str):
    """The function behind a report's name: one of ours, or one that another package registered under outcomes.reports."""
    from importlib import import_module
    from importlib.metadata import entry_points

    known = {**{entry.name: entry.value for entry in entry_points(group="outcomes.reports")}, **REPORTS}
    if name not in known:
        raise Misuse(f"There is no report named {name}. Known are: {', '.join(sorted(known))}.")
    module, function = known[name].split(":")
    return getattr(import_module(module), function)


def _paths(files: list[Path]) -> list[Path]:
    """Files as given; a folder stands for the workbooks and CSV files in it, but never for a spreadsheet program's lock files."""
    out = []
    for path in files:
        if not path.exists():
            raise Misuse(f"There is no file {path}. Check the name; a name with blanks needs quotation marks.")
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.suffix.lower() in (".xlsx", ".csv") and not p.name.startswith(("~$", ".")))
            if not inside:
                raise Misuse(f"The folder {path} holds no .xlsx or .csv file.")
            out += inside
        else:
            out.append(path)
    return out


def _folder(path: Path) -> Path:
    if path.exists() and not path.is_dir():
        raise Misuse(f"{path} is a file; --out needs a folder.")
    path.mkdir(parents=True, exist_ok=True)
    return path
