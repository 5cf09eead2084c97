"""Small logs as files: rows given as dicts, written as CSV or as a workbook."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import pytest

from outcomes import intake, schemas

TODAY = date(2026, 1, 1)
PATIENT = {"patient_id": "P1", "audit_consent": "yes"}
LEVEL = {"level": "light", "system": "A", "retention": "6.7", "unit": "N"}


class Clinic:
    """Writes small logs into one folder and checks them on a fixed day."""

    def __init__(self, folder: Path):
        self.folder = folder

    def csv(self, tables: dict[str, list[dict]], *, separator: str = ",", encoding: str = "utf-8") -> list[Path]:
        """One CSV file for each table; returns their paths."""
        paths = []
        for name, rows in tables.items():
            columns = list(dict.fromkeys(key for row in rows for key in row))
            path = self.folder / f"{name}.csv"
            with open(path, "w", newline="", encoding=encoding) as file:
                writer = csv.DictWriter(file, columns, delimiter=separator)
                writer.writeheader()
                writer.writerows(rows)
            paths.append(path)
        return paths

    def text(self, name: str, content: str | bytes) -> Path:
        """A file with just this content."""
        path = self.folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    def workbook(self, tables: dict[str, list[dict]], name: str = "clinic.xlsx") -> Path:
        """One workbook with a sheet for each table, titled as people see it; values keep their kind."""
        from openpyxl import Workbook

        book = Workbook()
        book.remove(book.active)
        for table, rows in tables.items():
            sheet = book.create_sheet(schemas.tables()[table].title if table in schemas.tables() else table)
            columns = list(dict.fromkeys(key for row in rows for key in row))
            sheet.append(columns)
            for row in rows:
                sheet.append([row.get(column) for column in columns])
        book.save(self.folder / name)
        return self.folder / name

    def check(self, tables, **options):
        """Check tables given as rows, or files given as paths."""
        store = options.pop("store", None)
        paths = self.csv(tables) if isinstance(tables, dict) else tables
        return intake.check(paths, options=intake.Options(**options), store=store, today=TODAY)


def line(date: str, reason: str = "recall", **cells) -> dict:
    """A day-sheet line of patient P1 on which all parts were checked and the snap is just right, unless told otherwise."""
    return {"patient": "P1", "date": date, "reason": reason, "parts_checked": "all", "snap": "just right", **cells}


def pair(fitted_on: str = "2021-05-04", **cells) -> list[dict]:
    """Set-up lines of a pair of low studs at 33 and 43."""
    return [{"patient": "P1", "arch": "lower", "position": position, "fitted_on": fitted_on, "attachment": "stud", "level": "light", **cells} for position in ("33", "43")]


@pytest.fixture
def clinic(tmp_path) -> Clinic:
    return Clinic(tmp_path)


@pytest.fixture
def sheet(clinic):
    """Checks day-sheet lines with their set-up, and gives back what came of it; further tables by name."""

    def run(*lines, sets=None, **tables):
        given = {"patients": [PATIENT], "insert_levels": [LEVEL], "set_up": pair() if sets is None else sets, "day_sheet": list(lines), **tables}
        return clinic.check({name: rows for name, rows in given.items() if rows})

    run.line, run.pair = line, pair
    return run
