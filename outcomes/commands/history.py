"""Print the store's loads, oldest first, or the cells that one of them changed."""

from __future__ import annotations

import sys

from outcomes.commands import arguments
from outcomes.errors import Misuse

SENTENCE = "who added what when; with --load N, each cell that one load changed"


def options(one) -> None:
    """The store, and perhaps one load."""
    arguments.store(one)
    one.add_argument("--load", type=int, metavar="N", help="show each cell that load N changed; old and new on a terminal, elsewhere the place alone")


def run(options) -> int:
    """Print the store's loads, oldest first, or one load's changed cells."""
    from outcomes.store import open_store

    with open_store(options.store, read_only=True) as store:
        said = store.history_sentences()
        if options.load is None:
            for sentence in said or ["Nothing has been loaded yet."]:
                print(sentence)
            return 0
        if not 1 <= options.load <= len(said):
            raise Misuse(f"There is no load {options.load} in {options.store.name}. outcomes history --store {options.store.name} lists them.")
        print(said[options.load - 1])
        for line in store.changes(options.load).lines(values=sys.stdout.isatty()) or ["It changed no cell of a row that stood there, or was taken back."]:
            print("  " + line)
    return 0
