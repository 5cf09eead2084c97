"""The store's tables for other programs: CSV that can be loaded again, typed Parquet, and a data package that describes both."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pyarrow.csv
import pyarrow.parquet

from outcomes import __version__, schemas
from outcomes.errors import Misuse
from outcomes.store import trouble
from outcomes.store.layout import content, names, quoted
from outcomes.store.private import owner_only

DAY, COARSE = r"^\d{4}-\d{2}-\d{2}$", r"^(\d{4}(-\d{2}(-\d{2})?)?|not known)$"
TYPES = {"whole": "integer", "number": "number", "date": "date"}
# What a spreadsheet program would take for a formula: OWASP's list, also full-width and after leading blanks.
FORMULA = r"^\s*[=+\-@\x00\t\r\n＝＋－＠]"


def export(store, folder: str | Path) -> Path:
    """Write the current rows of every table to ``folder``; returns the path of ``datapackage.json``.

    ``TABLE.csv`` is in the declared long form, with dates as precise as they are known, and can be loaded into a store again.
    ``TABLE.parquet`` has the same rows typed: a date is the first day possible, beside ``NAME_precision``. The descriptor follows
    Data Package 2.0, with a Table Schema for each file. The same content gives the same bytes.

    Text that a spreadsheet program would take for a formula gets an apostrophe before it in the CSV; numbers stay numbers.
    Raises Misuse where a file cannot be written.
    """
    folder = Path(folder)
    connection = store.connection.cursor()
    try:
        with trouble.plainly(store.path.name):
            return _write(store, connection, folder)
    finally:
        connection.close()


def _write(store, connection, folder: Path) -> Path:
    try:
        with owner_only():
            folder.mkdir(parents=True, exist_ok=True)
            resources = []
            for table in schemas.stored_tables().values():
                resources += [_csv(connection, table, folder), _parquet(connection, table, folder)]
            described = folder / "datapackage.json"
            described.write_text(json.dumps(_package(store, resources), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
            return described
    except OSError as problem:
        raise Misuse(f"The tables could not be written to {folder.name}: {problem.strerror or 'the system gave no reason'}. Name another folder, or make room.") from None


def _package(store, resources: list[dict]) -> dict:
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "outcomes-tables",
        "title": "Visit log of implant overdentures",
        "description": "Current rows of every table, by pseudonym. Rows of patients: keep them as the clinic's rules ask.",
        "version": store.revision,
        "contributors": [{"title": f"outcomes {__version__}", "roles": ["creator"]}],
        "resources": resources,
    }


def _csv(connection, table: schemas.Table, folder: Path) -> dict:
    """Write one table as CSV (RFC 4180, UTF-8) and describe it."""
    parts = []
    for column in table.columns:
        name = quoted(column.name)
        if column.type == "date":
            precision = quoted(column.name + "_precision")
            parts.append(f"CASE {precision} WHEN 'not known' THEN 'not known' WHEN 'year' THEN strftime({name}, '%Y') WHEN 'month' THEN strftime({name}, '%Y-%m') "
                         f"ELSE strftime({name}, '%Y-%m-%d') END AS {name}")
        elif column.type in ("text", "position"):
            parts.append(f"CASE WHEN regexp_matches({name}, '{FORMULA}') THEN '''' || {name} ELSE {name} END AS {name}")
        else:
            parts.append(name)
    path = folder / f"{table.name}.csv"
    rows = _arrow(connection, f"SELECT {', '.join(parts)} FROM (SELECT * FROM {quoted(table.name)} ORDER BY {names(content(table))})")
    pyarrow.csv.write_csv(rows, path, pyarrow.csv.WriteOptions(quoting_style="needed", eol="\r\n"))
    fields = []
    for column in table.columns:
        days_only = column.type != "date" or not connection.execute(
            f"SELECT count(*) FROM {quoted(table.name)} WHERE {quoted(column.name + '_precision')} <> 'day'").fetchall()[0][0]
        fields.append(_field(column, "string" if column.type == "date" and not days_only else TYPES.get(column.type, "string"), coarse=not days_only))
    return _resource(table, path, "csv", "text/csv", fields, connection, encoding="utf-8")


def _parquet(connection, table: schemas.Table, folder: Path) -> dict:
    """Write one table as Parquet and describe it."""
    path = folder / f"{table.name}.parquet"
    rows = _arrow(connection, f"SELECT * FROM {quoted(table.name)} ORDER BY {names(content(table))}")
    pyarrow.parquet.write_table(rows, path)
    fields = []
    for column in table.columns:
        fields.append(_field(column, TYPES.get(column.type, "string")))
        if column.type == "date":
            fields.append({"name": column.name + "_precision", "type": "string", "description": f"how precisely {column.name} is known",
                           "constraints": {"enum": ["day", "month", "year", "not known"]}})
            if column.required:
                fields[-2].pop("constraints", None)  # not known: the date itself is empty
    return _resource(table, path, "parquet", "application/vnd.apache.parquet", fields, connection)


def _arrow(connection, sql: str) -> pyarrow.Table:
    return connection.sql(sql).to_arrow_table()


def _field(column: schemas.Column, kind: str, *, coarse: bool = False) -> dict:
    """A column as a field of a Table Schema."""
    field = {"name": column.name, "type": kind, "description": column.meaning}
    limits = {"required": True} if column.required else {}
    if column.code_list:
        limits["enum"] = list(column.code_list)
        meanings = schemas.codebook()[column.codes]["codes"]
        field["categories"] = [{"value": code, "label": meanings[code]} for code in column.code_list]
    if kind in ("integer", "number"):
        limits |= {word: value for word, value in (("minimum", column.minimum), ("maximum", column.maximum)) if value is not None}
    if column.type == "date" and kind == "string":
        limits["pattern"] = COARSE if coarse else DAY
    if column.unit:
        field["unit"] = column.unit
    if limits:
        field["constraints"] = limits
    return field


def _resource(table: schemas.Table, path: Path, kind: str, media: str, fields: list[dict], connection, **more) -> dict:
    """One file as a resource, with its size and digest."""
    body = path.read_bytes()
    schema = {"fields": fields, "missingValues": [""]}
    if all(table.column(name).required or table.column(name).derived for name in table.key) and not _blank(connection, table):
        schema["primaryKey"] = list(table.key)
    keys = []
    for column in table.columns:
        target, _, named = (column.references or "").partition(".")
        if target in schemas.stored_tables() and _resolved(connection, table.name, column.name, target, named):
            reference = {"fields": [named]} if target == table.name else {"resource": f"{target}-{kind}", "fields": [named]}
            keys.append({"fields": [column.name], "reference": reference})
    if keys:
        schema["foreignKeys"] = keys
    return {"name": f"{table.name}-{kind}", "title": table.title, "description": table.meaning, "path": path.name, "type": "table", "format": kind,
            "mediatype": media, **more, "bytes": len(body), "hash": "sha256:" + hashlib.sha256(body).hexdigest(), "schema": schema}


def _blank(connection, table: schemas.Table) -> bool:
    """Whether a key has blank parts, which a primary key must not."""
    blank = " OR ".join(f"{quoted(name)} IS NULL" for name in table.key)
    return bool(connection.execute(f"SELECT count(*) FROM {quoted(table.name)} WHERE {blank}").fetchall()[0][0])


def _resolved(connection, table: str, column: str, target: str, named: str) -> bool:
    """Whether every value is found among those it speaks of (the level unknown needs no row)."""
    return not connection.execute(f"""
        SELECT count(*) FROM {quoted(table)} t WHERE t.{quoted(column)} IS NOT NULL
        AND NOT EXISTS (FROM {quoted(target)} o WHERE o.{quoted(named)} = t.{quoted(column)})""").fetchall()[0][0]
