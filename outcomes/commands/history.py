"""Print the store's loads, oldest first."""

from __future__ import annotations

from outcomes.commands import arguments

SENTENCE = "who added what when"


def options(one) -> None:
    """The store."""
    arguments.store(one)


def run(options) -> int:
    """Print the store's loads, oldest first."""
    from outcomes.store import open_store

    with open_store(options.store, read_only=True) as store:
        for sentence in store.history_sentences() or ["Nothing has been loaded yet."]:
            print(sentence)
    return 0
