"""What a sheet of a workbook hides from who reads its cells only: merged cells, formulas without a saved result, hidden and filtered rows."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from outcomes import schemas
from outcomes.intake.headings import letter
from outcomes.intake.source import Reading

MOST_UNSAVED = 20  # beyond these the sheet as a whole was saved without results

_NS = rb"(?:\w+:)?"
_MERGED = re.compile(rb"<" + _NS + rb"mergeCell\s[^>]*?\bref=[\"']([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})[\"']")
_HIDDEN_ROW = re.compile(rb"<" + _NS + rb"row\s[^>]*?\bhidden=[\"'](?:1|true)[\"'][^>]*?>")
_ROW_NUMBER = re.compile(rb"\sr=[\"'](\d{1,7})[\"']")
_HIDDEN_COLUMN = re.compile(rb"<" + _NS + rb"col\s[^>]*?\bhidden=[\"'](?:1|true)[\"']")
_FILTER = re.compile(rb"<" + _NS + rb"filterColumn\b")
_FORMULA = re.compile(rb"<" + _NS + rb"c\s([^>]*)>\s*<" + _NS + rb"f\b(?:[^>]*/>|[^>]*>[^<]*</" + _NS + rb"f>)\s*(<" + _NS + rb"v\s*/>|<" + _NS + rb"v>\s*</" + _NS + rb"v>)?\s*</" + _NS + rb"c>")
_PLACE = re.compile(rb"\br=[\"']([A-Z]{1,3})(\d{1,7})[\"']")
_AS_TEXT = re.compile(rb"\bt=[\"']str[\"']")
_ANY_VALUE = (b"<v>", b"<t>", b"<t ", b"<f>", b"<f ", b"<is>", b"<v ")


@dataclass(frozen=True)
class Traps:
    """``merged``: (first column, first row, last column, last row), columns from 0 and rows from 1; ``unsaved``: (column, row) of formulas
    whose result is not in the file; ``hidden``: hidden rows; whether a column is hidden, and whether a filter is on."""

    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    unsaved: list[tuple[int, int]] = field(default_factory=list)
    hidden: list[int] = field(default_factory=list)
    hidden_columns: bool = False
    filtered: bool = False


def traps(xml: bytes) -> Traps:
    """The traps in the XML of a sheet."""
    merged = [(column(one[1]), int(one[2]), column(one[3]), int(one[4])) for one in _MERGED.finditer(xml)] if b"mergeCell" in xml else []
    unsaved = []
    if b"<f" in xml or b":f" in xml:
        for cell in _FORMULA.finditer(xml):
            place = _PLACE.search(cell[1])
            if place and not (cell[2] and _AS_TEXT.search(cell[1])):  # a result that is an empty text is a result
                unsaved.append((column(place[1]), int(place[2])))
    hidden = []
    if b"hidden" in xml:
        hidden = [int(number[1]) for row in _HIDDEN_ROW.finditer(xml) if (number := _ROW_NUMBER.search(row[0]))]
    return Traps(merged, unsaved, hidden, b"hidden" in xml and bool(_HIDDEN_COLUMN.search(xml)), bool(_FILTER.search(xml)))


def column(letters: bytes | str) -> int:
    """A column's number from 0: A is 0, AA is 26."""
    number = 0
    for letter in letters.decode() if isinstance(letters, bytes) else letters:
        number = number * 26 + ord(letter) - 64
    return number - 1


def without_blank_end(xml: bytes) -> bytes:
    """The XML of a sheet without the rows after the last that holds anything: programs format a million of them for a few that are filled."""
    end = xml.rfind(b"</sheetData>")
    last = max(xml.rfind(mark, 0, max(end, 0)) for mark in _ANY_VALUE)
    if end < 0 or last < 0:
        return xml
    after = xml.find(b"</row>", last, end)
    return xml if after < 0 else xml[: after + len(b"</row>")] + xml[end:]


def say_hidden(reading: Reading, title: str, state: str, found: Traps, headings_at: int) -> None:
    """Say that what is hidden was read like the rest: a filter or a hidden sheet is a way of looking, not of leaving out."""
    if state in ("hidden", "veryHidden"):
        reading.decisions.append(f"{reading.name}: the sheet {title} is hidden; it was read like the others.")
    rows = sum(row > headings_at for row in found.hidden)
    if rows:
        why = "a filter is on" if found.filtered else "somebody hid them"
        reading.decisions.append(f"{reading.name}: {rows:,} row{'s' if rows > 1 else ''} of the sheet {title} {'are' if rows > 1 else 'is'} hidden ({why}); "
                                 "they were read like the others. Delete rows that are not meant to count.")
    if found.hidden_columns:
        reading.decisions.append(f"{reading.name}: the sheet {title} has hidden columns; they were read like the others.")


def spoilt_lines(reading: Reading, table: schemas.Table, title: str, found: Traps, headings_at: int, places: dict[str, int]) -> set[int]:
    """Lines in which a cell taken is merged with others or holds a formula without its result; each is named among the faults."""
    taken = {place: name for name, place in places.items()}
    spoilt: set[int] = set()
    for left, top, right, bottom in found.merged:
        columns = [taken[place] for place in range(left, min(right, left + 16_384) + 1) if place in taken]
        top = max(top, headings_at + 1)
        if not columns or bottom < top:
            continue
        place = f"{letter(left)}{top}:{letter(right)}{bottom}"
        reading.fault("merged cells", f"the cells {place} are merged, so that only the first of them holds what is meant for all",
                      "Unmerge them and write the value into each cell.", sheet=title, table=table.name, line=top, column=columns[0], cell=f"{letter(left)}{top}")
        spoilt |= set(range(top, min(bottom, top + 100_000) + 1))
    unsaved = [(place, row) for place, row in found.unsaved if place in taken and row > headings_at]
    if len({row for _, row in unsaved}) > MOST_UNSAVED:
        first, row = unsaved[0]
        reading.fault("formula without a result", f"the sheet {title} holds formulas in {len({row for _, row in unsaved}):,} rows whose results were never saved, first at {letter(first)}{row}",
                      "Open the workbook in the spreadsheet program, let it calculate, save it, and give it again.", refuses=True, sheet=title, table=table.name, line=row, column=taken[first], cell=f"{letter(first)}{row}")
        return spoilt
    for place, row in unsaved:
        reading.fault("formula without a result", f"{taken[place]} is a formula whose result was never saved",
                      "Open the workbook in the spreadsheet program and save it, or write the value itself.", sheet=title, table=table.name, line=row, column=taken[place], cell=f"{letter(place)}{row}")
        spoilt.add(row)
    return spoilt
