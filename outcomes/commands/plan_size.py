"""Say how many more patients or months each open question takes."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import Misuse
from outcomes.progress import Progress

SENTENCE = "how many more patients or months each open question takes, at the log's own pace"


def options(one) -> None:
    """The store, the plan, and a table if wanted."""
    arguments.store(one)
    arguments.plan(one)
    one.add_argument("--out", type=Path, metavar="FILE.csv", help="write the same as a table")


def run(options) -> int:
    """Sentences, and the table."""
    from outcomes.analyses.cohort import read_log
    from outcomes.analyses.plan_size import needs, pace
    from outcomes.analyses.plan_size_words import sentences, table
    from outcomes.plan import read_plan
    from outcomes.present import tables
    from outcomes.store import open_store

    if options.out is not None and options.out.suffix.lower() != ".csv":
        raise Misuse(f"--out is a table: give it a name ending in .csv, not {options.out.name}.")
    plan, progress = read_plan(options.plan), Progress(quiet=options.quiet)
    with open_store(options.store, read_only=True) as store:
        arguments.with_visits(store, options.store, "nothing can be planned from it")
        with progress.step("Deriving part histories"):
            log = read_log(store.connection, plan)
        with progress.step("Working out what is missing"):
            found, speed = needs(log, store.connection), pace(log)
    for sentence in sentences(found, speed):
        print(sentence)
    if options.out is not None:
        folder = arguments.folder(options.out.parent)
        written = tables.write(table(found, speed), folder, options.out.stem)
        print(f"Wrote {written}.")
    return 0
