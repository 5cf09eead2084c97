"""The small frozen result every estimator hands back a number in, and the one error class for bad arguments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats


@dataclass(frozen=True)
class Estimate:
    """A number with its uncertainty.

    value, se, low, high: floats in the units of the quantity (days for a restricted mean, events per unit of exposure for
    a rate). ``level`` is the two-sided confidence level, ``note`` a sentence where the number needs one ("" otherwise).
    An undefined part is nan and the note says why.
    """

    value: float
    se: float
    low: float
    high: float
    level: float = 0.95
    note: str = ""


class ArgumentError(ValueError):
    """An argument of an estimator cannot be used: names the argument, the first position at fault and the remedy."""

    def __init__(self, argument: str, problem: str, remedy: str, position: int | None = None):
        self.argument, self.problem, self.remedy, self.position = argument, problem, remedy, position
        at = "" if position is None else f" (first at position {position})"
        super().__init__(f"{argument}: {problem}{at}. {remedy}")


def normal_quantile(level: float) -> float:
    """Two-sided standard normal quantile: 1.96 for level 0.95. Raises ArgumentError unless 0 < level < 1."""
    if not 0 < level < 1:
        raise ArgumentError("level", f"must lie between 0 and 1, not {level!r}", "Give 0.95 for 95 % limits.")
    return float(stats.norm.ppf(0.5 + level / 2))


def normal_estimate(value: float, se: float, level: float = 0.95, note: str = "") -> Estimate:
    """Estimate with limits value ± z · se."""
    z = normal_quantile(level)
    return Estimate(float(value), float(se), float(value - z * se), float(value + z * se), level, note)


def as_numbers(name: str, values, *, finite: bool = True, length: int | None = None) -> np.ndarray:
    """One-dimensional float array, checked: right length, no missing value, finite unless told otherwise."""
    if getattr(getattr(values, "dtype", None), "kind", "") in ("m", "M"):  # numpy would read them as nanoseconds
        raise ArgumentError(name, "holds dates or spans of time", "Give numbers in one unit, such as whole days: (end - start).dt.days.")
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        missing = [value is None or type(value).__name__ == "NAType" for value in values] if np.ndim(values) == 1 else []
        if any(missing):
            raise ArgumentError(name, "holds a missing value", "Drop or fill such rows before the call.", missing.index(True)) from None
        raise ArgumentError(name, "holds values that are no numbers", "Convert the column to numbers first.") from None
    if array.ndim != 1:
        raise ArgumentError(name, f"must be one-dimensional, not of shape {array.shape}", "Pass one value per row.")
    if length is not None and len(array) != length:
        raise ArgumentError(name, f"has {len(array)} values where {length} are needed", "All arguments need one value per row.")
    bad = ~np.isfinite(array) if finite else np.isnan(array)
    if bad.any():
        what = "a missing or infinite value" if finite else "a missing value"
        remedy = "Drop or fill such rows before the call." if finite else "Drop or fill such rows before the call; inf says that it had not happened by the last look."
        raise ArgumentError(name, f"holds {what}", remedy, int(np.argmax(bad)))
    return array


def as_flags(name: str, values, *, length: int) -> np.ndarray:
    """Boolean array from booleans or 0/1; anything else is refused."""
    array = np.asarray(values)
    if array.dtype != bool:
        numbers = as_numbers(name, array, length=length)
        wrong = ~np.isin(numbers, (0.0, 1.0))
        if wrong.any():
            raise ArgumentError(name, "must be true/false or 0/1", "Recode the column; 1 is an event.", int(np.argmax(wrong)))
        return numbers == 1.0
    if array.shape != (length,):
        raise ArgumentError(name, f"has shape {array.shape} where ({length},) is needed", "All arguments need one value per row.")
    return array


def as_codes(name: str, values, *, length: int) -> tuple[np.ndarray, np.ndarray]:
    """(codes, labels): labels sorted, codes int64 positions in them. Missing labels are refused."""
    import pandas as pd

    array = pd.array(values) if not isinstance(values, (np.ndarray, pd.Series, pd.Categorical)) else values
    if len(array) != length:
        raise ArgumentError(name, f"has {len(array)} values where {length} are needed", "All arguments need one value per row.")
    codes, labels = pd.factorize(array, sort=True)
    if (codes < 0).any():
        raise ArgumentError(name, "holds a missing label", "Name the unknown group, or drop those rows.", int(np.argmax(codes < 0)))
    return codes.astype(np.int64), np.asarray(labels)


def as_durations(name: str, values, *, length: int | None = None) -> np.ndarray:
    """Finite, non-negative times, at least one."""
    times = as_numbers(name, values, length=length)
    if len(times) == 0:
        raise ArgumentError(name, "holds no rows", "A group without a row has no curve; leave it out and say so.")
    negative = times < 0
    if negative.any():
        raise ArgumentError(name, "holds a negative time", "Times count from day 0; check the two dates behind it.", int(np.argmax(negative)))
    return times


def as_weights(values, *, length: int) -> np.ndarray | None:
    """Weights, not negative and not all zero; None stays None."""
    if values is None:
        return None
    weights = as_numbers("weights", values, length=length)
    negative = weights < 0
    if negative.any():
        raise ArgumentError("weights", "holds a negative weight", "Weights are counts or sampling weights.", int(np.argmax(negative)))
    if not (weights > 0).any():
        raise ArgumentError("weights", "are all zero", "At least one row must count.")
    return weights


def as_choice(name: str, value, choices: tuple[str, ...]) -> str:
    """``value`` if it is one of the ``choices``."""
    if value not in choices:
        raise ArgumentError(name, f"must be one of {', '.join(choices)}, not {value!r}", "Choose one of these words.")
    return value


def as_times(t) -> np.ndarray:
    """Times to read a curve at: a number or an array, nowhere missing."""
    times = np.asarray(t, dtype=float)
    if np.isnan(times).any():
        raise ArgumentError("t", "holds a missing value", "Give the days to read the curve at.")
    return times


def as_probability(name: str, value) -> float:
    """A number strictly above 0 and at most 1."""
    if np.ndim(value) != 0:
        raise ArgumentError(name, "must be a single number", "Ask for one share at a time.")
    p = float(value)
    if not 0 < p <= 1:
        raise ArgumentError(name, f"must lie between 0 and 1, not {value!r}", "Give 0.5 for the median.")
    return p


def t_quantile(level: float, clusters: int) -> float:
    """Two-sided quantile of Student's t at ``clusters`` - 1 degrees of freedom; nan for a single cluster."""
    normal_quantile(level)
    return float(stats.t.ppf(0.5 + level / 2, clusters - 1)) if clusters > 1 else float("nan")


def answer(values: np.ndarray):
    """A float for a number asked, an array for an array asked."""
    return float(values) if np.ndim(values) == 0 else values
