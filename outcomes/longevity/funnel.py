"""Failures seen against failures expected, unit by unit: how far chance alone takes a unit, never who is first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.estimate import ArgumentError, as_codes, as_durations, as_flags, as_numbers, normal_quantile

LEVELS = (0.95, 0.998)
FEWEST_PATIENTS, FEWEST_EXPECTED, FEWEST_UNITS = 10, 5.0, 5


@dataclass(frozen=True, eq=False)
class Funnel:
    """Observed and expected failures of units. Arrays have one value per named unit, in the order of the names.

    ``variance``: sum over the unit's patients of (observed − expected) squared; ``dispersion``: how much more the counts vary
    than independent parts would, at least 1; ``enough``: the unit has patients and expected failures enough to be looked at.
    """

    units: tuple
    patients: np.ndarray
    observed: np.ndarray
    expected: np.ndarray
    variance: np.ndarray
    dispersion: float
    unnamed: int  # rows that belong to no named unit: they count in what is expected, and are no unit

    @property
    def enough(self) -> np.ndarray:
        """Which units have the patients and the expected failures to be shown."""
        return (self.patients >= FEWEST_PATIENTS) & (self.expected >= FEWEST_EXPECTED)

    @property
    def speaks(self) -> bool:
        """Whether there are units enough for a funnel."""
        return int(self.enough.sum()) >= FEWEST_UNITS

    @property
    def ratio(self) -> np.ndarray:
        """Observed over expected; nan where nothing was expected."""
        return np.divide(self.observed, self.expected, out=np.full(len(self.expected), np.nan), where=self.expected > 0)

    def limits(self, expected, level: float) -> tuple[np.ndarray, np.ndarray]:
        """(low, high): where observed over expected lies by chance alone with probability ``level``; never below 0."""
        reach = normal_quantile(level) * np.sqrt(self.dispersion / np.asarray(expected, float))
        return np.maximum(1 - reach, 0.0), 1 + reach

    def outside(self, level: float = LEVELS[1]) -> np.ndarray:
        """Units with enough patients whose ratio lies beyond the limits, on either side."""
        found, ratio = np.zeros(len(self.units), dtype=bool), self.ratio
        here = self.enough
        low, high = self.limits(self.expected[here], level)
        found[here] = (ratio[here] < low) | (ratio[here] > high)
        return found & self.speaks

    def table(self):
        """One row per unit: patients, observed, expected, ratio, limits at 95 % and 99.8 %, whether it is shown. In the order of the names."""
        import pandas as pd

        known = self.expected > 0
        frame = pd.DataFrame({"unit": list(self.units), "patients": self.patients, "observed": self.observed, "expected": self.expected, "ratio": self.ratio})
        for level, name in zip(LEVELS, ("95", "998")):
            low, high = self.limits(np.where(known, self.expected, np.nan), level)
            frame[f"low_{name}"], frame[f"high_{name}"] = low, high
        return frame.assign(shown=self.enough & self.speaks)


def expected_failures(duration, observed, unit, *, cluster, entry=None, strata=None) -> Funnel:
    """Observed failures of each unit beside those expected if its parts had failed like all parts of their stratum.

    duration, entry: (n,) days since fitting, at risk where entry < t <= duration; observed: (n,) flags; unit: (n,) names, ""
    or None where nobody knows; cluster: (n,) patients; strata: (n,) labels. Missing values are refused but in ``unit``.
    Expected: the pooled Nelson–Aalen cumulative hazard of the stratum between a part's entry and its end, summed (indirect
    standardisation), so that over all rows observed and expected agree. Limits: 1 ± z √(dispersion / expected), Spiegelhalter
    2005 (Stat Med 24:1185-1202), the dispersion from sums by patient, since parts in one mouth fail together. Raises ArgumentError.

    Two units of one stratum; of four parts one fails on day 1 and one on day 2:

    >>> found = expected_failures([1, 2, 3, 3], [1, 1, 0, 0], ["a", "a", "b", "b"], cluster=[1, 2, 3, 4])
    >>> found.observed.tolist(), found.expected.round(4).tolist()
    ([2, 0], [0.8333, 1.1667])
    """
    duration = as_durations("duration", duration)
    n = len(duration)
    observed = as_flags("observed", observed, length=n)
    since = np.zeros(n) if entry is None else as_numbers("entry", entry, length=n)
    if entry is not None and (since >= duration).any():
        raise ArgumentError("entry", "is not before the row's own end", "Drop rows that were never under observation, and count them.", int(np.argmax(since >= duration)))
    patient, _ = as_codes("cluster", cluster, length=n)
    stratum = np.zeros(n, dtype=int) if strata is None else as_codes("strata", strata, length=n)[0]
    names = _names(unit, n)
    expected = np.zeros(n)
    for one in np.unique(stratum):
        own = stratum == one
        expected[own] = _expected(duration[own], observed[own], since[own])
    named = names != ""
    units = tuple(sorted(set(names[named])))
    order = {name: i for i, name in enumerate(units)}
    place = np.array([order.get(name, len(units)) for name in names], dtype=int)
    pairs, pair = np.unique(np.column_stack([place, patient]), axis=0, return_inverse=True)
    pair = np.ravel(pair)
    apart = np.bincount(pair, observed - expected, len(pairs)) ** 2

    def per_unit(values, at):
        return np.bincount(at, values, len(units) + 1)

    total = float(expected.sum())
    dispersion = max(1.0, float(apart.sum()) / total) if total > 0 else 1.0
    patients = per_unit(np.ones(len(pairs)), pairs[:, 0]).astype(int)
    kept = slice(0, len(units))
    return Funnel(units, patients[kept], per_unit(observed, place).astype(int)[kept], per_unit(expected, place)[kept], per_unit(apart, pairs[:, 0])[kept], dispersion, int((~named).sum()))


def _names(unit, n: int) -> np.ndarray:
    """The unit of each row as text, "" where nobody knows."""
    values = list(unit)
    if len(values) != n:
        raise ArgumentError("unit", f"has {len(values)} values for {n} rows", "Give one name per row, empty where nobody knows.")
    return np.array(["" if value is None or value != value else str(value).strip() for value in values], dtype=object)


def _expected(duration, observed, since) -> np.ndarray:
    """Each row's share of the stratum's cumulative hazard, over the time it was at risk."""
    moments, failed = np.unique(duration[observed], return_counts=True)
    if len(moments) == 0:
        return np.zeros(len(duration))
    came = np.searchsorted(np.sort(np.where(since > 0, since, -np.inf)), moments, side="left")
    gone = np.searchsorted(np.sort(duration), moments, side="left")
    hazard = np.concatenate([[0.0], np.cumsum(failed / (came - gone))])
    start = np.where(since > 0, np.searchsorted(moments, since, side="right"), 0)
    return hazard[np.searchsorted(moments, duration, side="right")] - hazard[start]


def share_limits(target: float, people, level: float = LEVELS[0], *, exact: bool = True) -> tuple[np.ndarray, np.ndarray]:
    """(low, high): where a counted share lies by chance alone when its true value is ``target``; between 0 and 1.

    people: (m,) whole numbers from 1. ``exact``: binomial limits interpolated between counts, else target ± z √(target (1 −
    target) / people), clipped. Raises ArgumentError. Source: Spiegelhalter 2005 (Stat Med 24:1185-1202), appendix.

    >>> [float(limit[0].round(4)) for limit in share_limits(0.1, [100])]
    [0.0404, 0.1577]
    """
    from scipy import stats

    people = np.asarray(people, float)
    if not 0 < target < 1:
        raise ArgumentError("target", "is not between 0 and 1", "A share that is certain has no limits.")
    if (people < 1).any() or (people % 1 != 0).any():
        raise ArgumentError("people", "is not a whole number from 1", "Give the number of people behind each share.", int(np.argmax((people < 1) | (people % 1 != 0))))
    z = normal_quantile(level)
    if not exact:
        reach = z * np.sqrt(target * (1 - target) / people)
        return np.maximum(target - reach, 0.0), np.minimum(target + reach, 1.0)

    def limit(part: float) -> np.ndarray:
        count = stats.binom.ppf(part, people, target)
        above, below = stats.binom.cdf(count, people, target), stats.binom.cdf(count - 1, people, target)
        return np.clip((count - (above - part) / (above - below)) / people, 0.0, 1.0)

    return limit((1 - level) / 2), limit((1 + level) / 2)


@dataclass(frozen=True, eq=False)
class SharesFunnel:
    """Counted shares of units. Arrays have one value per named unit, in the order of the names.

    ``target``: the share of all rows together; ``dispersion``: how much more the counts vary than independent rows would, at least
    1; ``worth``: rows of a unit over the dispersion, rounded down: the number of independent ones that its limits are for.
    """

    units: tuple
    patients: np.ndarray
    done: np.ndarray
    rows: np.ndarray
    target: float
    dispersion: float
    unnamed: int

    @property
    def worth(self) -> np.ndarray:
        """How many independent rows each unit is worth: its rows over the dispersion, whole and at least 1."""
        return np.maximum(np.floor(self.rows / self.dispersion + 1e-9), 1)

    @property
    def enough(self) -> np.ndarray:
        """Which units have the patients to be shown."""
        return self.patients >= FEWEST_PATIENTS

    @property
    def speaks(self) -> bool:
        """Whether there are units enough for a funnel, and a target that is not certain."""
        return int(self.enough.sum()) >= FEWEST_UNITS and 0 < self.target < 1

    @property
    def share(self) -> np.ndarray:
        """Share done of each unit."""
        return self.done / self.rows

    def limits(self, rows, level: float) -> tuple[np.ndarray, np.ndarray]:
        """(low, high): where the share of a unit of so many rows lies by chance alone with probability ``level`` or more; within 0 and 1.

        ``share_limits`` from below, and from above what it gives for what was left undone: as published, its upper limit would call a
        count outside that chance reaches or passes more often than (1 − level)/2, such as 10 of 10 where 95 % is usual.
        """
        worth = np.maximum(np.floor(np.asarray(rows, float) / self.dispersion + 1e-9), 1)
        return share_limits(self.target, worth, level)[0], 1 - share_limits(1 - self.target, worth, level)[0]

    def outside(self, level: float = LEVELS[1]) -> np.ndarray:
        """Units with enough patients whose share lies beyond the limits, on either side."""
        if not self.speaks:
            return np.zeros(len(self.units), dtype=bool)
        low, high = self.limits(self.rows, level)
        return self.enough & ((self.share < low - 1e-12) | (self.share > high + 1e-12))

    def table(self):
        """One row per unit: patients, rows, done, share, limits at 95 % and 99.8 %, whether it is shown. In the order of the names."""
        import pandas as pd

        frame = pd.DataFrame({"unit": list(self.units), "patients": self.patients, "rows": self.rows, "done": self.done, "share": self.share})
        for level, name in zip(LEVELS, ("95", "998")):
            certain = not 0 < self.target < 1
            frame[f"low_{name}"], frame[f"high_{name}"] = (np.nan, np.nan) if certain or not len(frame) else self.limits(self.rows, level)
        return frame.assign(shown=self.enough & self.speaks)


def counted_shares(done, unit, *, cluster) -> SharesFunnel:
    """Shares of rows done, unit by unit, beside the share of all, with exact limits for chance, the same seen from what was done as from what was left undone.

    done: (n,) flags; unit: (n,) names, "" or None where nobody knows; cluster: (n,) patients. Limits: binomial, interpolated between
    counts (Spiegelhalter 2005, Stat Med 24:1185-1202, appendix), for rows ÷ dispersion independent ones. Dispersion: Σ over patients
    (done − rows × target)² ÷ Σ rows × target (1 − target), at least 1, since visits of one patient are alike. Raises ArgumentError.

    >>> found = counted_shares([1, 1, 0, 1], ["a", "a", "b", "b"], cluster=[1, 2, 3, 4])
    >>> found.target, found.share.tolist(), found.dispersion
    (0.75, [1.0, 0.5], 1.0)
    """
    done = as_flags("done", done, length=len(done))
    n = len(done)
    if not n:
        raise ArgumentError("done", "holds no row", "Leave out a count of which there is none.")
    patient, _ = as_codes("cluster", cluster, length=n)
    names = _names(unit, n)
    target = float(done.mean())
    size, apart = np.bincount(patient), np.bincount(patient, done - target)
    spread = target * (1 - target) * size.sum()
    dispersion = max(1.0, float((apart**2).sum()) / spread) if spread > 0 else 1.0
    units = tuple(sorted(set(names[names != ""])))
    own = [names == name for name in units]
    return SharesFunnel(units, np.array([len(set(patient[one])) for one in own], dtype=int), np.array([int(done[one].sum()) for one in own], dtype=int), np.array([int(one.sum()) for one in own], dtype=int),
                        target, dispersion, int((names == "").sum()))
