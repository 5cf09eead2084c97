"""Write the named reports from the store, or hold one against its manifest."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import DataProblem, Misuse
from outcomes.progress import Progress

SENTENCE = "write reports from the store, or say whether a report is still what its manifest says"

REPORTS = {name: f"outcomes.analyses.{name}:report" for name in ("clinic_audit", "insert_longevity", "housing_longevity", "satisfaction", "strategy_comparison", "retention_changes", "gallery")}


def options(one) -> None:
    """Which reports, from where, to where."""
    one.add_argument("names", nargs="*", metavar="NAME", help="reports to write (default: clinic_audit)")
    one.add_argument("--store", type=Path, help="the store's file; with --verify the report is made again from it and compared")
    one.add_argument("--out", type=Path, help="folder to write")
    one.add_argument("--plan", type=Path, help="the clinic's own plan (TOML); with --verify it is compared with the report's plan")
    one.add_argument("--verify", type=Path, metavar="MANIFEST", help="say which file, package, input, setting or store content differs from this manifest.json; writes nothing")


def run(options) -> int:
    """Write, or verify."""
    from outcomes.plan import read_plan

    if options.verify is not None:
        return _verify(options)
    missing = [name for name in ("store", "out") if getattr(options, name) is None]
    if missing:
        raise Misuse(f"outcomes report: the following arguments are required: {', '.join(f'--{name}' for name in missing)}. To hold a report against its manifest, give --verify MANIFEST.")
    return write(options.names or ["clinic_audit"], options.store, options.out, read_plan(options.plan), Progress(quiet=options.quiet))


def write(names: list[str], store_path: Path, out: Path, plan, progress: Progress) -> int:
    """Write reports; with several, each in a folder of its own."""
    from outcomes.store import open_store

    writers = [(name, _writer(name)) for name in names]
    with open_store(store_path, read_only=True) as store:
        if store.connection.execute("SELECT count(*) FROM visits").fetchone() == (0,):
            raise DataProblem(f"{Path(store_path).name} holds no visit, so there is nothing to report. Write the visits into the day sheet, "
                              "one line for each denture seen, and run the command again.")
        out = arguments.folder(out)
        for name, writer in writers:
            page = writer(store, plan, out if len(names) == 1 else arguments.folder(out / name), progress)
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

    progress, writer = Progress(quiet=options.quiet), _writer(record.body["report"])
    with open_store(options.store, read_only=True) as store, TemporaryDirectory() as made:
        said = verify.inputs(record, inputs(store)) + verify.store(record, store.revision)
        plan, unknown = verify.plan(record)
        if own is None:
            said += unknown
        writer(store, plan if own is None else own, Path(made), progress)
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
