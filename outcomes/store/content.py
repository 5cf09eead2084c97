"""Text of rows and keys, and the fingerprint of what the store holds now."""

from __future__ import annotations

import hashlib

from outcomes import schemas
from outcomes.store.layout import content, quoted


def row_text(columns) -> str:
    """SQL for one text of these columns that no other row shares: each value with its length before it, a dash where blank."""
    parts = []
    for name in columns:
        value = f"CAST({quoted(name)} AS VARCHAR)"
        parts.append(f"coalesce(strlen({value}) || ':' || {value}, '-')")
    return "concat(" + ", ".join(parts) + ")"


def key_number(table: schemas.Table) -> str:
    """SQL for the 64-bit number under which ``kept.listed`` remembers a key."""
    return f"md5_number_lower({row_text(table.key)})"


def revision(connection) -> str:
    """SHA-256 over counts and sums of row digests of all current rows: the same content gives the same text, in whatever order it was loaded."""
    lines = []
    for name, table in schemas.stored_tables().items():
        text = row_text(content(table))
        rows, low, high = connection.execute(
            f"SELECT count(*), coalesce(sum(md5_number_lower(text)), 0), coalesce(sum(md5_number_upper(text)), 0) "
            f"FROM (SELECT {text} AS text FROM {quoted(name)})").fetchall()[0]
        if rows:
            lines.append(f"{name} {rows} {low} {high}")
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()
