"""Regression of a cumulative incidence or of survival at chosen times, by pseudo-values: how factors change what happens by 1, 2, 5 years."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from outcomes.longevity.causes import causes_against
from outcomes.longevity.days import days_reached, distinct_days
from outcomes.longevity.design import Design, as_frame, cluster_codes, design, orthonormal, read_column
from outcomes.longevity.estimate import ArgumentError, as_durations, as_flags, as_numbers, normal_quantile
from outcomes.longevity.hazards import check_bounded, remarks
from outcomes.longevity.newton import climb
from outcomes.longevity.sandwich import coefficient_table, degrees_of_freedom, error_words, robust_covariance, with_ratios


@dataclass(frozen=True, eq=False)
class PseudoValueFit:
    """Regression at fixed times. ``coefficients``: one row "at t" per time (what the link gives where every covariate is 0), then
    the terms (estimate, se, low, high, p). ``values``: the pseudo-values (rows x times); ``influence``: rows x coefficients."""

    coefficients: pd.DataFrame
    link: str
    of: str
    times: tuple
    level: float
    df: float
    counts: dict
    covariance: pd.DataFrame = field(repr=False)
    influence: np.ndarray = field(repr=False)
    values: np.ndarray = field(repr=False)
    design: Design = field(repr=False)
    by_time: bool
    method: str
    note: str = ""

    def table(self) -> pd.DataFrame:
        """One row per coefficient; with the cloglog link also the ratio exp(estimate) and its limits (1.3: 30 % more hazard)."""
        return with_ratios(self.coefficients, "ratio") if self.link == "cloglog" else self.coefficients.reset_index()

    def predicted(self, newdata=None) -> pd.DataFrame:
        """Modelled probability, one row per row of newdata, one column per time."""
        x = self.design.rows(newdata)
        eta = stacked(x, len(self.times), self.by_time) @ self.coefficients["estimate"].to_numpy()
        shares = -np.expm1(-np.exp(eta)) if self.link == "cloglog" else eta
        shares = 1 - shares if self.link == "cloglog" and self.of == "survival" else shares
        return pd.DataFrame(shares.reshape(len(self.times), len(x)).T, columns=list(self.times))


def pseudo_value_regression(frame, formula, *, duration, times, cause=None, event=None, observed=None, cluster=None, link="cloglog",
                            by_time=False, level=0.95, small_sample=False) -> PseudoValueFit:
    """Generalised estimating equations on pseudo-values of cumulative incidence (cause and event) or survival (observed).

    frame: one row per part, all observed from time 0; duration, cause or observed, cluster: names of columns; event: the cause.
    times: where to look, above 0 and within follow-up. link: "cloglog" (coefficients are log ratios of subdistribution
    hazards, or of hazards for survival) or "identity" (differences of the probability). Effects are shared by all times unless
    ``by_time``. Independence working model with constant variance; errors sum each row's contributions within cluster (within row
    without one), and take the pseudo-values as independent, which makes them a little wide (Jacobsen & Martinussen 2016 Scand J
    Stat 43:845-862). Late entry is not offered. Raises ArgumentError for bad columns, times without follow-up, or effects without
    bound. Andersen, Klein & Rosthøj 2003 Biometrika 90:15-27; clusters: Logan, Zhang & Klein 2011 Biometrics 67:1-7.

    Without censoring a pseudo-value is the row's own outcome, and differences of shares come out:

    >>> parts = pd.DataFrame({"day": [100, 200, 300, 400, 150, 250, 500, 600], "worn": 8 * [1], "firm": [0, 0, 0, 0, 1, 1, 1, 1]})
    >>> fitted = pseudo_value_regression(parts, "firm", duration="day", observed="worn", times=[350], link="identity")
    >>> fitted.coefficients["estimate"].round(4).tolist()
    [0.25, 0.25]
    """
    normal_quantile(level)
    if link not in ("cloglog", "identity"):
        raise ArgumentError("link", f"{link!r} is not known", 'Choose "cloglog" or "identity".')
    frame = as_frame(frame)
    n = len(frame)
    days = as_durations("duration", read_column(frame, "duration", duration), length=n)
    kind, of = ends(frame, cause, event, observed)
    looks = checked_times(times, days)
    made, codes = design(frame, formula, intercept=False), cluster_codes(frame, cluster)
    failure = pseudo_values(days, kind, looks)
    reverse = of == "survival" and link == "identity"
    fitted = estimate(1 - failure if reverse else failure, made, looks, link, by_time)
    names, estimates, bread, scores = fitted
    influence = scores @ bread
    df = degrees_of_freedom(codes, len(names), small_sample)
    covariance = robust_covariance(influence, np.arange(n) if codes is None else codes, small_sample=small_sample)
    counts = {"rows": n, "events": int((kind == 1).sum()), "other causes": int((kind == 2).sum()), "censored": int((kind == 0).sum())}
    if codes is not None:
        counts |= {"clusters": int(codes.max()) + 1, "clusters with events": len(np.unique(codes[kind == 1]))}
    words = error_words(cluster, codes, small_sample) if codes is not None else "sandwich errors by row"
    return PseudoValueFit(
        coefficients=coefficient_table(names, estimates, covariance, level, df), link=link, of=of, times=tuple(looks.tolist()), level=level, df=df, counts=counts,
        covariance=pd.DataFrame(covariance, index=names, columns=names), influence=influence, values=1 - failure if of == "survival" else failure,
        design=made, by_time=by_time, method=f"pseudo-values of {of}, {link} link, independence estimating equations, {words}",
        note=remarks(counts, len(names), df))


def ends(frame: pd.DataFrame, cause, event, observed) -> tuple[np.ndarray, str]:
    """(0 censored, 1 event, 2 other cause; what is modelled)."""
    if (cause is None) == (observed is None):
        raise ArgumentError("cause", "and observed: exactly one of them is needed", "Give cause and event for an incidence, observed for survival.")
    if observed is not None:
        flags = as_flags("observed", read_column(frame, "observed", observed), length=len(frame))
        if not flags.any():
            raise ArgumentError("observed", "no row has failed", "Without an event there is nothing to model; state the time at risk instead.")
        return flags.astype(int), "survival"
    if event is None:
        raise ArgumentError("event", "is needed with cause", "Name the cause to model.")
    return causes_against(read_column(frame, "cause", cause), event, length=len(frame)), f"incidence of {event}"


def checked_times(times, days: np.ndarray) -> np.ndarray:
    """The times, each once and in order. Raises ArgumentError for one not above 0 or past the last day."""
    looks = np.unique(as_numbers("times", np.atleast_1d(times)))
    if len(looks) == 0 or (looks <= 0).any():
        raise ArgumentError("times", "must be above 0, one at least", "Give the times to look at, for example 365, 730, 1826 days.")
    if looks[-1] > days.max():
        raise ArgumentError("times", f"{looks[-1]:g} lies past the last day of follow-up, {days.max():g}", "Leave such a time out.")
    return looks


def pseudo_values(duration: np.ndarray, kind: np.ndarray, times: np.ndarray) -> np.ndarray:
    """n F(t) - (n - 1) F(t without the row), F the cumulative incidence of kind 1 (rows x times), exactly, from prefix products.

    Leaving a row out changes the days up to its own: their hazards lose one from the number at risk, its own day also its failure.
    Later hazards stay, scaled by the ratio of the two curves of being free of any failure. Work grows with rows plus days.
    """
    days, position = distinct_days(duration)
    n, size = len(duration), len(days)
    at_risk = np.cumsum(np.bincount(position, minlength=size)[::-1])[::-1].astype(float)
    d1, failed = (np.bincount(position[rows], minlength=size).astype(float) for rows in (kind == 1, kind > 0))
    free, incidence = curves(d1, failed, at_risk)
    free_less, incidence_less = curves(d1, failed, at_risk - 1)
    others = at_risk[position] - 1
    own = free_less[position]  # just before the row's day, the row left out
    one = own * np.divide(d1[position] - (kind == 1), others, out=np.zeros(n), where=others > 0)
    stays = own * (1 - np.divide(failed[position] - (kind > 0), others, out=np.zeros(n), where=others > 0))
    ratio = np.divide(stays, free[position + 1], out=np.zeros(n), where=free[position + 1] > 0)
    out = np.empty((n, len(times)))
    for k, reached in enumerate(days_reached(days, times)):
        later = incidence_less[position] + one + ratio * (incidence[reached] - incidence[np.minimum(position + 1, size)])
        without = np.where(position >= reached, incidence_less[reached], later)
        out[:, k] = n * incidence[reached] - (n - 1) * without
    return out


def curves(d1: np.ndarray, failed: np.ndarray, at_risk: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(free of any failure, incidence of kind 1) before the first day and after each day."""
    hazard = np.divide(failed, at_risk, out=np.zeros_like(failed), where=at_risk > 0)
    free = np.concatenate([[1.0], np.cumprod(1 - hazard)])
    rise = free[:-1] * np.divide(d1, at_risk, out=np.zeros_like(d1), where=at_risk > 0)
    return free, np.concatenate([[0.0], np.cumsum(rise)])


