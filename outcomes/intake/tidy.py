"""Rows that are no rows: blank ones below a table, and headings that stand between the rows once more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from outcomes import schemas
from outcomes.intake.headings import plain
from outcomes.intake.source import Cells, Reading, Sheet
from outcomes.intake.words import fold, meanings

LONGEST = 40  # letters a heading may have, so that long keys are not looked at


def tidy(reading: Reading, sheet: Sheet) -> Sheet:
    """The sheet without blank rows and without repeated headings; the latter are named among the faults."""
    columns = list(sheet.columns.items())
    filled = np.zeros(len(sheet.lines), dtype=bool)
    for _, cells in columns:
        filled |= cells.index >= 0
    repeated = filled.copy()
    for name, cells in sorted(columns, key=lambda column: len(column[1].values)):  # few values first: most sheets are done after one column
        same = np.array([*(isinstance(value, str) and len(value) <= LONGEST and plain(value) == plain(name) for value in cells.values), False])
        repeated &= same[cells.index]
        if not repeated.any():
            break
    for line in sheet.lines[repeated][:20]:
        reading.fault("heading repeated", f"line {line} holds the headings once more and was left out", "Nothing needs doing.", severity="warning",
                      sheet=sheet.name, table=sheet.table, line=int(line))
    second = _second_headings(sheet, filled & ~repeated)
    if second is not None:
        line = int(sheet.lines[second])
        reading.fault("heading repeated", f"line {line} reads like a second line of headings, not like a row, and was left out", "If it is a row, write its date and words as the key shows.",
                      severity="warning", sheet=sheet.name, table=sheet.table, line=line)
        repeated[second] = True
    keep = filled & ~repeated
    if keep.all():
        return sheet
    return replace(sheet, lines=sheet.lines[keep], columns={name: Cells(cells.values, cells.index[keep]) for name, cells in columns})


def _second_headings(sheet: Sheet, filled: np.ndarray) -> int | None:
    """The first row where it explains the headings: words without a digit in at least two columns, and not one of them a word that its column knows."""
    table = schemas.tables().get(sheet.table)
    if table is None or not filled.any():
        return None
    first = int(np.argmax(filled))
    words, read = 0, 0
    for name, cells in sheet.columns.items():
        value = cells.values[cells.index[first]] if cells.index[first] >= 0 else None
        if value is None:
            continue
        column = table.column(name)
        if not isinstance(value, str) or any(letter.isdigit() for letter in value):
            return None
        if column.type == "text":
            continue
        words += 1
        known = fold(value) in ({fold("not known")} if column.type == "date" else meanings(column.codes) if column.type == "code" else set())
        read += known or column.type in ("positions", "position", "levels", "phrases") and fold(value) in ("none", "all", "midline", "fine")
    return first if words >= 2 and not read else None
