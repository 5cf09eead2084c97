"""Write the named reports from the store, or hold one against its manifest."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import Misuse
from outcomes.progress import Progress

SENTENCE = "write reports from the store, or say whether a report is still what its manifest says"

REPORTS = {name: f"outcomes.analyses.{name}:report" for name in ("clinic_audit", "insert_longevity", "housing_longevity", "satisfaction", "strategy_comparison", "retention_changes", "gallery")}


def options(one) -> None:
    """Which reports, from where, to where."""
    one.add_argument("names", nargs="*", metavar="NAME", help="reports to write (default: clinic_audit), by name or as the path of your own script")
    one.add_argument("--store", type=Path, metavar="FILE", help=f"the store's file (default: {arguments.STORE} in this folder); with --verify it must be named, and the report is made again from it and compared")
    one.add_argument("--out", type=Path, help="folder to write")
    arguments.plan(one, "; with --verify it is compared with the report's plan")
    one.add_argument("--verify", type=Path, metavar="MANIFEST", help="say which file, package, input, setting or store content differs from this manifest.json; writes nothing")


def run(options) -> int:
    """Write, or verify."""
    from outcomes.plan import read_plan

    if options.verify is not None:
        return _verify(options)
    if options.out is None:
        raise Misuse("Give a folder to write with --out DIR; or, to hold a report against its manifest, --verify MANIFEST.")
    return write(options.names or ["clinic_audit"], options.store or arguments.STORE, options.out, read_plan(options.plan), Progress(quiet=options.quiet))


def write(names: list[str], store_path: Path, out: Path, plan, progress: Progress) -> int:
    """Write reports; with several, each in a folder of its own."""
    from outcomes.store import open_store

    writers = [(Path(name).stem if _is_script(name) else name, _writer(name)) for name in names]
    twice = sorted({name for name, _ in writers if [other for other, _ in writers].count(name) > 1})
    if twice:
        raise Misuse(f"Two reports would be written into the folder {twice[0]}: name each once, or give the script another file name.")
    with open_store(store_path, read_only=True) as store:
        arguments.with_visits(store, store_path, "there is nothing to report")
        out = arguments.folder(out)
        for name, writer in writers:
            page = writer(store, plan, out if len(names) == 1 else arguments.folder(out / name), progress)
            print(f"Open {page} in a browser.")
    return 0


def _verify(options) -> int:
    """Say what differs from a report's manifest; exit status 1 where anything does."""
    from outcomes.plan import read_plan
    from outcomes.present import verify

    if options.out is not None or len(options.names) > 1 or (options.names and not _is_script(options.names[0])):
        raise Misuse("--verify takes the report's name from its manifest and writes nothing: leave out the report's name and --out. Of a report made by your own script give the script's path.")
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

    progress, writer = Progress(quiet=options.quiet), _writer(options.names[0] if options.names else record.body["report"])
    with open_store(options.store, read_only=True) as store, TemporaryDirectory() as made:
        said = verify.inputs(record, inputs(store)) + verify.store(record, store.revision)
        plan, unknown = verify.plan(record)
        if own is None:
            said += unknown
        writer(store, plan if own is None else own, Path(made), progress)
        return said + verify.again(record, Path(made))


def _is_script(name: str) -> bool:
    return name.endswith(".py")


def _script(path: Path):
    """The function ``report`` of a clinic's own script.

    Raises Misuse where there is no such file, no such function, or what the script needs is not there.
    """
    from importlib.util import module_from_spec, spec_from_file_location

    if not path.is_file():
        raise Misuse(f"There is no script {path.name} at {path.parent}. Give the path of a Python file with a function report(store, plan, out, progress).")
    spec = spec_from_file_location(f"own_report_{path.stem}", path)
    module = module_from_spec(spec)
    try:
        spec.loader.exec_module(module)
    except SyntaxError as problem:
        raise Misuse(f"{path.name} cannot be read as Python: line {problem.lineno}: {problem.msg}.") from problem
    except ImportError as problem:
        raise Misuse(f"{path.name} asks for something that is not there: {problem.msg}.") from problem
    if not callable(getattr(module, "report", None)):
        raise Misuse(f"{path.name} has no function report(store, plan, out, progress). The scripts in analyses/ show how one looks.")
    return module.report


def _writer(name: str):
    """The function behind a report's name: one of ours, one that another package registered under outcomes.reports, or a script's."""
    if _is_script(name):
        return _script(Path(name))
    from importlib import import_module
    from importlib.metadata import entry_points

    known = {**{entry.name: entry.value for entry in entry_points(group="outcomes.reports")}, **REPORTS}
    if name not in known:
        raise Misuse(f"There is no report named {name}. Known are: {', '.join(sorted(known))}. Of your own script give the path, which ends in .py.")
    module, function = known[name].split(":")
    return getattr(import_module(module), function)
