"""Rows that stand twice word for word: taken once, with a warning. Rows that differ under one key are a rule's concern."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.intake.log import Log
from outcomes.intake.problems import Problems
from outcomes.intake.staged import Staged

WORDS = ("the row stands twice, word for word; it was taken once", "Delete one of the two, unless it was meant as another visit (visit order).")


def once(frame: pd.DataFrame, name: str, problems: Problems) -> pd.DataFrame:
    """A written table without the repeats of whole lines; row numbers stay."""
    table = schemas.tables()[name]
    again = _again(frame, table, frame.duplicated(list(table.key), keep=False).to_numpy() & _read(frame, name, problems))
    problems.add("warning", "same row twice", name, np.flatnonzero(again), table.key[0], *WORDS)
    return frame[~again]


def take_once(staged: Staged, log: Log, problems: Problems) -> None:
    """Leave the repeats of whole rows out of every stored table, and note for the rules which rows differ under one key."""
    shared = {}
    for name, table in schemas.stored_tables().items():
        frame = log.frames[name]
        suspects = np.zeros(len(frame), dtype=bool)
        suspects[staged.sharing_a_key(name)] = True
        again = _again(frame, table, suspects & _read(frame, name, problems))
        if again.any():
            staged.drop(name, again)
            made = frame["_from"].isin(["day_sheet", "set_up"]).to_numpy()
            problems.add("warning", "same row twice", name, np.flatnonzero(again & ~made), table.key[0], *WORDS)
        shared[name] = staged.sharing_a_key(name) if again.any() else np.flatnonzero(suspects)
    staged.note_shared_keys(shared)


def _read(frame: pd.DataFrame, name: str, problems: Problems) -> np.ndarray:
    """Rows whose every cell could be read: two that differ in a cell that could not are no repeats."""
    out = np.ones(len(frame), dtype=bool)
    out[problems.error_rows(name)] = False
    return out


def _again(frame: pd.DataFrame, table: schemas.Table, suspects: np.ndarray) -> np.ndarray:
    out = np.zeros(len(frame), dtype=bool)
    if suspects.any():
        rows = np.flatnonzero(suspects)
        part = frame.iloc[rows][[name for column in table.columns for name in ([column.name, column.name + "_precision"] if column.type == "date" else [column.name])]]
        out[rows] = part.astype(object).where(part.notna(), None).duplicated().to_numpy()
    return out
