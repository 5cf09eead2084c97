"""The empty workbook a clinic keeps its log in: drop-downs from the codebook, marks that show a broken rule while typing."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from outcomes import schemas
from outcomes.intake.card import card

SHEETS = ("day_sheet", "set_up", "patients", "insert_levels", "questionnaires")
ROWS = 5000
FONT = "Calibri"
INK, REQUIRED, OPTIONAL, FAULT = "1F2A33", "D5E3EA", "EEF1F3", "F6D5C6"
WIDTHS = {"text": 12, "date": 13, "code": 18, "positions": 16, "levels": 22, "phrases": 30, "number": 11, "whole": 11, "position": 10}


def write_template(path: str | Path) -> None:
    """Write the workbook to ``path`` (.xlsx): one sheet per table kept by hand, a key, a card to print, and hidden lists.

    Every drop-down comes from the codebook; levels come from the workbook's own Insert levels sheet. Nothing is locked, so
    rows can be pasted and sorted. Raises OSError where the file cannot be written.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    # A fixed day, so that the same version writes the same workbook.
    book.properties.created = book.properties.modified = datetime(2000, 1, 1)
    book.properties.creator = "outcomes"
    lists = _lists(book)
    for name in SHEETS:
        _sheet(book, schemas.tables()[name], lists)
    _key(book)
    card(book)
    book.move_sheet("Lists", offset=len(book.sheetnames))
    book["Lists"].sheet_state = "hidden"
    book.active = 0
    _marks(book)
    book.save(path)


def heading(column: schemas.Column) -> str:
    """A column's name as a person reads it: spaces for underscores."""
    return column.name.replace("_", " ")


def _lists(book) -> dict[str, str]:
    """Write every code list to a column of the sheet Lists; returns the range of each."""
    sheet = book.create_sheet("Lists")
    ranges = {}
    for number, (name, body) in enumerate(schemas.codebook().items(), 1):
        codes = list(body["codes"])
        letter = sheet.cell(1, number, name).column_letter
        for row, code in enumerate(codes, 2):
            sheet.cell(row, number, code)
        ranges[name] = f"Lists!${letter}$2:${letter}${len(codes) + 1}"
    return ranges


def _sheet(book, table: schemas.Table, lists: dict[str, str]) -> None:
    from openpyxl.comments import Comment
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.worksheet.datavalidation import DataValidation

    sheet = book.create_sheet(table.title)
    sheet.freeze_panes = "C2" if table.name in ("day_sheet", "set_up") else "B2"
    sheet.row_dimensions[1].height = 34
    for number, column in enumerate(table.columns, 1):
        cell = sheet.cell(1, number, heading(column))
        cell.font = Font(name=FONT, bold=column.required, color=INK)
        cell.fill = PatternFill("solid", fgColor=REQUIRED if column.required else OPTIONAL)
        cell.alignment = Alignment(wrap_text=True, vertical="center")
        note = column.meaning[0].upper() + column.meaning[1:] + "."
        cell.comment = Comment(f"{note}\n{'Needed.' if column.required else 'May stay blank: not recorded.'} For example: {column.example}", "outcomes", width=280, height=110)
        letter = cell.column_letter
        sheet.column_dimensions[letter].width = WIDTHS[column.type]
        cells = f"{letter}2:{letter}{ROWS}"
        # Text from the start, so that 0042 stays 0042, 33 43 stays as typed, and 2024-03 does not become the first of the month.
        style = {"number": "General", "whole": "0"}.get(column.type, "@")
        for row in range(2, 302):
            sheet.cell(row, number).number_format = style
        sheet.column_dimensions[letter].number_format = style
        rule = _drop_down(column, lists)
        if rule:
            validation = DataValidation(type="list", formula1=rule, allow_blank=True, showErrorMessage=column.type == "code",
                                        errorTitle="Not one of the words", error=f"Choose a word from the list for {heading(column)}, or leave the cell blank.")
            validation.errorStyle = "stop"
            sheet.add_data_validation(validation)
            validation.add(cells)
        elif column.type in ("number", "whole") and column.minimum is not None and column.maximum is not None:
            validation = DataValidation(type="decimal" if column.type == "number" else "whole", operator="between", formula1=str(column.minimum),
                                        formula2=str(column.maximum), allow_blank=True, showErrorMessage=True, errorTitle="Not possible",
                                        error=f"{heading(column)} lies between {column.minimum:g} and {column.maximum:g}{' ' + column.unit if column.unit else ''}.")
            sheet.add_data_validation(validation)
            validation.add(cells)
    sheet.auto_filter.ref = f"A1:{sheet.cell(1, len(table.columns)).column_letter}{ROWS}"
    sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = "landscape", 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"


def _drop_down(column: schemas.Column, lists: dict[str, str]) -> str | None:
    if column.codes:
        return lists[column.codes]
    if column.references == "insert_levels.level" or column.name == "level_now":
        return "'Insert levels'!$A$2:$A$60"
    if column.words:
        return '"' + ",".join(column.words) + '"'
    if column.type == "phrases":
        return '"fine"'
    return None


