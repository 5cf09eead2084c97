"""Whether the store agrees with itself: every row readable and unaltered, keys, references, codes, provenance, and the counts of each load."""

from __future__ import annotations

from outcomes import schemas
from outcomes.intake.dates import PRECISIONS
from outcomes.store.content import digests, key_number
from outcomes.store.layout import names, quoted
from outcomes.store.loading import unresolved
from outcomes.store.report import rows


def verify(connection) -> list[str]:
    """A sentence for each thing that is wrong; empty where all is well. Reads every row there ever was."""
    out = _records(connection)
    tables = schemas.stored_tables()
    for name, table in tables.items():
        doubled = _one(connection, f"SELECT count(*) FROM (SELECT {names(table.key)} FROM {quoted(name)} GROUP BY ALL HAVING count(*) > 1)")
        if doubled:
            out.append(f"{table.title}: {doubled:,} {'key stands' if doubled == 1 else 'keys stand'} in more than one current row.")
    for table, column, target, count in unresolved(connection):
        out.append(f"{tables[table].title}: {rows(count)} with a {column} that is not among the {tables[target].title.lower()}.")
    for name, table in tables.items():
        wrong = _counts(connection, name)
        out += [f"{table.title}: the rows of load {load} are not as many as the history says." for load in wrong]
        out += [f"{table.title}: rows of load {load} are not what was loaded then." for load in _altered(connection, table) if load not in wrong]
        out += _listing(connection, name, table) + _provenance(connection, name, table) + _codes(connection, name, table)
    return out


def _one(connection, sql: str) -> int:
    return connection.execute(sql).fetchall()[0][0]


def _records(connection) -> list[str]:
    """Loads, undos and files that do not fit together."""
    out = []
    for sql, sentence in (
        ("SELECT count(*) FROM (SELECT load FROM kept.loads GROUP BY load HAVING count(*) > 1) x", "The history holds {} of a load that is there twice."),
        ("SELECT coalesce(max(load), 0) - count(DISTINCT load) FROM kept.loads", "The history lacks {}: loads are numbered without gaps."),
        ("SELECT count(*) FROM kept.loads u WHERE u.what = 'undo' AND NOT EXISTS (FROM kept.loads l WHERE l.load = u.undoes AND l.what = 'load' AND l.load < u.load)",
         "The history holds {} of an undo that takes back no load."),
        ("SELECT count(*) FROM (SELECT undoes FROM kept.loads WHERE undoes IS NOT NULL GROUP BY undoes HAVING count(*) > 1) x", "The history holds {} of a load taken back twice."),
        ("SELECT count(*) FROM kept.sources WHERE load NOT IN (SELECT load FROM kept.loads WHERE what = 'load') OR file NOT IN (SELECT file FROM kept.files)",
         "The list of files holds {} of no load that the history knows."),
        ("SELECT count(*) FROM kept.sources WHERE NOT regexp_full_match(coalesce(sha256, ''), '[0-9a-f]{64}')", "The list of files holds {} without the SHA-256 of the file."),
    ):
        count = _one(connection, sql)
        out += [sentence.format(rows(count))] if count else []
    return out


def _counts(connection, name: str) -> list[int]:
    """Loads whose rows are not as many as were counted when they were written."""
    wrong = connection.execute(f"""
        WITH brought AS (SELECT _load AS load, count(*) AS rows FROM kept.{quoted(name)} GROUP BY _load),
             ended AS (SELECT _ended AS load, count(*) AS rows FROM kept.{quoted(name)} WHERE _ended <> _load GROUP BY _ended),
             undone AS (SELECT undoes AS load FROM kept.loads WHERE undoes IS NOT NULL),
             counted AS (SELECT c.load, added + changed AS brought, CASE WHEN u.load IS NULL THEN changed + withdrawn ELSE 0 END AS ended
                         FROM kept.counts c LEFT JOIN undone u USING (load) WHERE in_table = '{name}')
        SELECT load FROM counted FULL JOIN brought b USING (load) FULL JOIN ended e USING (load)
        WHERE coalesce(counted.brought, 0) <> coalesce(b.rows, 0) OR coalesce(counted.ended, 0) <> coalesce(e.rows, 0) ORDER BY load""").fetchall()
    return [load for (load,) in wrong]


def _altered(connection, table: schemas.Table) -> list[int]:
    """Loads of which some row, current or not, is no longer what was written then."""
    return [load for (load,) in connection.execute(f"""
        SELECT load FROM ({digests(table)}) d JOIN kept.counts c USING (load)
        WHERE c.in_table = '{table.name}' AND c.low IS NOT NULL AND (c.low <> d.low OR c.high <> d.high) ORDER BY load""").fetchall()]


def _listing(connection, name: str, table: schemas.Table) -> list[str]:
    """Current rows that no file lists, and listed rows that are not there."""
    loose = _one(connection, f"""
        WITH listed AS (SELECT DISTINCT key FROM kept.listed WHERE in_table = '{name}' AND until IS NULL),
             there AS (SELECT {key_number(table)} AS key FROM kept.{quoted(name)} WHERE _ended IS NULL AND _source IS NOT NULL)
        SELECT count(*) FROM listed FULL JOIN there USING (key) WHERE listed.key IS NULL OR there.key IS NULL""")
    return [f"{table.title}: {rows(loose)} whose file is not as recorded."] if loose else []


def _provenance(connection, name: str, table: schemas.Table) -> list[str]:
    """Rows that do not know their load, their file and line, or the load that ended them."""
    lost = _one(connection, f"""
        SELECT count(*) FROM kept.{quoted(name)} t LEFT JOIN kept.sources s ON s.source = t._source
        WHERE s.source IS NULL OR s.load <> t._load OR t._line IS NULL OR t._load NOT IN (SELECT load FROM kept.loads WHERE what = 'load')
        OR t._ended NOT IN (SELECT load FROM kept.loads WHERE what = 'load') OR t._ended < t._load""")
    return [f"{table.title}: {rows(lost)} whose load, file or line is not among the records."] if lost else []


def _codes(connection, name: str, table: schemas.Table) -> list[str]:
    """Current rows with a word that the codebook does not know."""
    known = {column.name: column.code_list for column in table.columns if column.code_list}
    known |= {column.name + "_precision": PRECISIONS for column in table.columns if column.type == "date"}
    out = []
    for column, codes in known.items():
        listed = ", ".join("'" + code.replace("'", "''") + "'" for code in codes)
        count = _one(connection, f"SELECT count(*) FROM {quoted(name)} WHERE {quoted(column)} NOT IN ({listed})")
        out += [f"{table.title}: {rows(count)} with a {column} that the codebook does not know."] if count else []
    return out
