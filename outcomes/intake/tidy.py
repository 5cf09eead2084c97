"""Rows that are no rows: blank ones below a table, and headings that stand between the rows once more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from outcomes.intake.headings import plain
from outcomes.intake.source import Cells, Reading, Sheet

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
    keep = filled & ~repeated
    if keep.all():
        return sheet
    return replace(sheet, lines=sheet.lines[keep], columns={name: Cells(cells.values, cells.index[keep]) for name, cells in columns})
