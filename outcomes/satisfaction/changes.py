"""Change within patients from before to each later occasion."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from outcomes.longevity.estimate import ArgumentError, as_codes, normal_quantile

OLD_DENTURE = "Scores before delivery speak of the old denture."
RECALIBRATION = "Answers before and after may rest on different inner yardsticks (response shift); whether the instrument changed its meaning was not tested."
GROUP_NOT_PATIENT = "A mean change of a group does not mean that each patient had one."
SIGN = {"higher": 1.0, "lower": -1.0}


@dataclass(frozen=True)
class PairedChange:
    """Mean of after minus before with its t interval; ``improvement`` is the same with better counted positive."""

    value: float
    se: float
    low: float
    high: float
    statistic: float
    df: float
    p_value: float
    patients: int
    before: float
    after: float
    better: str
    level: float
    note: str = ""

    @property
    def improvement(self) -> float:
        """The change, positive where it is for the better."""
        return SIGN[self.better] * self.value

    @property
    def improvement_interval(self) -> tuple[float, float]:
        """Limits of the improvement."""
        return (self.low, self.high) if self.better == "higher" else (-self.high, -self.low)


def direction(better: str) -> float:
    """1 where higher is better, -1 where lower is; ArgumentError otherwise."""
    if better not in SIGN:
        raise ArgumentError("better", f"must be higher or lower, not {better!r}", "For an answer that is best in the middle use the distance from it, lower better.")
    return SIGN[better]


def as_scores(name: str, values, length: int | None = None) -> np.ndarray:
    """Float array of scores, nan where there is none; infinite values are refused."""
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise ArgumentError(name, "holds values that are no numbers", "Pass scores, nan where there is none.") from None
    if array.ndim != 1 or (length is not None and len(array) != length):
        raise ArgumentError(name, f"has shape {array.shape} where ({length if length is not None else 'rows'},) is needed", "All arguments need one value per row.")
    if np.isinf(array).any():
        raise ArgumentError(name, "holds an infinite value", "Drop such rows.", int(np.isinf(array).argmax()))
    return array


def paired_change(before, after, *, better: str = "higher", level: float = 0.95) -> PairedChange:
    """Mean change within patients, t interval and t test.

    before, after: one score per patient, nan where there is none; only pairs with both count. Fewer than two pairs or no
    spread: the undefined parts are nan and the note says why. Raises ArgumentError for unequal lengths.

    >>> result = paired_change([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    ...                        [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])  # Student 1908 Biometrika 6:1
    >>> round(result.value, 2), round(result.statistic, 2)
    (1.58, 4.06)
    """
    direction(better)
    normal_quantile(level)
    first = as_scores("before", before)
    second = as_scores("after", after, len(first))
    both = ~np.isnan(first) & ~np.isnan(second)
    first, second = first[both], second[both]
    gain, n = second - first, int(both.sum())
    mean = float(gain.mean()) if n else np.nan
    means = (float(first.mean()), float(second.mean())) if n else (np.nan, np.nan)
    if n < 2:
        return PairedChange(mean, *[np.nan] * 5, np.nan, n, *means, better, level, f"no interval: answered both times: {n}, two are needed")
    se = float(gain.std(ddof=1) / np.sqrt(n))
    reach = float(stats.t.ppf(0.5 + level / 2, n - 1)) * se
    if se == 0:
        return PairedChange(mean, se, mean, mean, np.nan, n - 1, np.nan, n, *means, better, level, "everybody changed by the same amount: no test")
    statistic = mean / se
    p = float(2 * stats.t.sf(abs(statistic), n - 1))
    return PairedChange(mean, se, mean - reach, mean + reach, statistic, n - 1, p, n, *means, better, level)


@dataclass(frozen=True)
class Changes:
    """Paired change by occasion (and denture). ``estimates`` maps (occasion, about) to PairedChange."""

    estimates: dict[tuple[str, str], PairedChange]
    method: str
    notes: tuple[str, ...]
    _with_baseline: dict = field(repr=False)

    def table(self) -> pd.DataFrame:
        """One row per occasion and denture: occasion, about, with_baseline, patients, before, after, change, se, low, high, t, df, p, improvement, note."""
        rows = []
        for (occasion, about), e in self.estimates.items():
            row = {"occasion": occasion, "about": about, "with_baseline": self._with_baseline[occasion, about], "patients": e.patients}
            row |= {"before": e.before, "after": e.after, "change": e.value, "se": e.se, "low": e.low, "high": e.high}
            row |= {"t": e.statistic, "df": e.df, "p": e.p_value, "improvement": e.improvement, "note": e.note}
            rows.append(row)
        return pd.DataFrame(rows)


def change(before, after, *, occasion=None, about=None, patient=None, instrument=None, better: str = "higher", level: float = 0.95) -> Changes:
    """Paired mean change from before to each occasion, dentures apart.

    One value per row in every argument (``pairs`` makes such rows): before, after are scores, nan where there is none;
    occasion and about split the rows; patient guards against one patient standing twice in a split; instrument (one label a
    row) guards against an instrument that changed midway. Raises ArgumentError for either.
    """
    first = as_scores("before", before)
    second = as_scores("after", after, len(first))
    if instrument is not None and len(np.unique(as_codes("instrument", instrument, length=len(first))[0])) > 1:
        raise ArgumentError("instrument", "holds more than one instrument", "Scores compare within one instrument only: call once for each.")
    occasions = np.asarray(["after"] * len(first) if occasion is None else occasion, dtype=object)
    which = np.asarray([""] * len(first) if about is None else pd.Series(about).fillna("").astype(str), dtype=object)
    if len(occasions) != len(first) or len(which) != len(first):
        raise ArgumentError("occasion", "has another length than before", "All arguments need one value per row.")
    estimates, started = {}, {}
    for key in dict.fromkeys(zip(occasions, which)):
        rows = (occasions == key[0]) & (which == key[1])
        if patient is not None and pd.Series(np.asarray(patient)[rows]).duplicated().any():
            raise ArgumentError("patient", f"stands twice at {key[0]}", "One pair per patient and occasion; for two dentures fill about.")
        estimates[key] = paired_change(first[rows], second[rows], better=better, level=level)
        started[key] = int((~np.isnan(first[rows])).sum())
    notes = (OLD_DENTURE, RECALIBRATION, GROUP_NOT_PATIENT)
    return Changes(estimates, f"mean of after minus before within patients, t interval ({level:.0%}); {better} scores are better", notes, started)
