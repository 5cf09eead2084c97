"""Write the tables for other programs."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.progress import Progress

SENTENCE = "write the store's tables, part histories and endpoint times as CSV and Parquet with a data package; the folder can be loaded again"


def options(one) -> None:
    """The store, the folder and the plan."""
    arguments.store(one)
    one.add_argument("--out", type=Path, required=True, help="folder to write")
    arguments.plan(one, ", by which part histories and endpoint times are derived")


def run(options) -> int:
    """Write the tables for other programs."""
    from outcomes import episodes, schemas
    from outcomes.plan import read_plan
    from outcomes.store import open_store
    from outcomes.store.export import export as write
    from outcomes.store.export import open_to_others

    progress, plan = Progress(quiet=options.quiet), read_plan(options.plan)
    with open_store(options.store, read_only=True) as store:
        with progress.step("Deriving part histories"):
            episodes.build(store.connection, plan)
        with progress.step("Writing"):
            write(store, arguments.folder(options.out), derived=schemas.derived(), notes=f"Derived tables by the plan with SHA-256 {plan.digest}.")
    note = open_to_others(options.out)
    print(f"Wrote the tables and datapackage.json to {options.out}; derived tables are in its folder derived, typed ones in parquet. "
          f"They hold pseudonyms and visit days.{' ' + note if note else ''}")
    return 0
