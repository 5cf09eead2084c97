"""Arguments that several commands share, and what they stand for."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path

from outcomes.errors import DataProblem, Misuse

STORE = Path("clinic.duckdb")  # the store that is meant where none is named: in the folder one works in, as outcomes audit makes it


def files(one, *, needed: bool = True) -> None:
    """The clinic's files and how to read them."""
    one.add_argument("files", nargs="+" if needed else "*", type=Path, metavar="FILE", help="workbooks (.xlsx), tables (.csv), or a folder of them")
    one.add_argument("--date-order", choices=["day first", "month first"], help="how dates such as 03/04/2024 are meant")
    one.add_argument("--decimal", choices=[",", "."], help="the decimal mark of the files")
    one.add_argument("--separator", choices=[",", ";", "tab"], help="the separator of CSV files")
    one.add_argument("--encoding", help="the encoding of CSV files, such as utf-8 or windows-1252")
    one.add_argument("--map", type=Path, action="append", default=[], metavar="MAP.toml", help="read a practice's own export through this mapping (outcomes map makes one); may be given several times")
    one.add_argument("--key", type=Path, metavar="KEYFILE", help="the key of pseudonyms, where a mapping makes them")


def store(one) -> None:
    """The store."""
    one.add_argument("--store", type=Path, default=STORE, metavar="FILE", help=f"the store's file (default: {STORE} in this folder)")


def loading(one) -> None:
    """What a load may do."""
    one.add_argument("--good-rows", action="store_true", help="load the rows without errors and set the others aside")
    one.add_argument("--withdraw", action="store_true", help="withdraw rows that are no longer in the file they came from")
    one.add_argument("--changes", type=Path, metavar="FILE.csv", help="write every changed cell and every row that goes to this file, old and new, before it is done")
    agreeing(one)


def agreeing(one) -> None:
    """Whether to ask first."""
    one.add_argument("--yes", action="store_true", help="do not ask before rows are changed or withdrawn; without a terminal nothing is asked")


def paths(given: list[Path]) -> list[Path]:
    """Files as given; a folder stands for the workbooks and CSV files in it, but never for a spreadsheet program's lock files."""
    out = []
    for path in given:
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


def folder(path: Path) -> Path:
    """The folder to write into, made where it is not there."""
    if path.exists() and not path.is_dir():
        raise Misuse(f"{path} is a file; --out needs a folder.")
    path.mkdir(parents=True, exist_ok=True)
    return path


def plan(one, more: str = "") -> None:
    """The clinic's own plan, where it is not the default one."""
    one.add_argument("--plan", type=Path, help=f"the clinic's own plan (TOML){more}")


def plan_on(path: Path | None, day: str | None, name: str = "--on"):
    """The plan, read as on ``day`` (YYYY-MM-DD or today) where one is given: nothing that came later in the log counts. Raises Misuse for no day."""
    import datetime

    from outcomes.plan import Plan, read_plan

    found = read_plan(path)
    if day is None:
        return found
    try:
        asked = datetime.date.today() if day == "today" else datetime.date.fromisoformat(day)
    except ValueError:
        raise Misuse(f"{name} takes a day as YYYY-MM-DD, or today, not {day}.") from None
    return Plan({**found, "audit": {**found["audit"], "closing_day": f"{asked:%Y-%m-%d}"}})


def with_visits(store, path: Path, so: str, plan=None) -> None:
    """Raise DataProblem for a store without a visit, ``so`` saying what that means; with a plan, Misuse where its closing day is before the first visit."""
    first, count = store.connection.execute("SELECT min(visited_on), count(*) FROM visits").fetchone()
    if not count:
        raise DataProblem(f"{Path(path).name} holds no visit, so {so}. Write the visits into the day sheet, one line for each denture seen, load it, and run the command again.")
    closing = plan["audit"]["closing_day"] if plan is not None else None
    if closing and first is not None and closing < f"{first:%Y-%m-%d}":
        raise Misuse(f"On {closing} the log had not begun: its first visit is on {first:%Y-%m-%d}. Give a later day.")


@contextmanager
def opened_log(options, plan, so: str = "nobody is known"):
    """The log of the store that ``options`` name, read by ``plan``, as (log, progress, store), with the store open as long as it is used.

    Raises as ``with_visits`` does where there is nothing to read, ``so`` saying what that means.
    """
    from outcomes.analyses.cohort import read_log
    from outcomes.progress import Progress
    from outcomes.store import open_store

    progress = Progress(quiet=options.quiet)
    with open_store(options.store, read_only=True) as store:
        with_visits(store, options.store, so, plan)
        with progress.step("Deriving part histories"):
            log = read_log(store.connection, plan)
        yield log, progress, store


def one_file(out: Path | None, what: str, *endings: str) -> bool:
    """Whether ``--out`` names one file, by its ending, and not a folder. Raises Misuse for an ending in which ``what`` is not written."""
    if out is None or not out.suffix or out.is_dir():
        return False
    if out.suffix.lower() not in endings:
        raise Misuse(f"--out {out.name}: {what} written as {', '.join(endings)}, or name a folder.")
    return True
