"""Several rows of an export that are one visit, one person or one set: put together into one row, column by column."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from outcomes.intake.mapping import TableTaken
from outcomes.intake.source import Cells, Refused, Sheet
from outcomes.intake.typed import text_of
from outcomes.intake.words import fold


def one_row_each(sheet: Sheet, part: TableTaken) -> Sheet:
    """The sheet with one row for each key of its table, at the line of the first row that has it.

    A column is put together as the mapping says: ``same`` (blank cells aside all say the same, else the cell is refused), ``join``
    (each piece once), ``sum`` or ``first``.
    """
    keys = [sheet.columns[name] for name in part.table.key if name in sheet.columns]
    if not keys or not len(sheet.lines):
        return sheet
    codes = np.stack([_folded(cells)[cells.index] for cells in keys])
    _, first, group = np.unique(codes, axis=1, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    group = rank[group.reshape(-1)]
    first = first[order]
    if len(first) == len(sheet.lines):
        return sheet
    size = np.bincount(group)
    by_group = np.argsort(group, kind="stable")
    starts = np.cumsum(size) - size
    several = np.flatnonzero(size > 1)
    columns = {}
    for taken in part.columns:
        cells = sheet.columns[taken.target.name]
        values, index = list(cells.values), cells.index[first].copy()
        for one in several:
            held = [at for at in cells.index[by_group[starts[one]: starts[one] + size[one]]].tolist() if at >= 0]
            if not held or len(set(held)) == 1 and taken.together != "sum":
                index[one] = held[0] if held else -1
                continue
            values.append(_put(taken.together, [cells.values[at] for at in held], taken.join))
            index[one] = len(values) - 1
        columns[taken.target.name] = Cells(values, index)
    return Sheet(sheet.table, sheet.file, sheet.name, sheet.lines[first], columns, sheet.places)


def _folded(cells: Cells) -> np.ndarray:
    """A number for each value, the same for values that differ in case or blanks only; the last is that of a blank."""
    known: dict[str, int] = {}
    return np.array([*(known.setdefault(fold(text_of(value)), len(known)) for value in cells.values), -1], dtype=np.int64)


def _put(how: str, values: list, join: str):
    refused = next((value for value in values if isinstance(value, Refused)), None)
    if refused or how == "first":
        return refused or values[0]
    texts = [text_of(value) for value in values]
    if how == "join":
        pieces = dict.fromkeys(piece.strip() for text in texts for piece in (text.split(join) if join.strip() else text.split()) if piece.strip())
        return join.join(pieces)
    if how == "sum":
        try:
            total = sum(Fraction(text.replace(",", ".")) for text in texts)
        except ValueError:
            return Refused(texts[0], "rows do not agree", "a number of the rows put together cannot be read", "Mend the number.")
        return int(total) if total == int(total) else float(total)
    if len({fold(text) for text in texts}) == 1:
        return values[0]
    return Refused(texts[0], "rows do not agree", "the rows that are put together say different things here",
                   "Mend the rows, or say in the mapping how the column is put together: together = \"first\", \"sum\" or \"join\".")
