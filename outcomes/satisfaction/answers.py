"""Answers as they come, one row per answer or one column per item, to one matrix of questionnaires by items, checked."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError

from .forms import Instrument, plain

BLANKS = {"", "-", "don't know", "dont know", "do not know", "no answer", "not answered", "not recorded", "missing", "nan", "none", "na"}
KEY = ("patient_id", "answered_on", "answered_on_precision", "about", "occasion")
PREFIXES = {"", "item", "i", "q", "question"}


@dataclass(frozen=True)
class Answers:
    """``identity``: one row per questionnaire; ``matrix``: its responses by item as answered, nan for a blank; ``notes``: sentences."""

    identity: pd.DataFrame
    matrix: np.ndarray
    notes: tuple[str, ...]


def read_answers(responses, form: Instrument, not_answered=()) -> Answers:
    """Long questionnaires rows (columns item and response), a wide frame or an array, as one checked matrix."""
    if isinstance(responses, pd.DataFrame):
        read = _long if {"item", "response"} <= set(responses.columns) else _wide
        answers, position = read(responses, form, not_answered)
    else:
        answers, position = _array(responses, form, not_answered)
    _in_range(answers.matrix, form, position)
    return answers


def _numbers(values, not_answered) -> np.ndarray:
    """Float array; words for a blank and the codes of ``not_answered`` become nan, any other word is refused."""
    series = pd.Series(values).reset_index(drop=True)
    if series.dtype == bool or not pd.api.types.is_numeric_dtype(series):
        words = series.astype("string").str.strip().str.lower()
        numbers = pd.to_numeric(words.where(~words.isin(BLANKS)), errors="coerce")
        wrong = (numbers.isna() & words.notna() & ~words.isin(BLANKS)).to_numpy()
        if wrong.any():
            raise ArgumentError("responses", "holds answers that are no numbers", "Type the number of the answer; leave a blank for none.", int(wrong.argmax()))
        series = numbers
    array = series.to_numpy(dtype=float, na_value=np.nan).copy()
    if len(not_answered):
        array[np.isin(array, np.asarray(not_answered, dtype=float))] = np.nan
    return array


def _array(responses, form, not_answered):
    array = np.asarray(responses, dtype=object)
    if array.ndim == 1 and form.items == 1:
        array = array[:, None]
    if array.ndim != 2 or array.shape[1] != form.items:
        raise ArgumentError(
            "responses", f"has shape {array.shape} where {form.name} has {form.items} items", "Pass one row per questionnaire and one column per item, in order."
        )
    matrix = np.column_stack([_numbers(column, not_answered) for column in array.T])
    return Answers(pd.DataFrame(index=range(len(matrix))), matrix, ()), None


def _item_columns(columns, form) -> dict[int, str]:
    prefixes = PREFIXES | {plain(w) for w in (form.name, form.title, *form.also)}
    found: dict[int, str] = {}
    for column in columns:
        parts = re.fullmatch(r"(.*?)[_\s.-]*0*(\d+)", str(column))
        if not parts or plain(parts[1]) not in prefixes:
            continue
        number = int(parts[2])
        if not 1 <= number <= form.items:
            raise ArgumentError("responses", f"has a column for item {number}; {form.name} has {form.items} items", "Choose the instrument that was used.")
        if number in found:
            raise ArgumentError("responses", f"has two columns for item {number}", "Keep one of them.")
        found[number] = column
    absent = [i for i in range(1, form.items + 1) if i not in found]
    if absent:
        raise ArgumentError(
            "responses", f"has no column for item {absent[0]} of {form.name} ({len(absent)} of {form.items} missing)",
            "Name the columns by item number: 1, item_1, q1 or the instrument's name and the number.",
        )  # fmt: skip
    return found


def _wide(frame, form, not_answered):
    # A single-item form may come under its own name, or as a column called response.
    single = [c for c in frame.columns if form.items == 1 and plain(c) in {plain(form.name), "response"}]
    columns = {1: single[0]} if single else _item_columns(frame.columns, form)
    matrix = np.column_stack([_numbers(frame[columns[i]], not_answered) for i in range(1, form.items + 1)])
    identity = frame[[c for c in frame.columns if c not in set(columns.values())]].reset_index(drop=True)
    keys = [c for c in KEY if c in identity]
    if {"patient_id", "answered_on"} <= set(keys):
        twice = identity.duplicated(keys).to_numpy()
        if twice.any():
            raise ArgumentError(
                "responses", f"holds questionnaires that stand twice for one patient and day: {int(twice.sum())}", "Keep one row per patient, day and denture.", int(twice.argmax())
            )
    return Answers(identity, matrix, ()), None


def _of_this_form(frame, form) -> np.ndarray:
    if "instrument" not in frame.columns:
        return np.arange(len(frame))
    codes, names = pd.factorize(frame["instrument"])
    wanted = {plain(w) for w in (form.name, form.title, *form.also)}
    rows = np.flatnonzero(np.isin(codes, [i for i, n in enumerate(names) if plain(n) in wanted]))
    if len(rows) == 0 and len(frame):
        raise ArgumentError("responses", f"holds no answers to {form.name}", f"Instruments in it: {', '.join(sorted(map(str, names)))[:200]}.")
    return rows


def _items(column, form, rows) -> np.ndarray:
    numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    wrong = ~(np.isin(numbers, np.arange(1, form.items + 1)))
    if wrong.any():
        raise ArgumentError("item", f"must be a whole number from 1 to {form.items} for {form.name}", "Is it another form of the instrument?", int(rows[wrong.argmax()]))
    return numbers.astype(np.int64) - 1


def _questionnaires(frame, keys) -> tuple[np.ndarray, np.ndarray]:
    """(code of each row's questionnaire, in order of appearance; row of each questionnaire's first answer)."""
    combined = np.zeros(len(frame), dtype=np.int64)
    for key in keys:
        codes, labels = pd.factorize(frame[key], use_na_sentinel=False)
        combined = combined * max(len(labels), 1) + codes
    codes, labels = pd.factorize(combined)
    first = np.full(len(labels), len(codes), dtype=np.int64)
    np.minimum.at(first, codes, np.arange(len(codes)))
    return codes, first


def _long(frame, form, not_answered):
    if "patient_id" not in frame.columns:
        raise ArgumentError("responses", "has no column patient_id", "Long answers need patient_id, item and response, best with answered_on.")
    rows = _of_this_form(frame, form)
    frame = frame if len(rows) == len(frame) else frame.iloc[rows]
    # The occasion describes a questionnaire; two spellings of it on one day must not split one questionnaire in two.
    keys = [k for k in KEY if k in frame.columns and k != "occasion"]
    codes, first = _questionnaires(frame, keys)
    item, response = _items(frame["item"], form, rows), _numbers(frame["response"], not_answered)
    kept = ~np.isnan(response)
    cell = codes[kept] * form.items + item[kept]
    matrix = np.full(len(first) * form.items, np.nan)
    matrix[cell] = response[kept]
    clash = matrix[cell] != response[kept]
    if clash.any():
        raise ArgumentError(
            "responses", f"holds items answered twice, and differently, by one patient on one day: {int(clash.sum())}",
            "Keep one answer per patient, day, denture and item; for two dentures fill the column about.", int(rows[np.flatnonzero(kept)[clash.argmax()]]),
        )  # fmt: skip
    repeats = len(cell) - int((~np.isnan(matrix)).sum())
    notes = (f"Answers that stood twice, with the same value, counted once: {repeats}.",) if repeats else ()
    identity = frame[[k for k in (*KEY, "filled_by", "where") if k in frame.columns]].iloc[first].reset_index(drop=True)
    where = np.zeros((len(first), form.items), dtype=np.int64)
    where.reshape(-1)[cell] = rows[kept]
    return Answers(identity, matrix.reshape(len(first), form.items), notes), where


def _in_range(matrix, form, position) -> None:
    filled = ~np.isnan(matrix)
    values = np.where(filled, matrix, form.minimum)
    outside = (values < form.minimum) | (values > form.maximum)
    if form.whole:
        outside |= values != np.round(values)
    if not outside.any():
        return
    row, item = np.unravel_index(outside.argmax(), outside.shape)
    items = sorted(set((np.flatnonzero(outside.any(axis=0)) + 1).tolist()))
    more = f", {int(outside.sum())} answers in all, in {len(items)} items" if outside.sum() > 1 else ""
    editions = f" Other editions in print run {', '.join(form.other_ranges)}: declare yours in a file of its own." if form.other_ranges else ""
    raise ArgumentError(
        "responses",
        f"item {item + 1} is answered outside its range; {form.name} runs from {form.range_in_words}{' in whole steps' if form.whole else ''}{more}",
        f"Correct it, name a code for no answer in not_answered, or use the edition that was asked.{editions}",
        int(row if position is None else position[row, item]),
    )
