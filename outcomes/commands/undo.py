"""Take back the last load."""

from __future__ import annotations

from outcomes.commands import arguments
from outcomes.progress import Progress

SENTENCE = "take back the last load"


def options(one) -> None:
    """The store, and whether to ask."""
    arguments.store(one)
    arguments.agreeing(one)


def run(options) -> int:
    """Take back the last load, after showing what changes."""
    from outcomes.commands.asking import agreed
    from outcomes.store import open_store

    with open_store(options.store) as store:
        for sentence in store.undo(confirm=agreed(options, Progress(quiet=options.quiet))).sentences:
            print(sentence)
    return 0
