"""The hidden sheet behind the drop-downs and marks: the codebook's words, the sites, the instruments, and the clinic's own levels as they are typed."""

from __future__ import annotations

from outcomes import schemas
from outcomes.intake import positions

SHEET = "Lists"
LEVELS = 60  # levels a clinic may declare
LONGEST_LIST = 8  # positions one cell may name


def write(book) -> dict[str, str]:
    """Add the sheet, and a name in the workbook for each list; returns the names: of the codebook's lists, sites, steps, instruments with items, lowest, highest, and levels."""
    sheet = book.create_sheet(SHEET)
    columns = {name: list(body["codes"]) for name, body in schemas.codebook().items()}
    instruments = schemas.instruments()
    columns |= {"sites": [*positions.UPPER, *positions.LOWER], "positions": [*positions.UPPER, *positions.LOWER, positions.MIDLINE],
                "steps": [1 + 2 * step for step in range(LONGEST_LIST)], "instruments": list(instruments)}
    columns |= {name: [body[key] for body in instruments.values()] for name, key in (("items", "items"), ("lowest", "minimum"), ("highest", "maximum"))}
    columns["fine_or_done"] = ["fine", *(code for code in schemas.codebook()["denture_action"]["codes"] if code != "none")]
    references = {}
    for number, (name, values) in enumerate(columns.items(), 1):
        letter = sheet.cell(1, number, name).column_letter
        for row, value in enumerate(values, 2):
            cell = sheet.cell(row, number, value)
            cell.number_format = "@" if isinstance(value, str) else "General"
        references[name] = f"{SHEET}!${letter}$2:${letter}${len(values) + 1}"
    references["levels"] = _levels(sheet, len(columns) + 1)
    sheet.sheet_state = "hidden"
    return {name: named(book, f"list_{name}", reference) for name, reference in references.items()}


def named(book, name: str, reference: str) -> str:
    """Give a range, or a formula for one, a name in the workbook; returns the name."""
    from openpyxl.workbook.defined_name import DefinedName

    book.defined_names[name] = DefinedName(name, attr_text=reference)
    return name


def _levels(sheet, number: int) -> str:
    """The clinic's own levels without gaps, whatever rows of Insert levels they stand in, and ``unknown`` after them."""
    count, names = sheet.cell(1, number, "count").column_letter, sheet.cell(1, number + 1, "levels").column_letter
    title = schemas.tables()["insert_levels"].title
    for row in range(2, LEVELS + 2):
        typed = f"INDEX('{title}'!$A:$A,{row})"
        before = f"{count}{row - 1}" if row > 2 else "0"
        sheet.cell(row, number, f'={before}+IF({typed}="",0,1)')
        here, all_of_them = f"MATCH({row - 1},${count}$2:${count}${LEVELS + 1},0)", f"${count}${LEVELS + 1}"
        sheet.cell(row, number + 1, f"=IFERROR(INDEX('{title}'!$A:$A,{here}+1),IF({row - 1}={all_of_them}+1,\"unknown\",\"\"))")
    sheet.cell(LEVELS + 2, number + 1, f'=IF(${count}${LEVELS + 1}={LEVELS},"unknown","")')
    return f"OFFSET({SHEET}!${names}$2,0,0,{SHEET}!${count}${LEVELS + 1}+1,1)"
