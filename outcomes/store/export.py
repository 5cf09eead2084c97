"""The store's tables for other programs: CSV that can be loaded again, typed Parquet, and a data package that describes each."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

from outcomes import __version__, schemas
from outcomes.errors import Misuse
from outcomes.neutral import guarded
from outcomes.store import trouble
from outcomes.store.changes import date_written
from outcomes.store.described import derived_schema, resource, table_schema
from outcomes.store.layout import content, names, quoted
from outcomes.store.private import owner_only, restrict

DERIVED, PARQUET = "derived", "parquet"


def export(store, folder: str | Path, *, derived: Iterable[str] = (), notes: str = "") -> Path:
    """Write the current rows of every table to ``folder``; returns the path of ``datapackage.json``.

    ``TABLE.csv`` is in the declared long form, with dates as precise as they are known; the folder can be loaded into a store
    again and gives the same content. ``parquet/TABLE.parquet`` has the same rows typed: a date is the first day possible, beside
    ``NAME_precision``. ``derived``: names of tables of ``schemas.derived()`` that the store's connection holds (made by
    ``episodes.build``); they go to ``derived/NAME.csv`` and ``parquet/NAME.parquet``. Both folders have a descriptor after
    Data Package 2.0, with a Table Schema for each file. ``notes``: a sentence for the descriptor, such as the plan. The same
    content gives the same bytes.

    Text that a spreadsheet program would take for a formula gets an apostrophe before it in the CSV; numbers stay numbers.
    Raises Misuse where a file cannot be written.
    """
    folder = Path(folder)
    with trouble.plainly(store.path.name):
        try:
            with owner_only():
                (folder / PARQUET).mkdir(parents=True, exist_ok=True)
                return _write(store, folder, list(derived), notes)
        except OSError as problem:
            raise Misuse(f"The tables could not be written to {folder.name}: {problem.strerror or 'the system gave no reason'}. Name another folder, or make room.") from None


def _write(store, folder: Path, derived: list[str], notes: str) -> Path:
    connection = store.connection  # what episodes.build made is known to this connection alone
    connection.execute("SELECT 1").fetchall()  # whatever result was left half fetched there is let go
    tables = schemas.stored_tables().values()
    text, typed = [], []
    for table in tables:
        rows = _csv_rows(connection, table)
        text.append(resource(folder, _csv(rows, folder / f"{table.name}.csv"), table.name, table.title, table.meaning, table_schema(connection, table, typed=False)))
        path = _parquet(_ordered(connection, table.name, content(table)), folder / PARQUET / f"{table.name}.parquet")
        typed.append(resource(folder / PARQUET, path, table.name, table.title, table.meaning, table_schema(connection, table, typed=True)))
    for name in derived:
        about = schemas.derived()[name]
        (folder / DERIVED).mkdir(exist_ok=True)
        rows = _ordered(connection, name, list(about["columns"]))
        schema = derived_schema(connection, name)
        text.append(resource(folder, _csv(_guarded(rows), folder / DERIVED / f"{name}.csv"), name, about["title"], about["meaning"], schema))
        typed.append(resource(folder / PARQUET, _parquet(rows, folder / PARQUET / f"{name}.parquet"), name, about["title"], about["meaning"], schema))
    _describe(store, folder / PARQUET, typed, "The same tables as the folder above, typed.", notes)
    return _describe(store, folder, text, "Current rows of every table, by pseudonym.", notes)


def _describe(store, folder: Path, resources: list[dict], what: str, notes: str) -> Path:
    package = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "outcomes-tables" if folder.name != PARQUET else "outcomes-tables-parquet",
        "title": "Visit log of implant overdentures",
        "description": f"{what} Rows of patients: keep them as the clinic's rules ask.{' ' + notes if notes else ''}",
        "version": store.revision,
        "contributors": [{"title": f"outcomes {__version__}", "roles": ["creator"]}],
        "resources": resources,
    }
    described = folder / "datapackage.json"
    described.write_text(json.dumps(package, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    return described


def open_to_others(folder: Path) -> str:
    """A sentence where the system could not close the exported files to other users, else an empty text."""
    said = restrict(Path(folder) / "datapackage.json")
    return said.replace("datapackage.json", f"the files in {Path(folder).name}").replace("Keep it", "Keep them") if said else ""


def _ordered(connection, name: str, columns: list[str]) -> pa.Table:
    """The rows of a table or view in an order that their content alone decides."""
    return connection.sql(f"SELECT {names(columns)} FROM {quoted(name)} ORDER BY {names(columns)}").to_arrow_table()


def _csv_rows(connection, table: schemas.Table) -> pa.Table:
    """The rows of a table in its declared columns, as a person would write them."""
    parts = [f"{date_written(column)} AS {quoted(column.name)}" if column.type == "date" else quoted(column.name) for column in table.columns]
    return _guarded(connection.sql(f"SELECT {', '.join(parts)} FROM (SELECT * FROM {quoted(table.name)} ORDER BY {names(content(table))})").to_arrow_table())


def _guarded(rows: pa.Table) -> pa.Table:
    """The rows with text that no spreadsheet takes for a formula, and numbers that leave no doubt about their decimal mark."""
    columns = []
    for column in rows.columns:
        if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
            column = _each(column, guarded)
        elif pa.types.is_floating(column.type):
            column = _plain_numbers(column)
        columns.append(column)
    return pa.table(columns, names=rows.column_names)


def _each(column: pa.ChunkedArray, change) -> pa.ChunkedArray:
    """A text column with each distinct value changed."""
    encoded = column.combine_chunks().dictionary_encode() if column.num_chunks else None
    if encoded is None or not len(encoded):
        return column
    values = encoded.dictionary.to_pylist()
    changed = [change(value) for value in values]
    return column if changed == values else pa.chunked_array([pa.DictionaryArray.from_arrays(encoded.indices, pa.array(changed, encoded.dictionary.type)).cast(encoded.dictionary.type)])


def _plain_numbers(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Numbers as they are, or, where one would be written 1e-05 or like a number with a mark between thousands (1.500), all as text of digits."""
    encoded = column.combine_chunks().dictionary_encode() if column.num_chunks else None
    if encoded is None or not len(encoded):
        return column
    values = encoded.dictionary.to_pylist()
    written = [digits(value) for value in values]
    if all(one == repr(value) or one + ".0" == repr(value) for one, value in zip(written, values, strict=True)):
        return column
    return pa.chunked_array([pa.DictionaryArray.from_arrays(encoded.indices, pa.array(written, pa.string())).cast(pa.string())])


def digits(number: float) -> str:
    """A number in digits, with a fourth place where three would leave it open whether the point sets thousands apart.

    >>> digits(7.5), digits(25.0), digits(6.675), digits(-1e-05), digits(0.125)
    ('7.5', '25', '6.6750', '-0.00001', '0.125')
    """
    from decimal import Decimal

    text = format(Decimal(repr(number)), "f")
    whole, _, rest = text.removesuffix(".0").partition(".")
    return f"{whole}.{rest}0" if len(rest) == 3 and not whole.lstrip("-").startswith("0") and len(whole.lstrip("-")) <= 3 else f"{whole}.{rest}" if rest else whole


def _csv(rows: pa.Table, path: Path) -> Path:
    """Write rows as CSV (RFC 4180, UTF-8)."""
    pyarrow.csv.write_csv(rows, path, pyarrow.csv.WriteOptions(quoting_style="needed", eol="\r\n"))
    return path


def _parquet(rows: pa.Table, path: Path) -> Path:
    pyarrow.parquet.write_table(rows, path)
    return path
