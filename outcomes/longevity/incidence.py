"""What happens to a part, by how it ends: cumulative incidence under competing ends, all ends on one day sharing its risk set.

Aalen and Johansen 1978 (Scand J Stat 5:141); variance by the influence of each row (the number R's survfit gives through its
influence values; Aalen's own variance, as in cmprsk, differs in the third digit).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from outcomes.longevity import limits
from outcomes.longevity.accrual import Accrual
from outcomes.longevity.curve import HAIR, crossing
from outcomes.longevity.days import TIE, at, days_before, days_reached
from outcomes.longevity.estimate import ArgumentError, answer, as_probability, as_times, normal_quantile, t_quantile
from outcomes.longevity.exits import History, hazards, history_of_rows
from outcomes.longevity.influence import inverse_staying


@dataclass(frozen=True, eq=False, repr=False)
class CumulativeIncidence:
    """Share that has ended by each cause, day by day. ``causes`` sorted; ``incidence``, ``se``, ``low``, ``high``, ``events``: (causes,
    days); ``event_free`` and ``at_risk``: (days,); counts, ``method`` and ``note`` as in ``kaplan_meier``."""

    causes: np.ndarray
    time: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray
    incidence: np.ndarray
    event_free: np.ndarray
    se: np.ndarray
    low: np.ndarray
    high: np.ndarray
    clusters_at_risk: np.ndarray | None
    level: float
    small_sample: bool
    rows: int
    clusters: int | None
    method: str
    note: str
    cause_of_row: np.ndarray = field(repr=False)
    _accruals: list[Accrual] = field(repr=False)

    def __repr__(self) -> str:
        causes = ", ".join(map(str, self.causes))
        return f"CumulativeIncidence({self.rows} rows, {self.clusters or 'no'} clusters, causes {causes}; {self.method})"

    def incidence_at(self, t, cause):
        """Share ended by ``cause`` up to ``t`` (number or array); nan past the last day, unless nothing is left free."""
        return answer(self._read(self.incidence[self.place(cause)], t, 0.0))

    def event_free_at(self, t):
        """Share free of every cause at ``t``."""
        return answer(self._read(self.event_free, t, 1.0))

    def standard_error_at(self, t, cause):
        """Standard error of ``incidence_at(t, cause)``."""
        return answer(self._read(self.se[self.place(cause)], t, 0.0))

    def interval_at(self, t, cause):
        """(low, high) of ``incidence_at(t, cause)``, log(−log(1 − F)); nan where undefined, exact with small_sample."""
        k = self.place(cause)
        low, high = self._read(self.low[k], t, 0.0), self._read(self.high[k], t, 0.0)
        if self.small_sample:
            free = 1 - self._read(self.incidence[k], t, 0.0)
            people = self.at_risk if self.clusters_at_risk is None else self.clusters_at_risk
            exact = limits.exact_limits(free, np.append(people, 0)[days_before(self.time, as_times(t))], 1 - self.level)
            low, high = np.where(free >= 1, 1 - exact[1], low), np.where(free >= 1, 1 - exact[0], high)
        return answer(low), answer(high)

    def quantile(self, p: float, cause) -> float:
        """Smallest day by which a share ``p`` has ended by ``cause``; inf if not reached."""
        return crossing(self.time, self.incidence[self.place(cause)] >= as_probability("p", p) - HAIR)

    def influence_at(self, t: float, cause) -> np.ndarray:
        """Influence of every row on ``incidence_at(t, cause)``, weight included."""
        return self._accruals[self.place(cause)].influence(int(days_reached(self.time, t)))

    def table(self):
        """DataFrame, one row per cause and day: cause, time, at_risk, events, incidence, se, low, high."""
        import pandas as pd

        names = ("events", "incidence", "se", "low", "high")
        parts = []
        for k, cause in enumerate(self.causes):
            own = {name: getattr(self, name)[k] for name in names}
            parts.append(pd.DataFrame({"cause": cause, "time": self.time, "at_risk": self.at_risk, **own}))
        return pd.concat(parts, ignore_index=True)

    def place(self, cause) -> int:
        """Row of ``incidence`` and ``se`` that belongs to ``cause``. Raises ArgumentError for a cause that is not in the data."""
        found = np.flatnonzero(self.causes == cause)
        if len(found) == 0:
            raise ArgumentError("cause", f"{cause!r} is not among {', '.join(map(str, self.causes))}",
                                "Choose one of the causes in the data.")
        return int(found[0])

    def _read(self, values, t, before):
        times = as_times(t)
        beyond = times > self.time[-1] * (1 + TIE)
        return np.where(beyond & (self.event_free[-1] > HAIR), np.nan, at(values, days_reached(self.time, times), before))


def cumulative_incidence(duration, cause, *, entry=None, weights=None, cluster=None, level=0.95, small_sample=False) -> CumulativeIncidence:
    """Share that has ended by each cause over time.

    duration, entry, weights, cluster, small_sample: as in ``kaplan_meier``; cause: (n,) labels of how the row ended, "" or None
    (or nan) where it was censored. Whoever is censored on a day of events is still at risk that day; entry < t <= end.

    Raises ArgumentError. A set without any event has no causes and is refused.

    Two ends tied on one day, worked by hand: 4 at risk on day 1, one "worn" and one "lost"; 2 on day 2, one "worn":

    >>> curve = cumulative_incidence([1, 1, 2, 3], ["worn", "lost", "worn", ""])
    >>> curve.incidence_at(2, "worn"), curve.incidence_at(2, "lost"), curve.event_free_at(2)
    (0.5, 0.25, 0.25)
    """
    codes, causes = _causes(cause)
    history = history_of_rows(duration, codes >= 0, entry, weights, cluster)
    exits, at_risk = history.exits, history.at_risk()
    events, free, accruals = _accrue(history, codes[exits.row], len(causes), at_risk)
    clusters = None if exits.cluster is None else exits.clusters
    variance = np.empty(events.shape)
    for k, accrual in enumerate(accruals):
        variance[k], people = accrual.variance()
    if clusters == 1:
        variance[:] = np.nan
    people = None if clusters is None else people
    incidence = np.array([accrual.value for accrual in accruals])
    counted = at_risk if people is None else people
    low, high = _limits(incidence, variance, counted, clusters, level, small_sample)
    alone = "one cluster has no between-cluster variance: standard errors are nan" if clusters == 1 else ""
    method = (f"Aalen–Johansen cumulative incidence, ties exact{', late entry' if entry is not None else ''}; variance by the influence "
              f"{'of each row' if clusters is None else 'summed by cluster'}; pointwise log(−log(1 − F)) limits")
    return CumulativeIncidence(
        causes, history.days, at_risk, events, incidence, free, np.sqrt(variance), low, high, people, level, small_sample,
        exits.rows, clusters, method, "; ".join(filter(None, [history.doubt, alone])), codes, accruals)


def _accrue(history: History, own, causes: int, at_risk):
    """(events by cause and day, share free of all, an accrual by cause)."""
    exits, d = history.exits, len(history.days)
    gains = [exits.event * (own == k) for k in range(causes)]
    events = np.array([np.bincount(exits.position, weights=gain, minlength=d) for gain in gains])
    everything = events.sum(axis=0)
    end_rate = hazards(everything, at_risk)
    free = np.cumprod(1 - end_rate)
    before = np.concatenate([[1.0], free[:-1]])
    jump = np.divide(before, at_risk, out=np.zeros(d), where=at_risk > 0)
    shared = inverse_staying(at_risk, everything)
    rates = [hazards(one, at_risk) for one in events]
    return events, free, [Accrual(exits, gain, exits.event, np.cumsum(before * rate), jump, shared, rate, end_rate)
                          for gain, rate in zip(gains, rates)]


def _limits(incidence, variance, people, clusters, level, small_sample):
    """Limits of each cause's share from those of its complement."""
    quantile, factor = normal_quantile(level), 1.0
    if small_sample and clusters is not None:
        quantile = t_quantile(level, clusters)
        factor = clusters / (clusters - 1) if clusters > 1 else np.nan
    low, high = np.empty(incidence.shape), np.empty(incidence.shape)
    for k, share in enumerate(1 - incidence):
        ends = limits.share_limits(share, variance[k] * factor, quantile, "loglog")
        if small_sample:
            ends = limits.with_exact(share, *ends, people, 1 - level)
        low[k], high[k] = 1 - ends[1], 1 - ends[0]
    return low, high


def _causes(cause) -> tuple[np.ndarray, np.ndarray]:
    """(codes, labels): -1 where censored."""
    import pandas as pd

    values = pd.Series(list(cause), dtype=object)
    values = values.where(values.notna() & (values != ""), None)
    codes, labels = pd.factorize(values, sort=True)
    if len(labels) == 0:
        raise ArgumentError("cause", "names no event: every row is censored",
                            "Without events there is nothing to split; kaplan_meier gives the limits.")
    return codes, np.asarray(labels)
