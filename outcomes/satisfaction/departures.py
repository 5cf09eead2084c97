"""How far the silent would have to be worse off before a conclusion turns."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError

from .changes import direction
from .trajectories import Trajectory


@dataclass(frozen=True)
class Departures:
    """Improvement with those who did not answer taken to be worse off than their other answers say, by delta."""

    method: str
    notes: tuple[str, ...]
    _rows: pd.DataFrame = field(repr=False)

    def table(self) -> pd.DataFrame:
        """Columns window, group, missing_share, delta, improvement, low, high, turns_at (nan: already undecided, or nobody missing)."""
        return self._rows.copy()


def delta_adjustment(course: Trajectory, missing_share, *, minimal_difference: float) -> Departures:
    """Delta adjustment of a trajectory's changes: missing answers worse by 0, half and one whole smallest difference.

    missing_share: occasion (or (occasion, group)) to the share of those alive with the denture who did not answer, as
    ``response_rates(...).missing_share`` gives it. Improvement moves by delta times that share, limits with it;
    ``turns_at`` is the delta at which the lower limit of a clear improvement reaches 0. Raises ArgumentError for a share
    outside 0 to 1. Delta: in the direction of worse, in points of the score.
    """
    if not minimal_difference > 0:
        raise ArgumentError("minimal_difference", "must be positive", "Give the size of the smallest difference that matters.")
    sign = direction(course.better)
    rows, notes = [], []
    for row in course.table().dropna(subset=["change"]).itertuples():
        share = missing_share.get((row.window, row.group), missing_share.get(row.window, np.nan))
        if not (0 <= share <= 1 or np.isnan(share)):
            raise ArgumentError("missing_share", f"of {row.window} must lie between 0 and 1", "Divide those who did not answer by those asked.")
        low, high = sorted((sign * row.low, sign * row.high)) if np.isfinite(row.low) else (np.nan, np.nan)
        turns = -low / share if share > 0 and low > 0 else np.nan
        for delta in (0.0, -minimal_difference / 2, -minimal_difference):
            shift = delta * share
            place = {"window": row.window, "group": row.group, "missing_share": share, "delta": delta}
            rows.append(place | {"improvement": sign * row.change + shift, "low": low + shift, "high": high + shift, "turns_at": turns})
        if np.isfinite(turns):
            where = f"{row.window}{', ' + row.group if row.group else ''}"
            notes.append(f"{where}: the conclusion turns at delta = {turns:.1f} (those who did not answer worse by that much than their other answers say).")
    method = "improvement plus delta times the share missing among those alive with the denture; limits moved along"
    return Departures(method, tuple(notes), pd.DataFrame(rows))
