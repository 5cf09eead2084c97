"""Say how many more patients or months each open question takes."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import Misuse

SENTENCE = "how many more patients or months each open question takes, at the log's own pace"


def options(one) -> None:
    """The store, the plan, and a table if wanted."""
    arguments.store(one)
    arguments.plan(one)
    one.add_argument("--out", type=Path, metavar="FILE.csv", help="write the same as a table")


def run(options) -> int:
    """Sentences, and the table."""
    from outcomes.analyses.plan_size import needs, pace
    from outcomes.analyses.plan_size_words import sentences, table
    from outcomes.plan import read_plan
    from outcomes.present import tables

    if options.out is not None and options.out.suffix.lower() != ".csv":
        raise Misuse(f"--out is a table: give it a name ending in .csv, not {options.out.name}.")
    with arguments.opened_log(options, read_plan(options.plan), "nothing can be planned from it") as (log, progress, store):
        with progress.step("Working out what is missing"):
            found, speed = needs(log, store.connection), pace(log)
    for sentence in sentences(found, speed):
        print(sentence)
    if options.out is not None:
        folder = arguments.folder(options.out.parent)
        written = tables.write(table(found, speed), folder, options.out.stem)
        print(f"Wrote {written}.")
    return 0
