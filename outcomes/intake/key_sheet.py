"""The sheets of the workbook that explain it: worked examples, and a key to every column, colour and word. Neither is ever read as data."""

from __future__ import annotations

from outcomes import schemas
from outcomes.intake.look import COLOUR_WORDS, COLOURS, FONT, INK, OPTIONAL, head_cell, heading, width
from outcomes.intake.marks import Mark

KEY, EXAMPLES = "Key", "Examples"
QUIET = "5F6B73"
WIDTHS = (24, 24, 100, 26)  # of the key's columns, in letters

# One patient's first three years, so that the sheets can be compared: a fitting, a review, a recall with nothing wrong, a change of both
# inserts, and a housing picked up again. A check of just these lines finds no problem.
LINES = {
    "day_sheet": [
        {"patient": "P0042", "date": "2024-03-14", "reason": "delivery", "seen_by": "dentist", "minutes": 45, "parts_checked": "all", "snap": "just right"},
        {"patient": "P0042", "date": "2024-03-21", "reason": "review", "seen_by": "dentist", "minutes": 10, "parts_checked": "all", "snap": "just right", "inserts_changed": "none"},
        {"patient": "P0042", "date": "2025-03-13", "reason": "recall", "seen_by": "hygienist", "minutes": 15, "parts_checked": "all", "snap": "just right", "inserts_changed": "none"},
        {"patient": "P0042", "date": "2026-02-05", "reason": "problem", "seen_by": "dentist", "clinician": "A", "minutes": 20, "parts_checked": "all", "snap": "a bit loose", "snap_history": "was right before",
         "inserts_changed": "33 43", "why": "worn", "worn_at": "33", "level_now": "medium", "housings": "fine", "abutments": "43 tightened", "denture": "fine", "snap_lost": "2026-01"},
        {"patient": "P0042", "date": "2026-06-18", "reason": "problem", "seen_by": "dentist", "minutes": 30, "parts_checked": "all", "snap": "far too loose", "inserts_changed": "none",
         "housings": "33 picked up again", "denture": "adjusted", "snap_lost": "2026-06-15"},
    ],
    "set_up": [
        {"patient": "P0042", "arch": "lower", "position": "33", "fitted_on": "2024-03-14", "attachment": "stud", "level": "light", "height_mm": 3, "torque_ncm": 25, "pick_up": "chairside", "divergence_deg": 8},
        {"patient": "P0042", "arch": "lower", "position": "43", "fitted_on": "2024-03-14", "attachment": "stud", "level": "light", "height_mm": 3, "torque_ncm": 25, "pick_up": "chairside", "divergence_deg": 5},
    ],
    "patients": [{"patient_id": "P0042", "birth_year": 1948, "sex": "female", "audit_consent": "yes", "bruxism": "no"}],
    "insert_levels": [{"level": "light", "system": "A", "retention": 6.7, "unit": "N", "kind": "final"}, {"level": "medium", "system": "A", "retention": 12, "unit": "N", "kind": "final"}],
    "questionnaires": [{"patient_id": "P0042", "answered_on": "2024-03-21", "occasion": "week 1", "about": "lower", "instrument": "satisfaction_card", "item": 1, "response": 85, "filled_by": "patient"}],
}
SAID = {
    "day_sheet": ("The fitting: one line here, and one in Set-up for each position.", "A review with nothing wrong.", "A recall with nothing wrong: worth as much as a repair.",
                  "Both inserts changed because the one at 33 was worn; 43 was changed with its pair.", "A housing came loose and was picked up again; the patient noticed it three days before."),
}

HOW = (
    ("Every visit", "One line for each denture seen, also when nothing was wrong: a recall with nothing wrong is worth as much as a repair."),
    ("Patients", "Pseudonyms only. No names, birth dates, telephone numbers or addresses, in any cell."),
    ("Dates", "2024-03-14, or as precise as known: 2024-03, 2024, not known. The cells hold text, so that a date stays as it was typed."),
    ("Numbers", "6,7 or 6.7, as you write them elsewhere; without the unit."),
    ("Positions", "Two digits of ISO 3950, such as 33 43; several with a blank between. A bar between two sites: 33-43."),
    ("Levels", "Write your own words for the inserts once in Insert levels; the other sheets then offer them."),
    ("Blank cells", "A blank cell means not recorded. It never means fine."),
    ("Headings", "Dark headings are needed. Rest the pointer on a heading to read what belongs there."),
    ("Colours", "Red: a rule is broken, the line would be kept out. Yellow: worth a second look. The table below names each."),
    ("Pasting", "Paste values only (paste special, text): the drop-downs and colours then stay. Rows may be sorted, moved and taken out."),
)


