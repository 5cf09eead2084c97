"""The weighted risk sets of Fine and Gray: who failed of another cause stays at risk, with the weight of not yet being censored.

Fine & Gray 1999 J Am Stat Assoc 94:496-509. G is the Kaplan-Meier curve of the time to censoring, one curve per censoring
group; a row that failed of another cause on day s has weight G(t-)/G(s-) on day t. On a day with both, crr of R's cmprsk
leaves the failing rows at risk of censoring (``failures_first=False``); R's finegray takes failures before censorings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.days import distinct_days


@dataclass(frozen=True, eq=False)
class WeightedRisk:
    """Days, each row's day and kind (0 censored, 1 the event, 2 another cause), its censoring group, and G just before each day."""

    days: np.ndarray
    position: np.ndarray
    kind: np.ndarray
    group: np.ndarray
    free: np.ndarray  # G(t-): groups x days
    at_censoring: np.ndarray  # rows at risk of being censored: groups x days
    censored: np.ndarray  # groups x days
    failures_first: bool

    def counted(self, values: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Sums of ``values`` (rows x columns) over some rows by their day: days x columns."""
        out = np.zeros((len(self.days), values.shape[1]))
        for k, column in enumerate(values.T):
            out[:, k] = np.bincount(self.position[rows], column[rows], minlength=len(self.days))
        return out

    def at_risk(self, values: np.ndarray) -> np.ndarray:
        """Weighted sum of ``values`` (rows x columns) over those at risk on each day."""
        everyone = np.ones(len(self.kind), dtype=bool)
        total = np.flip(np.cumsum(np.flip(self.counted(values, everyone), 0), 0), 0)
        for g in range(len(self.free)):
            total += self.free[g][:, None] * before(self.waiting(values, g))
        return total

    def waiting(self, values: np.ndarray, g: int) -> np.ndarray:
        """Sum of ``values`` / G(s-) over rows of group g that failed of another cause at s <= t, by day t."""
        rows = (self.kind == 2) & (self.group == g)
        scaled = np.zeros_like(values)
        scaled[rows] = values[rows] / self.free[g, self.position[rows]][:, None]
        return np.cumsum(self.counted(scaled, rows), 0)

    def along(self, steps: np.ndarray) -> np.ndarray:
        """For each row the sum of ``steps`` (days x columns) over its days at risk, with its weight on each."""
        out = np.cumsum(steps, 0)[self.position]
        for g in range(len(self.free)):
            rows = (self.kind == 2) & (self.group == g)
            weighted = np.cumsum(self.free[g][:, None] * steps, 0)
            place = self.position[rows]
            out[rows] += (weighted[-1] - weighted[place]) / self.free[g, place][:, None]
        return out


def before(cumulated: np.ndarray) -> np.ndarray:
    """The sum up to the day before."""
    return np.concatenate([np.zeros_like(cumulated[:1]), cumulated[:-1]])


def weighted_risk(duration: np.ndarray, kind: np.ndarray, group: np.ndarray | None, *, failures_first: bool) -> WeightedRisk:
    """Weighted risk sets of checked arrays; ``group`` numbers the rows with a censoring curve of their own (None: one curve)."""
    days, position = distinct_days(duration)
    group = np.zeros(len(duration), dtype=np.int64) if group is None else group
    groups = int(group.max()) + 1
    shape = (groups, len(days))
    cell = group * len(days) + position
    everyone, censored, failed = (np.bincount(cell[rows], minlength=groups * len(days)).reshape(shape)
                                  for rows in (slice(None), kind == 0, kind > 0))
    present = np.flip(np.cumsum(np.flip(everyone, 1), 1), 1)
    at_censoring = present - failed if failures_first else present
    stay = np.ones(shape)
    np.divide(censored, at_censoring, out=stay, where=at_censoring > 0)
    stay = np.where(at_censoring > 0, 1 - stay, 1.0)
    free = np.concatenate([np.ones((groups, 1)), np.cumprod(stay, 1)[:, :-1]], axis=1)
    return WeightedRisk(days, position, kind, group, free, at_censoring, censored, failures_first)


@dataclass(frozen=True, eq=False)
class Sums:
    """What a linear predictor fixes: r of each row, S0 (days), means of x at risk (days x terms), d / S0 (days)."""

    risk: np.ndarray
    s0: np.ndarray
    mean: np.ndarray
    step: np.ndarray


class SubdistributionLikelihood:
    """Weighted partial likelihood with Breslow's ties, its derivatives and influences."""

    def __init__(self, sets: WeightedRisk, x: np.ndarray):
        self.sets, self.x = sets, x
        self.event = sets.kind == 1
        self.failures = np.bincount(sets.position[self.event], minlength=len(sets.days))

    def sums(self, beta: np.ndarray) -> tuple[np.ndarray, Sums]:
        """(linear predictor, what it fixes on every day) at ``beta``."""
        predictor = self.x @ beta
        predictor = predictor - predictor.max()
        risk = np.exp(predictor)
        totals = self.sets.at_risk(np.column_stack([risk, self.x * risk[:, None]]))
        happens = self.failures > 0
        s0 = np.where(happens, totals[:, 0], 1.0)
        return predictor, Sums(risk, s0, np.where(happens[:, None], totals[:, 1:] / s0[:, None], 0.0), self.failures / s0)

    def __call__(self, beta: np.ndarray):
        predictor, s = self.sums(beta)
        value = float(predictor[self.event].sum() - self.failures @ np.log(s.s0))
        score = self.x[self.event].sum(axis=0) - self.failures @ s.mean
        load = s.risk * self.sets.along(s.step[:, None])[:, 0]
        hessian = (s.mean * self.failures[:, None]).T @ s.mean - (self.x * load[:, None]).T @ self.x
        return value, score, hessian

    def residuals(self, s: Sums) -> np.ndarray:
        """Each row's share of the score with the weights taken as known (rows x terms)."""
        sets = self.sets
        exposure = sets.along(np.column_stack([s.step, s.mean * s.step[:, None]]))
        rows = -s.risk[:, None] * (self.x * exposure[:, :1] - exposure[:, 1:])
        rows[self.event] += self.x[self.event] - s.mean[sets.position[self.event]]
        return rows

    def weight_residuals(self, s: Sums) -> np.ndarray:
        """What each row adds to the score by way of the estimated weights: the second term of Fine and Gray's variance.

        Their q(u) runs over rows that failed of another cause before u and over events from u on; pi(u) counts those at risk at u.
        """
        sets, rows = self.sets, np.zeros_like(self.x)
        values = np.column_stack([s.risk, self.x * s.risk[:, None]])
        for g in range(len(sets.free)):
            waiting = before(sets.waiting(values, g))
            ahead = np.column_stack([s.step, s.mean * s.step[:, None]]) * sets.free[g][:, None]
            ahead = ahead.sum(axis=0) - before(np.cumsum(ahead, 0))  # from this day on
            pull = waiting[:, 1:] * ahead[:, :1] - waiting[:, :1] * ahead[:, 1:]
            at = np.maximum(sets.at_censoring[g], 1)[:, None]
            drift = np.cumsum(pull * sets.censored[g][:, None] / at**2, 0)
            own = sets.group == g
            place = sets.position[own]
            there = (sets.kind[own] == 0)[:, None]
            gone = before(drift) if sets.failures_first else drift  # a failing row is at risk of censoring on its day, or no more
            rows[own] = np.where(there, (pull / at - drift)[place], -gone[place])
        return rows
