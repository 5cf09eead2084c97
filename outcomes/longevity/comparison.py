"""Tests of whether curves differ between groups: log-rank and its weighted form, stratified, late-entered, clustered.

Formulas: Mantel 1966; Harrington and Fleming 1982 (Biometrika 69:553) for the weights; clustered: Lin and Wei 1989 (J Am
Stat Assoc 84:1074), score influences at no effect summed by cluster, squared, neither centred nor inflated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from outcomes.longevity.days import distinct_days
from outcomes.longevity.estimate import ArgumentError, as_choice, as_codes
from outcomes.longevity.exits import History, hazards, history_of_counts, history_of_rows

FEW, SOME = 10, 20  # clusters below which the clustered test's error rate is not, or not well, held


@dataclass(frozen=True, eq=False)
class Comparison:
    """A test that all groups share one curve: chi-squared ``statistic`` on ``df``; ``observed`` and ``expected`` (weighted where
    the test is) by group, summed over strata; ``score`` = observed − expected; ``method`` and ``note`` in words."""

    statistic: float
    df: int
    p_value: float
    groups: np.ndarray
    observed: np.ndarray
    expected: np.ndarray
    variance: np.ndarray
    rows: np.ndarray
    clusters: int | None
    method: str
    note: str

    def table(self):
        """DataFrame: group, rows, observed, expected."""
        import pandas as pd

        return pd.DataFrame({"group": self.groups, "rows": self.rows, "observed": self.observed, "expected": self.expected})


def compare_curves(duration, observed, group, *, entry=None, strata=None, weights=None, cluster=None, weighting="logrank") -> Comparison:
    """Test whether the groups' curves differ.

    duration, observed, entry, weights, cluster: as in ``kaplan_meier``; group: (n,) labels, two or more; strata: (n,) labels within
    which groups are compared. weighting: "logrank", or "peto": each day weighs as the pooled curve just before it (of its own
    stratum), which is G-rho with rho = 1. Without clusters the variance is the hypergeometric one.

    Raises ArgumentError. Where nothing can be compared (no event while two groups are at risk) the p-value is nan with a note.

    Freireich et al. 1963 (Blood 21:699), 6-MP against placebo:

    >>> weeks = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35,
    ...          1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
    >>> relapse = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0] + [1] * 21
    >>> test = compare_curves(weeks, relapse, ["6-MP"] * 21 + ["placebo"] * 21)
    >>> round(test.statistic, 2), test.expected.round(2).tolist()
    (16.79, [19.25, 10.75])
    """
    history = history_of_rows(duration, observed, entry, weights, cluster)
    return _compare(history, group, strata, weighting, late=entry is not None)


def compare_curves_from_counts(time, group, failed, left, *, entered=None, strata=None, cluster=None, weighting="logrank") -> Comparison:
    """The test of ``compare_curves`` from a risk table: lines of (day, group), or (day, group, stratum, cluster), with counts.

    time, failed, left, entered, cluster: as in ``kaplan_meier_from_counts``, every (group, stratum) with its own lines.

    >>> test = compare_curves_from_counts([1, 2, 2, 3], ["a", "a", "b", "b"], failed=[1, 0, 1, 1], left=[0, 1, 0, 0])
    >>> round(test.statistic, 4), test.rows.tolist()
    (0.0588, [2, 2])
    """
    return _compare(history_of_counts(time, failed, left, entered, cluster), group, strata, weighting, late=entered is not None)


def _compare(history: History, group, strata, weighting, late: bool) -> Comparison:
    """The test of ``history`` stratum by stratum: observed, expected and variance (groups; groups x groups) added up."""
    as_choice("weighting", weighting, ("logrank", "peto"))
    exits = history.exits
    n = exits.rows or len(group)
    codes, labels = as_codes("group", group, length=n)
    if len(labels) < 2:
        raise ArgumentError("group", "holds a single group", "A comparison needs two; check how groups were assigned.")
    stratum, count = np.zeros(n, dtype=np.int64), 1
    if strata is not None:
        stratum, names = as_codes("strata", strata, length=n)
        count = len(names)
    k = len(labels)
    observed, expected, variance = np.zeros(k), np.zeros(k), np.zeros((k, k))
    scores = np.zeros((exits.clusters, k))
    of_group, of_stratum = codes[exits.row], stratum[exits.row]
    order = np.argsort(of_stratum, kind="stable")
    for part in np.split(order, np.searchsorted(of_stratum[order], np.arange(1, count))):
        if len(part):
            days, position = distinct_days(history.days[exits.position[part]])
            one = _Stratum(exits.pick(part, position), of_group[part], k, len(days), weighting)
            observed, expected = observed + one.observed, expected + one.expected
            if exits.cluster is None:
                variance = variance + one.hypergeometric()
            else:
                scores = scores + one.scores()
    if exits.cluster is not None:
        variance = scores.T @ scores
    return _test(observed, expected, variance, labels, np.bincount(codes, minlength=k) if exits.rows else _entries(exits, of_group, k),
                 exits, weighting, count, late, history.doubt)


class _Stratum:
    """Numbers at risk and failing by group and day within one stratum, and the weight of each day."""

    def __init__(self, exits, group, groups: int, days: int, weighting: str):
        self.exits, self.group = exits, group
        place = group * days + exits.position
        self.failed = np.bincount(place, weights=exits.event, minlength=groups * days).reshape(groups, days)
        left = np.bincount(place, weights=exits.weight, minlength=groups * days).reshape(groups, days)
        self.at_risk = np.cumsum(left[:, ::-1], axis=1)[:, ::-1]
        self.events, self.total = self.failed.sum(axis=0), self.at_risk.sum(axis=0)
        self.hazard = hazards(self.events, self.total)
        self.share = np.divide(self.at_risk, self.total, out=np.zeros_like(self.at_risk), where=self.total > 0)
        self.weight = np.ones(days)
        if weighting == "peto":
            self.weight = np.concatenate([[1.0], np.cumprod(1 - self.hazard)[:-1]])
        self.observed = (self.weight * self.failed).sum(axis=1)
        self.expected = (self.weight * self.events * self.share).sum(axis=1)

    def hypergeometric(self) -> np.ndarray:
        """Variance of observed less expected without clusters: groups x groups."""
        more = self.total > 1
        factor = np.zeros(len(self.total))
        factor[more] = (self.weight**2 * self.events * (self.total - self.events))[more] / (self.total[more] - 1)
        return np.diag((factor * self.share).sum(axis=1)) - (factor * self.share) @ self.share.T

    def scores(self) -> np.ndarray:
        """Summed by cluster: each row's sum over days of w(t) [1(group = k) − e_k(t)] [dN_i(t) − Y_i(t) dN(t)/Y(t)]."""
        groups, exits, at = len(self.share), self.exits, self.exits.position
        out = np.empty((exits.clusters, groups))
        for k in range(groups):
            drift_out = np.cumsum(-self.weight * self.share[k] * self.hazard)
            drift_in = drift_out + np.cumsum(self.weight * self.hazard)
            own = self.group == k
            jump = self.weight[at] * (own - self.share[k][at])
            out[:, k] = exits.by_cluster(exits.event * jump - exits.weight * np.where(own, drift_in[at], drift_out[at]))
        return out


