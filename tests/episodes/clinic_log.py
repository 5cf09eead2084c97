"""Small logs written in a test: rows by table, what is not given is empty, as a clinic would leave it."""

from __future__ import annotations

import datetime

import duckdb
import pyarrow as pa

from outcomes import schemas
from outcomes.episodes import build
from outcomes.plan import read_plan

ARROW = {"VARCHAR": pa.string(), "DATE": pa.date32(), "DOUBLE": pa.float64(), "INTEGER": pa.int32()}
SOURCES = ("patients", "dentures", "implants", "insert_levels", "visits", "parts_log", "denture_log")


def day(text: str | None) -> tuple[datetime.date | None, str | None]:
    """First possible day and precision of a date as a clinic writes it."""
    if not text:
        return None, None
    if text == "not known":
        return None, "not known"
    parts = [int(part) for part in text.split("-")]
    return datetime.date(*parts, *[1] * (3 - len(parts))), {1: "year", 2: "month", 3: "day"}[len(parts)]


def connect(tables: dict[str, list[dict]] | None = None) -> duckdb.DuckDBPyConnection:
    """A database in memory with the declared tables and these rows; dates given as text are split into day and precision."""
    connection = duckdb.connect()
    connection.execute("SET threads = 2")
    connection.execute("SET python_enable_replacements = false")
    for name in SOURCES:
        columns = dict(schemas.stored_tables()[name].stored_columns)
        connection.execute(f"CREATE TABLE {name} ({', '.join(f'{quoted(c)} {kind}' for c, kind in columns.items())})")
        rows = []
        for row in (tables or {}).get(name, ()):
            unknown = set(row) - set(columns)
            assert not unknown, f"{name} has no column {unknown}"
            full = dict.fromkeys(columns) | row
            for column in columns:
                if column + "_precision" in columns and isinstance(full[column], str):
                    full[column], full[column + "_precision"] = day(full[column])
            rows.append(full)
        if rows:
            connection.register("rows_given", pa.Table.from_pylist(rows, pa.schema([(column, ARROW[kind]) for column, kind in columns.items()])))
            connection.execute(f"INSERT INTO {name} SELECT * FROM rows_given")
            connection.unregister("rows_given")
    return connection


def quoted(name: str) -> str:
    return f'"{name}"'


class Clinic:
    """One patient's log, written visit by visit, and what the build makes of it."""

    def __init__(self, **patient):
        self.tables = {name: [] for name in SOURCES}
        self.tables["insert_levels"] = [{"level": "light", "system": "A", "retention": 6.7, "unit": "N"}, {"level": "firm", "system": "A", "retention": 12.0, "unit": "N"}]
        self.patient(**patient)

    def patient(self, name: str = "P1", *, delivered: str = "2020-01-01", arch: str = "lower", denture: dict | None = None, **more) -> Clinic:
        self.name = name
        self.tables["patients"].append({"patient_id": name, "audit_consent": "yes"} | more)
        if delivered:
            self.denture(delivered, arch=arch, **(denture or {}))
        return self

    def denture(self, delivered: str, *, arch: str = "lower", **more) -> Clinic:
        count = sum(row["patient_id"] == self.name and row["arch"] == arch for row in self.tables["dentures"]) + 1
        self.in_use = f"{self.name}/{arch}/{count}"
        self.tables["dentures"].append({"denture_id": self.in_use, "patient_id": self.name, "arch": arch, "delivered_on": delivered, "use": "everyday"} | more)
        return self

    def visit(self, on: str, reason: str = "recall", *parts: tuple, checked: str = "listed only", denture_rows: tuple = (), **more) -> Clinic:
        """One visit; each part row is (position, part, finding, action, then other columns as a dict)."""
        visit_id = f"{self.name}/{on}/{len(self.tables['visits'])}"
        self.tables["visits"].append({"visit_id": visit_id, "patient_id": self.name, "visited_on": on, "reason": reason, "parts_checked": checked} | more)
        for position, part, finding, action, *rest in parts:
            row = {"visit_id": visit_id, "denture_id": self.in_use, "position": position, "part": part, "finding": finding, "action": action}
            self.tables["parts_log"].append(row | (rest[0] if rest else {}))
        for finding, action in denture_rows:
            self.tables["denture_log"].append({"visit_id": visit_id, "denture_id": self.in_use, "finding": finding, "action": action})
        return self

    def fit(self, on: str = "2020-01-01", positions: tuple[str, ...] = ("33",), reason: str = "delivery", level: str = "light", parts=("abutment", "housing", "insert"), **more) -> Clinic:
        """The delivery: abutment, housing and insert at each position."""
        rows = [(position, part, "not present", "fitted", {"attachment": "stud"} | ({"level": level} if part == "insert" else {})) for position in positions for part in parts]
        return self.visit(on, reason, *rows, checked="all", **more)

    def build(self, *, endpoints=None, under_care=False, **rules):
        plan = read_plan()
        body = {key: dict(value) if isinstance(value, dict) else value for key, value in plan.items()}
        for key, value in rules.items():
            section = next(name for name in ("rules", "audit", "recall") if key in body[name])
            body[section][key] = value
        connection = connect(self.tables)
        built = build(connection, body, endpoints=endpoints, under_care=under_care)
        return Derived(connection, built)


class Derived:
    """The derived tables as dicts, in a fixed order."""

    def __init__(self, connection, built):
        self.connection, self.built = connection, built

    def rows(self, sql: str, *values) -> list[dict]:
        cursor = self.connection.execute(sql, list(values))
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]

    def episodes(self, part: str = "insert", position: str = "33") -> list[dict]:
        return self.rows("SELECT * FROM episodes WHERE part = ? AND position = ? ORDER BY patient_id, denture_id, serial", part, position)

    def times(self, endpoint: str, table: str = "endpoint_times") -> list[dict]:
        return self.rows(f"SELECT * FROM {table} WHERE endpoint = ? ORDER BY patient_id, denture_id, position, serial", endpoint)

    def time(self, endpoint: str, serial: int = 1, position: str | None = "33", table: str = "endpoint_times") -> dict:
        found = [row for row in self.times(endpoint, table) if row["serial"] == serial and (position is None or row["position"] in (position, None))]
        assert len(found) == 1, found
        return found[0]