def examples(book, names: tuple[str, ...]) -> None:
    """Add the sheet of worked examples: lines as they would stand in each sheet, in the columns of each sheet."""
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

    sheet = book.create_sheet(EXAMPLES)
    plain, quiet = Font(name=FONT, color=INK), Font(name=FONT, italic=True, color=QUIET)
    banner = sheet.cell(1, 1, "Examples, never loaded: this sheet only shows how lines look in the other sheets.")
    banner.font = Font(name=FONT, bold=True, size=14, color=INK)
    for column in range(1, len(schemas.tables()["day_sheet"].columns) + 2):
        sheet.cell(1, column).fill = PatternFill("solid", fgColor="E4E0F0")
    row = 3
    for name in names:
        table = schemas.tables()[name]
        sheet.cell(row, 1, table.title).font = Font(name=FONT, bold=True, color=INK)
        for number, column in enumerate(table.columns, 1):
            head_cell(sheet, row + 1, number, column)
        sheet.row_dimensions[row + 1].height = 34
        for at, line in enumerate(LINES[name]):
            for number, column in enumerate(table.columns, 1):
                cell = sheet.cell(row + 2 + at, number, line.get(column.name))
                cell.font, cell.border = quiet, Border(bottom=Side(style="hair", color=QUIET))
                cell.number_format = "General" if column.type in ("number", "whole") else "@"
                cell.alignment = Alignment(vertical="top")
            if name in SAID:
                said = sheet.cell(row + 2 + at, len(table.columns) + 1, SAID[name][at])
                said.font = plain
        row += len(LINES[name]) + 4
    widths = {}
    for name in names:
        for number, column in enumerate(schemas.tables()[name].columns, 1):
            widths[number] = max(widths.get(number, 0), width(column))
    for number, wide in widths.items():
        sheet.column_dimensions[sheet.cell(1, number).column_letter].width = wide
    sheet.column_dimensions[sheet.cell(1, len(widths) + 1).column_letter].width = 80
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def key(book, names: tuple[str, ...], shown: list[Mark]) -> None:
    """Add the plain sheet that explains how to keep the log, every colour, every column and every word."""
    from openpyxl.styles import Alignment, Font, PatternFill

    sheet = book.create_sheet(KEY)
    for letter, wide in zip("ABCD", WIDTHS):
        sheet.column_dimensions[letter].width = wide
    plain, bold = Font(name=FONT, color=INK), Font(name=FONT, bold=True, color=INK)
    fills = {word: PatternFill("solid", fgColor=COLOURS[severity]) for severity, word in COLOUR_WORDS.items()}
    row = 0
    for line in _lines(names, shown):
        row += 1
        for number, text in enumerate(line, 1):
            if not text:
                continue
            cell = sheet.cell(row, number, text)
            cell.alignment, cell.number_format = Alignment(wrap_text=True, vertical="top"), "@"
            title = line[1] in ("what", "column", "word")
            cell.font = bold if number == 1 or title else plain
            if title:
                cell.fill = PatternFill("solid", fgColor=OPTIONAL)
            if number == 4 and text in fills:
                cell.fill = fills[text]
        longest = max((len(text) / wide for text, wide in zip(line, WIDTHS) if text), default=0)
        if longest > 1:  # programs differ in whether they make room for a second line of their own accord
            sheet.row_dimensions[row].height = 15 * (int(longest) + 1)
    sheet.freeze_panes = "A2"
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4  # in portrait its letters would be five points high
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _lines(names: tuple[str, ...], shown: list[Mark]):
    tables = [schemas.tables()[name] for name in names]
    yield "How to keep the log", "what", "how", None
    yield from (("", what, how, None) for what, how in HOW)
    for table in tables:
        yield None, None, None, None
        yield table.title, "column", "meaning", "for example"
        yield from (("", heading(c), c.meaning + (" (needed)" if c.required else ""), c.example) for c in table.columns)
    yield None, None, None, None
    yield "Colours", "column", "a cell turns colour where it", "colour"
    for table in tables:
        title = table.title
        for mark in (one for one in shown if one.table == table.name):
            yield title, heading(table.column(mark.column)), mark.says, COLOUR_WORDS[mark.severity]
            title = ""
    yield None, None, None, None
    yield "Words", "word", "meaning", None
    used = {c.codes for table in tables for c in table.columns if c.codes}
    used |= {"part_finding", "part_action", "denture_finding", "denture_action"}  # the words of the housings, abutments and denture cells
    for name, body in schemas.codebook().items():
        if name in used:
            yield from ((body["title"] if code == next(iter(body["codes"])) else "", code, meaning, None) for code, meaning in body["codes"].items())
