"""The difference of two restricted means, patients who stand in both groups counted as such."""

from __future__ import annotations

import numpy as np
from scipy import stats

from outcomes.longevity.curve import SurvivalCurve
from outcomes.longevity.estimate import (
    ArgumentError, Estimate, as_codes, as_durations, as_flags, as_numbers, as_weights, normal_estimate,
)
from outcomes.longevity.exits import cluster_codes
from outcomes.longevity.interval_curve import turnbull
from outcomes.longevity.product_limit import kaplan_meier


def restricted_mean_difference(
    duration, observed, group, *, horizon, entry=None, weights=None, cluster=None, level=0.95, small_sample=False,
) -> Estimate:
    """Difference in mean event-free time within ``horizon``: second label (in sorted order) less the first.

    duration, observed, entry, weights, cluster: as in ``kaplan_meier``; group: (n,) labels, exactly two. A cluster's influence is
    added over both groups before it is squared. small_sample: G/(G − 1) and Student's t (Welch–Satterthwaite where no cluster
    stands in both groups).

    Raises ArgumentError, also for a horizon past a group's last day at risk unless its curve is 0 there.
    Source: Royston and Parmar 2013 (BMC Med Res Methodol 13:152); influence as in ``kaplan_meier``.
    """
    duration = as_durations("duration", duration)
    n = len(duration)
    observed = as_flags("observed", observed, length=n)
    entry = None if entry is None else as_numbers("entry", entry, length=n)
    weights = as_weights(weights, length=n)
    codes, labels = _two(group, n)
    own, count = cluster_codes(cluster, n)
    curves = [_curve(codes == k, duration, observed, entry, weights, own, level) for k in (0, 1)]
    areas = [curve.restricted_mean(horizon) for curve in curves]
    value = areas[1].value - areas[0].value
    if own is None:
        return normal_estimate(value, np.hypot(areas[0].se, areas[1].se), level)
    psi = np.zeros((2, count))
    for k in (0, 1):
        psi[k] = np.bincount(own[codes == k], weights=curves[k].restricted_mean_influence(horizon), minlength=count)
    here = np.array([np.bincount(own[codes == k], minlength=count) > 0 for k in (0, 1)])
    return _clustered(value, psi, here, level, small_sample)


def interval_mean_difference(left, right, group, *, horizon, weights=None, cluster=None, level=0.95, draws=1000, seed=1) -> Estimate:
    """The same from interval-censored rows: mass spread evenly inside support intervals, patients drawn within each group.

    left, right, weights, cluster, draws, seed: as in ``turnbull``; group: (n,) labels, exactly two. Raises ArgumentError, also for
    patients who stand in both groups, who cannot be drawn within one.
    """
    left = as_numbers("left", left)
    right = as_numbers("right", right, finite=False, length=len(left))
    weights = as_weights(weights, length=len(left))
    codes, _ = _two(group, len(left))
    own, count = cluster_codes(cluster, len(left))
    if own is not None:
        both = np.bincount(own[codes == 0], minlength=count).astype(bool) & np.bincount(own[codes == 1], minlength=count).astype(bool)
        if both.any():
            raise ArgumentError("cluster", "stands in both groups", "Compare day-found curves with restricted_mean_difference, "
                                "or split the patients.", int(np.argmax(both[own])))
    areas = []
    for k in (0, 1):
        rows = codes == k
        curve = turnbull(left[rows], right[rows], weights=None if weights is None else weights[rows],
                         cluster=None if own is None else own[rows], level=level, draws=draws, seed=None if seed is None else [seed, k])
        areas.append((curve.restricted_mean(horizon), curve.clusters or curve.rows))
    (zero, people_zero), (one, people_one) = areas
    df = _welch(zero.se**2, one.se**2, people_zero, people_one)
    return _student(one.value - zero.value, np.hypot(zero.se, one.se), df, level)


def _curve(rows, duration, observed, entry, weights, own, level) -> SurvivalCurve:
    """Kaplan–Meier of the rows picked."""
    pick = [None if column is None else column[rows] for column in (entry, weights, own)]
    return kaplan_meier(duration[rows], observed[rows], entry=pick[0], weights=pick[1], cluster=pick[2], level=level)


def _two(group, n):
    """(codes, labels) of exactly two groups. Raises ArgumentError for any other number."""
    codes, labels = as_codes("group", group, length=n)
    if len(labels) != 2:
        raise ArgumentError("group", f"holds {len(labels)} groups", "A difference needs exactly two; compare_curves takes more.")
    return codes, labels


def _clustered(value, psi, here, level, small_sample) -> Estimate:
    """The difference with its error from influences summed by cluster (psi, here: 2 x clusters): paired where a cluster has both groups, else Welch."""
    together = psi[1] - psi[0]
    se = float(np.sqrt((together**2).sum()))
    sizes = here.sum(axis=1)
    if min(sizes) < 2:
        return Estimate(value, *[float("nan")] * 3, level, "a group of one cluster has no between-cluster variance")
    if not small_sample:
        return normal_estimate(value, se, level)
    if here.all(axis=0).any():
        count = int(here.any(axis=0).sum())
        return _student(value, np.sqrt(count / (count - 1)) * se, count - 1, level, se)
    each = [(psi[k] ** 2).sum() * sizes[k] / (sizes[k] - 1) for k in (0, 1)]
    return _student(value, np.sqrt(sum(each)), _welch(*each, *sizes), level, se)


def _welch(variance_zero, variance_one, people_zero, people_one) -> float:
    """Degrees of freedom after Welch and Satterthwaite; nan where a group has one cluster."""
    total = variance_zero + variance_one
    if not total > 0 or min(people_zero, people_one) < 2:
        return float("nan")
    return total**2 / (variance_zero**2 / (people_zero - 1) + variance_one**2 / (people_one - 1))


def _student(value, spread, df, level, se=None) -> Estimate:
    """Limits by Student's t from ``spread``; ``se`` where the error told is another."""
    q = stats.t.ppf(0.5 + level / 2, df)
    return Estimate(float(value), float(spread if se is None else se), float(value - q * spread), float(value + q * spread), level)
