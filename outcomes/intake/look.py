"""How every sheet of the workbook looks: its letters, colours, widths and headings."""

from __future__ import annotations

from outcomes import schemas

FONT = "Calibri"
INK, REQUIRED, OPTIONAL = "1F2A33", "C9DEE8", "EEF1F3"
COLOURS = {"error": "F2B8A6", "warning": "F7E3A1"}
COLOUR_WORDS = {"error": "red", "warning": "yellow"}
WIDTHS = {"text": 12, "date": 13, "code": 16, "positions": 16, "levels": 24, "phrases": 28, "number": 11, "whole": 11, "position": 10}
WIDER = {"reason": 14, "audit_consent": 17, "left_reason": 24, "snap_history": 17, "instrument": 20, "level": 16, "parts_checked": 15, "minutes": 9, "arch": 9, "clinician": 10, "visit_order": 8}


def heading(column: schemas.Column) -> str:
    """A column's name as a person reads it: spaces for underscores."""
    return column.name.replace("_", " ")


def head_cell(sheet, row: int, number: int, column: schemas.Column):
    """Write a heading as every sheet of the workbook shows it: bold and darker where it is needed."""
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

    cell = sheet.cell(row, number, heading(column))
    cell.font = Font(name=FONT, bold=column.required, color=INK)
    cell.fill = PatternFill("solid", fgColor=REQUIRED if column.required else OPTIONAL)
    cell.alignment = Alignment(wrap_text=True, vertical="center")
    cell.border = Border(bottom=Side(style="thin", color=INK))
    return cell


def width(column: schemas.Column) -> int:
    """How wide a column is, in letters."""
    return WIDER.get(column.name, WIDTHS[column.type])
