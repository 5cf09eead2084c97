"""The checked rows, and those the store holds, side by side in DuckDB: where keys left out are found and the rules across tables run."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from outcomes import schemas
from outcomes.intake.log import Log

HERE = Path(__file__).resolve().parent
MEMORY = "900MB"  # so that a check of a million rows stays well below two gigabytes


class Staged:
    """An in-memory database with a view of each table: columns as declared, and ``place``, the row's number in its frame (null: a stored row)."""

    def __init__(self, log: Log, stored: dict[str, pa.Table], today: date):
        self.log = log
        self.stored = stored
        self._left_out: dict[str, np.ndarray] = {}
        self.connection = duckdb.connect(":memory:", config={"python_enable_replacements": "false", "memory_limit": MEMORY, "preserve_insertion_order": "false"})
        self.connection.execute("SET enable_progress_bar = false")  # it would stand among what a program prints
        self.connection.execute("CREATE TABLE today AS SELECT ?::DATE AS day", [today])
        self.connection.register("instruments", _instruments())
        for name in schemas.stored_tables():
            self.stage(name)

    def prepare(self, *scripts: str) -> None:
        """Make tables that rules share: "staged.sql" for visit_days and denture_days, "looks.sql" for looks."""
        for script in scripts:
            self.connection.execute(_script(script))

    def stage(self, name: str) -> None:
        """Make the view of one stored table anew from its frame, with the stored rows that it does not state again."""
        table = schemas.stored_tables()[name]
        wanted = [column for column, _ in table.stored_columns]
        frame = self.log.frames[name]
        self.connection.register(f"new_{name}", arrow(frame, wanted))
        columns = ", ".join(f'"{column}"::{kind} AS "{column}"' for column, kind in table.stored_columns)
        kept = "true"
        if name in self._left_out:
            self.connection.register(f"left_out_{name}", pa.table({"place": np.flatnonzero(self._left_out[name])}))
            kept = f"place NOT IN (SELECT place FROM left_out_{name})"
        view = f"SELECT place, {columns} FROM new_{name} WHERE {kept}"
        if name in self.stored and self.stored[name].num_rows:
            self.connection.register(f"held_{name}", self.stored[name])
            same = " AND ".join(f'n."{key}" IS NOT DISTINCT FROM h."{key}"' for key in table.key)
            view += f" UNION ALL SELECT NULL AS place, {columns} FROM held_{name} h WHERE NOT EXISTS (SELECT 1 FROM new_{name} n WHERE {same} AND {kept})"
        self.connection.execute(f'CREATE OR REPLACE VIEW "{name}" AS {view}')

    def drop(self, name: str, rows: np.ndarray) -> None:
        """Leave these rows of a table (a mask) out of its view from now on."""
        self._left_out[name] = self.dropped(name) | rows
        self.stage(name)

    def dropped(self, name: str) -> np.ndarray:
        """Which rows of a table were left out as repeats (a mask)."""
        return self._left_out.get(name, np.zeros(self.log.rows(name), dtype=bool))

    def leave_out(self, bad: dict[str, np.ndarray]) -> None:
        """Leave rows with errors out as well, and make what is derived from them anew."""
        repeats = dict(self._left_out)
        for name in schemas.stored_tables():
            self._left_out[name] = repeats.get(name, False) | bad[name]
            self.stage(name)
        self._left_out = repeats
        self.prepare("staged.sql", "looks.sql")

    def sharing_a_key(self, name: str) -> np.ndarray:
        """Places of the rows of a table that share their key with another of its rows now checked."""
        if self.log.rows(name) < 2:
            return np.array([], dtype=np.int64)
        table = schemas.stored_tables()[name]
        key = ", ".join(f'"{column}"' for column in table.key)
        known = " AND ".join(f'"{column}" IS NOT NULL' for column in table.key if table.column(column).required or len(table.key) == 1)
        new = f'FROM "{name}" WHERE place IS NOT NULL AND {known}'
        rows, kinds = self.connection.execute(f"SELECT count(*), count(DISTINCT hash({key})) {new}").fetchall()[0]
        if rows == kinds:
            return np.array([], dtype=np.int64)
        found = self.connection.execute(f"SELECT unnest(places) FROM (SELECT list(place) AS places {new} GROUP BY {key} HAVING count(*) > 1)").fetchall()
        return np.array([place for (place,) in found], dtype=np.int64)

    def note_shared_keys(self, places: dict[str, np.ndarray]) -> None:
        """The table shared_keys (table_name, place): rows that differ under one key."""
        self.connection.register("shared_keys", pa.table({
            "table_name": pa.array([name for name, rows in places.items() for _ in rows], pa.string()),
            "place": pa.array([int(row) for rows in places.values() for row in rows], pa.int64()),
        }))

    def stage_written(self, name: str, frame: pd.DataFrame) -> None:
        """A further table of plain columns, such as the lines of the day sheet; ``place`` counts its rows unless it is a column."""
        plain = [column for column in frame.columns if not column.startswith("_")]
        table = pa.Table.from_pandas(frame[plain], preserve_index=False)
        self.connection.register(name, table if "place" in plain else table.append_column("place", pa.array(np.arange(len(frame), dtype=np.int64))))

    def find_dentures(self) -> None:
        """Fill denture_id in parts_log, denture_log and pull_tests where it was left out and one denture can be meant."""
        for name in ("parts_log", "denture_log", "pull_tests"):
            frame = self.log.frames[name]
            if not len(frame) or not frame["denture_id"].isna().any():
                continue
            sql = _script("denture_found.sql").replace("$table", name).replace("$position", "NULL" if name == "denture_log" else "t.position")
            found = self.connection.sql(sql).to_arrow_table()
            frame["denture_id"] = _filled(frame["denture_id"], found)
            self.stage(name)

    def breaches(self, rule: dict) -> pd.DataFrame:
        """What a rule finds: table_name, place, column_name, one row each, without doubles."""
        found = self.connection.execute(rule["sql"]).df()
        for name, default in (("table_name", rule.get("table", "")), ("column_name", rule.get("column", ""))):
            if name not in found:
                found[name] = default
        return found[["table_name", "place", "column_name"]].drop_duplicates()

    def close(self) -> None:
        """Let go of the database."""
        self.connection.close()


def arrow(frame: pd.DataFrame, columns: list[str]) -> pa.Table:
    """Columns of a typed frame for DuckDB, with ``place``."""
    out = pa.Table.from_pandas(frame[columns], preserve_index=False)
    return out.append_column("place", pa.array(np.arange(len(frame), dtype=np.int64)))


def _filled(column: pd.Series, found: pa.Table):
    """The column with the found denture of each place where it was left out."""
    index = np.full(len(column), -1, dtype=np.int64)
    index[found["place"].to_numpy()] = np.arange(found.num_rows)
    taken = found["denture_id"].combine_chunks().cast(pa.large_string()).take(pa.array(index, mask=index < 0))
    return pd.array(pc.coalesce(pa.array(column, type=pa.large_string()), taken), dtype="string[pyarrow]")


def _instruments() -> pa.Table:
    rows = [{"name": name, "items": body["items"], "minimum": float(body["minimum"]), "maximum": float(body["maximum"]), "reversed": body.get("reversed", [])} for name, body in schemas.instruments().items()]
    return pa.Table.from_pylist(rows, schema=pa.schema([("name", pa.string()), ("items", pa.int64()), ("minimum", pa.float64()), ("maximum", pa.float64()), ("reversed", pa.list_(pa.int64()))]))


def _script(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")
