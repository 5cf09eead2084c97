"""The empty workbook a clinic keeps its log in: drop-downs from the codebook and the clinic's own levels, marks that show a broken rule while typing."""

from __future__ import annotations

from pathlib import Path

from outcomes import schemas
from outcomes.intake import key_sheet, lists, spreadsheet, timeless
from outcomes.intake.card import card
from outcomes.intake.look import COLOUR_WORDS, COLOURS, FONT, INK, head_cell, heading, width
from outcomes.intake.marks import FIRST, LAST, Mark, Places, marks

SHEETS = ("day_sheet", "set_up", "patients", "insert_levels", "questionnaires")
STYLED = 300  # rows whose cells carry their format themselves


def write_template(path: str | Path) -> None:
    """Write the workbook to ``path`` (.xlsx): one sheet per table kept by hand, worked examples, a key, a card to print, and hidden lists.

    Every drop-down comes from the codebook; levels come from the workbook's own Insert levels sheet as it is filled in. Nothing
    is locked, so rows can be pasted and sorted. The same version writes the same bytes. Raises OSError where the file cannot be written.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    book.properties.creator = "outcomes"
    references = lists.write(book)
    letters = {name: _letters(schemas.tables()[name]) for name in SHEETS}
    places = Places(letters, references)
    shown = marks(places, SHEETS)
    for name, reference in places.names.items():
        lists.named(book, name, reference)
    for name in SHEETS:
        own = [mark for mark in shown if mark.table == name]
        _sheet(book, schemas.tables()[name], references, own)
        _coloured(book[schemas.tables()[name].title], letters[name], own)
    key_sheet.examples(book, SHEETS)
    key_sheet.key(book, SHEETS, shown)
    card(book)
    book.move_sheet(lists.SHEET, offset=len(book.sheetnames))
    book.active = 0
    timeless.save(book, path)


def _letters(table: schemas.Table) -> dict[str, str]:
    from openpyxl.utils import get_column_letter

    return {column.name: get_column_letter(number) for number, column in enumerate(table.columns, 1)}


def _sheet(book, table: schemas.Table, references: dict[str, str], own: list[Mark]) -> None:
    from openpyxl.styles import Font

    sheet = book.create_sheet(table.title)
    sheet.freeze_panes = "C2" if table.name in ("day_sheet", "set_up") else "B2"
    sheet.row_dimensions[1].height = 34
    for number, column in enumerate(table.columns, 1):
        cell = head_cell(sheet, 1, number, column)
        cell.comment = _note(column, [mark for mark in own if mark.column == column.name])
        letter = cell.column_letter
        # Text from the start, so that 0042 stays 0042, 33 43 stays as typed, and 2024-03 does not become the first of the month.
        # A column's own format holds for every cell below; the first rows have it of their own for programs that look at cells only.
        sheet.column_dimensions[letter].width = width(column)
        style = {"number": "General", "whole": "0"}.get(column.type, "@")
        sheet.column_dimensions[letter].number_format = style
        for row in range(FIRST, FIRST + STYLED):
            sheet.cell(row, number).number_format = style
        sheet.column_dimensions[letter].font = Font(name=FONT, color=INK)
        _validation(sheet, column, f"{letter}{FIRST}:{letter}{LAST[table.name]}", references)
    sheet.auto_filter.ref = f"A1:{sheet.cell(1, len(table.columns)).column_letter}{LAST[table.name]}"
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"
    sheet.print_options.gridLines = True
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = f"{table.title}: pseudonyms only", "page &P of &N"


def _note(column: schemas.Column, own: list[Mark]):
    """The note at a heading: what belongs there, an example, and when a cell turns colour."""
    from openpyxl.comments import Comment

    lines = [column.meaning[0].upper() + column.meaning[1:] + ".", ("Needed." if column.required else "May stay blank: not recorded.") + f" For example: {column.example}"]
    for severity in COLOURS:
        said = [mark.says for mark in own if mark.severity == severity]
        lines += [f"Turns {COLOUR_WORDS[severity]} where it " + "; ".join(said) + "."] if said else []
    text = "\n".join(lines)
    return Comment(text, "outcomes", width=340, height=40 + 18 * sum(1 + len(line) // 46 for line in lines))


def _validation(sheet, column: schemas.Column, cells: str, references: dict[str, str]) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    offered = _drop_down(column, references)
    x = cells.partition(":")[0]
    if offered:
        rule = DataValidation(type="list", formula1=offered, allow_blank=True, showErrorMessage=column.type == "code", errorTitle="Not one of the words",
                              error=f"Choose a word from the list for {heading(column)}, or leave the cell blank.")
    elif column.type in ("number", "whole") and column.minimum is not None and column.maximum is not None:
        # A custom rule rather than one for numbers: 6,7 is a number here whatever mark the program uses itself.
        number = spreadsheet.number(x)
        rule = DataValidation(type="custom", formula1=f"IFERROR(AND({number}>={column.minimum:g},{number}<={column.maximum:g}),FALSE)", allow_blank=True, showErrorMessage=True,
                              errorTitle="Not possible", error=f"{heading(column)} is a number from {column.minimum:g} to {column.maximum:g}{' ' + column.unit if column.unit else ''}, without its unit.")
    else:
        return
    rule.errorStyle = "stop"
    sheet.add_data_validation(rule)
    rule.add(cells)


def _drop_down(column: schemas.Column, references: dict[str, str]) -> str | None:
    if column.codes:
        return references[column.codes]
    if column.references == "insert_levels.level" or column.type == "levels":
        return references["levels"]
    if column.name == "instrument":
        return references["instruments"]
    if column.type == "position":
        return references["positions"]
    if column.words:
        return '"' + ",".join(column.words) + '"'
    if column.type == "phrases":
        return references["fine_or_done"] if column.part == "denture" else '"fine"'
    return None


def _coloured(sheet, letters: dict[str, str], own: list[Mark]) -> None:
    """The marks as conditional formats, errors before warnings so that an error's colour is the one seen."""
    from openpyxl.formatting.rule import FormulaRule
    from openpyxl.styles import PatternFill

    fills = {severity: PatternFill("solid", bgColor=colour) for severity, colour in COLOURS.items()}
    for mark in own:
        letter = letters[mark.column]
        sheet.conditional_formatting.add(f"{letter}{FIRST}:{letter}{LAST[mark.table]}", FormulaRule(formula=[mark.formula], fill=fills[mark.severity], stopIfTrue=mark.severity == "error"))
