"""The sheet "To do" of a marked copy: every problem with a link to its cell, what is wrong and what to do, the most useful first."""

from __future__ import annotations

import pandas as pd

from outcomes.intake.causes import causes
from outcomes.intake.words import visible
from outcomes.neutral import neutral

TITLE = "To do"
HEADINGS = {"done": 8, "severity": 10, "where": 24, "written": 22, "what is wrong": 58, "what to do": 66, "rows like this": 10}
FILLS = {"error": "F2B8A6", "warning": "F7E3A1"}
SAID = {"error": "Error: ", "warning": "Warning: "}
MOST_WORDS = 1000  # letters of a note on one cell


def mark(book, problems: pd.DataFrame, single: str | None) -> None:
    """Colour each problem's cell and say in a note what is wrong and what to do. ``single``: the only sheet, where the file has none of its own."""
    from openpyxl.comments import Comment
    from openpyxl.styles import PatternFill

    fills = {severity: PatternFill("solid", fgColor=colour) for severity, colour in FILLS.items()}
    for problem in problems.sort_values("severity", ascending=False, kind="stable").itertuples():  # errors last, so that they stay on top
        title = single or problem.sheet
        if title not in book.sheetnames or not problem.line:
            continue
        cell = _at(book[title], problem)
        cell.fill = fills[problem.severity]
        said = f"{cell.comment.text}\n" if cell.comment else ""
        if len(said) < MOST_WORDS:
            text = f"{said}{_words(problem)}"
            cell.comment = Comment(text, "outcomes", width=340, height=50 + 18 * sum(1 + len(line) // 46 for line in text.splitlines()))


def _words(problem) -> str:
    return visible(f"{SAID[problem.severity]}{problem.message}{'' if problem.message.endswith(('?', '.')) else '.'} {problem.remedy}")


def _at(sheet, problem):
    """The problem's cell; of a merged one its first, which is the one that holds something."""
    cell = sheet[problem.cell or f"A{problem.line}"]
    if hasattr(cell, "comment") and type(cell).__name__ != "MergedCell":
        return cell
    area = next(area for area in sheet.merged_cells.ranges if cell.coordinate in area)
    return sheet.cell(area.min_row, area.min_col)


def unmark(book) -> None:
    """Take an earlier list out, with the colours and notes it put into cells, so that what was mended no longer looks wrong."""
    from openpyxl.comments import Comment
    from openpyxl.styles import PatternFill

    if TITLE not in book.sheetnames:
        return
    for row in book[TITLE].iter_rows(min_row=2):
        link = row[2].hyperlink if len(row) > 2 else None
        where = (link.location or (link.target or "").removeprefix("#")) if link else ""
        title, _, place = where.rpartition("!")
        title = title.strip("'").replace("''", "'")
        if title not in book.sheetnames:
            continue
        cell = book[title][place]
        if type(cell).__name__ == "MergedCell" or not hasattr(cell, "fill"):
            continue
        if str(cell.fill.fgColor.rgb)[-6:] in FILLS.values():
            cell.fill = PatternFill()
        if cell.comment:
            kept = [line for line in cell.comment.text.splitlines() if not line.startswith(tuple(SAID.values()))]
            cell.comment = Comment("\n".join(kept), cell.comment.author, width=cell.comment.width, height=cell.comment.height) if kept else None
    del book[TITLE]


def add(book, problems: pd.DataFrame, single: str | None) -> None:
    """Add the list as the first sheet. It bears no name of a table, so that it is never read as data."""
    from openpyxl.formatting.rule import FormulaRule
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.worksheet.datavalidation import DataValidation
    from openpyxl.worksheet.hyperlink import Hyperlink

    sheet = book.create_sheet(TITLE, 0)
    book.active = 0
    for one in book.worksheets[1:]:
        one.sheet_view.tabSelected = False
    sheet.append(list(HEADINGS))
    for cell, width in zip(sheet[1], HEADINGS.values()):
        cell.font, cell.fill = Font(name="Calibri", bold=True), PatternFill("solid", fgColor="EEF1F3")
        sheet.column_dimensions[cell.column_letter].width = width
    row = 1
    for cause in causes(problems):
        for problem in cause.problems.sort_values(["file", "sheet", "line"], kind="stable").itertuples():
            row += 1
            title = single or problem.sheet
            where = f"{title}!{problem.cell}" if problem.cell else f"{title}, line {problem.line}" if problem.line else title or problem.file
            for column, value in enumerate(("", problem.severity, where, problem.value, problem.message, problem.remedy, cause.rows), 1):
                cell = sheet.cell(row, column, (neutral(visible(value)) or None) if isinstance(value, str) else value)
                cell.alignment = Alignment(wrap_text=True, vertical="top")
                cell.number_format = "General" if column == 7 else "@"
            sheet.cell(row, 2).fill = PatternFill("solid", fgColor=FILLS[problem.severity])
            if title in book.sheetnames and problem.line:
                link = sheet.cell(row, 3)
                quoted = title.replace("'", "''")
                link.hyperlink = Hyperlink(ref=link.coordinate, location=f"'{quoted}'!{problem.cell or f'A{problem.line}'}", display=None)
                link.font = Font(name="Calibri", underline="single", color="0563C1")
    last = max(row, 2)
    done = DataValidation(type="list", formula1='"done"', allow_blank=True)
    sheet.add_data_validation(done)
    done.add(f"A2:A{last}")
    sheet.conditional_formatting.add(f"C2:G{last}", FormulaRule(formula=['$A2="done"'], font=Font(color="9AA5AC")))
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = f"A1:G{last}"
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"
