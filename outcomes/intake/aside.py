"""Which rows stay out: those with errors, those that rest on them, and those that only make sense with them; and how many lines that is."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.intake.log import PROVENANCE, Log
from outcomes.intake.problems import Problems
from outcomes.intake.source import Reading
from outcomes.intake.stored import Held
from outcomes.intake.words import visible

WRITTEN = ("day_sheet", "set_up")


def from_problems(log: Log, problems: Problems) -> dict[str, np.ndarray]:
    """For each table, whether each of its rows has an error."""
    bad = {}
    for name, frame in log.frames.items():
        bad[name] = np.zeros(len(frame), dtype=bool)
        bad[name][problems.error_rows(name)] = True
    return bad


def spread(log: Log, held: Held, bad: dict[str, np.ndarray]) -> None:
    """Widen ``bad`` in place: all rows of a written line go together, and a row goes with the row its key names."""
    while True:
        before = sum(int(rows.sum()) for rows in bad.values())
        _whole_lines(log, bad)
        for name, table in schemas.stored_tables().items():
            for column in table.columns:
                if column.references and column.references.partition(".")[0] in schemas.stored_tables():
                    bad[name] |= _unresolved(log, held, bad, name, column)
        if sum(int(rows.sum()) for rows in bad.values()) == before:
            return


def _whole_lines(log: Log, bad: dict[str, np.ndarray]) -> None:
    for source in WRITTEN:
        if source not in bad:
            continue
        for name in schemas.stored_tables():
            frame = log.frames[name]
            made = (frame["_from"] == source).to_numpy()
            bad[source][frame["_at"].to_numpy()[made & bad[name]]] = True
    for source in WRITTEN:
        if source not in bad:
            continue
        for name in schemas.stored_tables():
            frame = log.frames[name]
            made = np.flatnonzero(frame["_from"] == source)
            bad[name][made] |= bad[source][frame["_at"].to_numpy()[made]]


def _unresolved(log: Log, held: Held, bad: dict[str, np.ndarray], name: str, column: schemas.Column) -> np.ndarray:
    target, key = column.references.split(".")
    if not bad[target].any():
        return np.zeros(len(log.frames[name]), dtype=bool)
    good = log.frames[target].loc[~bad[target], key].dropna()
    known = pd.Index(good).union(pd.Index(held.frame(target)[key].dropna())) if held.tables else pd.Index(good)
    values = log.frames[name][column.name]
    return (values.notna() & ~values.isin(known) & (values != "unknown").fillna(False)).to_numpy(dtype=bool)


def lines(readings: list[Reading], log: Log, bad: dict[str, np.ndarray], problems: pd.DataFrame) -> tuple[int, int]:
    """Lines of the files as they were typed, and those of them of which a row stays out or that could not be read.

    A line of a day sheet makes several rows, and one of an export may be read into several tables: each counts once.
    """
    typed: dict[tuple[int, str], list[np.ndarray]] = {}
    for sheet in [sheet for reading in readings for sheet in reading.sheets]:
        typed.setdefault((sheet.file, sheet.name), []).append(sheet.lines)
    out: dict[tuple[int, str], list[np.ndarray]] = {}
    for name, rows in bad.items():
        if rows.any():
            for place, part in log.frames[name].loc[rows, PROVENANCE].astype({"_sheet": object}).groupby(["_file", "_sheet"], sort=False):
                out.setdefault(place, []).append(part["_line"].to_numpy())
    unread = problems[(problems["severity"] == "error") & (problems["line"] > 0)]
    for (name, sheet), part in unread.groupby(["file", "sheet"], sort=False):
        place = next((one for one in typed if visible(log.files[one[0]]) == name and visible(one[1]) == sheet), None)
        if place is not None:
            out.setdefault(place, []).append(part["line"].to_numpy())
    kept_out = {place: np.unique(np.concatenate(parts)) for place, parts in out.items()}
    nothing = np.array([], dtype=np.int64)
    every = {place: np.union1d(np.concatenate(parts), kept_out.get(place, nothing)) for place, parts in typed.items()}
    return sum(map(len, every.values())), sum(map(len, kept_out.values()))
