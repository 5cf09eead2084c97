"""Checked frames into the store: what is new, changed, the same or gone, found and written by SQL in one transaction."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from outcomes import schemas
from outcomes.errors import DataProblem
from outcomes.store.content import digests, key_number
from outcomes.store.layout import content, names, quoted
from outcomes.store.report import Counts, rows

GONE_COLUMNS = ["table", "file", "sheet", "line", "key"]


@dataclass(frozen=True)
class Load:
    """One load under way: its number, the number of its first source, and whether rows may be withdrawn."""

    number: int
    first_source: int
    withdraw: bool
    complete: bool  # no row was set aside for an error, so a row that is not there has really gone


@dataclass(frozen=True)
class Written:
    """What a load wrote: counts by table, rows gone and kept, files that lost rows, and how many records of any kind it made."""

    tables: dict[str, Counts]
    gone: pd.DataFrame
    shorter: list[str]
    changes: int


def write(connection, frames: dict[str, pd.DataFrame], load: Load) -> Written:
    """Write the checked frames, table by table; the caller holds the transaction.

    Raises DataProblem where two rows share a key but differ, or where a row would speak of one that is not in the store.
    """
    counts, gone, shorter, changes = {}, [], set(), 0
    for name, table in schemas.stored_tables().items():
        arrive(connection, table, frames.get(name, pd.DataFrame()))
        placed = place(connection, table, load)
        listings, withdrawn, lost = note_listing(connection, table, load)
        placed = replace(placed, withdrawn=withdrawn, gone=len(lost))
        changes += placed.added + placed.changed + withdrawn + listings
        gone.append(lost)
        if withdrawn or len(lost):
            shorter |= {name for (name,) in connection.execute("SELECT DISTINCT f.name FROM unlisted JOIN kept.files f USING (file) WHERE NOT elsewhere").fetchall()}
        if placed != Counts():
            counts[name] = placed
            low, high = brought(connection, table, load.number) if placed.added or placed.changed else (0, 0)
            connection.execute("INSERT INTO kept.counts (load, in_table, added, changed, unchanged, withdrawn, gone, low, high) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                               [load.number, name, placed.added, placed.changed, placed.unchanged, withdrawn, len(lost), low, high])
    connection.unregister("arrived")
    if changes:
        refuse_unresolved(connection)
    return Written(counts, pd.concat(gone, ignore_index=True), sorted(shorter), changes)


def begin(connection, checked, *, at, by: str, good_rows: bool, withdraw: bool) -> Load:
    """Enter the load and its files into the records; the caller holds the transaction."""
    number = connection.execute("SELECT coalesce(max(load), 0) + 1 FROM kept.loads").fetchall()[0][0]
    first = connection.execute("SELECT coalesce(max(source), -1) + 1 FROM kept.sources").fetchall()[0][0]
    connection.execute("INSERT INTO kept.loads VALUES (?, ?, ?, 'load', NULL, ?, ?)", [number, at, by, good_rows, withdraw])
    connection.execute("CREATE OR REPLACE TEMP TABLE arrived_files (place INTEGER, file INTEGER)")
    for place, source in enumerate(checked.sources):
        name = Path(source.name).name
        known = connection.execute("SELECT file FROM kept.files WHERE lower(name) = lower(?)", [name]).fetchall()
        if not known:
            known = connection.execute("INSERT INTO kept.files SELECT coalesce(max(file), 0) + 1, ? FROM kept.files RETURNING file", [name]).fetchall()
        connection.execute("INSERT INTO kept.sources VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                           [first + place, number, known[0][0], name, source.sha256, source.kind, row_count(source.rows), list(source.decisions or [])])
        connection.execute("INSERT INTO arrived_files VALUES (?, ?)", [place, known[0][0]])
    return Load(number, first, withdraw, not checked.error_count)


def brought(connection, table: schemas.Table, load: int) -> tuple[int, int]:
    """The digests of the rows that a load brought, by which a later look knows whether any was altered since."""
    return connection.execute(digests(table, f"_load = {load}")).fetchall()[0][1:]


def row_count(rows) -> int | None:
    """Rows read from a file, whether given as one number or by table."""
    if isinstance(rows, dict):
        return sum(rows.values())
    return None if rows is None else int(rows)


def arrive(connection, table: schemas.Table, frame: pd.DataFrame) -> None:
    """Make ``frame`` readable in SQL as ``incoming`` with the declared types; columns it lacks are blank."""
    missing = [column.name for column in table.columns if column.required and column.name not in frame]
    if missing and len(frame):
        raise DataProblem(f"{table.title} lacks the column {missing[0]}. Check the files again (outcomes check); nothing was changed.")
    provenance = (("_file", "INTEGER"), ("_sheet", "VARCHAR"), ("_line", "INTEGER"))
    wanted = [name for name, _ in table.stored_columns + provenance if name in frame]
    arrow = pa.Table.from_pandas(frame[wanted], preserve_index=False).append_column("_row", pa.array(np.arange(len(frame))))
    connection.register("arrived", arrow)
    parts = []
    for name, kind in table.stored_columns + provenance:
        value = f"CAST({quoted(name)} AS {kind})" if name in wanted else f"CAST(NULL AS {kind})"
        parts.append(f"{value}{' + 0.0' if kind == 'DOUBLE' else ''} AS {quoted(name)}")  # + 0.0: a minus zero is a zero
    connection.execute(f"CREATE OR REPLACE TEMP VIEW incoming AS SELECT _row, {', '.join(parts)} FROM arrived")


def place(connection, table: schemas.Table, load: Load) -> Counts:
    """Write the rows of ``incoming``: add, supersede or leave as they are."""
    key, rest = table.key, [name for name in content(table) if name not in table.key]
    same_key = " AND ".join(f"i.{quoted(name)} IS NOT DISTINCT FROM c.{quoted(name)}" for name in key)
    differs = " OR ".join(f"i.{quoted(name)} IS DISTINCT FROM c.{quoted(name)}" for name in rest) or "false"
    fresh = _once(connection, table, same_key, differs)
    base = f"kept.{quoted(table.name)}"
    connection.execute(f"""
        CREATE OR REPLACE TEMP TABLE verdict AS
        SELECT i._row, c.rowid AS old, c.rowid IS NOT NULL AND ({differs}) AS changed
        FROM {fresh} i LEFT JOIN (SELECT rowid, * FROM {base} WHERE _ended IS NULL) c ON {same_key}""")
    added, changed, unchanged = connection.execute(
        "SELECT count(*) FILTER (old IS NULL), count(*) FILTER (changed), count(*) FILTER (old IS NOT NULL AND NOT changed) FROM verdict").fetchall()[0]
    if changed:
        connection.execute(f"UPDATE {base} SET _ended = ? WHERE rowid IN (SELECT old FROM verdict WHERE changed)", [load.number])
    if added or changed:
        only = "" if not unchanged else "WHERE _row IN (SELECT _row FROM verdict WHERE old IS NULL OR changed)"
        connection.execute(f"""
            INSERT INTO {base} ({names(content(table))}, _load, _source, _sheet, _line, _ended)
            SELECT {names(content(table))}, {load.number}, {load.first_source} + _file, _sheet, _line, NULL FROM {fresh} {only}""")
    return Counts(added, changed, unchanged)


def _once(connection, table: schemas.Table, same_key: str, differs: str) -> str:
    """Name of a view of ``incoming`` with each key once; the same key with two contents is refused."""
    connection.execute(f"""
        CREATE OR REPLACE TEMP TABLE doubled AS
        SELECT {names(table.key)}, min(_row) AS first FROM incoming GROUP BY {names(table.key)} HAVING count(*) > 1""")
    if not connection.execute("SELECT count(*) FROM doubled").fetchall()[0][0]:
        return "incoming"
    connection.execute(f"""
        CREATE OR REPLACE TEMP TABLE repeats AS
        SELECT i._row, ({differs}) AS conflict FROM incoming i JOIN (SELECT f.*, f._row AS first FROM incoming f WHERE f._row IN (SELECT first FROM doubled)) c
        ON {same_key} WHERE i._row <> c.first""")
    conflicts = connection.execute("SELECT count(*) FROM repeats WHERE conflict").fetchall()[0][0]
    if conflicts:
        name, sheet, line = connection.execute("""
            SELECT s.name, i._sheet, i._line FROM incoming i LEFT JOIN arrived_files a ON a.place = i._file LEFT JOIN kept.files s ON s.file = a.file
            WHERE i._row = (SELECT min(_row) FROM repeats WHERE conflict)""").fetchall()[0]
        where = ", ".join(part for part in (name, sheet, f"line {line}" if line is not None else "") if part)
        raise DataProblem(f"{table.title}: {conflicts:,} of the rows repeat the {', '.join(table.key)} of another row of this load but differ from it otherwise "
                          f"(first at {where or 'an unknown place'}). Keep one row for each; nothing was changed.")
    connection.execute("CREATE OR REPLACE TEMP VIEW once AS SELECT * FROM incoming WHERE _row NOT IN (SELECT _row FROM repeats)")
    return "once"


def note_listing(connection, table: schemas.Table, load: Load) -> tuple[int, int, pd.DataFrame]:
    """Remember which file lists which row; returns changes made to that record, rows withdrawn, and rows gone and kept.

    A row has gone where a file of this load listed it before, lists it no more, and no other file lists it.
    """
    distinct = "DISTINCT" if connection.execute("SELECT count(*) FROM doubled").fetchall()[0][0] else ""  # costs half a second a million rows
    connection.execute(f"""
        CREATE OR REPLACE TEMP TABLE listing AS
        SELECT {distinct} a.file, {key_number(table)} AS key FROM incoming i JOIN arrived_files a ON a.place = i._file""")
    live = f"SELECT file, key FROM kept.listed WHERE in_table = '{table.name}' AND until IS NULL"
    changes = connection.execute(f"""
        INSERT INTO kept.listed SELECT '{table.name}', file, key, {load.number}, NULL
        FROM (SELECT file, key FROM listing EXCEPT {live})""").fetchall()[0][0]
    connection.execute(f"""
        CREATE OR REPLACE TEMP TABLE unlisted AS
        SELECT l.file, l.key, l.key IN (SELECT key FROM listing)
            OR l.key IN (SELECT key FROM ({live}) WHERE file NOT IN (SELECT file FROM arrived_files)) AS elsewhere
        FROM ({live}) l WHERE l.file IN (SELECT file FROM arrived_files) AND NOT EXISTS (FROM listing n WHERE n.file = l.file AND n.key = l.key)""")
    if not connection.execute("SELECT count(*) FROM unlisted").fetchall()[0][0]:
        return changes, 0, pd.DataFrame(columns=GONE_COLUMNS)
    if load.complete:  # where rows were set aside, a row may be missing for an error only
        ending = "SELECT file, key FROM unlisted" if load.withdraw else "SELECT file, key FROM unlisted WHERE elsewhere"
        changes += connection.execute(f"""
            UPDATE kept.listed SET until = {load.number} WHERE in_table = '{table.name}' AND until IS NULL AND (file, key) IN ({ending})""").fetchall()[0][0]
    return (changes, *_gone(connection, table, load))


def _gone(connection, table: schemas.Table, load: Load) -> tuple[int, pd.DataFrame]:
    base = f"kept.{quoted(table.name)}"
    connection.execute(f"""
        CREATE OR REPLACE TEMP TABLE gone AS
        SELECT rowid AS row FROM {base} WHERE _ended IS NULL AND {key_number(table)} IN (SELECT key FROM unlisted WHERE NOT elsewhere)""")
    if load.withdraw:
        return connection.execute(f"UPDATE {base} SET _ended = {load.number} WHERE rowid IN (SELECT row FROM gone)").fetchall()[0][0], pd.DataFrame(columns=GONE_COLUMNS)
    key = ", ".join(f"CAST({quoted(name)} AS VARCHAR)" for name in table.key)
    return 0, connection.execute(f"""
        SELECT '{table.name}' AS "table", s.name AS file, t._sheet AS sheet, t._line AS line, concat_ws(', ', {key}) AS key
        FROM {base} t LEFT JOIN kept.sources s ON s.source = t._source WHERE t.rowid IN (SELECT row FROM gone) ORDER BY file, sheet, line, key""").df()


def refuse_unresolved(connection) -> None:
    """Raise DataProblem where a current row speaks of one that is not there."""
    found = unresolved(connection)
    if not found:
        return
    table, column, target, count = found[0]
    titles = schemas.tables()
    raise DataProblem(f"{titles[table].title}: {rows(count)} would name, as {column}, something that is not among the {titles[target].title.lower()} of the store. "
                      f"Load the {titles[target].title.lower()} they belong to as well, or do not withdraw those still spoken of; nothing was changed.")


def unresolved(connection) -> list[tuple[str, str, str, int]]:
    """(table, column, table spoken of, rows) for references of current rows that lead nowhere.

    A level without a row among the insert levels is legal (``unknown``) and left to the checks of intake.
    """
    out = []
    tables = schemas.stored_tables()
    for table in tables.values():
        for column in table.columns:
            target, _, named = (column.references or "").partition(".")
            if target not in tables or target == "insert_levels":
                continue
            count = connection.execute(f"""
                SELECT count(*) FROM {quoted(table.name)} t WHERE t.{quoted(column.name)} IS NOT NULL
                AND NOT EXISTS (FROM {quoted(target)} o WHERE o.{quoted(named)} = t.{quoted(column.name)})""").fetchall()[0][0]
            if count:
                out.append((table.name, column.name, target, count))
    return out
