"""HTML, SQL and formulas typed into cells stay the text they are: through check, load, the page, the lists and the export, and back again."""

from __future__ import annotations

import csv
import re

from openpyxl import load_workbook

from outcomes.cli import main
from outcomes.store import open_store

LEVELS = {"html": "<script>alert(1)</script>", "image": "<img src=x onerror=alert(1)>", "sql": "x'); DROP TABLE kept.visits; --", "formula": '=HYPERLINK("http://x.example","y")',
          "dde": "=cmd|' /C calc'!A0", "plus": "+light", "apostrophe": "'=1+1", "full width": "＝1+1", "template": "{{ 7 * 7 }}"}


def written(clinic):
    people = [{"patient_id": f"P{n}", "audit_consent": "yes"} for n in range(len(LEVELS))]
    levels = [{"level": word if word[0] != "'" else "'" + word, "system": "A", "retention": "6.7", "unit": "N"} for word in LEVELS.values()]  # a text of one's own with an apostrophe is typed with two
    sets = [{"patient": f"P{n}", "arch": "lower", "position": position, "fitted_on": "2021-05-04", "attachment": "stud", "level": one["level"]} for n, one in enumerate(levels) for position in ("33", "43")]
    lines = [{"patient": f"P{n}", "date": day, "reason": reason, "parts_checked": "all", "snap": "just right"} for n in range(len(LEVELS)) for day, reason in (("2021-05-04", "delivery"), ("2022-05-04", "recall"))]
    return clinic.csv({"patients": people, "insert_levels": levels, "set_up": sets, "day_sheet": lines})


def held(store) -> set[str]:
    with open_store(store) as kept:
        return {level for (level,) in kept.connection.execute("SELECT DISTINCT level FROM parts_log WHERE level IS NOT NULL").fetchall()}


def test_hostile_words_stay_words_from_the_file_to_the_page_and_back(clinic):
    store, out, page = clinic.folder / "clinic.duckdb", clinic.folder / "out", clinic.folder / "page"
    assert main(["load", *map(str, written(clinic)), "--store", str(store), "--quiet"]) == 0
    assert held(store) == set(LEVELS.values())
    assert main(["report", "clinic_audit", "--store", str(store), "--out", str(page), "--quiet"]) == 0
    html = (page / "index.html").read_text(encoding="utf-8")
    assert "<script>alert" not in html and "<img src=x" not in html and "onerror=alert(1)>" not in html.replace("&gt;", "")
    for path in page.rglob("*.svg"):
        assert "<script>alert" not in path.read_text(encoding="utf-8")
    for path in (page / "tables").glob("*.csv"):
        harmless(path)
    assert main(["export", "--store", str(store), "--out", str(out), "--quiet"]) == 0
    for path in out.rglob("*.csv"):
        harmless(path)
    again = clinic.folder / "again.duckdb"
    assert main(["load", *(str(path) for path in out.glob("*.csv")), "--store", str(again), "--quiet"]) == 0
    assert held(again) == set(LEVELS.values())


def harmless(path) -> None:
    """No text cell of a CSV file starts like a formula; typed numbers may have their sign."""
    with open(path, encoding="utf-8-sig", newline="") as file:
        for row in csv.reader(file):
            for cell in row:
                assert not re.match(r"[\s\u3000]*[=+\-@＝＋－＠\t\r]", cell) or re.fullmatch(r"-?\d+(\.\d+)?(e[+-]?\d+)?", cell), (path.name, cell)


def test_hostile_words_in_cells_that_are_wrong_stay_words_in_what_goes_back(clinic):
    rows = [{"patient_id": f"P{n}", "audit_consent": word} for n, word in enumerate(LEVELS.values())]
    path = clinic.workbook({"patients": [{"patient_id": "P99", "audit_consent": "yes"}]})
    book = load_workbook(path)
    for row in rows:
        book["Patients"].append([row["patient_id"], None])
        cell = book["Patients"].cell(book["Patients"].max_row, 2, row["audit_consent"])
        cell.data_type = "s"  # typed as text, with the apostrophe that a spreadsheet hides
    book.save(path)
    problems, marked = clinic.folder / "problems.csv", clinic.folder / "marked.xlsx"
    assert main(["check", str(path), "--problems", str(problems), "--marked", str(marked), "--quiet"]) == 1
    harmless(problems)
    for sheet in load_workbook(marked).worksheets:
        for cells in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in cells), sheet.title
