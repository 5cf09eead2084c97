"""Who added what when: undo, the list of loads, and every version of one row."""

from __future__ import annotations

import pandas as pd

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.store.layout import content, names, quoted
from outcomes.store.report import UndoReport, counted, joined, rows


def last_load(connection) -> int:
    """The last load not taken back. Raises Misuse where there is none."""
    last = connection.execute("""
        SELECT max(load) FROM kept.loads WHERE what = 'load' AND load NOT IN (SELECT undoes FROM kept.loads WHERE undoes IS NOT NULL)""").fetchall()[0][0]
    if last is None:
        raise Misuse("There is no load to take back.")
    return last


def undo(connection, *, at, by: str) -> UndoReport:
    """Take back the last load not taken back; the caller holds the transaction.

    Its rows end with the load that brought them; what it changed, withdrew or no longer listed stands again.
    """
    last = last_load(connection)
    out, back = {}, 0
    for name in schemas.stored_tables():
        base = f"kept.{quoted(name)}"
        back += connection.execute(f"UPDATE {base} SET _ended = NULL WHERE _ended = {last} AND _load <> {last}").fetchall()[0][0]
        ended = connection.execute(f"UPDATE {base} SET _ended = {last} WHERE _load = {last}").fetchall()[0][0]
        if ended:
            out[name] = ended
    connection.execute(f"UPDATE kept.listed SET until = NULL WHERE until = {last} AND since <> {last}")
    connection.execute(f"UPDATE kept.listed SET until = {last} WHERE since = {last}")
    number = connection.execute("SELECT max(load) + 1 FROM kept.loads").fetchall()[0][0]
    connection.execute("INSERT INTO kept.loads VALUES (?, ?, ?, 'undo', ?, NULL, NULL)", [number, at, by, last])
    loaded_at, files = connection.execute(f"""
        SELECT done_at, (SELECT list(DISTINCT name ORDER BY name) FROM kept.sources WHERE load = {last}) FROM kept.loads WHERE load = {last}""").fetchall()[0]
    sentences = [f"Took back load {last} of {loaded_at:%Y-%m-%d %H:%M} UTC ({joined(files or ['no file'])})"
                 + (f": {joined([counted(count, name) for name, count in out.items()])}." if out else ".")]
    if back:
        sentences.append(f"{rows(back)} that it had changed or withdrawn {'stands' if back == 1 else 'stand'} again.")
    return UndoReport(number, last, sentences)


def history(connection) -> pd.DataFrame:
    """One row for each load and undo, oldest first."""
    loads = connection.execute("""
        SELECT l.load, l.done_at AS "at", l.done_by AS "by", CASE l.what WHEN 'undo' THEN 'undo of load ' || l.undoes ELSE l.what END AS what,
               EXISTS (FROM kept.loads u WHERE u.undoes = l.load) AS undone
        FROM kept.loads l ORDER BY l.load""").df()
    sources = connection.execute("SELECT load, name, sha256 FROM kept.sources ORDER BY source").fetchall()
    mapped = connection.execute("SELECT load, regexp_extract(one, 'read (through the mapping .*\\(SHA-256 \\S+\\))', 1) FROM (SELECT load, source, unnest(decisions) AS one FROM kept.sources) "
                                "WHERE contains(one, ': read through the mapping ') ORDER BY source").fetchall()
    counts = connection.execute("SELECT load, in_table, added, changed, withdrawn FROM kept.counts").fetchall()
    order = list(schemas.stored_tables())
    counts.sort(key=lambda row: order.index(row[1]) if row[1] in order else len(order))
    loads["files"] = [tuple(name for load, name, _ in sources if load == number) for number in loads["load"]]
    loads["sha256"] = [tuple(digest for load, _, digest in sources if load == number) for number in loads["load"]]
    loads["mappings"] = [tuple(text for load, text in mapped if load == number) for number in loads["load"]]
    for place, word in enumerate(("added", "changed", "withdrawn"), start=2):
        loads[word] = [{row[1]: row[place] for row in counts if row[0] == number and row[place]} for number in loads["load"]]
    return loads[["load", "at", "by", "what", "files", "sha256", "mappings", "added", "changed", "withdrawn", "undone"]]


def sentences(loads: pd.DataFrame) -> list[str]:
    """One sentence for each load and undo."""
    out = []
    for row in loads.itertuples(index=False):
        start = f"{row.load}. {row.at:%Y-%m-%d %H:%M} UTC, {row.by}: "
        if row.what != "load":
            out.append(start + row.what + ".")
            continue
        files = joined([f"{name} (SHA-256 {str(digest)[:12]}…)" for name, digest in zip(row.files, row.sha256, strict=True)] or ["no file"])
        done = [f"{joined([counted(count, table) for table, count in part.items()])} {word}"
                for part, word in ((row.added, "added"), (row.changed, "changed"), (row.withdrawn, "withdrawn")) if part]
        through = f" {joined(list(row.mappings))}" if row.mappings else ""
        out.append(f"{start}loaded {files}{through}: {'; '.join(done) or 'no row was new'}.{' Taken back later.' if row.undone else ''}")
    return out


def row_history(connection, table: str, key) -> pd.DataFrame:
    """Every version of one row, oldest first."""
    tables = schemas.stored_tables()
    if table not in tables:
        raise Misuse(f"There is no table {table} in a store. There are: {', '.join(tables)}.")
    columns = tables[table].key
    values = [key[name] for name in columns if name in key] if isinstance(key, dict) else list(key) if isinstance(key, (tuple, list)) else [key]
    if len(values) != len(columns):
        raise Misuse(f"A row of {table} is named by {', '.join(columns)}. Give one value for each, in that order.")
    kinds = dict(tables[table].stored_columns)
    where = " AND ".join(f"t.{quoted(name)} IS NOT DISTINCT FROM CAST(? AS {kinds[name]})" for name in columns)
    body = names(content(tables[table]))
    return connection.execute(f"""
        WITH versions AS (SELECT t.rowid AS place, * FROM kept.{quoted(table)} t WHERE {where})
        SELECT {body}, v._load AS load, l.done_at AS "at", l.done_by AS "by", s.name AS file, v._sheet AS sheet, v._line AS line,
            CASE WHEN v._ended IS NULL THEN 'current' WHEN v._ended = v._load THEN 'taken back'
                 WHEN EXISTS (FROM versions n WHERE n._load = v._ended) THEN 'changed' ELSE 'withdrawn' END AS state,
            CASE WHEN v._ended = v._load THEN u.done_at ELSE e.done_at END AS ended_at
        FROM versions v LEFT JOIN kept.loads l ON l.load = v._load LEFT JOIN kept.sources s ON s.source = v._source
        LEFT JOIN kept.loads e ON e.load = v._ended LEFT JOIN kept.loads u ON u.undoes = v._load
        ORDER BY v._load, v.place""", values).df()
