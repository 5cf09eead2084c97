"""How long wear goes unnoticed where it is found only when somebody looks: from a fitted curve and the days between looks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError, as_numbers, normal_quantile
from outcomes.longevity.location_scale import FAMILIES

NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)
HALVINGS = 45  # of the time between two looks, in the search for a quantile
MOST_LOOKS = 5_000
MEASURES = ("mean", "upper", "share_of_time")


@dataclass(frozen=True, eq=False)
class Unnoticed:
    """What each time between looks would do.

    ``rows``: a row per interval: ``interval`` (days), ``mean`` and ``upper`` (of the days between wear and notice: the mean, and what the
    share ``quantile`` of worn parts does not exceed) and ``share_of_time`` (of the time the parts are in place, the share during which they
    are worn and nobody knows), each with its _low and _high. Nothing is read of wear beyond ``horizon``.
    """

    rows: pd.DataFrame
    horizon: float
    quantile: float
    level: float
    method: str

    def table(self) -> pd.DataFrame:
        """One row per interval between looks."""
        return self.rows.copy()


def time_unnoticed(fit, intervals, *, horizon: float, coming: float = 0.0, within: float = 0.0, quantile: float = 0.9, draws: int = 1000, seed: int = 0, coming_draws=None) -> Unnoticed:
    """Days between wear and its discovery for several times between looks, with limits.

    fit: an ``accelerated_failure`` fit without covariates, in days. intervals: days between looks, each above 0. coming, within: see
    ``unnoticed_time``. coming_draws: as many values of ``coming`` as draws, to carry its own uncertainty. Limits: percentiles over ``draws``
    curves drawn from the normal law of the fitted coefficients and log scale, whose covariance is the fit's own (by patient, where the fit was
    clustered): King, Tomz & Wittenberg 2000 Am J Pol Sci 44:347-361, from memory. Raises ArgumentError for a fit with covariates, an interval
    or horizon that is not positive, and a share that is none.
    """
    normal_quantile(fit.level)
    if list(fit.coefficients.index) != ["Intercept"]:
        raise ArgumentError("fit", "has covariates", "Fit the formula 1, or a group of its own.")
    days = as_numbers("intervals", intervals)
    if len(days) == 0 or (days <= 0).any():
        raise ArgumentError("intervals", "must be days above 0", "Give the days between one look and the next.")
    centre = np.array([fit.coefficients["estimate"].iloc[0], fit.log_scale])
    exponential = fit.distribution == "exponential"
    generator = np.random.default_rng(seed)
    covariance = fit.covariance.to_numpy()
    spread = generator.multivariate_normal(np.zeros(len(covariance)), covariance, size=draws, method="eigh")
    drawn = centre + (np.column_stack([spread[:, 0], np.zeros(draws)]) if exponential else spread)
    every = np.vstack([centre, drawn])
    shares = np.full(draws + 1, float(coming))
    if coming_draws is not None:
        shares[1:] = as_numbers("coming_draws", coming_draws, length=draws)
    failed = failed_share(every[:, 0], np.exp(every[:, 1]), fit.distribution)
    rows = []
    for interval in days:
        found = unnoticed_time(failed, float(interval), horizon=horizon, coming=shares, within=within, quantile=quantile)
        low, high = np.nanquantile(found[:, 1:], [(1 - fit.level) / 2, (1 + fit.level) / 2], axis=1)
        rows.append({"interval": float(interval)} | {name + end: float(value) for k, name in enumerate(MEASURES) for end, value in (("", found[k, 0]), ("_low", low[k]), ("_high", high[k]))})
    method = f"{fit.method}; looks at fixed intervals; limits from {draws} curves drawn from the normal law of the fit"
    return Unnoticed(pd.DataFrame(rows), float(horizon), float(quantile), fit.level, method)


def failed_share(location, scale, distribution: str) -> Callable[[np.ndarray], np.ndarray]:
    """Share failed by a time for one curve per pair of location and scale of log T: maps times (1 or curves, ...) to (curves, ...)."""
    family = FAMILIES["weibull" if distribution == "exponential" else distribution]
    location, scale = np.asarray(location, float), np.asarray(scale, float)

    def failed(times: np.ndarray) -> np.ndarray:
        shape = (-1,) + (1,) * (np.ndim(times) - 1)
        with np.errstate(divide="ignore"):
            return 1 - family.survival((np.log(times) - location.reshape(shape)) / scale.reshape(shape))

    return failed


def unnoticed_time(failed: Callable[[np.ndarray], np.ndarray], interval: float, *, horizon: float, coming=0.0, within: float = 0.0, quantile: float = 0.9) -> np.ndarray:
    """Mean and quantile of the days between wear and notice, and the share of time in place spent worn unnoticed: array (3, curves).

    failed: share worn by a time, for one or more curves: maps an array (1 or curves, ...) of times to (curves, ...). Looks fall on interval,
    2 x interval, ... after fitting, and wear shows at the first look after it. Of worn parts a share ``coming`` (a number, or one per curve) is
    brought in by its wearer ``within`` days after wear at the latest, unless the next look comes sooner. Wear after ``horizon``, and time in
    place after it, do not count; the look that finds what was worn before it may lie after it.

    With looks d apart and wear at T, U = d ceil(T/d) - T. For u in (0, d) the share with U > u is the sum over looks j of F(jd - u) - F(jd - d),
    and the mean of min(U, w) is its integral up to w. Where wear is as likely on any day between looks, the mean is d/2 and the 90th centile 0.9 d.
    """
    if not (np.isfinite(horizon) and horizon > 0 and np.isfinite(interval) and interval > 0):
        raise ArgumentError("horizon", "and interval must be days above 0", "Give the last day on which wear was found as the horizon.")
    share = np.asarray(coming, float)
    if not ((share >= 0) & (share <= 1)).all() or within < 0 or not 0 < quantile < 1:
        raise ArgumentError("coming", "and quantile must be shares, within not negative", "Give 0 for nobody and 1 for everybody.")
    if horizon / interval > MOST_LOOKS:
        raise ArgumentError("intervals", f"ask for more than {MOST_LOOKS} looks up to the horizon", "Give a longer interval.")
    start = (np.arange(int(np.ceil(horizon / interval - 1e-12))) * interval)[None, :]
    look = start + interval
    cells = _Cells(failed, start, np.minimum(look, horizon), look)
    soon = min(float(within), float(interval))
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = ((1 - share) * cells.waited(interval) + share * cells.waited(soon)) / cells.worn
        time = ((1 - share) * cells.unseen(interval) + share * cells.unseen(soon)) / ((1 - share) * cells.in_place(interval) + share * cells.in_place(soon))
    return np.stack([mean, cells.quantile(quantile, share, soon, interval), time])


@dataclass(frozen=True, eq=False)
class _Cells:
    """The time from one look to the next, cut at the horizon: arrays (1, looks)."""

    failed: Callable[[np.ndarray], np.ndarray]
    start: np.ndarray
    end: np.ndarray
    look: np.ndarray

    @property
    def worn(self) -> np.ndarray:
        """Share that wears between fitting and the horizon, by curve."""
        return self.failed(self.end)[:, -1] - self.failed(self.start)[:, 0]

    def _integral(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Of the failed share from low to high, cell by cell."""
        half = (high - low) / 2
        return half * (self.failed(low[..., None] + half[..., None] * (NODES + 1)) @ WEIGHTS)

    def waited(self, most: float) -> np.ndarray:
        """Sum over cells of the integral of the share that wore there and waits longer than u, for u up to ``most``."""
        late = np.minimum(self.look - most, self.end)
        beyond = self.look - np.maximum(self.end, self.look - most)
        return (self._integral(late, self.end) + beyond * self.failed(self.end) - most * self.failed(self.start)).sum(axis=1)

    def _found(self, most: float) -> np.ndarray:
        """Sum over cells of the integral of the share worn and found, where it is found ``most`` days after wear or at the look."""
        back = np.maximum(self.end - most, self.start)
        return (self._integral(self.start, back) + (self.end - back) * self.failed(self.start)).sum(axis=1)

    def unseen(self, most: float) -> np.ndarray:
        """Days worn and not known up to the horizon, by curve, where notice takes ``most`` days or until the look."""
        return self._integral(self.start, self.end).sum(axis=1) - self._found(most)

    def in_place(self, most: float) -> np.ndarray:
        """Days in place up to the horizon, by curve: a part found worn is out of it."""
        return float(self.end[0, -1]) - self._found(most)

    def quantile(self, wanted: float, share: np.ndarray, soon: float, interval: float) -> np.ndarray:
        """Smallest u that the share ``wanted`` of worn parts does not wait longer than."""
        worn, before = self.worn, self.failed(self.start)

        def longer(u: np.ndarray) -> np.ndarray:
            with np.errstate(divide="ignore", invalid="ignore"):
                return (self.failed(np.clip(self.look - u[:, None], self.start, self.end)) - before).sum(axis=1) / worn

        def solve(factor: np.ndarray, low: np.ndarray) -> np.ndarray:
            low, high = low.copy(), np.full(len(worn), float(interval))
            for _ in range(HALVINGS):
                middle = (low + high) / 2
                over = factor * longer(middle) > 1 - wanted
                low, high = np.where(over, middle, low), np.where(over, high, middle)
            return high

        nobody = np.zeros(len(worn))
        first = solve(np.ones(len(worn)), nobody)
        if soon < interval and np.any(share > 0):
            rest = np.broadcast_to(1 - share, worn.shape)
            at_once = np.full(len(worn), float(soon))
            later = np.where(rest * longer(at_once) <= 1 - wanted, soon, solve(rest, at_once))
            first = np.where(first <= soon, first, later)
        return np.where(worn > 0, first, np.nan)
