"""The empty workbook opens, offers the codebook's words, and marks a broken rule."""

from __future__ import annotations

import subprocess

import pytest

from outcomes import schemas
from outcomes.intake.template import SHEETS, heading, write_template


@pytest.fixture(scope="module")
def workbook(tmp_path_factory):
    path = tmp_path_factory.mktemp("template") / "log.xlsx"
    write_template(path)
    return path


def open_book(path):
    from openpyxl import load_workbook

    return load_workbook(path)


def test_every_table_kept_by_hand_has_a_sheet_with_its_columns(workbook):
    book = open_book(workbook)
    for name in SHEETS:
        table = schemas.tables()[name]
        assert [cell.value for cell in book[table.title][1]] == [heading(column) for column in table.columns]


def test_each_coded_column_offers_exactly_the_codebooks_words(workbook):
    book = open_book(workbook)
    for name in SHEETS:
        table = schemas.tables()[name]
        sheet = book[table.title]
        ranges = {str(v.sqref).split(":")[0][:-1]: v.formula1 for v in sheet.data_validations.dataValidation if v.type == "list"}
        for number, column in enumerate(table.columns, 1):
            if column.codes:
                cells = book["Lists"][ranges[sheet.cell(1, number).column_letter].split("!")[1].replace("$", "")]
                assert tuple(cell.value for (cell,) in cells) == column.code_list


def test_pseudonyms_and_positions_stay_text_as_typed(workbook):
    sheet = open_book(workbook)["Day sheet"]
    assert sheet["A2"].number_format == "@"
    assert sheet["B2"].number_format == "@"  # a month typed as 2024-03 stays a month


def test_the_same_version_writes_the_same_sheets(workbook, tmp_path):
    import zipfile

    again = tmp_path / "again.xlsx"
    write_template(again)
    first, second = zipfile.ZipFile(workbook), zipfile.ZipFile(again)
    for name in first.namelist():
        if name.startswith("xl/worksheets"):
            assert first.read(name) == second.read(name)


@pytest.mark.needs_office
def test_it_opens_cleanly_and_keeps_its_drop_downs_in_another_spreadsheet_program(workbook, tmp_path):
    subprocess.run(["soffice", "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", "xlsx", "--outdir", str(tmp_path), str(workbook)],
                   check=True, capture_output=True, timeout=120)
    book = open_book(tmp_path / workbook.name)
    sheet = book["Day sheet"]
    assert [c.value for c in sheet[1]][:2] == ["patient", "date"]
    assert sum(v.type == "list" for v in sheet.data_validations.dataValidation) >= 9
    assert len(sheet.conditional_formatting) >= 5


def test_the_card_to_print_asks_one_question_of_our_own_on_a_line_from_0_to_100_and_is_never_read_as_answers(workbook):
    from outcomes import intake
    from outcomes.intake import card

    sheet = open_book(workbook)[card.SHEET]
    words = [str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value]
    assert words.count(card.QUESTION) == 2 and words.count("50") == 2 and sum("satisfaction_card, item 1" in word for word in words) == 2
    assert not set(intake.check([workbook]).problems["rule"]) & {"sheet not known", "column not known"}


def test_the_cards_wording_stands_nowhere_else():
    from pathlib import Path

    from outcomes.intake import card

    root = Path(__file__).resolve().parents[2]
    found = [path for folder in ("schemas", "outcomes", "analyses", "synthetic_data") for path in (root / folder).rglob("*") if path.suffix in (".py", ".toml", ".sql", ".html") and card.QUESTION in path.read_text(encoding="utf-8")]
    assert [path.name for path in found] == ["card.py"]
