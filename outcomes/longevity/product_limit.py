"""Kaplan–Meier: from rows, or from a risk table of counts that a database made. Same kernel, same numbers.

Formulas: Kaplan and Meier 1958 (J Am Stat Assoc 53:457); Greenwood 1926; clustered variance by the infinitesimal jackknife
(Ying and Wei 1994, J Multivariate Anal 50:17; the same number as R's survfit with a cluster).
"""

from __future__ import annotations

import numpy as np

from outcomes.longevity import limits
from outcomes.longevity.curve import SurvivalCurve
from outcomes.longevity.estimate import ArgumentError, as_choice, as_flags, normal_quantile, t_quantile
from outcomes.longevity.exits import History, hazards, history_of_counts, history_of_rows, movements
from outcomes.longevity.influence import contributions, inverse_staying, running_variance


def kaplan_meier(
    duration, observed, *, entry=None, weights=None, cluster=None, level=0.95, transform="loglog", small_sample=False,
) -> SurvivalCurve:
    """Share still free of the event over time, for right-censored rows.

    duration: (n,) time from day 0 to the event or the last day at risk; observed: (n,) true where it was the event;
    entry: (n,) time at which the row came under observation (at risk: entry < t <= duration); weights: (n,) counts, as if rows
    were repeated, or sampling weights where there are clusters; cluster: (n,) labels, such as patients. No value may be missing.
    small_sample: for reports: the factor G/(G - 1), Student's t, and exact limits on those at risk where nobody has failed yet
    (or everybody has); without it every limit equals R's. level: of the limits, 0.95 for 95 %; transform: the scale on which they
    are made, "loglog", "log" or "plain". Times are in one unit, whole days in reports.

    Raises ArgumentError naming the argument, the position and the remedy.

    The 6-MP arm of Freireich et al. 1963 (Blood 21:699), weeks to relapse:

    >>> weeks = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
    >>> relapse = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
    >>> curve = kaplan_meier(weeks, relapse)
    >>> [round(curve.survival_at(t), 4) for t in (6, 7, 10, 13, 16, 22, 23)]
    [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    >>> round(curve.standard_error_at(6), 4), round(curve.standard_error_at(23), 4), curve.quantile(0.5)
    (0.0764, 0.1346, 23.0)
    """
    return product_limit(history_of_rows(duration, observed, entry, weights, cluster), level, transform, small_sample)


def kaplan_meier_from_counts(
    time, failed, left=None, *, entered=None, at_risk=None, cluster=None, level=0.95, transform="loglog", small_sample=False,
) -> SurvivalCurve:
    """The curve of ``kaplan_meier`` from a risk table: one line per day, or per cluster and day.

    time: (m,) days, in any order, repeats added up; failed, left: (m,) how many ended that day with and without the event;
    entered: (m,) how many came under observation that day (at risk from the next day on), None where all were there from the
    start; level, transform, small_sample: as in ``kaplan_meier``; at_risk: (m,) instead of ``left`` and ``entered``, where only the number at risk is known; cluster: (m,) labels.

    Raises ArgumentError, also where more leave than entered.

    >>> curve = kaplan_meier_from_counts([6, 7, 10, 9], failed=[3, 1, 1, 0], left=[1, 0, 14, 1])
    >>> round(curve.survival_at(7), 4), round(curve.standard_error_at(7), 4)
    (0.8067, 0.0869)
    """
    if at_risk is not None:
        if left is not None or entered is not None or cluster is not None:
            raise ArgumentError("at_risk", "stands beside left, entered or cluster", "Give the number at risk, or who left and entered.")
        time, failed, left, entered = movements(time, failed, at_risk)
    elif left is None:
        raise ArgumentError("left", "is missing", "Give how many left without the event, or how many were at risk.")
    return product_limit(history_of_counts(time, failed, left, entered, cluster), level, transform, small_sample)


