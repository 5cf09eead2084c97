"""Exported files described: a resource of a Data Package 2.0 with its Table Schema."""

from __future__ import annotations

import hashlib
from pathlib import Path

from outcomes import schemas
from outcomes.store.layout import quoted

COARSE = r"^(\d{4}(-\d{2}(-\d{2})?)?|not known)$"
TYPES = {"whole": "integer", "number": "number", "date": "date"}
STORED = {"INTEGER": "integer", "BIGINT": "integer", "HUGEINT": "integer", "DOUBLE": "number", "DATE": "date", "BOOLEAN": "boolean"}
MEDIA = {".csv": ("csv", "text/csv"), ".parquet": ("parquet", "application/vnd.apache.parquet")}


def resource(folder: Path, path: Path, name: str, title: str, meaning: str, schema: dict) -> dict:
    """One file as a resource, with its size and digest."""
    body = path.read_bytes()
    kind, media = MEDIA[path.suffix]
    encoding = {"encoding": "utf-8"} if kind == "csv" else {}
    return {"name": name, "title": title, "description": meaning, "path": path.relative_to(folder).as_posix(), "type": "table", "format": kind,
            "mediatype": media, **encoding, "bytes": len(body), "hash": "sha256:" + hashlib.sha256(body).hexdigest(), "schema": schema}


def table_schema(connection, table: schemas.Table, *, typed: bool) -> dict:
    """The Table Schema of a declared table: as CSV, where a coarse date is text, or ``typed``, with each date beside its precision."""
    fields = []
    for column in table.columns:
        coarse = not typed and column.type == "date" and _coarse(connection, table, column)
        fields.append(_field(column, "string" if coarse else TYPES.get(column.type, "string"), coarse=coarse))
        if typed and column.type == "date":
            fields.append({"name": column.name + "_precision", "type": "string", "description": f"how precisely {column.name} is known",
                           "constraints": {"enum": ["day", "month", "year", "not known"]}})
            if column.required:
                fields[-2].pop("constraints", None)  # not known: the date itself is empty
    schema = {"fields": fields, "missingValues": [""]}
    if all(table.column(name).required or table.column(name).derived for name in table.key) and not _blank(connection, table.name, table.key):
        schema["primaryKey"] = list(table.key)
    keys = []
    for column in table.columns:
        target, _, named = (column.references or "").partition(".")
        if target in schemas.stored_tables() and _resolved(connection, table.name, column.name, target, named):
            keys.append(_reference(table.name, column.name, target, named))
    return schema | ({"foreignKeys": keys} if keys else {})


def derived_schema(connection, name: str) -> dict:
    """The Table Schema of a derived table that the connection holds."""
    about = schemas.derived()[name]
    kinds = {row[0]: row[1] for row in connection.execute(f"DESCRIBE {quoted(name)}").fetchall()}
    fields = [{"name": column, "type": STORED.get(kinds[column], "string"), "description": meaning} for column, meaning in about["columns"].items()]
    schema = {"fields": fields, "missingValues": [""]}
    if not _blank(connection, name, about["key"]):
        schema["primaryKey"] = about["key"]
    keys = [_reference(name, column, target, column) for column, target in (("patient_id", "patients"), ("denture_id", "dentures"), ("visit_id", "visits"))
            if column in about["columns"] and _resolved(connection, name, column, target, column)]
    return schema | ({"foreignKeys": keys} if keys else {})


def _reference(table: str, column: str, target: str, named: str) -> dict:
    """A foreign key; to a table's own rows it names no resource."""
    return {"fields": [column], "reference": {"fields": [named]} if target == table else {"resource": target, "fields": [named]}}


def _field(column: schemas.Column, kind: str, *, coarse: bool) -> dict:
    """A column as a field of a Table Schema."""
    field = {"name": column.name, "type": kind, "description": column.meaning}
    limits = {"required": True} if column.required else {}
    if column.code_list:
        limits["enum"] = list(column.code_list)
        meanings = schemas.codebook()[column.codes]["codes"]
        field["categories"] = [{"value": code, "label": meanings[code]} for code in column.code_list]
    if kind in ("integer", "number"):
        limits |= {word: value for word, value in (("minimum", column.minimum), ("maximum", column.maximum)) if value is not None}
    if coarse:
        limits["pattern"] = COARSE
    if column.unit:
        field["unit"] = column.unit
    return field | ({"constraints": limits} if limits else {})


def _coarse(connection, table: schemas.Table, column: schemas.Column) -> bool:
    """Whether some date of the column is no whole day."""
    return bool(connection.execute(f"SELECT count(*) FROM {quoted(table.name)} WHERE {quoted(column.name + '_precision')} <> 'day'").fetchall()[0][0])


def _blank(connection, name: str, key) -> bool:
    """Whether a key has blank parts, which a primary key must not."""
    blank = " OR ".join(f"{quoted(column)} IS NULL OR CAST({quoted(column)} AS VARCHAR) = ''" for column in key)
    return bool(connection.execute(f"SELECT count(*) FROM {quoted(name)} WHERE {blank}").fetchall()[0][0])


def _resolved(connection, table: str, column: str, target: str, named: str) -> bool:
    """Whether every value is found among those it speaks of (the level unknown needs no row)."""
    return not connection.execute(f"""
        SELECT count(*) FROM {quoted(table)} t WHERE t.{quoted(column)} IS NOT NULL
        AND NOT EXISTS (FROM {quoted(target)} o WHERE o.{quoted(named)} = t.{quoted(column)})""").fetchall()[0][0]
