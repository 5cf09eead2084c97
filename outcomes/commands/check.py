"""Print every problem of the clinic's files; changes nothing."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.progress import Progress

SENTENCE = "list every problem in the clinic's files as a sentence; changes nothing"


def options(one) -> None:
    """The files, and where the problems go."""
    arguments.files(one)
    one.add_argument("--store", type=Path, help="also check against what this store holds")
    one.add_argument("--problems", type=Path, metavar="FILE.csv", help="write every problem, one a line, to this file")
    one.add_argument("--marked", type=Path, metavar="FILE.xlsx", help="write a copy of the workbook with the cells marked")


def run(options) -> int:
    """Exit status 1 where rows would be kept out."""
    checked = read(options, Progress(quiet=options.quiet))
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


def read(options, progress: Progress):
    """The files of ``options`` as checked frames and problems, beside the store where there is one."""
    from outcomes import intake

    given, asked = arguments.paths(options.files), options.__dict__
    separator = asked.get("separator")
    reading = intake.Options(date_order=asked.get("date_order"), decimal=asked.get("decimal"), separator="\t" if separator == "tab" else separator, encoding=asked.get("encoding"))
    with progress.step(f"Checking {len(given)} file{'s' if len(given) > 1 else ''}"):
        if options.store is not None and Path(options.store).exists():
            from outcomes.store import open_store

            with open_store(options.store, read_only=True) as store:
                checked = intake.check(given, options=reading, store=store)
        else:
            checked = intake.check(given, options=reading)
    for sentence in checked.decisions:
        progress.say(sentence)
    return checked
