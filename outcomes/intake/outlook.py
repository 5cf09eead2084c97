"""A first look at an export: its sheets and headings, and the cells of one column when somebody asks for it; nothing else is kept."""

from __future__ import annotations

import io
from collections import Counter
from pathlib import Path

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.intake import delimited, workbook
from outcomes.intake.headings import exact, numbered
from outcomes.intake.source import Options, open_file
from outcomes.intake.typed import text_of


class Export:
    """An export seen from outside. ``headings``: as a mapping names them, with their places; ``sheets``: titles of a workbook."""

    def __init__(self, path: Path, *, sheet: str | None = None, options: Options = Options()):
        self.path, self.options = Path(path), options
        reading = open_file(self.path, 0)
        self.name, self.kind, self.sheets = reading.name, reading.kind, []
        rows = self._workbook(reading, sheet) if reading.kind == "workbook" else self._delimited(reading)
        self.row = _headings_at(rows)  # of the headings, counted from 0
        if self.row is None:
            raise Misuse(f"{reading.name} has no headings in its first rows. Give the export with its row of headings.")
        row = rows[self.row]
        above = rows[self.row - 1] if self.row > _first_wide(rows) else []  # of two rows of headings, the upper one names what the lower leaves blank
        row = [cell or (above[place] if place < len(above) else cell) for place, cell in enumerate([*row, *[None] * (len(above) - len(row))])]
        written = [" ".join(str(cell or "").split()) for cell in row]
        often = Counter(exact(one) for one in written)
        self.headings = {place: f"{heading} {number[number.rindex('['):]}" if often[exact(heading)] > 1 else heading
                         for place, (heading, number) in enumerate(zip(written, numbered(written))) if heading}

    def _workbook(self, reading, sheet: str | None) -> list[list]:
        with workbook.opened(reading) as book:
            self.sheets = list(book.sheetnames)
            if sheet is not None and sheet not in self.sheets:
                raise Misuse(f"{reading.name} has no sheet of that name. It has {len(self.sheets)}; give one of them with --sheet.")
            self.sheet = sheet or self.sheets[0]
            one = book[self.sheet]
            one.reset_dimensions()
            return [[cell.value for cell in row] for row, _ in zip(one.iter_rows(), range(workbook.TOP_ROWS))]

    def _delimited(self, reading) -> list[list]:
        self.sheet = None
        data = delimited.as_utf8(reading, self.options)
        if data is None:
            raise Misuse(f"{reading.name} cannot be read as text. Save it as “CSV UTF-8”, or give the option encoding.")
        top = [line for line, _ in zip(io.StringIO(data[:200_000].decode("utf-8", errors="ignore"), newline=""), range(workbook.TOP_ROWS))]
        self.separator = self.options.separator or _separator(top)
        return delimited.split_lines(top, self.separator)

    def columns(self, names: list[str]) -> dict[str, Counter]:
        """The distinct cells of columns, as text, with how often each occurs; blank cells are left out."""
        reading = open_file(self.path, 0)
        reading.mapping = _Wanted(names, self.sheet)
        (workbook if self.kind == "workbook" else delimited).read(reading, self.options)
        if reading.refused or not reading.sheets:
            fault = next(iter(reading.faults), None)
            raise Misuse(f"{self.name}: {fault['message']}. {fault['remedy']}" if fault else f"{self.name} could not be read.")
        sheet = reading.sheets[0]
        out = {}
        for name in names:
            cells = next(cells for heading, cells in sheet.columns.items() if exact(heading) == exact(name))
            counts = Counter(at for at in cells.index.tolist() if at >= 0)
            out[name] = Counter()
            for at, count in counts.items():
                out[name][" ".join(text_of(cells.values[at]).split())] += count
        return out


class _Wanted:
    """Stands in for a mapping while single columns are looked at."""

    def __init__(self, names: list[str], sheet: str | None):
        self._table = schemas.Table("columns looked at", "the export", "one row of the export", "columns looked at", (), tuple(schemas.Column(name, "text", "a column looked at", required=True) for name in names), door="mapped")
        self._sheet = sheet

    def written(self) -> schemas.Table:
        return self._table

    def sheets(self, reading, titles: list[str]) -> list[tuple[str, schemas.Table]]:
        return [(self._sheet or titles[0], self._table)]


WIDE = 0.6  # share of the widest row that a row of headings fills: one may lack a heading, and a title above fills less


def _headings_at(rows: list[list]) -> int | None:
    """The row of headings, counted from 0: the first that fills most of the width; rows of the export's data come after it.

    Where it has a gap and the row below is of words alone, with digits in the row after, that is the lower of two rows of headings.
    """
    first = _first_wide(rows)
    if first is None or first + 2 >= len(rows):
        return first
    gap = _filled(rows[first]) < max(place for place, cell in enumerate(rows[first], 1) if cell not in (None, ""))
    lower = gap and not _digits(rows[first + 1]) and _digits(rows[first + 2]) and _filled(rows[first + 1]) >= _filled(rows[first])
    return first + 1 if lower else first


def _digits(row: list) -> bool:
    return any(letter.isdigit() for cell in row for letter in str(cell))


def _first_wide(rows: list[list]) -> int | None:
    width = [_filled(row) for row in rows]
    if not width or not max(width):
        return None
    return next(number for number, one in enumerate(width) if one >= WIDE * max(width))


def _filled(row: list) -> int:
    return sum(isinstance(cell, str) and bool(cell.strip()) for cell in row)


def _separator(top: list[str]) -> str:
    """The separator under which most rows are as wide as their headings, with the fewest rows above these, and then the most columns."""

    def fit(separator: str) -> tuple:
        rows = [row for row in delimited.split_lines(top, separator) if any(cell.strip() for cell in row)]
        at = _headings_at(rows)
        if at is None or len(rows[at]) < 2:
            return False, 0, 0
        alike = sum(len(row) == len(rows[at]) for row in rows[at:])
        return alike > len(rows[at:]) / 2, -at, len(rows[at])

    return max(delimited.SEPARATORS, key=fit)
