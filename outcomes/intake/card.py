"""A sheet to print: the clinic's own satisfaction card, two to a page. Only wording of our own; a licensed form's is never kept."""

from __future__ import annotations

SHEET, TITLE = "Card to print", "Satisfaction card"  # a sheet named like the instrument would be read as its answers
QUESTION = "All in all, how content are you with your denture as it is today?"
HINT = "Put one cross on the line, wherever it fits best."
ENDS = ("0\nnot content at all", "100\ncould not be better")
ABOUT = ("lower denture", "upper denture", "the mouth as a whole")
STEPS = 20  # cells along the line: 5 points each, ticks at every 10
WIDTH = 3.6  # of a cell, in characters: together they fill the page between its margins
FONT, INK, QUIET = "Calibri", "1F2A33", "5F6B73"


def card(book) -> None:
    """Add the sheet to a workbook: two cards with a cutting line between, and below each what to type where."""
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(SHEET)
    for column in range(1, STEPS + 3):
        sheet.column_dimensions[get_column_letter(column)].width = WIDTH
    last = _one(sheet, 1)
    _cut(sheet, last + 1)
    last = _one(sheet, last + 3)
    sheet.sheet_view.showGridLines = False
    sheet.print_area = f"A1:{get_column_letter(STEPS + 2)}{last}"
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "portrait", sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth = sheet.page_setup.fitToHeight = 1
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_options.horizontalCentered = True


def _one(sheet, top: int) -> int:
    """One card from row ``top``; returns its last row."""
    from openpyxl.styles import Border, Side

    rows = iter(range(top, top + 20))
    _text(sheet, next(rows), TITLE, 16, bold=True, high=26)
    _text(sheet, next(rows), "Number: ____________      Day: ____ - __ - __      ☐ filled in alone      ☐ with help", 11, high=30)
    _text(sheet, next(rows), "About:   " + "      ".join(f"☐ {what}" for what in ABOUT), 11, high=24)
    _text(sheet, next(rows), QUESTION, 15, bold=True, high=44)
    _text(sheet, next(rows), HINT, 12, high=26)
    ticks, line, numbers, ends = next(rows), next(rows), next(rows), next(rows)
    thick, thin = Side(style="medium", color=INK), Side(style="thin", color=INK)
    for step in range(STEPS):
        sheet.cell(ticks, step + 2).border = Border(bottom=thick, left=thick if step == 0 else thin if step % 2 == 0 else None, right=thick if step == STEPS - 1 else None)
        sheet.cell(line, step + 2).border = Border(top=thick, left=thick if step == 0 else thin if step % 2 == 0 else None, right=thick if step == STEPS - 1 else None)
    sheet.row_dimensions[ticks].height = sheet.row_dimensions[line].height = 14
    for ten in range(1, 10):
        _text(sheet, numbers, str(ten * 10), 9, colour=QUIET, first=2 * ten + 1, last=2 * ten + 2, align="center", high=16)
    half = STEPS // 2 + 1
    _text(sheet, ends, ENDS[0], 11, first=1, last=half, high=34)
    _text(sheet, ends, ENDS[1], 11, first=half + 1, last=STEPS + 2, align="right", high=34)
    note = next(rows)
    _text(sheet, note, "For the practice: read the cross off as a number from 0 to 100 and type it under Questionnaires: instrument satisfaction_card, item 1, the number under response. Two crosses or none: type nothing.", 9, colour=QUIET, high=34)
    return note


def _text(sheet, row: int, text: str, size: int, *, bold: bool = False, colour: str = INK, first: int = 1, last: int = STEPS + 2, align: str = "left", high: float = 18) -> None:
    from openpyxl.styles import Alignment, Font

    sheet.merge_cells(start_row=row, start_column=first, end_row=row, end_column=last)
    cell = sheet.cell(row, first, text)
    cell.font, cell.number_format = Font(name=FONT, size=size, bold=bold, color=colour), "@"
    cell.alignment = Alignment(horizontal=align, vertical="center", wrap_text=True)
    sheet.row_dimensions[row].height = high


def _cut(sheet, row: int) -> None:
    """A dashed line to cut along."""
    from openpyxl.styles import Border, Side

    for column in range(1, STEPS + 3):
        sheet.cell(row, column).border = Border(bottom=Side(style="dashed", color=QUIET))
    sheet.row_dimensions[row].height = sheet.row_dimensions[row + 1].height = 26
