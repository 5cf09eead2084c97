"""Whether the store agrees with itself: keys, references, and the counts written down at each load."""

from __future__ import annotations

from outcomes import schemas
from outcomes.store.content import key_number, revision
from outcomes.store.layout import names, quoted
from outcomes.store.loading import unresolved
from outcomes.store.report import rows


def verify(connection) -> list[str]:
    """A sentence for each thing that is wrong; empty where all is well. Reads every current row."""
    revision(connection)
    out = []
    tables = schemas.stored_tables()
    for name, table in tables.items():
        doubled = connection.execute(f"SELECT count(*) FROM (SELECT {names(table.key)} FROM {quoted(name)} GROUP BY ALL HAVING count(*) > 1)").fetchall()[0][0]
        if doubled:
            out.append(f"{table.title}: {doubled:,} {'key stands' if doubled == 1 else 'keys stand'} in more than one current row.")
    for table, column, target, count in unresolved(connection):
        out.append(f"{tables[table].title}: {rows(count)} with a {column} that is not among the {tables[target].title.lower()}.")
    for name, table in tables.items():
        out += _counts(connection, name, table.title) + _listing(connection, name, table)
    return out


def _counts(connection, name: str, title: str) -> list[str]:
    """Loads whose rows are not as many as were counted when they were written."""
    wrong = connection.execute(f"""
        WITH brought AS (SELECT _load AS load, count(*) AS rows FROM kept.{quoted(name)} GROUP BY _load),
             ended AS (SELECT _ended AS load, count(*) AS rows FROM kept.{quoted(name)} WHERE _ended <> _load GROUP BY _ended),
             undone AS (SELECT undoes AS load FROM kept.loads WHERE undoes IS NOT NULL),
             counted AS (SELECT c.load, added + changed AS brought, CASE WHEN u.load IS NULL THEN changed + withdrawn ELSE 0 END AS ended
                         FROM kept.counts c LEFT JOIN undone u USING (load) WHERE in_table = '{name}')
        SELECT load FROM counted FULL JOIN brought b USING (load) FULL JOIN ended e USING (load)
        WHERE coalesce(counted.brought, 0) <> coalesce(b.rows, 0) OR coalesce(counted.ended, 0) <> coalesce(e.rows, 0) ORDER BY load""").fetchall()
    return [f"{title}: the rows of load {load} are not as many as the history says." for (load,) in wrong]


def _listing(connection, name: str, table: schemas.Table) -> list[str]:
    """Current rows that no file lists, and listed rows that are not there."""
    loose = connection.execute(f"""
        WITH listed AS (SELECT DISTINCT key FROM kept.listed WHERE in_table = '{name}' AND until IS NULL),
             there AS (SELECT {key_number(table)} AS key FROM kept.{quoted(name)} WHERE _ended IS NULL AND _source IS NOT NULL)
        SELECT count(*) FROM listed FULL JOIN there USING (key) WHERE listed.key IS NULL OR there.key IS NULL""").fetchall()[0][0]
    return [f"{table.title}: {rows(loose)} whose file is not as recorded."] if loose else []