def _entries(exits, group, k) -> np.ndarray:
    """Rows behind counts, by group: everybody who left (late entries stand with negative weight and are no exits)."""
    return np.bincount(group, weights=np.maximum(exits.weight, 0), minlength=k).round().astype(int)


def _test(observed, expected, variance, labels, rows, exits, weighting, strata, late, doubt) -> Comparison:
    """Chi-squared of observed less expected (groups,) by its variance (groups x groups), on its rank, with what to beware of."""
    score = observed - expected
    notes = [doubt] if doubt else []
    scale = np.sqrt(np.diag(variance))
    if (scale > 0).sum() < 2:
        df, statistic, p_value = 0, float("nan"), float("nan")
        notes.append("no event while two groups were at risk: nothing to compare")
    else:
        kept = scale > 0
        correlation = variance[np.ix_(kept, kept)] / np.outer(scale[kept], scale[kept])
        df = int(np.linalg.matrix_rank(correlation, tol=1e-9, hermitian=True))
        standard = score[kept] / scale[kept]
        statistic = float(standard @ np.linalg.pinv(correlation, rcond=1e-9, hermitian=True) @ standard)
        p_value = float(stats.chi2.sf(statistic, df))
    clusters = None
    if exits.cluster is not None:
        clusters = exits.clusters
        if df and clusters <= df:  # as many scores as dimensions: the statistic is then df, whatever the rows say
            statistic, p_value = float("nan"), float("nan")
            notes.append(f"{clusters} cluster{'s' if clusters > 1 else ''} cannot tell {df + 1} groups apart: no statistic")
        elif clusters < FEW:
            notes.append(f"{clusters} clusters are too few for this test")
        elif clusters < SOME:
            notes.append(f"with {clusters} clusters the error rate at 5 % may reach 8 %")
    name = {"logrank": "log-rank test", "peto": "log-rank test weighted by the pooled curve just before each day"}[weighting]
    spread = "hypergeometric variance" if clusters is None else "score influences summed by cluster"
    method = name + (f" in {strata} strata" if strata > 1 else "") + (", late entry" if late else "") + f"; {spread}"
    return Comparison(statistic, df, p_value, labels, observed, expected, variance, rows, clusters, method, "; ".join(notes))
