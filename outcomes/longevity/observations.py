"""What was seen of each part: (left, right], the day it came under observation, and what kind of knowledge that is."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from outcomes.longevity.design import read_column, read_numbers
from outcomes.longevity.estimate import ArgumentError


@dataclass(frozen=True, eq=False)
class Observations:
    """Event known to lie in (left, right] given survival to entry; arrays of floats, one per row, in one unit of time.

    ``right`` = inf: right-censored at left; ``left`` = 0 with finite right: left-censored; ``left`` = ``right``: exact.
    """

    left: np.ndarray = field(repr=False)
    right: np.ndarray = field(repr=False)
    entry: np.ndarray = field(repr=False)

    @property
    def exact(self) -> np.ndarray:
        """Rows whose time is known."""
        return self.left == self.right

    @property
    def right_censored(self) -> np.ndarray:
        """Rows that had not failed when last seen."""
        return np.isinf(self.right)

    @property
    def left_censored(self) -> np.ndarray:
        """Rows found failed at their first look."""
        return (self.left == 0) & ~self.right_censored

    @property
    def interval(self) -> np.ndarray:
        """Rows that failed between two looks."""
        return (self.left > 0) & (self.right > self.left) & ~self.right_censored

    @property
    def longest(self) -> float:
        """Largest time at which anything was seen; nothing beyond it is more than extrapolation."""
        return float(np.where(self.right_censored, self.left, self.right).max())

    def counts(self) -> dict:
        """Rows, events, and how many there are of each kind."""
        return {
            "rows": len(self.left),
            "events": int((~self.right_censored).sum()),
            "exact": int(self.exact.sum()),
            "intervals": int(self.interval.sum()),
            "left-censored": int(self.left_censored.sum()),
            "right-censored": int(self.right_censored.sum()),
            "late entries": int((self.entry > 0).sum()),
            "without information": int((self.right_censored & (self.left == 0)).sum()),
        }


def observations(frame: pd.DataFrame, left: str, right: str, entry: str | None) -> Observations:
    """Checked observations from three columns of the frame. Raises ArgumentError naming column, position and remedy."""
    n = len(frame)
    refuse("right", pd.isna(read_column(frame, "right", right)), "holds a missing value", "Write inf where the part was not yet found failed.")
    lower, upper = read_numbers(frame, "left", left), read_numbers(frame, "right", right, finite=False)
    start = np.zeros(n) if entry is None else read_numbers(frame, "entry", entry)
    censored = np.isinf(upper)
    refuse("left", lower < 0, "is negative", "Times count from the day the part was fitted.")
    refuse("right", lower > upper, "lies before left", "left is the last time seen sound, right the first time found failed.")
    refuse("right", upper == 0, "is 0", "Write 1 for a part that failed on its first day.")
    refuse("entry", start < 0, "is negative", "Times count from the day the part was fitted.")
    late = (start > lower) | ((start == lower) & (start > 0) & (censored | (lower == upper)))
    refuse("entry", late, "is not before the end of the row", "Drop rows that were never seen after the day they entered.")
    if censored.all():
        raise ArgumentError("right", "no row has failed (all are inf)", "Without an event there is nothing to model; state the time at risk instead.")
    if not lower.any():
        raise ArgumentError("left", "is 0 in every row", "Without a part seen sound after its first day there is no lifetime to model.")
    return Observations(lower, upper, start)


def refuse(argument: str, wrong: np.ndarray, problem: str, remedy: str) -> None:
    """Raises ArgumentError at the first row for which ``wrong`` (rows,) holds."""
    if wrong.any():
        raise ArgumentError(argument, problem, remedy, int(np.argmax(wrong)))


def positive_weights(frame: pd.DataFrame, name: str | None, cluster: str | None) -> np.ndarray:
    """Weight of each row (1 without a column): counts, or sampling weights where clusters are named.

    Raises ArgumentError for a weight that is not above 0, and for fractions without clusters (no error could be right then).
    """
    if name is None:
        return np.ones(len(frame))
    weights = read_numbers(frame, "weights", name)
    refuse("weights", weights <= 0, "is not above 0", "Leave such rows out.")
    if cluster is None:
        refuse("weights", weights != np.round(weights), "is no whole number, and without cluster weights are counts",
               "Name a cluster column (the row number will do) for sampling weights.")
    return weights
