"""The store's tables, made from the declared ones, and how an older store is brought forward.

Schema ``kept`` holds every row there ever was; the views in ``main`` hold the current rows with the declared columns.
Beside the declared tables: ``store`` (version), ``loads`` (each load and undo), ``sources`` (each file of each load),
``files`` (files by name, over all loads), ``counts`` (rows by load and table; ``low`` and ``high`` are sums of digests of the rows
that the load brought, by which ``verify`` knows whether any was altered since) and ``listed`` (which file lists which row).

A row is current while ``_ended`` is null; otherwise ``_ended`` is the load that changed or withdrew it. A row whose load
was taken back has ``_ended`` equal to its own ``_load``.
"""

from __future__ import annotations

from outcomes import schemas

VERSION = 1

# From each version to the next: the statements that bring a store forward, run in one transaction after a backup. Columns and
# tables that are only added need no entry: they are added when the store is next opened for writing.
MIGRATIONS: dict[int, tuple[str, ...]] = {}

PROVENANCE = (("_load", "INTEGER"), ("_source", "INTEGER"), ("_sheet", "VARCHAR"), ("_line", "INTEGER"), ("_ended", "INTEGER"))

RECORDS = {
    "store": "version INTEGER, made_at TIMESTAMP, made_with VARCHAR",
    "loads": "load INTEGER, done_at TIMESTAMP, done_by VARCHAR, what VARCHAR, undoes INTEGER, good_rows BOOLEAN, withdraw BOOLEAN",
    "sources": "source INTEGER, load INTEGER, file INTEGER, name VARCHAR, sha256 VARCHAR, kind VARCHAR, rows BIGINT, decisions VARCHAR[]",
    "files": "file INTEGER, name VARCHAR",
    "counts": "load INTEGER, in_table VARCHAR, added BIGINT, changed BIGINT, unchanged BIGINT, withdrawn BIGINT, gone BIGINT, low HUGEINT, high HUGEINT",
    "listed": "in_table VARCHAR, file INTEGER, key UBIGINT, since INTEGER, until INTEGER",
}


def quoted(name: str) -> str:
    """A name as SQL writes it."""
    return '"' + name.replace('"', '""') + '"'


def names(columns) -> str:
    """Names as SQL writes them, separated by commas."""
    return ", ".join(quoted(name) for name in columns)


def content(table: schemas.Table) -> list[str]:
    """Names of a table's stored columns."""
    return [name for name, _ in table.stored_columns]


def declared() -> dict[str, tuple[tuple[str, str], ...]]:
    """(column, type) of every table in ``kept``, the declared ones with provenance."""
    tables = {name: table.stored_columns + PROVENANCE for name, table in schemas.stored_tables().items()}
    records = {name: tuple(tuple(part.split()) for part in body.split(", ")) for name, body in RECORDS.items()}
    return {**records, **tables}


def found(connection) -> dict[str, set[str]]:
    """Names of the columns of every table in ``kept``; empty where the file is no store."""
    out: dict[str, set[str]] = {}
    for table, column in connection.execute(
            "SELECT table_name, column_name FROM duckdb_columns() WHERE schema_name = 'kept' AND database_name = current_database()").fetchall():
        out.setdefault(table, set()).add(column)
    return out


def version(connection) -> int | None:
    """The store's version, or None where the file is no store."""
    if "version" not in found(connection).get("store", ()):
        return None
    row = connection.execute("SELECT version FROM kept.store").fetchall()
    return row[0][0] if row else None


def behind(connection) -> bool:
    """Whether a store of this version still lacks a declared table or column."""
    there = found(connection)
    return any(not {name for name, _ in columns} <= there.get(table, set()) for table, columns in declared().items())


def ahead(connection) -> bool:
    """Whether the store holds a table or column that this program does not know."""
    known = declared()
    return any(table not in known or not columns <= {name for name, _ in known[table]} for table, columns in found(connection).items())


def make(connection, made_with: str) -> None:
    """Lay out an empty store; the caller holds the transaction."""
    connection.execute("CREATE SCHEMA kept")
    complete(connection)
    connection.execute("INSERT INTO kept.store VALUES (?, now()::TIMESTAMP, ?)", [VERSION, made_with])


def complete(connection) -> None:
    """Add tables and columns declared since the store was made, and make the views anew; the caller holds the transaction."""
    there = found(connection)
    for table, columns in declared().items():
        if table not in there:
            body = ", ".join(f"{quoted(name)} {kind}" for name, kind in columns)
            connection.execute(f"CREATE TABLE kept.{quoted(table)} ({body})")
            continue
        for name, kind in columns:
            if name not in there[table]:
                connection.execute(f"ALTER TABLE kept.{quoted(table)} ADD COLUMN {quoted(name)} {kind}")
    for name, table in schemas.stored_tables().items():
        connection.execute(f"CREATE OR REPLACE VIEW {quoted(name)} AS SELECT {names(content(table))} FROM kept.{quoted(name)} WHERE _ended IS NULL")


def bring_forward(connection, start: int, *, seal) -> None:
    """Run the migrations from version ``start`` on, in one transaction. ``seal(connection, where)`` writes the digests of loads anew."""
    connection.execute("BEGIN")
    try:
        views = connection.execute("SELECT view_name FROM duckdb_views() WHERE NOT internal AND schema_name = 'main' AND database_name = current_database()").fetchall()
        for (view,) in views:
            connection.execute(f"DROP VIEW {quoted(view)}")
        for step in range(start, VERSION):
            for statement in MIGRATIONS[step]:
                connection.execute(statement)
        complete(connection)
        seal(connection, "true" if start < VERSION else "c.low IS NULL")
        connection.execute("UPDATE kept.store SET version = ?", [VERSION])
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
