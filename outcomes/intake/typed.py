"""From cells as written to typed columns, one distinct value at a time; what cannot be read is named and left missing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from outcomes import schemas
from outcomes.intake import dates, numbers, phrases, positions, privacy
from outcomes.intake.source import Cells, Refused, Sheet
from outcomes.intake.words import fold, meanings, suggestion, unseen

PERSON = {"patient", "patient_id", "clinician"}
OWN_WORDS = {"level", "level_now", "system"}  # the clinic's own words for its inserts, which may be several
KEYS = {"visit_id", "denture_id"}  # made of what other columns hold; judged cell by cell
SPREADSHEET_ERRORS = {"#N/A", "#REF!", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!", "#SPILL!", "#GETTING_DATA"}
DATE_REMEDY = "Write the day as 2024-03-14, or as precise as known: 2024-03, 2024, not known."


@dataclass(frozen=True)
class Choices:
    """What was decided for a whole file: the order of day and month (None: no date needs it) and the decimal mark."""

    date_order: str | None = None
    decimal: str = "."


@dataclass(frozen=True)
class Fault:
    """Why the cells of some rows could not be read."""

    rule: str
    column: str
    rows: np.ndarray
    value: str
    message: str
    remedy: str


class _Unreadable(Exception):
    def __init__(self, rule: str, why: str, remedy: str):
        self.rule, self.why, self.remedy = rule, why, remedy


def typed(sheet: Sheet, table: schemas.Table, choices: Choices) -> tuple[pd.DataFrame, list[Fault]]:
    """The sheet as a typed frame with every declared column, and the faults of its cells.

    Codes become categoricals of the declared list, text and positions pyarrow strings, dates ``datetime64[s]`` (first
    possible day) beside ``NAME_precision``, whole numbers ``Int32``, numbers ``float64``; a day-sheet cell of positions,
    levels or phrases what its grammar says. Blank and unreadable cells are missing.
    """
    columns, faults = {}, []
    for column in table.columns:
        cells = sheet.columns.get(column.name) or Cells([], np.full(len(sheet.lines), -1, dtype=np.int32))
        values, unreadable = [], {}
        personal = privacy.column([text_of(value) for value in cells.values], person=column.name in PERSON, own_words=column.name in OWN_WORDS) if column.type == "text" and column.name not in KEYS else {}
        for number, value in enumerate(cells.values):
            try:
                if number in personal:
                    raise _personal(personal[number])
                if isinstance(value, Refused):
                    raise _Unreadable(value.rule, value.why, value.remedy)
                values.append(_READERS[column.type](value, column, choices))
            except _Unreadable as problem:
                values.append(None)
                unreadable[number] = problem
        for number, rows in _rows_of(cells.index, unreadable):
            problem, shown = unreadable[number], text_of(cells.values[number])
            shown = "" if problem.rule == "personal data" else shown  # what is refused for being personal is repeated nowhere
            faults.append(Fault(problem.rule, column.name, rows, shown, f"{column.name}: {problem.why}", problem.remedy))
        index = np.where(np.array([*(value is not None for value in values), False])[cells.index], cells.index, -1)
        columns.update(_column(column, values, index))
    return pd.DataFrame(columns), faults


def _rows_of(index: np.ndarray, wanted) -> list[tuple[int, np.ndarray]]:
    """The rows that hold each wanted value, for those that any row holds."""
    if not wanted:
        return []
    order = np.argsort(index, kind="stable")
    at = index[order]
    groups = ((number, order[np.searchsorted(at, number): np.searchsorted(at, number, "right")]) for number in wanted)
    return [(number, rows) for number, rows in groups if len(rows)]


def text_of(value) -> str:
    """A cell's value as a person would write it."""
    return value.isoformat(sep=" ").removesuffix(" 00:00:00") if hasattr(value, "isoformat") and hasattr(value, "hour") else str(value).strip()