def _marks(book) -> None:
    """Colour a cell while typing where a rule is broken. Each mark is one rule of the checks, so that none comes as a surprise."""
    from openpyxl.formatting.rule import FormulaRule
    from openpyxl.styles import PatternFill

    fill = PatternFill("solid", bgColor=FAULT)
    for name in SHEETS:
        table = schemas.tables()[name]
        sheet = book[table.title]
        letters = {column.name: sheet.cell(1, number).column_letter for number, column in enumerate(table.columns, 1)}
        first = letters[table.columns[0].name]
        last = sheet.cell(1, len(table.columns)).column_letter
        for column in table.columns:
            letter = letters[column.name]
            if column.required:
                _mark(sheet, f"{letter}2:{letter}{ROWS}", f"AND(COUNTA(${first}2:${last}2)>0,{letter}2=\"\")", fill, FormulaRule)
            if column.type == "date":
                _mark(sheet, f"{letter}2:{letter}{ROWS}", f"IFERROR(DATEVALUE({letter}2),0)>TODAY()", fill, FormulaRule)
        if name in ("day_sheet", "set_up"):
            cell = letters["patient"]
            _mark(sheet, f"{cell}2:{cell}{ROWS}", f"AND({cell}2<>\"\",COUNTIF(Patients!$A$2:$A${ROWS},{cell}2)=0)", fill, FormulaRule)
        if name == "day_sheet":
            changed, why, worn, level = (letters[c] for c in ("inserts_changed", "why", "worn_at", "level_now"))
            some = f"AND(${changed}2<>\"\",${changed}2<>\"none\")"
            _mark(sheet, f"{why}2:{why}{ROWS}", f"AND({some},{why}2=\"\")", fill, FormulaRule)
            _mark(sheet, f"{level}2:{level}{ROWS}", f"AND({some},{level}2=\"\")", fill, FormulaRule)
            _mark(sheet, f"{changed}2:{changed}{ROWS}", f"AND({changed}2=\"\",OR({why}2<>\"\",{level}2<>\"\"))", fill, FormulaRule)
            lost, date = letters["snap_lost"], letters["date"]
            _mark(sheet, f"{lost}2:{lost}{ROWS}", f"AND(LEN({lost}2)=10,LEN({date}2)=10,IFERROR(DATEVALUE({lost}2)>DATEVALUE({date}2),FALSE))", fill, FormulaRule)


def _mark(sheet, cells: str, formula: str, fill, rule) -> None:
    sheet.conditional_formatting.add(cells, rule(formula=[formula], fill=fill))


def _key(book) -> None:
    """A plain sheet that explains every column and every word, with an example line of each table."""
    from openpyxl.styles import Alignment, Font

    sheet = book.create_sheet("Key")
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width, sheet.column_dimensions["C"].width, sheet.column_dimensions["D"].width = 22, 24, 92, 24
    plain, bold, wrap = Font(name=FONT, color=INK), Font(name=FONT, bold=True, color=INK), Alignment(wrap_text=True, vertical="top")
    lines = [("How to keep the log", None, None, None),
             ("", "Every visit", "One line for each denture seen, also when nothing was wrong: a recall with nothing wrong is worth as much as a repair.", None),
             ("", "Patients", "Pseudonyms only. No names, birth dates, telephone numbers or addresses, in any cell.", None),
             ("", "Dates", "2024-03-14, or as precise as known: 2024-03, 2024, not known.", None),
             ("", "Positions", "Two digits of ISO 3950, such as 33 43; several with a blank between.", None),
             ("", "Blank cells", "A blank cell means not recorded. It never means fine.", None),
             ("", "Colours", "Dark headings are needed. A cell that turns reddish breaks a rule: see the note at its heading.", None)]
    for name in SHEETS:
        table = schemas.tables()[name]
        lines += [(None,) * 4, (table.title, "column", "meaning", "for example")]
        lines += [("", heading(c), c.meaning + (" (needed)" if c.required else ""), c.example) for c in table.columns]
    lines += [(None,) * 4, ("Words", "word", "meaning", None)]
    used = {c.codes for name in SHEETS for c in schemas.tables()[name].columns if c.codes}
    used |= {"part_finding", "part_action", "denture_finding", "denture_action"}  # the words of the housings, abutments and denture cells
    for name, body in schemas.codebook().items():
        if name in used:
            lines += [(body["title"] if code == next(iter(body["codes"])) else "", code, meaning, None) for code, meaning in body["codes"].items()]
    for row, line in enumerate(lines, 1):
        for number, text in enumerate(line, 1):
            if text is not None:
                cell = sheet.cell(row, number, text)
                cell.alignment, cell.number_format = wrap, "@"
                cell.font = bold if number == 1 or line[1] in ("column", "word") else plain
    sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = "portrait", 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
