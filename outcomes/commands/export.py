"""Write the tables for other programs."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments

SENTENCE = "write the store's tables as CSV and Parquet with a data package"


def options(one) -> None:
    """The store and the folder."""
    arguments.store(one)
    one.add_argument("--out", type=Path, required=True, help="folder to write")


def run(options) -> int:
    """Write the tables for other programs."""
    from outcomes.store import open_store
    from outcomes.store.export import export as write

    with open_store(options.store, read_only=True) as store:
        write(store, arguments.folder(options.out))
    print(f"Wrote the tables and datapackage.json to {options.out}.")
    return 0
