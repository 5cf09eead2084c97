"""The day grid under every curve: distinct days in order, where each row stands on it, and what counts as the same day.

Whole days need no tolerance; months or half days divided out of days do, so times equal to within 1e-9 relative are ties.
"""

from __future__ import annotations

import numpy as np

from outcomes.longevity.estimate import ArgumentError

TIE = 1e-9
_DENSE = 4_000_000  # whole days below this are placed by look-up table instead of by sorting


def distinct_days(times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(days, position): the distinct times in order, and for each time its position among them.

    ``times`` are finite and not negative. Ties (relative 1e-9) share the smallest of their times.
    """
    if len(times) == 0:
        return np.empty(0), np.empty(0, dtype=np.intp)
    top = times.max()
    if top < _DENSE:
        whole = times.astype(np.int32)
        if (whole == times).all():
            present = np.zeros(int(top) + 1, dtype=bool)
            present[whole] = True
            place = np.cumsum(present, dtype=np.int32) - 1
            return np.flatnonzero(present).astype(float), place[whole]
    days, position = np.unique(times, return_inverse=True)
    fresh = np.ones(len(days), dtype=bool)
    fresh[1:] = np.diff(days) > TIE * np.abs(days[1:])
    if fresh.all():
        return days, position
    return days[fresh], (np.cumsum(fresh) - 1)[position]


def days_reached(days: np.ndarray, t) -> np.ndarray:
    """How many of the ``days`` are at or before ``t`` (a number or an array), ties counting as reached."""
    return np.searchsorted(days - TIE * np.abs(days), t, side="right")


def days_before(days: np.ndarray, t) -> np.ndarray:
    """How many of the ``days`` lie before ``t``, a tie not counting as before."""
    return np.searchsorted(days + TIE * np.abs(days), t, side="left")


def late_positions(days: np.ndarray, entry: np.ndarray, position: np.ndarray) -> np.ndarray:
    """First day position at risk of each row that enters at ``entry``: at risk where entry < day <= end.

    Raises ArgumentError for a row that would leave at or before it enters.
    """
    first = days_reached(days, entry)
    empty = first > position
    if empty.any():
        raise ArgumentError("entry", "is not before the row's own end", "Drop rows that were never under observation, and count them.",
                            int(np.argmax(empty)))
    return first


def at(values: np.ndarray, reached: np.ndarray, before: float) -> np.ndarray:
    """Right-continuous step function: ``values`` after ``reached`` days, ``before`` where none is reached."""
    return np.concatenate([[before], values])[reached]
