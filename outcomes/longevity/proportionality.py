"""Does a hazard ratio stay the same over time? Score test for each term times a transform of time, model-based and patient-robust."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from outcomes.longevity.design import Design
from outcomes.longevity.estimate import ArgumentError
from outcomes.longevity.partial_likelihood import PartialLikelihood, RiskSets
from outcomes.longevity.sandwich import cluster_sums


def proportionality(sets: RiskSets, pooled: RiskSets, made: Design, beta: np.ndarray, clusters: np.ndarray | None, transform: str) -> pd.DataFrame:
    """Table of :meth:`HazardsFit.proportionality`: the score for time-by-term, adjusted for the estimated effects.

    u = sum over failures of g(t) times the Schoenfeld residual; its variance is I22 - I21 inverse(I11) I12 with I11, I12, I22
    the information weighted by 1, g, g squared. The robust form takes each row's g-weighted score residual less its projection on the
    ordinary ones, summed by cluster.
    """
    if not len(beta):
        raise ArgumentError("formula", "has no covariate to check", "Fit a model with covariates first.")
    likelihood = PartialLikelihood(sets, made.matrix - made.matrix.mean(axis=0))
    _, sums = likelihood.sums(beta)
    g = transformed(sets, pooled, transform)
    g = g - np.average(g, weights=sets.ties * sets.turn_weight)  # changes no result, keeps the subtraction below exact
    score = (likelihood.schoenfeld(sums) * sets.weight[sets.failing, None]).T @ g[sets.point]
    i11, i12, i22 = (likelihood.information(sums, weight) for weight in (np.ones_like(g), g, g * g))
    turn = np.linalg.solve(i11, i12)  # symmetric blocks: i12 = i21
    left_over = i22 - i12 @ turn
    terms = [*made.terms, "all terms"]
    each = score**2 / np.diag(left_over)
    statistic, df = [*each, quadratic(score, left_over)[0]], [*np.ones(len(score), int), len(score)]
    table = pd.DataFrame({"slope": [*(score / np.diag(left_over)), np.nan], "statistic": statistic, "df": df, "p": stats.chi2.sf(statistic, df)},
                         index=pd.Index(terms, name="term"))
    if clusters is None:
        return table
    rows = likelihood.score_residuals(sums, g) - likelihood.score_residuals(sums) @ turn
    by_cluster = cluster_sums(rows, clusters)
    spread = by_cluster.T @ by_cluster
    overall, rank = quadratic(score, spread)
    robust = [*(score**2 / np.diag(spread)), overall]
    table["robust_se"] = [*(np.sqrt(np.diag(spread)) / np.diag(left_over)), np.nan]
    table["robust_statistic"], table["robust_p"] = robust, stats.chi2.sf(robust, [*np.ones(len(score), int), rank])
    return table


def quadratic(u: np.ndarray, covariance: np.ndarray) -> tuple[float, int]:
    """(u' V⁻ u, rank of V): the statistic and its degrees of freedom."""
    rank = int(np.linalg.matrix_rank(covariance, hermitian=True))
    return float(u @ np.linalg.pinv(covariance, hermitian=True) @ u), rank


def transformed(sets: RiskSets, pooled: RiskSets, transform: str) -> np.ndarray:
    """The transform of time at each event point; ``pooled`` are the risk sets without strata."""
    if transform == "identity":
        return sets.day
    if transform == "log":
        if (sets.day <= 0).any():
            raise ArgumentError("transform", '"log" needs event times above 0', 'Choose "km" or "identity".')
        return np.log(sets.day)
    if transform != "km":
        raise ArgumentError("transform", f"{transform!r} is not known", 'Choose "km", "identity" or "log".')
    return 1 - pooled_curve(pooled, sets.day)


def pooled_curve(pooled: RiskSets, days: np.ndarray) -> np.ndarray:
    """Kaplan-Meier curve of all rows, whatever their strata, just before each of ``days``."""
    curve = np.cumprod(1 - pooled.ties * pooled.turn_weight / pooled.at_risk(pooled.weight))
    return np.concatenate([[1.0], curve])[np.searchsorted(pooled.day, days)]
