"""Take back the last load."""

from __future__ import annotations

from outcomes.commands import arguments

SENTENCE = "take back the last load"


def options(one) -> None:
    """The store."""
    arguments.store(one)


def run(options) -> int:
    """Take back the last load."""
    from outcomes.store import open_store

    with open_store(options.store) as store:
        for sentence in store.undo().sentences:
            print(sentence)
    return 0
