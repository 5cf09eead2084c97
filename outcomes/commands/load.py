"""Check, then add to the store in one transaction."""

from __future__ import annotations

import sys

from outcomes.commands import arguments, check
from outcomes.errors import DataProblem
from outcomes.progress import Progress

SENTENCE = "check the files and add them to the store in one transaction"


def options(one) -> None:
    """The files, the store, and what a load may do."""
    arguments.files(one)
    arguments.store(one)
    arguments.loading(one)


def run(options) -> int:
    """Check and load."""
    progress = Progress(quiet=options.quiet)
    return add(check.read(options, progress), options, progress)


def add(checked, options, progress: Progress) -> int:
    """Load what was checked, all of it or, where asked, the rows without errors."""
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
