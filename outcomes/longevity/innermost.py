"""Innermost intervals: the only places where the likelihood of interval-censored rows lets a curve fall (Peto 1973; Turnbull 1976)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.days import distinct_days


@dataclass(frozen=True, eq=False)
class Cover:
    """Which innermost intervals each row covers: those numbered ``first`` up to, not including, ``after``.

    ``left`` and ``right`` are the ends of the innermost intervals, (left, right]; left == right is a single day.
    """

    first: np.ndarray
    after: np.ndarray
    left: np.ndarray
    right: np.ndarray

    @property
    def size(self) -> int:
        """How many innermost intervals there are."""
        return len(self.left)


def innermost_intervals(left: np.ndarray, right: np.ndarray) -> Cover:
    """Innermost intervals of rows (left, right], or single days where left == right; right may be inf.

    Ends are put on a line of 2 places per distinct day: the day itself, and just after it. An innermost interval starts
    where some row starts and stops where some row stops, with no other start or stop between.
    """
    n = len(left)
    finite = np.isfinite(right)
    days, place = distinct_days(np.concatenate([left, right[finite]]))
    start = 2 * place[:n]
    stop = np.full(n, 2 * len(days), dtype=start.dtype)
    stop[finite] = 2 * place[n:]
    start += start != stop
    line = np.arange(2 * len(days) + 1)
    starts, stops = np.zeros(len(line), dtype=bool), np.zeros(len(line), dtype=bool)
    starts[start] = True
    stops[stop] = True
    last_start = np.maximum.accumulate(np.where(starts, line, -1))
    last_stop = np.maximum.accumulate(np.where(stops, line, -1))
    inner = stops & (last_start >= 0)
    inner[1:] &= last_stop[:-1] < last_start[1:]
    ends = np.flatnonzero(inner)
    begins = last_start[ends]
    begun = np.zeros(len(line) + 1, dtype=np.intp)
    begun[begins + 1] = 1
    values = np.append(days, np.inf)
    return Cover(np.cumsum(begun)[start], np.cumsum(inner)[stop], values[begins // 2], values[ends // 2])
