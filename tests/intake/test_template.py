"""The empty workbook opens, offers the codebook's words, and marks a broken rule."""

from __future__ import annotations

import subprocess

import pytest

from outcomes import schemas
from outcomes.intake.look import heading
from outcomes.intake.marks import LAST
from outcomes.intake.template import SHEETS, write_template


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
                cells = book["Lists"][book.defined_names[ranges[sheet.cell(1, number).column_letter]].attr_text.split("!")[1].replace("$", "")]
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


@pytest.mark.needs_office
def test_the_clinics_own_levels_are_offered_as_they_are_typed_without_gaps_and_unknown_after_them(workbook, tmp_path):
    from outcomes.intake import lists

    book = open_book(workbook)
    for row, level in ((2, "light"), (4, "firm"), (5, "medium plus")):
        book["Insert levels"].cell(row, 1, level)
    for title, letter in (("Day sheet", "N"), ("Set-up", "F")):
        (offered,) = [v.formula1 for v in book[title].data_validations.dataValidation if str(v.sqref).startswith(f"{letter}2:")]
        assert book.defined_names[offered].attr_text.startswith("OFFSET(Lists!$")
        book[title]["Z1"] = f"=ROWS({offered})"
        for at in range(5):
            book[title].cell(at + 2, 26, f'=IFERROR(INDEX({offered},{at + 1}),"")')
    book.save(tmp_path / "levels.xlsx")
    for form in ("ods", "xlsx"):
        kept = tmp_path / ("levels.xlsx" if form == "ods" else "levels.ods")
        subprocess.run(["soffice", "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", form, "--outdir", str(tmp_path), str(kept)], check=True, capture_output=True, timeout=120)
    again = open_values(tmp_path / "levels.xlsx")
    for title in ("Day sheet", "Set-up"):
        assert [cell.value or "" for cell in again[title]["Z"][:6]] == [4, "light", "firm", "medium plus", "unknown", ""]
    assert lists.SHEET in again.sheetnames


def open_values(path):
    from openpyxl import load_workbook

    return load_workbook(path, data_only=True)


@pytest.mark.needs_office
def test_through_another_program_and_back_nothing_is_lost(workbook, tmp_path):
    """xlsx to ods and back: every drop-down, every mark, and what was typed stay."""
    book = open_book(workbook)
    typed = {"A2": "0042", "B2": "2024-03", "B3": "2024-03-14", "K2": "33 43", "N2": "33:light 43:medium"}
    for cell, text in typed.items():
        book["Day sheet"][cell] = text
    book.save(tmp_path / "log.xlsx")
    for form, kept in (("ods", "log.xlsx"), ("xlsx", "log.ods"), ("pdf", "log.ods")):
        subprocess.run(["soffice", "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", form, "--outdir", str(tmp_path / "back" if form == "xlsx" else tmp_path), str(tmp_path / kept)],
                       check=True, capture_output=True, timeout=180)
    assert (tmp_path / "log.pdf").read_bytes().startswith(b"%PDF")
    before, after = open_book(tmp_path / "log.xlsx"), open_book(tmp_path / "back" / "log.xlsx")
    assert {cell: after["Day sheet"][cell].value for cell in typed} == typed
    for name in SHEETS:
        title = schemas.tables()[name].title
        # By way of its own form LibreOffice keeps a drop-down for about a thousand rows below the last one filled in.
        assert columns_with_drop_downs(before[title]) == columns_with_drop_downs(after[title], least=min(1000, LAST[name]))
        assert marked(before[title]) == marked(after[title])
        assert [cell.value for cell in after[title][1]] == [heading(column) for column in schemas.tables()[name].columns]
    assert after["Day sheet"]["A2"].number_format == "@" and after["Lists"].sheet_state == "hidden"


def columns_with_drop_downs(sheet, least: int = 1) -> set[int]:
    return {cells.min_col for v in sheet.data_validations.dataValidation for cells in v.sqref.ranges if cells.max_row - cells.min_row + 1 >= least - 10}


def marked(sheet) -> dict[str, int]:
    return {str(found.sqref): len(found.rules) for found in sheet.conditional_formatting}


def test_the_same_version_writes_the_same_bytes(workbook, tmp_path):
    write_template(tmp_path / "again.xlsx")
    assert (tmp_path / "again.xlsx").read_bytes() == workbook.read_bytes()


def test_the_examples_are_marked_as_such_and_never_loaded(workbook):
    from outcomes import intake
    from outcomes.intake import key_sheet

    book = open_book(workbook)
    assert "never loaded" in book[key_sheet.EXAMPLES]["A1"].value
    words = {str(cell.value) for row in book[key_sheet.EXAMPLES].iter_rows() for cell in row if cell.value}
    assert {"P0042", "33 43", "43 tightened"} <= words
    checked = intake.check([workbook])
    assert sum(len(frame) for frame in checked.tables.values()) == 0 and list(checked.problems["rule"]) == ["empty"]
    assert not any("Examples" in sentence for sentence in checked.decisions)


def test_the_key_gives_each_word_its_meaning_and_each_colour_its_reason(workbook):
    from outcomes.intake import key_sheet

    lines = [[cell.value for cell in row] for row in open_book(workbook)[key_sheet.KEY].iter_rows()]
    for name in SHEETS:
        for column in schemas.tables()[name].columns:
            for code in column.code_list:
                assert any(line[1] == code and line[2] == schemas.codebook()[column.codes]["codes"][code] for line in lines)
    assert {line[3] for line in lines} >= {"red", "yellow"}


def test_no_rule_of_a_cell_is_too_long_for_a_spreadsheet_program(workbook):
    # a data validation holds at most 255 characters, a formula 8,192: Microsoft, "Excel specifications and limits"; the first from memory
    book = open_book(workbook)
    for sheet in book:
        assert all(len(v.formula1) <= 255 and len(v.error or "") <= 225 for v in sheet.data_validations.dataValidation)
        assert all(len(rule.formula[0]) <= 8192 and "{" not in rule.formula[0] for found in sheet.conditional_formatting for rule in found.rules)
