"""From a faulty workbook over its marked copy to a loaded log, as the assistant does it."""

from __future__ import annotations

from openpyxl import load_workbook

from outcomes.cli import main
from outcomes.intake import key_sheet
from outcomes.intake.look import heading
from outcomes.intake.template import SHEETS
from outcomes.schemas import tables


def workbook(path) -> None:
    """The template's own examples typed into its sheets, with the visits' snap misspelt and one patient's number mistyped."""
    assert main(["template", "--out", str(path)]) == 0
    book = load_workbook(path)
    for name in SHEETS:
        sheet = book[tables()[name].title]
        places = {heading(column): at for at, column in enumerate(tables()[name].columns, 1)}
        for row, line in enumerate(key_sheet.LINES[name], 2):
            for column, value in line.items():
                sheet.cell(row, places[column.replace("_", " ")], value)
    for row in (3, 4):
        book["Day sheet"].cell(row, 9, "justright")
    book["Questionnaires"].cell(2, 1, "P0024")
    book.save(path)


def test_what_the_marked_copy_lists_is_mended_there_and_the_copy_loads_without_its_list(tmp_path, capsys):
    path, copy, store = tmp_path / "clinic_log.xlsx", tmp_path / "marked.xlsx", tmp_path / "clinic.duckdb"
    workbook(path)
    assert main(["check", str(path), "--marked", str(copy), "--quiet"]) == 1
    said = capsys.readouterr().out.splitlines()
    assert any(line.startswith("2 cells: a word that is not in the list (Day sheet, snap), first at clinic_log.xlsx, Day sheet!I3, then I4.") for line in said)
    assert not any("justright" in line or "P0024" in line for line in said)
    book = load_workbook(copy)
    assert book.sheetnames[0] == "To do"
    for row in book["To do"].iter_rows(min_row=2):
        title, _, place = row[2].hyperlink.location.rpartition("!")
        cell = book[title.strip("'")][place]
        cell.value = "just right" if cell.value == "justright" else "P0042" if cell.value == "P0024" else cell.value
        row[0].value = "done"
    book.save(copy)
    assert main(["load", str(copy), "--store", str(store), "--quiet"]) == 0, capsys.readouterr()
    from outcomes.store import open_store

    with open_store(store, read_only=True) as opened:
        assert opened.connection.execute("SELECT count(*) FROM visits").fetchone() == (len(key_sheet.LINES["day_sheet"]),)
        assert opened.connection.execute("SELECT count(*) FROM patients").fetchone() == (1,)
