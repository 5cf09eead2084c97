"""Check, then add to the store in one transaction."""

from __future__ import annotations

import sys
from pathlib import Path

from outcomes.commands import arguments, check
from outcomes.errors import DataProblem
from outcomes.progress import Progress

SENTENCE = "check the files and add them to the store in one transaction"


def options(one) -> None:
    """The files, the store, and what a load may do."""
    arguments.files(one)
    arguments.store(one)
    arguments.loading(one)
    one.add_argument("--preview", action="store_true", help="show what the load would add, change and withdraw, and do nothing")


def run(options) -> int:
    """Check and load, or show what a load would do."""
    progress = Progress(quiet=options.quiet)
    checked = check.read(options, progress)
    return preview(checked, options, progress) if options.preview else add(checked, options, progress)


def preview(checked, options, progress: Progress) -> int:
    """Print what the load would do; nothing is changed, and no store is made where there is none."""
    from tempfile import TemporaryDirectory

    from outcomes.commands.asking import show
    from outcomes.store import open_store

    _refuse_errors(checked, options)
    with TemporaryDirectory() as empty:
        there = Path(options.store).exists()
        with progress.step("Comparing with the store" if there else "There is no such store yet; comparing with an empty one"):
            with open_store(options.store if there else Path(empty) / Path(options.store).name, create=not there) as store:
                found = store.preview(checked, good_rows=options.good_rows, withdraw=options.withdraw)
    show(found, sys.stdout)
    if options.changes:
        print(f"Every change is in {found.write(options.changes)}.")
    print("Nothing was changed: this was a preview.")
    return 0


def add(checked, options, progress: Progress) -> int:
    """Load what was checked, all of it or, where asked, the rows without errors."""
    from outcomes.commands.asking import agreed
    from outcomes.store import open_store

    _refuse_errors(checked, options)
    with progress.step("Loading"):
        with open_store(options.store, create=True) as store:
            loaded = store.load(checked, good_rows=options.good_rows, withdraw=options.withdraw, confirm=agreed(options, progress))
    for sentence in loaded.sentences:
        progress.say(sentence)
    if checked.warning_count:
        one = checked.warning_count == 1
        progress.say(f"{checked.warning_count:,} {'warning' if one else 'warnings'}; outcomes check lists {'it' if one else 'them'}.")
    return 0


def _refuse_errors(checked, options) -> None:
    """Say what is wrong, unless the rows without errors were asked for."""
    from outcomes import intake

    if checked.error_count and not options.good_rows:
        for sentence in intake.summary(checked):
            print(sentence, file=sys.stderr)
        raise DataProblem("Nothing was loaded. Mend the rows above (outcomes check FILE --problems FILE.csv lists each with its cell), "
                          "or load the other rows with --good-rows.")
