"""A Kaplan–Meier curve as a frozen result: read it at a day, at a share, as a mean, or as a table."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from outcomes.longevity import estimate, limits
from outcomes.longevity.days import TIE, at, days_before, days_reached
from outcomes.longevity.estimate import ArgumentError, Estimate, answer, as_probability, as_times
from outcomes.longevity.exits import Exits, hazards
from outcomes.longevity.influence import contributions, inverse_staying

HAIR = 1e-9  # products of shares round; a share this close to a level has reached it


def crossing(days: np.ndarray, reached: np.ndarray) -> float:
    """The first of the ``days`` at which ``reached`` holds; inf if none does."""
    return float(days[np.argmax(reached)]) if reached.any() else float("inf")


@dataclass(frozen=True, eq=False, repr=False)
class SurvivalCurve:
    """Share still free of the event, day by day.

    Arrays run over ``time``, the distinct days on which a row ended: ``at_risk`` (weight with entry < day <= end),
    ``entered`` (since the day before on the grid), ``failed``, ``censored``, ``survival``, ``se`` (of the survival),
    ``low`` and ``high``, and ``clusters_at_risk`` (None without clusters). ``rows``, ``clusters`` (None without) and
    ``events`` count what went in; ``method`` and ``note`` say in words what was done and what to beware of.
    """

    time: np.ndarray
    at_risk: np.ndarray
    entered: np.ndarray
    failed: np.ndarray
    censored: np.ndarray
    survival: np.ndarray
    se: np.ndarray
    low: np.ndarray
    high: np.ndarray
    clusters_at_risk: np.ndarray | None
    level: float
    transform: str
    small_sample: bool
    rows: int
    clusters: int | None
    events: float
    method: str
    note: str
    _exits: Exits = field(repr=False)

    def __repr__(self) -> str:
        return f"SurvivalCurve({self.rows} rows, {self.clusters or 'no'} clusters, {self.events:g} events; {self.method})"

    # -------------------------------------------------------------- read the curve

    def survival_at(self, t):
        """Share still free of the event at day ``t`` (number or array); nan past the last day, unless the curve is 0."""
        return answer(self._read(self.survival, t, 1.0))

    def standard_error_at(self, t):
        """Standard error of ``survival_at(t)``: Greenwood, or the clusters' summed influence where clusters were given."""
        return answer(self._read(self.se, t, 0.0))

    def interval_at(self, t):
        """(low, high) limits at day ``t``; nan where undefined (see ``limits``)."""
        low, high = self._read(self.low, t, 1.0), self._read(self.high, t, 1.0)
        if self.small_sample:
            share = self._read(self.survival, t, 1.0)
            whole = share >= 1
            exact = limits.exact_limits(share, self.people_at_risk(t), 1 - self.level)
            low, high = np.where(whole, exact[0], low), np.where(whole, exact[1], high)
        return answer(low), answer(high)

    def people_at_risk(self, t):
        """Clusters (rows, without clusters) at risk at ``t``, counted on the next day on which a row ended; 0 past the last."""
        people = self.at_risk if self.clusters_at_risk is None else self.clusters_at_risk
        return answer(np.append(people, 0)[days_before(self.time, as_times(t))])

    def share_interval(self, t: float) -> Estimate:
        """Clopper–Pearson interval for the share at ``t`` on the effective sample (see ``effective_sample_interval``)."""
        from outcomes.longevity.shares import effective_sample_interval

        share, se = self.survival_at(t), self.standard_error_at(t)
        people = self.people_at_risk(t) if share != 0 else self.people_at_risk(self.time[np.argmax(self.survival <= 0)])
        factor = 1.0 if self.clusters is None or self.clusters < 2 else self.clusters / (self.clusters - 1)
        return effective_sample_interval(share, se**2 * factor, parts=self.rows, at_risk=people, clusters=self.clusters, level=self.level)

    def quantile(self, p: float) -> float:
        """Smallest day by which a share ``p`` or more has failed (within 1e-9); inf if not reached."""
        return crossing(self.time, 1 - self.survival >= as_probability("p", p) - HAIR)

    def quantile_interval(self, p: float) -> tuple[float, float]:
        """Days on which the lower and the upper limit of the curve reach 1 - ``p``; inf where they do not."""
        target = 1 - as_probability("p", p) + HAIR
        with np.errstate(invalid="ignore"):
            return crossing(self.time, self.low <= target), crossing(self.time, self.high <= target)

    def restricted_mean(self, horizon: float) -> Estimate:
        """Mean time free of the event within ``horizon``: the area under the curve, with normal limits, not clipped.

        Raises ArgumentError for a horizon past the last day at risk, unless the curve is 0 there. Variance: the area's
        influence (Andersen, Hansen and Klein 2004, Lifetime Data Anal 10:335), by cluster where clusters were given.
        """
        jump, _, area = self._mean_gradient(horizon)
        if self.clusters is not None:
            variance = (self._exits.by_cluster(self._contributions(jump)) ** 2).sum()
        else:
            variance = (jump**2 * self._day_variance()).sum()
        return estimate_of(area, variance, self)

    # -------------------------------------------------------------- influence

    def influence_at(self, t: float) -> np.ndarray:
        """Influence of every row on ``survival_at(t)``, weight included: summed within clusters, squared and added it is the variance."""
        reached = int(days_reached(self.time, t))
        end = self.survival[reached - 1] if reached else 1.0
        jump = np.where(np.arange(len(self.time)) < reached, -end * inverse_staying(self.at_risk, self.failed), 0.0)
        return self._rows_of(jump)

    def restricted_mean_influence(self, horizon: float) -> np.ndarray:
        """Influence of every row on ``restricted_mean(horizon)``, weight included."""
        return self._rows_of(self._mean_gradient(horizon)[0])

    def _rows_of(self, jump: np.ndarray) -> np.ndarray:
        """Influence of each row from what a failure on each day changes (``jump``, by day). Raises ArgumentError where only counts were given."""
        if self._exits.rows == 0:
            raise ArgumentError("rows", "were not given, only counts", "Fit kaplan_meier on the rows to read their influence.")
        return self._exits.by_row(self._contributions(jump))

    def _contributions(self, jump: np.ndarray) -> np.ndarray:
        """The same by exit: what the row did on its day, less what it was expected to do until then."""
        return contributions(self._exits, jump, np.cumsum(jump * hazards(self.failed, self.at_risk)))

    def _day_variance(self) -> np.ndarray:
        """dN (Y - dN)/Y: the variance of a day's dN, so that jump² of it adds up to Greenwood's formula."""
        return hazards(self.failed, self.at_risk) * (self.at_risk - self.failed)

    def _mean_gradient(self, horizon: float) -> tuple[np.ndarray, np.ndarray, float]:
        """(jump, area up to each day, area up to the horizon) of the restricted mean."""
        tau = check_horizon(horizon, self.time[-1], self.survival[-1])
        grid = np.minimum(self.time, tau)
        steps = np.diff(np.concatenate([[0.0], grid])) * np.concatenate([[1.0], self.survival[:-1]])
        upto = np.cumsum(steps)
        area = float(upto[-1] + (tau - grid[-1]) * self.survival[-1])
        jump = np.where(self.time <= tau, -(area - upto) * inverse_staying(self.at_risk, self.failed), 0.0)
        return jump, upto, area

    # -------------------------------------------------------------- table

    def table(self):
        """DataFrame with one row per day on which a row ended: time, at_risk, entered, failed, censored, survival, se, low, high."""
        import pandas as pd

        columns = ["time", "at_risk", "entered", "failed", "censored", "survival", "se", "low", "high"]
        frame = pd.DataFrame({name: getattr(self, name) for name in columns})
        if self.clusters_at_risk is not None:
            frame.insert(2, "clusters_at_risk", self.clusters_at_risk)
        return frame

    def _read(self, values: np.ndarray, t, before: float) -> np.ndarray:
        """``values`` by day read at ``t``, ``before`` the first day; nan past the last one unless the curve is 0."""
        times = as_times(t)
        read = at(values, days_reached(self.time, times), before)
        beyond = times > self.time[-1] * (1 + TIE)
        return np.where(beyond & (self.survival[-1] > 0), np.nan, read)


def check_horizon(horizon: float, last: float, end: float) -> float:
    """``horizon`` as a positive number not past the ``last`` day at risk, unless the curve ends at 0."""
    tau = float(horizon)
    if not 0 < tau < float("inf"):
        raise ArgumentError("horizon", f"must be a positive number, not {horizon!r}", "Give a day within the follow-up.")
    if tau > last * (1 + TIE) and end > 0:
        raise ArgumentError("horizon", f"of {tau:g} lies past the last day at risk", f"The largest horizon these rows allow is {last:g}.")
    return tau


def estimate_of(value: float, variance: float, curve) -> Estimate:
    """Normal limits with the curve's own level; with small_sample G/(G - 1) and Student's t, where there are clusters."""
    if curve.clusters == 1:
        return Estimate(float(value), *[float("nan")] * 3, curve.level, "one cluster has no between-cluster variance")
    se = float(np.sqrt(variance))
    if not (curve.small_sample and curve.clusters):
        return estimate.normal_estimate(value, se, curve.level)
    q, factor = estimate.t_quantile(curve.level, curve.clusters), np.sqrt(curve.clusters / (curve.clusters - 1))
    return Estimate(float(value), se, float(value - q * factor * se), float(value + q * factor * se), curve.level)
