"""A small clinic as checked frames, made by hand so that the store's tests need no intake."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd
import pytest

from outcomes import schemas

DAY = pd.Timestamp


@dataclass
class Source:
    name: str
    sha256: str = "0" * 64
    kind: str = "csv"
    decisions: list[str] = field(default_factory=list)
    rows: int = 0


@dataclass
class Checked:
    tables: dict[str, pd.DataFrame]
    sources: list[Source]
    error_count: int = 0
    warning_count: int = 0


def frame(table: str, rows: list[dict], file: int = 0, sheet: str = "") -> pd.DataFrame:
    """Rows as intake hands them on: every stored column, dates with precision, file, sheet and line."""
    declared = schemas.stored_tables()[table]
    out = pd.DataFrame([{name: row.get(name) for name, _ in declared.stored_columns} for row in rows], columns=[name for name, _ in declared.stored_columns])
    for column in declared.columns:
        if column.type == "date":
            out[column.name] = pd.to_datetime(out[column.name]).astype("datetime64[s]")
            given = out[column.name].notna() & out[column.name + "_precision"].isna()
            out.loc[given, column.name + "_precision"] = "day"
        elif column.type == "number":
            out[column.name] = out[column.name].astype(float)
    out["_file"], out["_sheet"], out["_line"] = file, sheet, range(2, len(rows) + 2)
    return out


PATIENTS = [{"patient_id": "0042", "birth_year": 1948, "audit_consent": "yes"}, {"patient_id": "P2", "audit_consent": "yes", "left_on": DAY("2024-03-01"), "left_on_precision": "month", "left_reason": "moved"}]
DENTURES = [{"denture_id": f"{p}/lower/1", "patient_id": p, "arch": "lower", "delivered_on": DAY("2022-03-01")} for p in ("0042", "P2")]
LEVELS = [{"level": "light", "system": "A", "retention": 6.7, "unit": "N"}]
VISITS = [{"visit_id": f"{p}/{day}", "patient_id": p, "visited_on": DAY(day), "reason": reason, "parts_checked": "all", "minutes": 20.0}
          for p in ("0042", "P2") for day, reason in (("2022-03-01", "delivery"), ("2023-03-02", "recall"))]
PARTS = [{"visit_id": v["visit_id"], "denture_id": v["patient_id"] + "/lower/1", "position": position, "part": "insert",
          "finding": "not present" if v["reason"] == "delivery" else "sound", "action": "fitted" if v["reason"] == "delivery" else "none",
          "level": "light" if v["reason"] == "delivery" else None} for v in VISITS for position in ("33", "43")]
PULLS = [{"visit_id": "0042/2023-03-02", "denture_id": "0042/lower/1", "position": None, "force_n": 7.5}]


@pytest.fixture
def clinic():
    """``clinic()`` is one workbook; a keyword replaces a table's rows, ``file`` names it."""

    def make(file: str = "log.xlsx", sha256: str = "a" * 64, **changed) -> Checked:
        rows = {"patients": PATIENTS, "dentures": DENTURES, "insert_levels": LEVELS, "visits": VISITS, "parts_log": PARTS, "pull_tests": PULLS, **changed}
        return Checked({name: frame(name, lines, sheet=schemas.tables()[name].title) for name, lines in rows.items() if lines is not None}, [Source(file, sha256, "xlsx")])

    return make


@pytest.fixture
def several():
    """``several({file: {table: rows}})`` is a load of several files."""

    def make(files: dict[str, dict[str, list[dict]]]) -> Checked:
        lines: dict[str, list[dict]] = {}
        places: dict[str, list[int]] = {}
        for place, content in enumerate(files.values()):
            for table, rows in content.items():
                lines.setdefault(table, []).extend(rows)
                places.setdefault(table, []).extend([place] * len(rows))
        tables = {name: frame(name, rows).assign(_file=places[name], _line=pd.Series(places[name], dtype=int).groupby(places[name]).cumcount() + 2) for name, rows in lines.items()}
        return Checked(tables, [Source(name, "b" * 64) for name in files])

    return make


@pytest.fixture
def rows_of_the_clinic():
    return {"patients": PATIENTS, "dentures": DENTURES, "insert_levels": LEVELS, "visits": VISITS, "parts_log": PARTS, "pull_tests": PULLS}


@pytest.fixture
def path(tmp_path):
    return tmp_path / "clinic.duckdb"


@pytest.fixture
def store(path):
    from outcomes.store import open_store

    with open_store(path, create=True) as opened:
        yield opened
        if opened._connection is not None:
            assert opened.verify() == []


@pytest.fixture
def many(clinic, rows_of_the_clinic):
    """A log of 24,000 part rows."""
    visits = [{**rows_of_the_clinic["visits"][0], "visit_id": f"0042/{n}", "minutes": float(n)} for n in range(2000)]
    parts = [{"visit_id": f"0042/{n}", "denture_id": "0042/lower/1", "position": position, "part": part, "finding": "sound", "action": "none", "torque_ncm": (n * 7919 % 9973) / 100}
             for n in range(2000) for position in ("31", "33", "41", "43") for part in ("abutment", "housing", "insert")]
    return clinic(file="years.xlsx", visits=visits, parts_log=parts, pull_tests=None)