def stacked(x: np.ndarray, looks: int, by_time: bool) -> np.ndarray:
    """Model matrix of all rows at the first time, then all at the second, ...: a column per time, then the terms."""
    return np.hstack([np.kron(np.eye(looks), np.ones((len(x), 1))), np.kron(np.eye(looks), x) if by_time else np.tile(x, (looks, 1))])


def estimate(values: np.ndarray, made: Design, looks: np.ndarray, link: str, by_time: bool):
    """(names, estimates, inverse of the estimating equations' slope, each row's score)."""
    n, count = values.shape
    ats = [f"at {t:g}" for t in looks]
    names = ats + ([f"{term} {at}" for at in ats for term in made.terms] if by_time else list(made.terms))
    matrix, response = stacked(made.matrix, count, by_time), values.T.ravel()
    basis, back = orthonormal(matrix, names)
    if link == "identity":
        theta = np.linalg.lstsq(basis, response, rcond=None)[0]
        slope = np.ones(len(response))
        left = response - basis @ theta
    else:
        theta = np.linalg.lstsq(basis, np.repeat(start_of(values, looks), n), rcond=None)[0]
        target = LeastSquares(basis, response)
        top = climb(target, theta, longest=2.0)
        check_bounded(top, target.expected(theta), back, Design(made.formula, matrix, tuple(names), made.recipe, False))
        theta = top.at
        mean, slope, _ = target.mean(theta)
        left = response - mean
    weighted = basis * slope[:, None]
    bread = back @ np.linalg.inv(weighted.T @ weighted) @ back.T
    scores = (matrix * (slope * left)[:, None]).reshape(count, n, -1).sum(axis=0)
    return names, back @ theta, bread, scores