def follow_up(duration, observed, *, entry=None, weights=None, cluster=None, level=0.95, transform="loglog") -> SurvivalCurve:
    """How long rows were followed: the Kaplan–Meier curve with events and censorings exchanged; ``quantile(0.5)`` is the median.

    Arguments as in ``kaplan_meier``. Where nobody was censored the follow-up was never cut: not reached, inf.
    Source: Schemper and Smith 1996 (Control Clin Trials 17:343).

    >>> weeks = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
    >>> relapse = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
    >>> follow_up(weeks, relapse).quantile(0.5)
    25.0
    """
    from dataclasses import replace

    flags = as_flags("observed", observed, length=len(np.atleast_1d(duration)))
    curve = kaplan_meier(duration, ~flags, entry=entry, weights=weights, cluster=cluster, level=level, transform=transform)
    return replace(curve, method="reverse Kaplan–Meier (end of follow-up as the event); " + curve.method)


# ------------------------------------------------------------------ kernel

def product_limit(history: History, level, transform, small_sample=False) -> SurvivalCurve:
    """The curve, its variance and limits from a history."""
    as_choice("transform", transform, limits.TRANSFORMS)
    quantile, factor = normal_quantile(level), 1.0
    days, exits = history.days, history.exits
    d = len(days)
    at_risk, failed = history.at_risk(), history.events()
    entered, censored = _arrivals(exits, at_risk, failed, d)
    hazard = hazards(failed, at_risk)
    survival = np.cumprod(1 - hazard)
    jump = inverse_staying(at_risk, failed)
    greenwood = np.cumsum(jump * hazard)
    people, clusters = None, None
    if exits.cluster is None:
        variance = survival**2 * greenwood
    else:
        clusters = exits.clusters
        square, people = running_variance(exits, [contributions(exits, jump, greenwood)], [greenwood], [np.ones(d)], d)
        variance = survival**2 * square if clusters > 1 else np.full(d, np.nan)
        if small_sample:
            quantile = t_quantile(level, clusters)
            factor = clusters / (clusters - 1) if clusters > 1 else np.nan
    low, high = limits.share_limits(survival, variance * factor, quantile, transform)
    if small_sample:
        low, high = limits.with_exact(survival, low, high, at_risk if people is None else people, 1 - level)
    return SurvivalCurve(
        days, at_risk, entered, failed, censored, survival, np.sqrt(variance), low, high, people, level, transform, small_sample,
        exits.rows or int(round(entered.sum())), clusters, float(failed.sum()), _method(exits, transform, small_sample, entered),
        _note(history, survival, at_risk, failed, entered, clusters), exits,
    )


def _arrivals(exits, at_risk, failed, d) -> tuple[np.ndarray, np.ndarray]:
    """(entered since the day before, censored) by day."""
    came = np.bincount(exits.position, weights=np.maximum(-exits.weight, 0), minlength=d)
    gone = np.bincount(exits.position, weights=np.maximum(exits.weight, 0), minlength=d)
    return np.concatenate([at_risk[:1], came[:-1]]), gone - failed


def _method(exits, transform, small_sample, entered) -> str:
    """What was done, in words."""
    scale = {"loglog": "log–log", "log": "log", "plain": "plain"}[transform]
    late = ", late entry" if entered[1:].any() else ""
    spread = "Greenwood variance" if exits.cluster is None else "infinitesimal jackknife summed by cluster"
    tail = ", G/(G − 1), Student's t and exact limits before the first failure" if small_sample else ""
    return f"Kaplan–Meier{late}; {spread}; pointwise {scale} limits{tail}"


def _note(history, survival, at_risk, failed, entered, clusters) -> str:
    """What to beware of, in words; "" for nothing."""
    notes = [history.doubt] if history.doubt else []
    if not failed.any():
        notes.append("nobody failed: the curve stays at 1 and its limits say nothing unless small_sample=True")
    if clusters == 1:
        notes.append("one cluster has no between-cluster variance: standard errors are nan")
    if survival[-1] <= 0:
        fell = int(np.argmax(survival <= 0))
        if entered[fell + 1:].any():
            notes.append(f"all at risk had failed by {history.days[fell]:g}, when {at_risk[fell]:g} were under observation; "
                         "who entered later cannot raise the curve again")
    return "; ".join(notes)
