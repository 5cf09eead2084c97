"""Two people's entry of the same notes, put side by side: lines paired by their key, and every cell in which they differ."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.errors import DataProblem
from outcomes.intake import checked, numbering, wide
from outcomes.intake.dates import LENGTH
from outcomes.intake.decisions import decide
from outcomes.intake.headings import letter
from outcomes.intake.source import Options, Sheet
from outcomes.intake.typed import text_of, typed

# What tells one line from another, as both people must have written it; the first is the one that stands for the patient where there is one.
KEYS = {
    "day_sheet": ("patient", "date", "arch", "visit_order"), "set_up": ("patient", "position", "fitted_on"), "visits": ("patient_id", "visited_on", "arch", "visit_order"),
    "dentures": ("patient_id", "arch", "delivered_on"), "parts_log": ("visit_id", "position", "part"), "denture_log": ("visit_id", "denture_id", "finding"),
    "questionnaires": ("patient_id", "answered_on", "instrument", "item", "about"), "pull_tests": ("visit_id", "position"),
}
WHERE = ["_file", "_sheet", "_line"]


@dataclass
class Pairs:
    """One table of both entries. ``first`` and ``second``: the paired lines, row for row, each cell as text (None: blank), with
    file, sheet and line; ``fields``: the columns either took. ``alone``: lines only one has (who: 0 or 1)."""

    table: schemas.Table
    fields: list[str]
    key: list[str]
    first: pd.DataFrame
    second: pd.DataFrame
    alone: pd.DataFrame
    places: tuple[dict, dict]

    @property
    def patients(self) -> list:
        """One label a pair by which pairs of one patient belong together."""
        name = next((name for name in self.key if name in ("patient", "patient_id", "visit_id")), self.key[0])
        labels = self.first[name].fillna("").astype(str)
        return list(labels.str.rsplit("/", n=1).str[0] if name == "visit_id" else labels)

    def cell(self, who: int, row: int, column: str) -> str:
        """Where a cell of a pair stands, such as ``anna.xlsx, Day sheet!F12``."""
        one = (self.first, self.second)[who].iloc[row]
        at = self.places[who].get((one["_file"], one["_sheet"]), {}).get(column)
        cell = f"{letter(at)}{one['_line']}" if at is not None else f"line {one['_line']}"
        return f"{one['_file']}, {one['_sheet']}!{cell}" if one["_sheet"] and at is not None else ", ".join(str(part) for part in (one["_file"], one["_sheet"], cell) if part)


@dataclass
class Compared:
    """Both entries: ``tables`` by name, ``names`` of the two, ``decisions`` on how each file was read, ``unread``: cells of each that could not be read."""

    names: tuple[str, str]
    tables: dict[str, Pairs] = field(default_factory=dict)
    decisions: list[str] = field(default_factory=list)
    unread: list[int] = field(default_factory=lambda: [0, 0])

    def differences(self) -> pd.DataFrame:
        """Each cell in which the two differ: table, key, column, first_cell, first, second_cell, second (blank cells as empty text)."""
        out = []
        for name, pair in self.tables.items():
            for column in pair.fields:
                one, other = pair.first[column], pair.second[column]
                for row in np.flatnonzero(~((one == other) | (one.isna() & other.isna())).to_numpy(dtype=bool)):
                    key = ", ".join(str(pair.first[key].iloc[row]) for key in pair.key if pair.first[key].iloc[row] is not None)
                    out.append((name, key, column, pair.cell(0, row, column), one.iloc[row] or "", pair.cell(1, row, column), other.iloc[row] or ""))
        return pd.DataFrame(out, columns=["table", "key", "column", "first_cell", "first", "second_cell", "second"])


def compare(first, second, *, options: Options = Options()) -> Compared:
    """Put two entries of the same notes side by side.

    ``first``, ``second``: the files of each person (workbooks or CSV), read as for a check but neither expanded nor held against
    any rule: what is compared is what each typed, with 15,0 and 15 or 14.03.2024 and 2024-03-14 taken for the same. Lines are
    paired by their key; a line left over is paired with the other's when all of the key but one cell agrees and no other line
    could be meant, so that a mistyped day is a difference and not two lines. Raises Misuse for files that cannot be opened and
    DataProblem where one cannot be read as a log or the two share no table.
    """
    entries, decisions = [], []
    unread = [0, 0]
    for who, paths in enumerate((first, second)):
        frames, places, said, unread[who] = _entry([Path(path) for path in ([paths] if isinstance(paths, (str, Path)) else paths)], options)
        entries.append((frames, places))
        decisions += said
    names = _names(first, second)
    out = Compared(names, {}, decisions, unread)
    for name in [name for name in entries[0][0] if name in entries[1][0]]:
        out.tables[name] = _paired(name, entries[0][0][name], entries[1][0][name], (entries[0][1], entries[1][1]))
    if not out.tables:
        raise DataProblem(f"{names[0]} and {names[1]} have no table in common, so there is nothing to compare. Give two entries of the same sheet, such as two day sheets.")
    return out


def _names(first, second) -> tuple[str, str]:
    """What to call each entry: the file or folder, with the folder above where both are called alike."""
    paths = [Path(one) if isinstance(one, (str, Path)) else (Path(one[0]) if len(one) == 1 else Path(one[0]).parent) for one in (first, second)]
    names = [path.name for path in paths]
    return tuple(names) if names[0] != names[1] else tuple(f"{path.resolve().parent.name}/{path.name}" for path in paths)


def _entry(paths: list[Path], options: Options) -> tuple[dict[str, pd.DataFrame], dict, list[str], int]:
    """One person's lines as text by table, the places of their columns, what was decided, and how many cells could not be read."""
    readings, _ = checked.read_all(paths, options)
    numbering.refuse_universal(readings)
    pieces: dict[str, list[pd.DataFrame]] = {}
    places, unread = {}, 0
    for reading in readings:
        tables = {sheet.table: schemas.tables().get(sheet.table) or wide.table(sheet.table) for sheet in reading.sheets}
        choices = decide(reading, tables, options)
        if reading.refused:
            fault = next(fault for fault in reading.faults if fault["refuses"])
            raise DataProblem(f"{reading.name} cannot be compared: {fault['message'].removeprefix(reading.name + ' ')}. {fault['remedy']}")
        for sheet in reading.sheets:
            frame, faults = typed(sheet, tables[sheet.table], choices)
            piece = _as_text(frame, tables[sheet.table], sheet)
            for fault in faults:
                unread += len(fault.rows)
                for row in fault.rows:
                    piece.iat[int(row), piece.columns.get_loc(fault.column)] = _raw(sheet, fault.column, int(row))
            piece["_file"], piece["_sheet"], piece["_line"] = reading.name, sheet.name, sheet.lines
            places[(reading.name, sheet.name)] = sheet.places
            pieces.setdefault(sheet.table, []).append(piece)
    return {name: pd.concat(parts, ignore_index=True) for name, parts in pieces.items()}, places, [one for reading in readings for one in reading.decisions], unread