def start_of(values: np.ndarray, looks: np.ndarray) -> np.ndarray:
    """log(−log(1 − share)) at each time, to start from. Raises ArgumentError where nobody or everybody has ended so by then."""
    share = values.mean(axis=0)
    empty = (share <= 0) | (share >= 1)
    if empty.any():
        raise ArgumentError("times", f"by {looks[int(np.argmax(empty))]:g} no row has ended this way, or all have", 'Leave that time out, or use link="identity".')
    return np.log(-np.log1p(-share))


class LeastSquares:
    """Minus half the sum of squares about 1 - exp(-exp(x beta)), with its derivatives: the estimating equations' potential."""

    def __init__(self, x: np.ndarray, response: np.ndarray):
        self.x, self.response = x, response

    def mean(self, theta: np.ndarray):
        """Mean share of each row at ``theta`` and its two derivatives in the linear predictor."""
        rate = np.exp(np.minimum(self.x @ theta, 50))
        left = np.exp(-rate)
        return -np.expm1(-rate), rate * left, rate * left * (1 - rate)

    def __call__(self, theta: np.ndarray):
        mean, slope, bend = self.mean(theta)
        left = self.response - mean
        hessian = (self.x * (bend * left - slope**2)[:, None]).T @ self.x
        return -0.5 * float(left @ left), (slope * left) @ self.x, hessian

    def expected(self, theta: np.ndarray) -> np.ndarray:
        """Expected curvature, coefficients x coefficients."""
        slope = self.mean(theta)[1]
        return (self.x * (slope**2)[:, None]).T @ self.x