def _column(column: schemas.Column, values: list, index: np.ndarray) -> dict[str, object]:
    kind = column.type
    if kind == "date":
        days = np.array([*(np.datetime64(value[0], "s") if value and value[0] else np.datetime64("NaT") for value in values), np.datetime64("NaT")], dtype="datetime64[s]")
        codes = np.array([*(dates.PRECISIONS.index(value[1]) if value else -1 for value in values), -1], dtype=np.int8)
        return {column.name: days[index], column.name + "_precision": pd.Categorical.from_codes(codes[index], categories=list(dates.PRECISIONS))}
    if kind == "code":
        allowed = list(column.code_list)
        codes = np.array([*(allowed.index(value) if value is not None else -1 for value in values), -1], dtype=np.int8)
        return {column.name: pd.Categorical.from_codes(codes[index], categories=allowed)}
    if kind == "number":
        return {column.name: np.array([*(np.nan if value is None else value for value in values), np.nan])[index]}
    if kind == "whole":
        data = np.array([*(0 if value is None else value for value in values), 0], dtype=np.int32)[index]
        return {column.name: pd.arrays.IntegerArray(data, index < 0)}
    if kind in ("text", "position"):
        return {column.name: strings(values, index)}
    objects = np.empty(len(values) + 1, dtype=object)
    for number, value in enumerate(values):
        objects[number] = value
    return {column.name: objects[index]}


def strings(values: list, index: np.ndarray):
    """A pyarrow string column from distinct texts and their index (-1: missing)."""
    encoded = pa.DictionaryArray.from_arrays(pa.array(index.astype(np.int32), mask=index < 0), pa.array([value or "" for value in values], pa.large_string()))
    return pd.array(encoded.cast(pa.large_string()), dtype="string[pyarrow]")


def _text(value, column: schemas.Column, choices: Choices) -> str:
    text = text_of(value)
    if text in SPREADSHEET_ERRORS:
        raise _Unreadable("spreadsheet error", "a formula in the spreadsheet failed", "Mend the formula, or write the value itself.")
    if unseen(text):
        raise _Unreadable("characters not shown", "it holds a line break or another character that cannot be shown", "Write it anew in one line.")
    if column.name in KEYS and (reason := privacy.content(text, person=True)):
        raise _personal(reason)
    return text


def _personal(reason: str) -> _Unreadable:
    return _Unreadable("personal data", f"it looks like {reason}", "Put the pseudonym or code there: the log holds no personal data. outcomes pseudonymise turns a column of names or numbers into pseudonyms.")


def _code(value, column: schemas.Column, choices: Choices) -> str:
    text = text_of(value)
    code = meanings(column.codes).get(fold(text))
    if code is None:
        raise _Unreadable("code not known", f"the list for {column.name} has no such word", suggestion(text, column.code_list))
    return code


def _date(value, column: schemas.Column, choices: Choices):
    try:
        return dates.parse(value, choices.date_order)
    except ValueError as problem:
        rule = "date order" if "day first or month first" in str(problem) else "date not readable"
        raise _Unreadable(rule, str(problem), DATE_REMEDY) from None


def _number(value, column: schemas.Column, choices: Choices) -> float:
    try:
        return numbers.parse(value, choices.decimal)
    except ValueError:
        raise _Unreadable("number not readable", "it is no number", "Write digits only, without a unit" + (f" (meant in {column.unit})." if column.unit else ".")) from None


def _whole(value, column: schemas.Column, choices: Choices) -> int:
    number = _number(value, column, choices)
    if number != int(number) or abs(number) > 2**31 - 1:
        raise _Unreadable("number not readable", "it is no whole number", "Write a whole number.")
    return int(number)


def _grammar(read, remedy):
    """A reader by a grammar; ``remedy``: what to write, or what says it of a column."""

    def reader(value, column: schemas.Column, choices: Choices):
        try:
            return read(value, column)
        except ValueError as problem:
            rule = "position not known" if "position" in column.type else "phrase not readable"
            raise _Unreadable(rule, str(problem), remedy if isinstance(remedy, str) else remedy(column)) from None
    return reader


_SITE_REMEDY = "Write two digits of ISO 3950, such as 33; 33-43 for a bar; or midline."
_READERS = {
    "text": _text, "code": _code, "date": _date, "number": _number, "whole": _whole,
    "position": _grammar(lambda value, column: positions.parse(value), _SITE_REMEDY),
    "positions": _grammar(lambda value, column: positions.parse_list(value, column.words), lambda column: f"Write {''.join(word + ', ' for word in column.words)}{'or ' if column.words else ''}positions with a blank between, such as 33 43."),
    "levels": _grammar(lambda value, column: phrases.parse_levels(value), "Write one level for all, or position:level for each, such as 33:light 43:medium."),
    "phrases": _grammar(lambda value, column: phrases.parse(value, column.part), "Write fine, or position and words, such as 33 picked up again; 43 fine."),
}
