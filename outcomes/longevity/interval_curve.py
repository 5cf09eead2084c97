"""The nonparametric maximum likelihood curve for interval-censored rows, read where it is known and no further."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from outcomes.longevity.constrained_newton import maximise
from outcomes.longevity.curve import HAIR, check_horizon, crossing
from outcomes.longevity.days import TIE
from outcomes.longevity.estimate import (
    ArgumentError, Estimate, answer, as_numbers, as_probability, as_times, as_weights, normal_quantile, t_quantile,
)
from outcomes.longevity.exits import cluster_codes
from outcomes.longevity.innermost import Cover, innermost_intervals
from outcomes.longevity.patient_bootstrap import Draws, draw_patients

EDGE = 1e-3  # log–log limits clip the draws' shares to [EDGE, 1 - EDGE]
ALL_OR_NONE = 0.05  # with more draws than this at exactly 0 or 1, the limits come from the effective sample


def turnbull(left, right, *, weights=None, cluster=None, level=0.95, draws=1000, seed=1) -> IntervalCurve:
    """Share still free of the event over time, for rows known only to have had it in (left, right].

    left, right: (n,) times; right = inf: right-censored at left; left = 0: left-censored; left == right: seen on that very
    day, which is not the same as (t - 1, t]. weights: (n,) counts, as if rows were repeated, or sampling weights where there
    are clusters; cluster: (n,) labels, such as patients. No value may be missing. ``draws`` and ``seed``: the patient bootstrap
    behind standard errors and limits, run when they are first asked for. Rows must be observed from day 0: late entry has no
    place here (the estimate need not exist; Hudgens 2005, J R Stat Soc B 67:573). With exact and right-censored rows only it
    is the Kaplan–Meier curve.

    Raises ArgumentError naming the argument, the position and the remedy.
    Sources: Turnbull 1976 (J R Stat Soc B 38:290); ``constrained_newton`` for the method.

    Radiotherapy alone, Finkelstein and Wolfe 1985 (Biometrics 41:933), months to deterioration; the masses are those that
    Fay and Shaw 2010 (J Stat Softw 36(2)) print:

    >>> inf = float("inf")
    >>> left = [45, 6, 0, 46, 46, 7, 17, 7, 37, 0, 4, 15, 11, 22, 46, 46, 25, 46, 26, 46, 27, 36, 46, 36, 37, 40, 17, 46, 11, 38, 5, 37, 0,
    ...         18, 24, 36, 5, 19, 17, 24, 32, 33, 19, 37, 34, 36]
    >>> right = [inf, 10, 7, inf, inf, 16, inf, 14, 44, 8, 11, inf, 15, inf, inf, inf, 37, inf, 40, inf, 34, 44, inf, 48, inf, inf, 25, inf,
    ...          18, inf, 12, inf, 5, inf, inf, inf, 11, 35, 25, inf, inf, inf, 26, inf, inf, inf]
    >>> curve = turnbull(left, right)
    >>> print(curve.support.round(4).head(4).to_string(index=False))
     left  right   mass
      4.0    5.0 0.0463
      6.0    7.0 0.0334
      7.0    8.0 0.0887
     11.0   12.0 0.0708
    >>> round(curve.log_likelihood, 4), curve.quantile(0.25)
    (-58.06, 25.0)
    """
    left, right, weight, codes, clusters, rows = _rows(left, right, weights, cluster)
    normal_quantile(level)
    cover = innermost_intervals(left, right)
    fit = maximise(cover.first, cover.after, weight, cover.size)
    method = ("nonparametric maximum likelihood for interval-censored rows (constrained Newton on the innermost intervals); "
              f"bootstrap by {'row' if codes is None else 'cluster'} for standard errors and log–log limits")
    return IntervalCurve(
        cover.left[fit.support], cover.right[fit.support], fit.mass, fit.log_likelihood, fit.gap, fit.rounds, level, rows,
        None if codes is None else clusters, float(weight[np.isfinite(right)].sum()), method, int(draws), seed,
        _Data(left, right, weight, codes, cover, fit.support))


@dataclass(frozen=True, eq=False)
class _Data:
    left: np.ndarray
    right: np.ndarray
    weight: np.ndarray
    cluster: np.ndarray | None
    cover: Cover
    support: np.ndarray


@dataclass(frozen=True, eq=False, repr=False)
class IntervalCurve:
    """Mass in each support interval (left, right]. The masses are unique: every innermost interval is the last that some row
    covers, so the rows' probabilities give the cumulative mass one after the other. Where inside its interval a mass falls, the
    data do not say.

    ``log_likelihood``: sum of weight · log of each row's probability; ``gap``: no curve at all has a log-likelihood higher by
    more than this; ``rounds`` of the solver; ``rows``, ``clusters`` (None without) and ``events`` (weight with a finite right
    end) count what went in.
    """

    left: np.ndarray
    right: np.ndarray
    mass: np.ndarray
    log_likelihood: float
    gap: float
    rounds: int
    level: float
    rows: int
    clusters: int | None
    events: float
    method: str
    draws: int
    seed: object
    _data: _Data = field(repr=False)

    def __repr__(self) -> str:
        return f"IntervalCurve({self.rows} rows, {self.clusters or 'no'} clusters, {self.events:g} events; {self.method})"

    # -------------------------------------------------------------- read the curve

    @property
    def support(self):
        """DataFrame of the support intervals: left, right, mass. left == right is a single day."""
        import pandas as pd

        return pd.DataFrame({"left": self.left, "right": self.right, "mass": self.mass})

    def survival_at(self, t):
        """Share still free of the event at ``t`` (number or array): the upper edge, falling at the right ends of the support."""
        return answer(self._remaining(self.right, t))

    def survival_bounds_at(self, t):
        """(low, high) between which the likelihood leaves the curve free at ``t``: equal outside the support intervals."""
        times = as_times(t)
        begun = np.concatenate([[0.0], np.cumsum(self.mass)])[np.searchsorted(self.left, times, side="left")]
        high = self._remaining(self.right, t)
        return answer(np.minimum(np.clip(1 - begun, 0.0, 1.0), high)), answer(high)

    def quantile(self, p: float) -> float:
        """Smallest right end by which a share ``p`` or more has failed (within 1e-9); inf if not reached."""
        return crossing(self.right, np.cumsum(self.mass) >= as_probability("p", p) - HAIR)

    def quantile_interval(self, p: float) -> tuple[float, float]:
        """Right ends of support intervals at which the lower and the upper limit reach 1 - ``p``; inf where they do not."""
        target = 1 - as_probability("p", p) + HAIR
        ends = self.right[np.isfinite(self.right)]
        low, high = self.interval_at(ends)
        return crossing(ends, low <= target), crossing(ends, high <= target)

    def restricted_mean(self, horizon: float) -> Estimate:
        """Mean time free of the event within ``horizon``, mass spread evenly inside each support interval; bootstrap limits.

        Raises ArgumentError past the largest finite end of any row, unless no mass lies beyond it: the rest cannot be spread.
        """
        tau = self._horizon(horizon)
        value = float(self.mass @ _mean_within(self.left, self.right, tau))
        if self.clusters == 1:
            return Estimate(value, *[float("nan")] * 3, self.level, "one cluster cannot be resampled")
        cover = self._data.cover
        se = float(self._draws.total(_mean_within(cover.left, cover.right, tau)).std(ddof=1))
        q = t_quantile(self.level, self._people)
        return Estimate(value, se, value - q * se, value + q * se, self.level)

    def restricted_mean_bounds(self, horizon: float) -> tuple[float, float]:
        """(low, high) of the restricted mean over all ways to spread the mass inside the support intervals."""
        tau = self._horizon(horizon)
        return float(self.mass @ np.minimum(self.left, tau)), float(self.mass @ np.minimum(self.right, tau))

    # -------------------------------------------------------------- uncertainty

    def standard_error_at(self, t):
        """Standard deviation of ``survival_at(t)`` over the draws; nan with a single cluster."""
        times = as_times(t)
        if self.clusters == 1:
            return answer(np.full(times.shape, np.nan))
        return answer(np.array([self._drawn_survival(x).std(ddof=1) for x in times.ravel()]).reshape(times.shape))

    def interval_at(self, t):
        """(low, high): exp(−exp(η ± q·SE(η))), η = log(−log S), S clipped to [0.001, 0.999], q Student's t at patients − 1.

        Where some draws lie beyond those edges SE(η) is SE(S)/(S·|log S|); where more than 5 % of them are exactly 0 or 1 the
        limits are Clopper–Pearson on the effective sample (``share_interval``).
        """
        times = as_times(t)
        if self.clusters == 1:
            return answer(np.full(times.shape, np.nan)), answer(np.full(times.shape, np.nan))
        pairs = np.array([self._interval(x) for x in times.ravel()]).reshape((*times.shape, 2))
        return answer(pairs[..., 0]), answer(pairs[..., 1])

    def share_interval(self, t: float) -> Estimate:
        """Clopper–Pearson interval for the share at ``t`` on the effective sample, V from the draws.

        Where the share is 1 (or 0) the sample is the patients known free (or known to have failed) at ``t``.
        """
        from outcomes.longevity.shares import effective_sample_interval

        share = float(self.survival_at(t))
        known = self._data.left >= t if share > 0 else self._data.right <= t
        if self.clusters is None:
            people = self._data.weight[known].sum()
        else:
            people = len(np.unique(self._data.cluster[known]))
        variance = self._drawn_survival(t).var(ddof=1) if self.clusters != 1 else np.nan
        return effective_sample_interval(share, variance, parts=self.rows, at_risk=people, clusters=self._people, level=self.level)

    def _interval(self, t: float) -> tuple[float, float]:
        """(low, high) at one time: log–log with the spread of the draws; exact limits where draws are all or none."""
        share, drawn = float(self.survival_at(t)), self._drawn_survival(t)
        if ((drawn <= HAIR) | (drawn >= 1 - HAIR)).mean() > ALL_OR_NONE:
            exact = self.share_interval(t)
            return exact.low, exact.high
        eta, spread = (np.log(-np.log(np.clip(s, EDGE, 1 - EDGE))) for s in (share, drawn))
        if ((drawn < EDGE) | (drawn > 1 - EDGE)).any():
            # A handful of draws at the edge would set the spread of η by where they are clipped, and make the limits of an
            # earlier day lower than those of a later one: carry the spread of S over instead.
            se = drawn.std(ddof=1) / (share * -np.log(share)) if 0 < share < 1 else spread.std(ddof=1)
        else:
            se = spread.std(ddof=1)
        half = t_quantile(self.level, self._people) * se
        return float(np.exp(-np.exp(eta + half))), float(np.exp(-np.exp(eta - half)))

    @cached_property
    def _draws(self) -> Draws:
        """The curve refitted to whole patients drawn anew, made once when first asked for."""
        data = self._data
        return draw_patients(data.cover, data.weight, data.cluster, self.clusters, (data.support, self.mass), self.draws, self.seed)

    def _drawn_survival(self, t: float) -> np.ndarray:
        """S(t) in every draw."""
        return np.clip(1 - self._draws.total((self._data.cover.right <= t * (1 + TIE)).astype(float)), 0.0, 1.0)

    @property
    def _people(self) -> int:
        """Clusters, or rows where none were given."""
        return int(round(self._data.weight.sum())) if self.clusters is None else self.clusters

    # -------------------------------------------------------------- what to beware of, table

    @cached_property
    def note(self) -> str:
        """What to beware of: no event, mass never seen to fall, wide steps, one cluster, a solver that stopped early."""
        notes = []
        if self.events == 0:
            notes.append("no event: the curve stays at 1")
        wide = np.isfinite(self.right) & (self.right > self.left) & (self.mass > 0.05)
        if wide.any():
            notes.append("more than 0.05 of the mass lies in one interval, inside which the curve is not known: " + ", ".join(
                f"({low:g}, {high:g}]" for low, high in zip(self.left[wide], self.right[wide])))
        if self.right[-1] == np.inf and self.left[-1] > 0:
            notes.append(f"past {self.left[-1]:g} nothing is known of the remaining {self.mass[-1]:.3f}")
        if self.clusters == 1:
            notes.append("one cluster cannot be resampled: standard errors are nan")
        if self.gap > 1e-6 * self._data.weight.sum():
            notes.append(f"the solver stopped {self.gap:.2g} short of certainty")
        return "; ".join(notes)

    def table(self, limits: bool = True):
        """DataFrame, one row per support interval: left, right, mass, survival (past it), flat_until, and se, low, high.

        The curve is known and flat from ``right`` to ``flat_until``. ``limits=False`` leaves out what needs the bootstrap.
        """
        frame = self.support
        frame["survival"] = np.where(np.isfinite(self.right), self._remaining(self.right, self.right), np.nan)
        frame["flat_until"] = np.append(self.left[1:], self.left[-1] if self.right[-1] == np.inf else np.inf)
        frame.loc[~np.isfinite(frame["right"]), "flat_until"] = np.nan
        if limits:
            finite = np.isfinite(self.right)
            for name in ("se", "low", "high"):
                frame[name] = np.nan
            frame.loc[finite, "se"] = self.standard_error_at(self.right[finite])
            frame.loc[finite, "low"], frame.loc[finite, "high"] = self.interval_at(self.right[finite])
        return frame

    def _remaining(self, ends: np.ndarray, t) -> np.ndarray:
        """1 less the mass of the innermost intervals whose ``ends`` are passed by ``t``."""
        passed = np.searchsorted(np.where(np.isfinite(ends), ends * (1 - TIE), ends), as_times(t), side="right")
        return np.clip(1 - np.concatenate([[0.0], np.cumsum(self.mass)]), 0.0, 1.0)[passed]

    def _horizon(self, horizon: float) -> float:
        """The horizon checked against the last finite time that any row names."""
        ends = np.concatenate([self._data.left, self._data.right[np.isfinite(self._data.right)]])
        beyond = float(self.mass[~np.isfinite(self.right)].sum())
        return check_horizon(horizon, float(ends.max()), beyond)


# ------------------------------------------------------------------ parts

def _rows(left, right, weights, cluster):
    """The arguments of ``turnbull`` checked: (left, right, weights, cluster codes, clusters, rows), rows of no weight left out. Raises ArgumentError."""
    left = as_numbers("left", left)
    n = len(left)
    if n == 0:
        raise ArgumentError("left", "holds no rows", "A group without a row has no curve; leave it out and say so.")
    right = as_numbers("right", right, finite=False, length=n)
    for name, wrong, problem, remedy in (
        ("left", left < 0, "holds a negative time", "Times count from day 0; a left-censored row has left = 0."),
        ("right", right < left * (1 - TIE), "is before left", "A row says (left, right]: free at left, failed by right."),
        ("right", right == -np.inf, "is minus infinity", "Right-censored rows have right = inf."),
    ):
        if wrong.any():
            raise ArgumentError(name, problem, remedy, int(np.argmax(wrong)))
    right = np.maximum(left, right)
    weight = as_weights(weights, length=n)
    codes, clusters = cluster_codes(cluster, n)
    if weight is None:
        return left, right, np.ones(n), codes, clusters, n
    kept = weight > 0
    return left[kept], right[kept], weight[kept], None if codes is None else codes[kept], clusters, n


def _mean_within(left, right, tau: float) -> np.ndarray:
    """Mean of min(T, tau) for T spread evenly over (left, right]."""
    inside = np.where(np.isfinite(right), np.minimum(right, tau), tau)
    width = np.where(np.isfinite(right) & (right > left), right - left, 1.0)
    cut = left + (inside - left) - (inside - left) ** 2 / (2 * width)
    return np.where(left >= tau, tau, np.where((right == left) | ~np.isfinite(right), np.minimum(right, tau), cut))
