"""Levels spelled as the clinic declared them: case and stray blanks make no new level."""

from __future__ import annotations

import pandas as pd

from outcomes.intake.log import Log
from outcomes.intake.stored import Held
from outcomes.intake.words import fold


def fold_levels(log: Log, held: Held) -> None:
    """Write every level in the spelling of Insert levels (or the store's), and ``unknown`` in small letters."""
    declared = [*log.frames["insert_levels"]["level"].dropna()] if "insert_levels" in log.frames else []
    known = {fold(level): level for level in [*held.frame("insert_levels")["level"].dropna(), *declared]} | {"unknown": "unknown"}
    for name in ("parts_log", "set_up"):
        if name in log.frames:
            frame = log.frames[name]
            respelled = {level: known[fold(level)] for level in frame["level"].dropna().unique() if known.get(fold(level), level) != level}
            if respelled:
                frame["level"] = frame["level"].replace(respelled).astype("string[pyarrow]")
    if "day_sheet" in log.frames:
        frame = log.frames["day_sheet"]
        frame["level_now"] = pd.Series([_spelled(cell, known) for cell in frame["level_now"]], index=frame.index, dtype=object)


def _spelled(cell, known: dict[str, str]):
    if isinstance(cell, str):
        return known.get(fold(cell), cell)
    if isinstance(cell, tuple):
        return tuple((position, known.get(fold(level), level)) for position, level in cell)
    return cell
