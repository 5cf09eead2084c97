"""Workbooks: each sheet that is named like a table, cell by cell, with real dates, numbers and text told apart."""

from __future__ import annotations

import contextlib
import io
import re
import warnings
from datetime import date, datetime, time

import numpy as np

from outcomes import schemas
from outcomes.errors import OutcomesError
from outcomes.intake import archive, headings, privacy, traps
from outcomes.intake.delimited import compact, without_guards
from outcomes.intake.source import Options, Reading, Sheet

TOP_ROWS = 20  # the headings are looked for in these
LAST_ROW = 1_048_576
LONG_END = 100_000  # letters of XML: a shorter end of blank rows costs nothing


def read(reading: Reading, options: Options) -> None:
    """Read a workbook's known sheets into ``reading.sheets``.

    Raises Misuse where the file cannot be read as a workbook at all. A workbook without any known sheet is a fault that refuses it.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # drop-downs, colours and odd dates that openpyxl speaks of are no concern here, or come out as cells
        with opened(reading) as book:
            matched = _match(reading, book.sheetnames)
            if book.epoch.year == 1904:
                reading.decisions.append(f"{reading.name}: day numbers count from 1904, as the workbook says.")
            for title, table in matched:
                _sheet(reading, table, title, book[title], book.epoch)


class opened:
    """The workbook, closed afterwards; every way in which reading it fails becomes one plain sentence."""

    def __init__(self, reading: Reading):
        self.reading = reading

    def __enter__(self):
        from openpyxl import load_workbook

        try:
            with contextlib.redirect_stdout(io.StringIO()):  # openpyxl prints where a style number is none
                self.book = load_workbook(io.BytesIO(self.reading.data), read_only=True, data_only=True, keep_links=False)
        except Exception as problem:  # a damaged workbook fails to open in as many ways as there are parts in it
            raise archive.unreadable(self.reading.name) from problem
        return self.book

    def __exit__(self, kind, problem, trace):
        self.book.close()
        if isinstance(problem, Exception) and not isinstance(problem, OutcomesError) and _in_the_libraries(trace):
            raise archive.unreadable(self.reading.name) from problem


def _in_the_libraries(trace) -> bool:
    """Whether an error arose in what reads workbooks, and not in our own lines."""
    while trace.tb_next is not None:
        trace = trace.tb_next
        if trace.tb_frame.f_globals.get("__name__", "").split(".")[0] in ("openpyxl", "zipfile", "lxml", "xml"):
            return True
    return False


def _match(reading: Reading, titles: list[str]) -> list[tuple[str, schemas.Table]]:
    if reading.mapping:
        return reading.mapping.sheets(reading, titles)
    from outcomes.intake import wide

    matched, others = [], []
    for title in titles:
        name = headings.table_of(title)
        instrument = None if name else wide.instrument_of(title)
        if name:
            matched.append((title, schemas.tables()[name]))
        elif instrument:
            matched.append((title, wide.table(instrument)))
        else:
            others.append(title)
    if not matched:
        wanted = ", ".join(table.title for table in schemas.tables().values())
        reading.fault("sheet not known", f"{reading.name} has no sheet named like a table of the log (it has {', '.join(privacy.shown(one, 'a sheet') for one in others[:8])})",
                      f"Give the clinic's log, or name its sheets: {wanted}.", refuses=True)
    for title in others:
        near = headings.table_of(title, inside=True)
        if matched and near:
            reading.fault("sheet not known", f"the sheet {privacy.shown(title, 'here')} was not read", f"If it holds the table {schemas.tables()[near].title}, give it just that name.",
                          severity="warning", sheet=title)
        elif matched and headings.plain(title) not in ("key", "lists", "todo", "cardtoprint", "examples"):
            reading.decisions.append(f"{reading.name}: {privacy.shown(f'the sheet {title}', 'a sheet', title)} is no table of the log and was not read.")
    return matched


def _sheet(reading: Reading, table: schemas.Table, title: str, sheet, epoch) -> None:
    if not hasattr(sheet, "iter_rows") or not hasattr(sheet, "reset_dimensions"):
        return  # a chart sheet
    found = _without_traps(sheet)
    sheet.reset_dimensions()  # the size a file states for its sheet is often wrong
    rows = _within(reading, sheet.iter_rows())
    top = []
    for number, row in rows:
        top.append((number, row))
        if len(top) >= TOP_ROWS:
            break
    if not top or not any(cell.value is not None for _, row in top for cell in row):
        reading.decisions.append(f"{reading.name}: the sheet {title} is empty.")
        return
    first, at, names = headings.find(table, [["" if cell.value is None else str(cell.value) for cell in row] for _, row in top])
    if at > first:
        reading.decisions.append(f"{reading.name}: the headings of the sheet {title} stand in lines {top[first][0]} and {top[at][0]}, read together.")
    before = len(reading.faults)
    places = headings.take(reading, table, names, title, top[at][0])
    if any(fault.get("refuses") for fault in reading.faults[before:]):
        return
    traps.say_hidden(reading, title, sheet.sheet_state, found, top[at][0])
    spoilt = traps.spoilt_lines(reading, table, title, found, top[at][0], places)
    columns, lines = _columns(table, [*top[at + 1:]], rows, places, epoch, spoilt)
    reading.sheets.append(Sheet(table.name, reading.number, title, lines, columns, places))


def _within(reading: Reading, rows):
    """The rows with their numbers; a file that counts beyond the last row of a spreadsheet would have us walk through blank rows without end."""
    for number, row in enumerate(rows, 1):
        if number > LAST_ROW:
            raise archive.unreadable(reading.name)
        yield number, row


def _without_traps(sheet) -> traps.Traps:
    """The traps of a sheet; a long end of blank rows is cut off before the rows are gone through."""
    archive_of, path = sheet.parent._archive, sheet._worksheet_path
    xml = archive_of.read(path)
    short = traps.without_blank_end(xml)
    if len(xml) - len(short) > LONG_END:
        sheet._get_source = lambda: io.BytesIO(short)
    return traps.traps(short if b"mergeCell" not in xml else xml)


def _columns(table: schemas.Table, top, rows, places: dict[str, int], epoch, spoilt: set[int]):
    """Distinct values and their index for each column taken. Values of different kinds are kept apart: 42 is not "42" and not True."""
    wanted = [(name, place, table.column(name).type) for name, place in places.items()]
    distinct: dict[str, dict] = {name: {} for name, _, _ in wanted}
    index: dict[str, list[int]] = {name: [] for name, _, _ in wanted}
    lines: list[int] = []
    for source in (top, rows):
        for number, row in source:
            if not row or number in spoilt:
                continue
            taken = []
            some = False
            for name, place, kind in wanted:
                cell = row[place] if place < len(row) else None
                value = None if cell is None else cell.value
                if value is not None and not isinstance(value, str):
                    value = plain_value(value, cell, kind, epoch)
                some = some or (value is not None and str(value).strip() != "")
                taken.append((name, value))
            if not some:
                continue
            lines.append(number)
            for name, value in taken:
                values = distinct[name]
                index[name].append(values.setdefault((type(value), value), len(values)))
    columns = {name: without_guards(compact([value for _, value in distinct[name]], np.array(index[name], dtype=np.int32))) for name in places}
    return columns, np.array(lines, dtype=np.int32)


def plain_value(value, cell, kind: str, epoch):
    """A number, date or truth value as the cell means it: leading zeros shown, month-only dates as months, whole numbers whole."""
    if isinstance(value, (datetime, date)):
        return _as_precise_as_shown(value, cell.number_format)
    if isinstance(value, time):
        return value.isoformat()
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        value = int(value)
    if isinstance(value, int) and kind == "text" and re.fullmatch(r"0{2,}", cell.number_format or ""):
        return str(value).zfill(len(cell.number_format))
    if kind == "date" and epoch.year == 1904 and isinstance(value, int) and value > 2100:
        return value + 1462  # days between the two ways in which spreadsheets count
    return value


def _as_precise_as_shown(value: datetime | date, number_format: str | None):
    """A spreadsheet turns a typed 2024-03 into the first of March and shows ``Mar-24``: what it shows is what was meant."""
    shown = re.sub(r'"[^"]*"|\\.|\[[^\]]*\]', "", (number_format or "").lower())
    day = value if isinstance(value, datetime) else datetime(value.year, value.month, value.day)
    if "y" in shown and "d" not in shown and "h" not in shown and day.day == 1:
        return f"{day.year:04d}-{day.month:02d}" if "m" in shown else f"{day.year:04d}"
    return day
