"""What happens to a part, by how it ends: cumulative incidence under competing ends, all ends on one day sharing its risk set.

Aalen and Johansen 1978 (Scand J Stat 5:141); variance by the influence of each row (the number R's survfit gives through its
influence values; Aalen's own variance, as in cmprsk, differs in the third digit).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from outcomes.longevity import limits
from outcomes.longevity.curve import HAIR, crossing
from outcomes.longevity.days import TIE, at, days_before, days_reached
from outcomes.longevity.estimate import ArgumentError, answer, as_probability, as_times, normal_quantile, t_quantile
from outcomes.longevity.exits import Exits, hazards, history_of_rows
from outcomes.longevity.influence import contributions, inverse_staying, running_variance


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
    _exits: Exits = field(repr=False)
    _cause: np.ndarray = field(repr=False)

    def __repr__(self) -> str:
        return f"CumulativeIncidence({self.rows} rows, {self.clusters or 'no'} clusters, causes {', '.join(map(str, self.causes))}; {self.method})"

    def incidence_at(self, t, cause):
        """Share ended by ``cause`` up to ``t`` (number or array); nan past the last day, unless nothing is left free."""
        return answer(self._read(self.incidence[self._place(cause)], t, 0.0))

    def event_free_at(self, t):
        """Share free of every cause at ``t``."""
        return answer(self._read(self.event_free, t, 1.0))

    def standard_error_at(self, t, cause):
        """Standard error of ``incidence_at(t, cause)``."""
        return answer(self._read(self.se[self._place(cause)], t, 0.0))

    def interval_at(self, t, cause):
        """(low, high) of ``incidence_at(t, cause)``, log(−log(1 − F)); nan where undefined, exact with small_sample."""
        k = self._place(cause)
        low, high = self._read(self.low[k], t, 0.0), self._read(self.high[k], t, 0.0)
        if self.small_sample:
            free = 1 - self._read(self.incidence[k], t, 0.0)
            people = self.at_risk if self.clusters_at_risk is None else self.clusters_at_risk
            exact = limits.exact_limits(free, np.append(people, 0)[days_before(self.time, as_times(t))], 1 - self.level)
            low, high = np.where(free >= 1, 1 - exact[1], low), np.where(free >= 1, 1 - exact[0], high)
        return answer(low), answer(high)

    def quantile(self, p: float, cause) -> float:
        """Smallest day by which a share ``p`` has ended by ``cause``; inf if not reached."""
        return crossing(self.time, self.incidence[self._place(cause)] >= as_probability("p", p) - HAIR)

    def influence_at(self, t: float, cause) -> np.ndarray:
        """Influence of every row on ``incidence_at(t, cause)``, weight included."""
        k = self._place(cause)
        upto = np.arange(len(self.time)) < days_reached(self.time, t)
        end = float(at(self.incidence[k], days_reached(self.time, t), 0.0))
        own, shared = _jumps(self.events, self.at_risk, self.event_free, self.incidence[k])
        shared = shared * (self.incidence[k] - end)
        jumps = np.where(upto, np.where(np.arange(len(self.causes))[:, None] == k, own, 0.0) + shared, 0.0)
        drift = np.cumsum((jumps * np.array([hazards(d, self.at_risk) for d in self.events])).sum(axis=0))
        jump = jumps[self._cause[self._exits.row], self._exits.position]
        return self._exits.by_row(self._exits.event * jump - self._exits.weight * drift[self._exits.position])

    def table(self):
        """DataFrame, one row per cause and day: cause, time, at_risk, events, incidence, se, low, high."""
        import pandas as pd

        parts = [pd.DataFrame({"cause": cause, "time": self.time, "at_risk": self.at_risk, "events": self.events[k], "incidence": self.incidence[k],
                               "se": self.se[k], "low": self.low[k], "high": self.high[k]}) for k, cause in enumerate(self.causes)]
        return pd.concat(parts, ignore_index=True)

    def _place(self, cause) -> int:
        found = np.flatnonzero(self.causes == cause)
        if len(found) == 0:
            raise ArgumentError("cause", f"{cause!r} is not among {', '.join(map(str, self.causes))}", "Choose one of the causes in the data.")
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
    days, exits, at_risk = history.days, history.exits, history.at_risk()
    d, k = len(days), len(causes)
    own = codes[exits.row]
    events = np.array([np.bincount(exits.position, weights=exits.event * (own == j), minlength=d) for j in range(k)])
    free = np.cumprod(1 - hazards(events.sum(axis=0), at_risk))
    before = np.concatenate([[1.0], free[:-1]])
    incidence = np.cumsum([before * hazards(one, at_risk) for one in events], axis=1)
    variance, people = np.empty((k, d)), None
    for j in range(k):
        variance[j], people = _variance(exits, own, j, events, at_risk, free, incidence[j])
    quantile, factor = normal_quantile(level), 1.0
    clusters = None if exits.cluster is None else exits.clusters
    if clusters == 1:
        variance[:] = np.nan
    if clusters is None:
        people = None
    elif small_sample:
        quantile = t_quantile(level, clusters)
        factor = clusters / (clusters - 1) if clusters > 1 else np.nan
    low, high = np.empty((k, d)), np.empty((k, d))
    for j in range(k):
        ends = limits.share_limits(1 - incidence[j], variance[j] * factor, quantile, "loglog")
        if small_sample:
            ends = limits.with_exact(1 - incidence[j], *ends, at_risk if people is None else people, 1 - level)
        low[j], high[j] = 1 - ends[1], 1 - ends[0]
    spread = "influence of each row" if clusters is None else "influence summed by cluster"
    note = "; ".join(filter(None, [history.doubt, "one cluster has no between-cluster variance: standard errors are nan" if clusters == 1 else ""]))
    return CumulativeIncidence(
        causes, days, at_risk, events, incidence, free, np.sqrt(variance), low, high, people, level, small_sample, exits.rows, clusters,
        f"Aalen–Johansen cumulative incidence, ties exact{', late entry' if entry is not None else ''}; variance by the {spread}; pointwise log(−log(1 − F)) limits",
        note, exits, codes)


def _variance(exits, own, j, events, at_risk, free, incidence):
    """The influence on F_j(t) has one part that is settled at the exit and one that shrinks with F_j(t) still to come."""
    jump, shared = _jumps(events, at_risk, free, incidence)
    settled = np.where(own[:, None] == np.arange(len(events))[None, :], exits.event[:, None], 0.0)
    hazard = np.array([hazards(one, at_risk) for one in events])
    drift_settled = np.cumsum(jump * hazard[j] + incidence * shared * hazard.sum(axis=0))
    drift_shared = np.cumsum(shared * hazard.sum(axis=0))
    at_exit = exits.position
    part = settled[:, j] * jump[at_exit] + exits.event * (incidence * shared)[at_exit] - exits.weight * drift_settled[at_exit]
    return running_variance(exits, [part, contributions(exits, shared, drift_shared)], [drift_settled, drift_shared], [np.ones(len(free)), -incidence], len(free))


def _jumps(events, at_risk, free, incidence):
    """(own, shared): dF/dh of the cause itself is S(s−) less (F(t) − F(s))/(1 − h(s)), of the others only the latter; over Y(s)."""
    before = np.concatenate([[1.0], free[:-1]])
    own = np.divide(before, at_risk, out=np.zeros(len(free)), where=at_risk > 0)
    return own, inverse_staying(at_risk, events.sum(axis=0))


def _causes(cause) -> tuple[np.ndarray, np.ndarray]:
    """(codes, labels): -1 where censored."""
    import pandas as pd

    values = pd.Series(cause, dtype=object) if not isinstance(cause, (pd.Series, pd.Categorical)) else pd.Series(cause).astype(object)
    values = values.where(values.notna() & (values != ""), None)
    codes, labels = pd.factorize(values, sort=True)
    if len(labels) == 0:
        raise ArgumentError("cause", "names no event: every row is censored", "Without events there is nothing to split; kaplan_meier gives the limits.")
    return codes, np.asarray(labels)