def _raw(sheet: Sheet, column: str, row: int) -> str:
    cells = sheet.columns[column]
    return text_of(cells.values[cells.index[row]])


def _as_text(frame: pd.DataFrame, table: schemas.Table, sheet: Sheet) -> pd.DataFrame:
    """Each cell as one text that two ways of writing the same share; None where blank."""
    out = {}
    for column in table.columns:
        values = frame[column.name].astype(object)
        if column.type == "date":
            texts = [None if not isinstance(word, str) else "not known" if word == "not known" else day.isoformat()[: LENGTH[word]]
                     for day, word in zip(frame[column.name], frame[column.name + "_precision"].astype(object))]
        elif column.type in ("number", "whole"):
            texts = [None if pd.isna(value) else f"{value:g}" if abs(value) < 1e5 else str(value) for value in values]
        else:
            texts = [None if value is None or (not isinstance(value, (tuple, list)) and pd.isna(value)) else value if isinstance(value, str) else _flat(value) for value in values]
        out[column.name] = pd.Series(texts, dtype=object)
    return pd.DataFrame(out)


def _flat(value) -> str:
    """Positions, levels and phrases as one text."""
    if isinstance(value, (tuple, list)):
        return " ".join(_flat(one) for one in value)
    return str(value)


def _paired(name: str, first: pd.DataFrame, second: pd.DataFrame, places: tuple[dict, dict]) -> Pairs:
    table = schemas.tables().get(name) or wide.table(name)
    key = [column for column in KEYS.get(name, table.key) if column in first]
    taken = [column.name for column in table.columns if first[column.name].notna().any() or second[column.name].notna().any()]
    pairs = _by(first, second, key, range(len(first)), range(len(second)), once=False)
    for left in [*key[1:], *key[:1]] if len(key) > 1 else []:  # what differs in one cell of the key only
        done = [set(side) for side in zip(*pairs)] if pairs else [set(), set()]
        rest = [[row for row in range(len(frame)) if row not in done[who]] for who, frame in enumerate((first, second))]
        pairs += _by(first, second, [column for column in key if column != left], *rest, once=True)
    pairs.sort()
    rows = [[pair[who] for pair in pairs] for who in (0, 1)]
    alone = [frame.drop(index=rows[who]).assign(who=who) for who, frame in enumerate((first, second))]
    fields = [column for column in taken if table.column(column).derived is None or column in key or (first[column].notna().any() and second[column].notna().any())]
    return Pairs(table, fields, key, first.iloc[rows[0]].reset_index(drop=True), second.iloc[rows[1]].reset_index(drop=True), pd.concat(alone, ignore_index=True), places)


def _by(first: pd.DataFrame, second: pd.DataFrame, key: list[str], left, right, *, once: bool) -> list[tuple[int, int]]:
    """Rows of both with the same key, in the order in which they stand; with ``once`` only where one row of each has it."""
    groups: list[dict] = [{}, {}]
    for who, (frame, rows) in enumerate(((first, left), (second, right))):
        columns = [frame[column].tolist() for column in key]
        for row in rows:
            groups[who].setdefault(tuple(column[row] for column in columns), []).append(row)
    found = []
    for label, here in groups[0].items():
        there = groups[1].get(label, [])
        if there and not (once and (len(here) > 1 or len(there) > 1)):
            found += list(zip(here, there))
    return found
