"""CSV files: encoding and separator found once per file, then every column read as text."""

from __future__ import annotations

import codecs
import csv
import io
import re

import numpy as np
import pyarrow as pa
import pyarrow.csv

from outcomes import schemas
from outcomes.intake import headings
from outcomes.intake.source import Cells, Options, Reading, Sheet
from outcomes.neutral import freed

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
_BLANK_LINE = re.compile(rb"\n[ \t]*\r?\n")


def read(reading: Reading, options: Options) -> None:
    """Read a CSV file into ``reading.sheets``; what was found goes to its decisions, what is wrong to its faults."""
    table = _table(reading)
    if table is None:
        return
    data = as_utf8(reading, options)
    if data is None:
        return
    if not data.strip():
        reading.fault("empty", f"{reading.name} is empty", "Give the file with its headings and rows.", refuses=True, table=table.name)
        return
    top = [line for line, _ in zip(io.StringIO(data[:200_000].decode("utf-8", errors="ignore"), newline=""), range(40))]
    separator = _separator(reading, options, table, top)
    above, first, names = headings.find(table, split_lines(top, separator)[:20])
    if first > above:
        reading.decisions.append(f"{reading.name}: the headings stand in lines {above + 1} and {first + 1}, read together.")
    places = headings.take(reading, table, names, "", first + 1)
    if reading.refused:
        return
    columns, lines = read_quickly(data, separator, first, names, places) or read_with_care(reading, table, data, separator, first, names, places)
    columns = {name: without_guards(cells) if table.column(name).type not in ("date", "code", "number", "whole") else cells for name, cells in columns.items()}
    reading.sheets.append(Sheet(table.name, reading.number, "", lines, columns, places))


def _table(reading: Reading) -> schemas.Table | None:
    if reading.mapping:
        return reading.mapping.written()
    stem = reading.name.rsplit(".", 1)[0]
    name = headings.table_of(stem, inside=True)
    if name is None:
        from outcomes.intake import wide

        name = wide.instrument_of(stem)
        if name:
            return wide.table(name)
        wanted = ", ".join(f"{one.name}.csv" for one in schemas.tables().values())
        reading.fault("table not known", f"{reading.name} does not say which table it holds", f"Name the file after its table: {wanted}.", refuses=True)
        return None
    return schemas.tables()[name]


