"""Cox's partial likelihood with Efron's ties, on counting-process rows: sums over risk sets by prefix sums, never row against row.

Notation: event points k are the distinct (stratum, day) pairs with a failure; r = exp(x beta); S0, S1 sum r and r x over the
rows at risk, T0, T1 over the d rows failing at k. Efron 1977 (J Am Stat Assoc 72:557-565) takes the failures of one day one
after the other, each time leaving in the risk set only the share 1 - f of the failing rows, f = 0, 1/d, ..., (d - 1)/d.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.days import days_reached, distinct_days
from outcomes.longevity.estimate import ArgumentError


@dataclass(frozen=True, eq=False)
class RiskSets:
    """Who is at risk when. ``first``, ``last``: each row is at risk at the event points first <= k < last of its own stratum.

    ``failing``: positions of failing rows, ``point``: their event points; ``day``: time of each event point; ``ties``: its failures.
    """

    first: np.ndarray
    last: np.ndarray
    failing: np.ndarray
    point: np.ndarray
    day: np.ndarray
    ties: np.ndarray
    stratum: np.ndarray  # of each row
    turn: np.ndarray  # event point of each failure taken one after the other
    share: np.ndarray  # Efron's f of that failure
    weight: np.ndarray  # of each row
    turn_weight: np.ndarray  # of each event point's turns: 1, or the mean weight of its failing rows

    def at_risk(self, values: np.ndarray) -> np.ndarray:
        """Sum of ``values`` (rows or rows x columns) over those at risk at each event point."""
        points = len(self.day)
        leaving, entering = (self._from_behind(values, edge, points) for edge in (self.last, self.first))
        return leaving - entering

    def _from_behind(self, values, edge, points):
        """Sums of ``values`` over everybody whose ``edge`` is at a point or after it: points (x columns)."""
        summed = self.summed(values, edge, points + 1)
        return np.flip(np.cumsum(np.flip(summed, 0), 0), 0)[1:]

    @staticmethod
    def summed(values, group, count):
        """Sums of ``values`` (rows, or rows x columns) within each of ``count`` groups."""
        if values.ndim == 1:
            return np.bincount(group, values, minlength=count)
        summed = np.empty((count, values.shape[1]))
        for k, column in enumerate(values.T):
            summed[:, k] = np.bincount(group, column, minlength=count)
        return summed

    def failed(self, values: np.ndarray) -> np.ndarray:
        """Sum of ``values`` over the rows failing at each event point."""
        return self.summed(values[self.failing], self.point, len(self.day))

    def along(self, steps: np.ndarray) -> np.ndarray:
        """For each row the sum of ``steps`` (event points, or event points x columns) over its time at risk."""
        reached = np.concatenate([np.zeros_like(steps[:1]), np.cumsum(steps, 0)])
        return reached[self.last] - reached[self.first]


def risk_sets(duration: np.ndarray, observed: np.ndarray, entry: np.ndarray | None, strata: np.ndarray | None,
              weights: np.ndarray | None = None, counted: bool = False) -> RiskSets:
    """Risk sets of checked arrays; ``counted`` weights are whole numbers of equal rows, others sampling weights. Raises ArgumentError if nothing failed or a row leaves at or before its entry."""
    if not observed.any():
        raise ArgumentError("observed", "no row has failed", "Without an event there is nothing to model; state the time at risk instead.")
    days, position = distinct_days(duration)
    begin = np.zeros(len(duration), dtype=np.int64) if entry is None else days_reached(days, entry)
    late = begin > position
    if late.any():
        raise ArgumentError("entry", "is not before the end of the row", "Drop rows that were never under observation.", int(np.argmax(late)))
    offset = np.zeros(len(duration), dtype=np.int64) if strata is None else strata * np.int64(len(days))
    keys, point = np.unique((offset + position)[observed], return_inverse=True)
    first, last = np.searchsorted(keys, offset + begin, "left"), np.searchsorted(keys, offset + position, "right")
    weight = np.ones(len(duration)) if weights is None else weights
    total = np.bincount(point, weight[observed])
    ties = np.rint(total).astype(np.int64) if counted else np.bincount(point)
    turn = np.repeat(np.arange(len(keys)), ties)
    nth = np.arange(len(turn)) - np.repeat(np.cumsum(ties) - ties, ties)
    group = np.zeros(len(duration), dtype=np.int64) if strata is None else strata
    return RiskSets(first, last, np.flatnonzero(observed), point, days[keys % len(days)], ties, group, turn, nth / ties[turn],
                    weight, total / ties)


@dataclass(frozen=True, eq=False)
class Sums:
    """Everything a given linear predictor fixes: r of each row, S and T sums, and Efron's sums of 1/phi and 1/phi^2 over a day's turns."""

    risk: np.ndarray
    s1: np.ndarray
    t1: np.ndarray
    log_phi: float
    a0: np.ndarray
    a1: np.ndarray
    b0: np.ndarray
    b1: np.ndarray
    b2: np.ndarray


class PartialLikelihood:
    """Value, score, information and score residuals of the partial likelihood for a matrix x (rows x terms)."""

    def __init__(self, sets: RiskSets, x: np.ndarray, offset: np.ndarray | float = 0.0):
        self.sets, self.x, self.offset = sets, x, offset

    def sums(self, beta: np.ndarray) -> tuple[np.ndarray, Sums]:
        """(linear predictor, what it fixes at every failure) at ``beta``."""
        sets = self.sets
        predictor = self.x @ beta + self.offset
        top = np.full(int(sets.stratum.max()) + 1, -np.inf)
        np.maximum.at(top, sets.stratum, predictor)
        predictor = predictor - top[sets.stratum]  # changes nothing within a stratum, and keeps exp within range
        risk = sets.weight * np.exp(predictor)
        s0, t0 = sets.at_risk(risk), sets.failed(risk)
        phi = s0[sets.turn] - sets.share * t0[sets.turn]
        points, f = len(sets.day), sets.share
        inverse, per_turn = 1 / phi, sets.turn_weight[sets.turn]
        a0, a1, b0, b1, b2 = (np.bincount(sets.turn, per_turn * w, minlength=points)
                              for w in (inverse, f * inverse, inverse**2, f * inverse**2, (f * inverse) ** 2))
        weighted = self.x * risk[:, None]
        return predictor, Sums(risk, sets.at_risk(weighted), sets.failed(weighted), float(per_turn @ np.log(phi)), a0, a1, b0, b1, b2)

    def __call__(self, beta: np.ndarray):
        predictor, s = self.sums(beta)
        failing = self.sets.failing
        value = float(self.sets.weight[failing] @ predictor[failing]) - s.log_phi
        score = self.sets.weight[failing] @ self.x[failing] - (s.a0 @ s.s1 - s.a1 @ s.t1)
        return value, score, -self.information(s)

    def information(self, s: Sums, g: np.ndarray | None = None) -> np.ndarray:
        """Sum over event points of g(k) times the covariance matrix of x among those at risk (g = 1 if None)."""
        sets, g = self.sets, np.ones(len(self.sets.day)) if g is None else g
        load = s.risk * sets.along(g * s.a0)
        load[sets.failing] -= s.risk[sets.failing] * (g * s.a1)[sets.point]
        cross = (s.s1 * (g * s.b1)[:, None]).T @ s.t1
        square = (s.s1 * (g * s.b0)[:, None]).T @ s.s1 - cross - cross.T + (s.t1 * (g * s.b2)[:, None]).T @ s.t1
        return (self.x * load[:, None]).T @ self.x - square

    def schoenfeld(self, s: Sums) -> np.ndarray:
        """x of each failing row less the mean of x at risk, averaged over the turns of its day (failures x terms)."""
        mean = (s.s1 * s.a0[:, None] - s.t1 * s.a1[:, None]) / (self.sets.ties * self.sets.turn_weight)[:, None]
        return self.x[self.sets.failing] - mean[self.sets.point]

    def score_residuals(self, s: Sums, g: np.ndarray | None = None) -> np.ndarray:
        """Each row's share of the score, its weight included, every event point times g (rows x terms; they add up to the score).

        A failing row counts with 1 - f in its own day's turns, as in the likelihood (Therneau & Grambsch 2000, Modeling Survival
        Data, section 7.1; the sandwich of Lin & Wei 1989 J Am Stat Assoc 84:1074-1078).
        """
        sets, g = self.sets, np.ones(len(self.sets.day)) if g is None else g
        drift = sets.along((s.s1 * s.b0[:, None] - s.t1 * s.b1[:, None]) * g[:, None])
        own = -s.risk[:, None] * (self.x * sets.along(g * s.a0)[:, None] - drift)
        spared = self.x[sets.failing] * s.a1[sets.point, None] - (s.s1 * s.b1[:, None] - s.t1 * s.b2[:, None])[sets.point]
        own[sets.failing] += (sets.weight[sets.failing, None] * self.schoenfeld(s) + s.risk[sets.failing, None] * spared) * g[sets.point, None]
        return own
