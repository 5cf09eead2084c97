"""What goes back to the clinic: the list of problems as CSV, and a copy of the workbook with the cells marked."""

from __future__ import annotations

import io
import re
import warnings
from pathlib import Path

import pandas as pd

from outcomes.errors import Misuse
from outcomes.intake import extensions, to_do
from outcomes.intake.problems import COLUMNS, place
from outcomes.intake.words import visible
from outcomes.neutral import neutral, unwritable, write_rows

MOST_ROWS = 20_000  # a CSV file up to this long is copied whole; of a longer one only the lines with problems


def write_problems(checked, path: str | Path) -> Path:
    """Write every problem to a CSV file, one a line, in the columns of ``checked.problems`` with ``where`` before them.

    UTF-8 with a mark, so that spreadsheet programs show every letter; separated by semicolons where the clinic's own files are.
    Raises Misuse where the file cannot be written.
    """
    path = _free(checked, path)
    separator = ";" if any("separator semicolon" in one for one in checked.decisions) else ","
    return write_rows(path, [["where", *COLUMNS], *([place(problem), *problem] for problem in checked.problems.itertuples(index=False))], separator=separator)


def marked_copy(checked, path: str | Path) -> list[Path]:
    """Write a copy of each file as a workbook with the problem cells coloured and noted, and a first sheet "To do" that leads to them.

    One file goes to ``path``; of several, the second and later ones go beside it with their own name added. Columns of a CSV
    file, and of an export read through a mapping, that were not read are not copied. A workbook keeps its own sheets, formats,
    drop-downs, colour rules, charts and pictures; ``left_behind`` says what it lost. A copy that is marked again loses the marks of before.
    Raises Misuse where a file cannot be written or would fall upon one that was read.
    """
    out = []
    for source, original in zip(checked.sources, checked.paths):
        target = Path(path) if not out else Path(path).with_name(f"{Path(path).stem} {Path(source.name).stem}.xlsx")
        target = _free(checked, target)
        problems = checked.problems[checked.problems["file"] == source.name]
        own = source.kind == "workbook" and _mapping(original, checked) is None  # of an export only the columns taken are copied
        book = _copy_of_workbook(original) if own else _copy_of_table(original, checked, problems)
        single = None if source.kind == "workbook" else book.sheetnames[0]
        to_do.mark(book, problems, single)
        to_do.add(book, problems, single)
        whole = io.BytesIO()
        book.save(whole)
        try:
            target.write_bytes(extensions.carry_over(original, whole.getvalue()) if own else whole.getvalue())
        except OSError as problem:
            raise unwritable(target, problem) from None
        out.append(target)
    return out


def _free(checked, path: str | Path) -> Path:
    path = Path(path)
    if any(path.resolve() == Path(one).resolve() for one in checked.paths):
        raise Misuse(f"{path.name} is one of the files that were checked. Give another name, so that the log is not overwritten.")
    return path


def _copy_of_workbook(original: Path):
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what openpyxl leaves out is carried over afterwards
        book = load_workbook(original)
    to_do.unmark(book)
    return book


def _copy_of_table(original: Path, checked, problems: pd.DataFrame):
    from openpyxl import Workbook

    from outcomes.intake import delimited, workbook
    from outcomes.intake.source import open_file

    book = Workbook()
    book.remove(book.active)
    reading = open_file(original, 0)
    reading.mapping = _mapping(original, checked)
    options = reading.mapping.options(checked.options) if reading.mapping else checked.options
    (workbook if reading.kind == "workbook" else delimited).read(reading, options)
    wanted = set(problems["line"])
    for part in reading.sheets:
        sheet = book.create_sheet(part.name or re.sub(r"[\[\]:*?/\\]", " ", original.stem)[:31] or "Table")
        for name, at in part.places.items():
            sheet.cell(1, at + 1, name)
            cells = part.columns[name]
            for line, index in zip(part.lines.tolist(), cells.index.tolist()):
                if index >= 0 and (len(part.lines) <= MOST_ROWS or line in wanted):
                    _text(sheet.cell(line, at + 1), cells.values[index])
    if not book.sheetnames:
        book.create_sheet(re.sub(r"[\[\]:*?/\\]", " ", original.stem)[:31] or "Table")
    return book


def _mapping(original: Path, checked):
    """The mapping through which a file was read; None where it has the log's own columns."""
    return next((one for one in checked.options.mappings if one.meant_for(original.name)), None)


def _text(cell, value) -> None:
    cell.value = neutral(visible(value, 30_000) if isinstance(value, str) else value)
    cell.number_format = "@"
