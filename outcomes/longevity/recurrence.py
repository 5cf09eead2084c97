"""How much upkeep: the mean number (or amount) of events per unit over time, with the robust variance of Lawless and Nadeau.

Lawless and Nadeau 1995 (Technometrics 37:158); per unit started, where units die: Ghosh and Lin 2000 (Biometrics 56:554).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from outcomes.longevity import limits
from outcomes.longevity.accrual import Accrual
from outcomes.longevity.days import TIE, at, days_reached, distinct_days
from outcomes.longevity.estimate import (
    ArgumentError, Estimate, answer, as_codes, as_durations, as_flags, as_numbers, as_times, normal_estimate, normal_quantile,
    t_quantile,
)
from outcomes.longevity.exits import Exits, at_risk, cluster_codes, hazards
from outcomes.longevity.influence import inverse_staying


@dataclass(frozen=True, eq=False, repr=False)
class MeanCumulative:
    """Mean number (amount) of events per unit up to each day. Arrays over ``time``, the days with an event or an end: ``at_risk``,
    ``events``, ``mean``, ``se``, ``low``, ``high``. ``subjects``, ``clusters`` and ``total`` count what went in."""

    time: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray
    mean: np.ndarray
    se: np.ndarray
    low: np.ndarray
    high: np.ndarray
    level: float
    subjects: int
    clusters: int
    total: float
    method: str
    note: str
    _accrual: Accrual = field(repr=False)

    def __repr__(self) -> str:
        return f"MeanCumulative({self.subjects} subjects, {self.clusters} clusters, {self.total:g} events; {self.method})"

    def mean_at(self, t):
        """Mean number of events per unit up to ``t`` (number or array); nan past the last day under observation."""
        return answer(self._read(self.mean, t))

    def standard_error_at(self, t):
        """Standard error of ``mean_at(t)``."""
        return answer(self._read(self.se, t))

    def interval_at(self, t):
        """(low, high) of ``mean_at(t)`` on the log scale; nan before the first event."""
        return answer(self._read(self.low, t, np.nan)), answer(self._read(self.high, t, np.nan))

    def influence_at(self, t: float) -> np.ndarray:
        """Influence of every row on ``mean_at(t)``: summed within clusters, squared and added it is the variance."""
        return self._accrual.influence(int(days_reached(self.time, t)))

    def table(self):
        """DataFrame: time, at_risk, events, mean, se, low, high."""
        import pandas as pd

        return pd.DataFrame({name: getattr(self, name) for name in ("time", "at_risk", "events", "mean", "se", "low", "high")})

    def _read(self, values, t, before=0.0):
        times = as_times(t)
        return np.where(times > self.time[-1] * (1 + TIE), np.nan, at(values, days_reached(self.time, times), before))


def mean_cumulative_function(subject, start, stop, event, *, cluster=None, ended=None, level=0.95, small_sample=False) -> MeanCumulative:
    """Mean number of events per unit over time, from rows under observation in (start, stop] with ``event`` events at ``stop``.

    subject: (n,) labels of the unit; start, stop: (n,) times, start <= stop, rows of one subject not overlapping; event: (n,) a
    count or an amount (chair minutes) at ``stop``, 0 for none; a row of zero length only adds events to a day on which the unit
    is observed by another row. cluster: (n,) labels, the subject if not given. ended: (n,) true where the unit itself ended at
    ``stop`` (died, retired): the mean is then per unit started, without ``ended`` per unit still in service.
    small_sample: G/(G − 1) and Student's t in the limits.

    Raises ArgumentError, also for events on a day on which nobody is observed.

    Valve seats of 41 engines (Nelson 1995, Technometrics 37:147) are checked in the tests; two units by hand:

    >>> curve = mean_cumulative_function(["a", "a", "b"], [0, 2, 0], [2, 5, 4], [1, 1, 0])
    >>> curve.mean_at(2), curve.mean_at(5)
    (0.5, 1.5)
    """
    stop = as_durations("stop", stop)
    n = len(stop)
    start = as_numbers("start", start, length=n)
    units, labels = as_codes("subject", subject, length=n)
    amount = as_numbers("event", event, length=n)
    gone = np.zeros(n, dtype=bool) if ended is None else as_flags("ended", ended, length=n)
    _check(start, stop, amount, units, gone)
    codes, clusters = (units, len(labels)) if cluster is None else cluster_codes(cluster, n)
    days, position = distinct_days(stop)
    accrual, at, events = _accrue(days, position, _exits(days, start, stop, position, codes, clusters), amount, gone)
    variance, _ = accrual.variance()
    note, quantile, factor = "", normal_quantile(level), 1.0
    if clusters == 1:
        variance, note = np.full(len(days), np.nan), "one cluster has no between-cluster variance: standard errors are nan"
    elif small_sample:
        quantile, factor = t_quantile(level, clusters), clusters / (clusters - 1)
    if not amount.sum() > 0:
        note = note or "no event: the mean stays at 0 and has no limits; event_rate gives an exact upper one"
    low, high = limits.count_limits(accrual.value, variance * factor, quantile)
    what = "still in service (Nelson–Aalen type)" if ended is None else "started, ended units counting no further events (Ghosh–Lin)"
    return MeanCumulative(
        days, at, events, accrual.value, np.sqrt(variance), low, high, level, len(labels), clusters, float(amount.sum()),
        f"mean cumulative function per unit {what}; Lawless–Nadeau robust variance; log limits", note, accrual)


def _accrue(days, position, exits: Exits, amount, gone) -> tuple[Accrual, np.ndarray, np.ndarray]:
    """(accrual, at risk, events) by day."""
    d, extra = len(days), len(exits.position) - len(amount)
    at = at_risk(exits, d)
    events, ends = (np.bincount(position, weights=values, minlength=d) for values in (amount, gone))
    alone = (events > 0) & (at < 0.5)
    if alone.any():
        raise ArgumentError("event", "falls on a day on which nobody is under observation",
                            "Give the unit a row that starts before that day.", int(np.argmax(alone[position] & (amount > 0))))
    end_rate = hazards(ends, at)
    before = np.concatenate([[1.0], np.cumprod(1 - end_rate)[:-1]])
    per_unit = np.divide(1.0, at, out=np.zeros(d), where=at > 0.5)
    value = np.cumsum(before * events * per_unit)
    gain, goes = np.append(amount, np.zeros(extra)), np.append(gone, np.zeros(extra))
    return Accrual(exits, gain, goes, value, before * per_unit, inverse_staying(at, ends), events * per_unit, end_rate), at, events


def mean_count_contrast(subject, start, stop, event, group, *, day, cluster=None, ended=None, level=0.95) -> dict[str, Estimate]:
    """{"difference", "log_ratio"} of two groups' mean cumulative functions at ``day``: second label (sorted) less, or over, the first.

    subject, start, stop, event, ended: as in ``mean_cumulative_function``; group: (n,) labels, exactly two; cluster: (n,) labels, the
    subject if not given: a cluster's influence is added over both groups before it is squared. The log ratio by the delta
    method; nan with a note where a mean is 0. Raises ArgumentError, also past a group's last day.
    """
    stop = as_durations("stop", stop)
    n = len(stop)
    codes, labels = as_codes("group", group, length=n)
    if len(labels) != 2:
        raise ArgumentError("group", f"holds {len(labels)} groups", "A contrast needs exactly two.")
    columns = {"subject": as_codes("subject", subject, length=n)[0], "start": as_numbers("start", start, length=n), "stop": stop,
               "event": as_numbers("event", event, length=n), "ended": None if ended is None else as_flags("ended", ended, length=n)}
    owner, count = cluster_codes(subject if cluster is None else cluster, n)
    means, psi = np.empty(2), np.zeros((2, count))
    for k in (0, 1):
        own = codes == k
        curve = mean_cumulative_function(**{name: None if column is None else column[own] for name, column in columns.items()}, level=level)
        means[k] = curve.mean_at(day)
        psi[k] = np.bincount(owner[own], weights=curve.influence_at(day), minlength=count)
    if np.isnan(means).any():
        raise ArgumentError("day", f"{day:g} lies past the last day of group {labels[int(np.argmax(np.isnan(means)))]!r}", "Choose a day both groups reach.")
    difference = normal_estimate(means[1] - means[0], np.sqrt(((psi[1] - psi[0]) ** 2).sum()), level)
    if not means.min() > 0:
        return {"difference": difference, "log_ratio": Estimate(*[float("nan")] * 4, level, "a mean of 0 has no ratio")}
    se = np.sqrt(((psi[1] / means[1] - psi[0] / means[0]) ** 2).sum())
    return {"difference": difference, "log_ratio": normal_estimate(np.log(means[1] / means[0]), se, level)}


# ------------------------------------------------------------------ parts

def _exits(days, start, stop, position, codes, clusters) -> Exits:
    """Rows as exits; a row of zero length is never at risk and leaves with weight 0."""
    rows = np.arange(len(stop))
    first = days_reached(days, start)
    weight = (first <= position).astype(float)
    late = np.flatnonzero((first > 0) & (weight > 0))
    return Exits(np.append(position, first[late] - 1), np.zeros(len(stop) + len(late)), np.append(weight, -weight[late]),
                 np.append(rows, late), len(stop), np.append(codes, codes[late]), clusters)


def _check(start, stop, amount, units, gone):
    """Raises ArgumentError for rows that run backwards or overlap, negative amounts, and units that end before their last row."""
    for name, wrong, problem, remedy in (
        ("start", start > stop * (1 + TIE), "is after stop", "A row says (start, stop]."),
        ("event", amount < 0, "holds a negative amount", "Give a count or an amount of 0 or more."),
    ):
        if wrong.any():
            raise ArgumentError(name, problem, remedy, int(np.argmax(wrong)))
    order = np.lexsort((stop, start, units))
    same = units[order][1:] == units[order][:-1]
    length = (stop - start)[order][1:] > TIE * stop[order][1:]
    reach = _furthest(stop[order], units[order])
    overlap = same & length & (start[order][1:] < reach[:-1] * (1 - TIE))
    if overlap.any():
        raise ArgumentError("start", "lies inside another row of the same subject", "Rows of one subject must follow one another.",
                            int(order[1:][np.argmax(overlap)]))
    over = gone[order][:-1] & same & length
    if over.any():
        raise ArgumentError("ended", "is true on a row that another row of the subject follows", "A unit ends once, on its last row.",
                            int(order[:-1][np.argmax(over)]))


def _furthest(stop, units) -> np.ndarray:
    """Latest stop so far within each unit, rows in order of unit and start."""
    top = stop.max() + 1.0
    return np.maximum.accumulate(stop + units * top) - units * top
