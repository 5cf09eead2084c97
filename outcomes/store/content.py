"""Text of rows and keys, and the fingerprints: of what the store holds now, and of what each load brought."""

from __future__ import annotations

import hashlib

from outcomes import schemas
from outcomes.store.layout import content, quoted

_PLACE = ("_source", "_sheet", "_line")
# Sums of the two halves of the MD5 of ``text``; cut from one number, since asking md5_number_lower and md5_number_upper works it out twice.
_SUMS = "coalesce(sum((number >> 64)::UBIGINT), 0) AS low, coalesce(sum((number & 18446744073709551615::UHUGEINT)::UBIGINT), 0) AS high"


def row_text(columns) -> str:
    """SQL for one text of these columns that no other row shares: each value with its length before it, a dash where blank."""
    return _text(columns, lambda name: "", blank="-")


def filled_text(columns) -> str:
    """SQL for one text of the filled columns, each with its name: a column declared later and still blank leaves the text as it was."""
    return _text(columns, lambda name: f"'{name}=' || ", blank="")


def _text(columns, before, *, blank: str) -> str:
    """SQL for the values of these columns one after the other, each with its length and what stands before it; ``blank`` for one that is blank."""
    values = [(before(name), f"CAST({quoted(name)} AS VARCHAR)") for name in columns]
    return "concat(" + ", ".join(f"coalesce({first}strlen({value}) || ':' || {value}, '{blank}')" for first, value in values) + ")"


def key_number(table: schemas.Table) -> str:
    """SQL for the 64-bit number under which ``kept.listed`` remembers a key."""
    return f"md5_number_lower({row_text(table.key)})"


def revision(connection) -> str:
    """SHA-256 over counts and sums of row digests of all current rows: the same content gives the same text, in whatever order it was loaded."""
    lines = []
    for name, table in schemas.stored_tables().items():
        text = filled_text(sorted(content(table)))
        rows, low, high = connection.execute(
            f"SELECT count(*), {_SUMS} FROM (SELECT md5_number({text}) AS number FROM {quoted(name)})").fetchall()[0]
        if rows:
            lines.append(f"{name} {rows} {low} {high}")
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def digests(table: schemas.Table, where: str = "true") -> str:
    """SQL for (load, low, high): sums of digests of the rows that each load brought, with file, sheet and line, whatever became of them since."""
    text = filled_text([*sorted(content(table)), *_PLACE])
    return f"SELECT load, {_SUMS} FROM (SELECT _load AS load, md5_number({text}) AS number FROM kept.{quoted(table.name)} WHERE {where}) GROUP BY load"


def seal(connection, where: str) -> None:
    """Write the digests of loads beside their counts, for the counts that ``where`` chooses; the caller holds the transaction."""
    for name, table in schemas.stored_tables().items():
        if connection.execute(f"SELECT count(*) FROM kept.counts c WHERE in_table = '{name}' AND ({where})").fetchall()[0][0]:
            connection.execute(f"UPDATE kept.counts c SET low = d.low, high = d.high FROM ({digests(table)}) d WHERE c.in_table = '{name}' AND c.load = d.load AND ({where})")