def as_utf8(reading: Reading, options: Options) -> bytes | None:
    """The file as UTF-8 bytes without a mark, or None after noting why it cannot be read as text."""
    data = reading.data
    marks = [(codecs.BOM_UTF8, "utf-8-sig", "UTF-8"), (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"), (codecs.BOM_UTF16_BE, "utf-16", "UTF-16")]
    mark = next(((codec, word) for start, codec, word in marks if data.startswith(start)), None)
    if options.encoding:
        trials = [(options.encoding, options.encoding)]
    elif mark:
        trials = [mark]
    elif data[:2000].count(0) > len(data[:2000]) // 4:
        trials = [("utf-16-le" if data[1:2] == b"\0" else "utf-16-be", "UTF-16")]
    else:
        trials = [("utf-8", "UTF-8"), ("cp1252", "Windows-1252")]
    for codec, word in trials:
        if codec == "utf-8" and _is_utf8(data):
            reading.decisions.append(f"{reading.name}: encoding {word}.")
            return data
        try:
            text = data.decode(codec)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            continue
        reading.decisions.append(f"{reading.name}: encoding {word}.")
        return text.lstrip("\ufeff").encode("utf-8")
    reading.fault("encoding", f"{reading.name} cannot be read as text" + (f" in the encoding {options.encoding}" if options.encoding else ""),
                  "Save it as “CSV UTF-8” from the spreadsheet program, or give the option encoding.", refuses=True)
    return None


def _is_utf8(data: bytes) -> bool:
    if b"\0" in data:
        return False
    try:
        codecs.utf_8_decode(data, "strict", True)
    except UnicodeDecodeError:
        return False
    return True


def _separator(reading: Reading, options: Options, table: schemas.Table, top: list[str]) -> str:
    """The separator under which some line of the top names most columns of the table."""
    if options.separator:
        return options.separator
    best = max(SEPARATORS, key=lambda one: max((headings.known(table, row) for row in split_lines(top, one)), default=0))
    reading.decisions.append(f"{reading.name}: separator {SEPARATORS[best]}.")
    return best


def split_lines(top: list[str], separator: str) -> list[list[str]]:
    """The rows of the first lines, as far as they can be read."""
    rows: list[list[str]] = []
    try:
        rows.extend(csv.reader(top, delimiter=separator))
    except csv.Error:
        pass  # a cell longer than any heading: what stands above it is enough to go by
    return rows


def read_quickly(data: bytes, separator: str, first: int, names: list[str], places: dict[str, int]):
    """Read a regular file with Arrow; None where its shape needs the careful way (blank or ragged lines, rows above the headings with quotes)."""
    if _BLANK_LINE.search(data.rstrip()) or data[:1] in b"\r\n" or b"\n" not in data or (first and b'"' in data[:5000]):
        return None
    keys = [f"column {place}" for place in range(len(names))]
    try:
        table = pyarrow.csv.read_csv(
            pa.BufferReader(data),
            read_options=pyarrow.csv.ReadOptions(column_names=keys, skip_rows=first + 1, block_size=1 << 24),
            parse_options=pyarrow.csv.ParseOptions(delimiter=separator, newlines_in_values=b'"' in data),
            convert_options=pyarrow.csv.ConvertOptions(include_columns=[keys[place] for place in places.values()],
                                                       column_types={key: pa.string() for key in keys}, strings_can_be_null=False, check_utf8=False),
        )
    except pa.ArrowInvalid:
        return None
    columns = {name: _cells(table.column(keys[place])) for name, place in places.items()}
    return columns, np.arange(first + 2, first + 2 + table.num_rows, dtype=np.int32)


def _cells(column: pa.ChunkedArray) -> Cells:
    encoded = column.combine_chunks().dictionary_encode() if column.num_chunks else pa.array([], pa.string()).dictionary_encode()
    if isinstance(encoded, pa.ChunkedArray):
        encoded = encoded.combine_chunks()
    return compact(encoded.dictionary.to_pylist(), encoded.indices.to_numpy(zero_copy_only=False).astype(np.int32))


def compact(values: list, index: np.ndarray) -> Cells:
    """Cells from distinct values and their index; values that are blank but for spaces become -1."""
    blank = np.array([value is None or (isinstance(value, str) and not value.strip()) for value in values] + [True])
    return Cells(values, np.where(blank[index], -1, index).astype(np.int32))


def without_guards(cells: Cells) -> Cells:
    """Text cells without the apostrophe that keeps a spreadsheet from taking them for formulas."""
    return Cells([freed(value) if isinstance(value, str) else value for value in cells.values], cells.index)


def read_with_care(reading: Reading, table: schemas.Table, data: bytes, separator: str, first: int, names: list[str], places: dict[str, int]):
    """Read line by line, keeping the row numbers of a spreadsheet and naming each line whose cells do not fit the headings."""
    width = len(names)
    distinct: dict[str, dict[str, int]] = {name: {} for name in places}
    index: dict[str, list[int]] = {name: [] for name in places}
    lines: list[int] = []
    try:
        for number, row in enumerate(csv.reader(io.StringIO(data.decode("utf-8"), newline=""), delimiter=separator), 1):
            if number <= first + 1 or not any(cell.strip() for cell in row):
                continue
            if len(row) != width and any(cell.strip() for cell in row[width:]) or len(row) < width:
                few = len(row) < width
                reading.fault("ragged line", f"line {number} has {len(row)} cells where the headings have {width}",
                              "See whether the file was cut off here." if few else "Put cells that hold the separator (a decimal comma, a list) in quotation marks.",
                              table=table.name, line=number)
                continue
            lines.append(number)
            for name, place in places.items():
                values = distinct[name]
                index[name].append(values.setdefault(row[place], len(values)))
    except csv.Error:
        reading.fault("unreadable", f"{reading.name} cannot be read beyond line {lines[-1] if lines else first + 1}",
                      "Look for a quotation mark that is never closed.", refuses=True, table=table.name)
    columns = {name: compact(list(distinct[name]), np.array(index[name], dtype=np.int32)) for name in places}
    return columns, np.array(lines, dtype=np.int32)
