"""Kaplan–Meier: from rows, or from a risk table of counts that a database made. Same kernel, same numbers.

Formulas: Kaplan and Meier 1958 (J Am Stat Assoc 53:457); Greenwood 1926; clustered variance by the infinitesimal jackknife
(Ying and Wei 1994, J Multivariate Anal 50:17; the same number as R's survfit with a cluster).
"""

from __future__ import annotations

import numpy as np

from outcomes.longevity import influence, limits
from outcomes.longevity.curve import SurvivalCurve
from outcomes.longevity.days import days_reached, distinct_days, late_positions
from outcomes.longevity.estimate import (
    ArgumentError, as_choice, as_codes, as_durations, as_flags, as_numbers, as_weights, normal_quantile, t_quantile,
)


def kaplan_meier(duration, observed, *, entry=None, weights=None, cluster=None, level=0.95, transform="loglog", small_sample=False) -> SurvivalCurve:
    """Share still free of the event over time, for right-censored rows.

    duration: (n,) time from day 0 to the event or the last day at risk; observed: (n,) true where it was the event;
    entry: (n,) time at which the row came under observation (at risk: entry < t <= duration); weights: (n,) counts, as if rows
    were repeated, or sampling weights where there are clusters; cluster: (n,) labels, such as patients. No value may be missing.
    small_sample: for reports: the factor G/(G - 1), Student's t, and exact limits on those at risk where nobody has failed yet
    (or everybody has); without it every limit equals R's.

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
    duration = as_durations("duration", duration)
    n = len(duration)
    observed = as_flags("observed", observed, length=n)
    weights = as_weights(weights, length=n)
    codes, clusters = None, 0
    if cluster is not None:
        codes, labels = as_codes("cluster", cluster, length=n)
        clusters = len(labels)
    entry = None if entry is None else as_numbers("entry", entry, length=n)
    days, position = distinct_days(duration)
    first = None if entry is None else late_positions(days, entry, position)
    weight = np.ones(n) if weights is None else weights
    if weights is not None and not weights.all():
        days, position, first = _without_idle_days(days, position, first, weight)
    exits = influence.as_exits(position, weight * observed, weight, first, codes, clusters)
    doubt = "weights that are no whole numbers are still taken as counts" if weights is not None and cluster is None and (weights % 1).any() else ""
    return product_limit(days, exits, level, transform, small_sample, doubt)


def kaplan_meier_from_counts(time, failed, left=None, *, entered=None, at_risk=None, cluster=None, level=0.95, transform="loglog", small_sample=False) -> SurvivalCurve:
    """The curve of ``kaplan_meier`` from a risk table: one line per day, or per cluster and day.

    time: (m,) days, in any order, repeats added up; failed, left: (m,) how many ended that day with and without the event;
    entered: (m,) how many came under observation that day (at risk from the next day on), None where all were there from the
    start; at_risk: (m,) instead of ``left`` and ``entered``, where only the number at risk is known; cluster: (m,) labels.

    Raises ArgumentError, also where more leave than entered.

    >>> curve = kaplan_meier_from_counts([6, 7, 10, 9], failed=[3, 1, 1, 0], left=[1, 0, 14, 1])
    >>> round(curve.survival_at(7), 4), round(curve.standard_error_at(7), 4)
    (0.8067, 0.0869)
    """
    time = as_durations("time", time)
    m = len(time)
    failed = _counts("failed", failed, m)
    if at_risk is not None:
        if left is not None or entered is not None or cluster is not None:
            raise ArgumentError("at_risk", "stands beside left, entered or cluster", "Give the number at risk, or who left and entered.")
        time, failed, left, entered = _movements(time, failed, _counts("at_risk", at_risk, m))
    elif left is None:
        raise ArgumentError("left", "is missing", "Give how many left without the event, or how many were at risk.")
    left = _counts("left", left, len(time))
    entered = None if entered is None else _counts("entered", entered, len(time))
    codes, clusters = None, 0
    if cluster is not None:
        codes, labels = as_codes("cluster", cluster, length=m)
        clusters = len(labels)
    leaving = failed + left > 0
    if not leaving.any():
        raise ArgumentError("failed", "and left are all zero", "A risk table needs at least one row that ended.")
    days, position = distinct_days(time[leaving])
    weight = (failed + left)[leaving]
    code = None if codes is None else codes[leaving]
    cells = [position, failed[leaving], weight, code]
    if entered is not None:
        cells = _with_entries(cells, days, time, entered, codes, clusters)
    position, event, weight, code = cells
    exits = influence.Exits(position, event, weight, np.zeros(len(position), dtype=int), 0, code, clusters)
    return product_limit(days, exits, level, transform, small_sample)


def follow_up(duration, observed, *, entry=None, weights=None, cluster=None, level=0.95) -> SurvivalCurve:
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
    curve = kaplan_meier(duration, ~flags, entry=entry, weights=weights, cluster=cluster, level=level)
    return replace(curve, method="reverse Kaplan–Meier (end of follow-up as the event); " + curve.method)


# ------------------------------------------------------------------ kernel

def product_limit(days, exits, level, transform, small_sample=False, doubt="") -> SurvivalCurve:
    """The curve, its variance and limits from exits on a day grid."""
    as_choice("transform", transform, limits.TRANSFORMS)
    quantile = normal_quantile(level)
    d = len(days)
    at_risk = influence.at_risk(exits, d)
    failed = np.bincount(exits.position, weights=exits.event, minlength=d)
    came = np.maximum(-exits.weight, 0)
    entered = np.concatenate([[0.0], np.bincount(exits.position, weights=came, minlength=d)[:-1]])
    censored = np.bincount(exits.position, weights=np.maximum(exits.weight, 0), minlength=d) - failed
    entered[0] = at_risk[0]
    hazard = np.divide(failed, at_risk, out=np.zeros(d), where=at_risk > 0)
    hazard[failed >= at_risk * (1 - 1e-12)] = np.where(at_risk[failed >= at_risk * (1 - 1e-12)] > 0, 1.0, 0.0)
    survival = np.cumprod(1 - hazard)
    stays = at_risk - failed
    jump = np.divide(1.0, stays, out=np.zeros(d), where=hazard < 1)
    greenwood = np.cumsum(jump * hazard)
    people, clusters, factor = None, None, 1.0
    if exits.cluster is None:
        variance = survival**2 * greenwood
    else:
        clusters = exits.clusters
        part = exits.event * jump[exits.position] - exits.weight * greenwood[exits.position]
        square, people = influence.clustered_variance(exits, [part], [greenwood], [np.ones(d)], d)
        variance = survival**2 * square if clusters > 1 else np.full(d, np.nan)
        if small_sample:
            quantile = t_quantile(level, clusters)
            factor = clusters / (clusters - 1) if clusters > 1 else np.nan
    low, high = limits.share_limits(survival, variance * factor, quantile, transform)
    if small_sample:
        count = np.where(survival > 0, at_risk if people is None else people, (at_risk if people is None else people)[np.argmax(survival <= 0)])
        exact = limits.exact_limits(survival, count, 1 - level)
        edge = (survival >= 1) | (survival <= 0)
        low, high = np.where(edge, exact[0], low), np.where(edge, exact[1], high)
    return SurvivalCurve(
        days, at_risk, entered, failed, censored, survival, np.sqrt(variance), low, high, people, level, transform, small_sample,
        exits.rows or int(round(entered.sum())), clusters, float(failed.sum()), _method(exits, transform, small_sample, entered),
        _note(days, survival, at_risk, failed, entered, clusters, doubt), exits,
    )


def _method(exits, transform, small_sample, entered) -> str:
    scale = {"loglog": "log–log", "log": "log", "plain": "plain"}[transform]
    late = ", late entry" if entered[1:].any() else ""
    spread = "Greenwood variance" if exits.cluster is None else "infinitesimal jackknife summed by cluster"
    tail = ", G/(G − 1), Student's t and exact limits before the first failure" if small_sample else ""
    return f"Kaplan–Meier{late}; {spread}; pointwise {scale} limits{tail}"


def _note(days, survival, at_risk, failed, entered, clusters, doubt) -> str:
    notes = [doubt] if doubt else []
    if not failed.any():
        notes.append("nobody failed: the curve stays at 1 and its limits say nothing unless small_sample=True")
    if clusters == 1:
        notes.append("one cluster has no between-cluster variance: standard errors are nan")
    if survival[-1] <= 0:
        fell = int(np.argmax(survival <= 0))
        if entered[fell + 1:].any():
            notes.append(f"all at risk had failed by {days[fell]:g}, when {at_risk[fell]:g} were under observation; who entered later cannot raise the curve again")
    return "; ".join(notes)


def _without_idle_days(days, position, first, weight):
    """The grid without days on which only rows of weight 0 ended."""
    used = np.bincount(position, weights=weight, minlength=len(days)) > 0
    place = np.cumsum(used) - 1
    return days[used], np.maximum(place[position], 0), None if first is None else np.concatenate([[0], np.cumsum(used)])[first]


def _counts(name, values, length):
    counts = as_numbers(name, values, length=length)
    if (counts < 0).any():
        raise ArgumentError(name, "holds a negative count", "Counts start at 0.", int(np.argmax(counts < 0)))
    return counts


def _movements(time, failed, at_risk):
    """Failed, left and entered by day from the numbers at risk: what is missing on the next day left, what is more entered."""
    order = np.argsort(time)
    time, failed, at_risk = time[order], failed[order], at_risk[order]
    if (np.diff(time) <= 0).any():
        raise ArgumentError("time", "repeats a day", "With at_risk, give one line per day.")
    if (failed > at_risk).any():
        raise ArgumentError("failed", "exceeds the number at risk", "Check the risk table.", int(np.argmax(failed > at_risk)))
    change = at_risk - failed - np.append(at_risk[1:], 0.0)
    entered = np.maximum(-change, 0.0)
    entered_first = np.concatenate([[at_risk[0]], entered])
    return np.concatenate([[-1.0], time]), np.concatenate([[0.0], failed]), np.concatenate([[0.0], np.maximum(change, 0.0)]), entered_first


def _with_entries(cells, days, time, entered, codes, clusters):
    position, event, weight, code = cells
    balance = entered.sum() - weight.sum()
    if abs(balance) > 1e-9 * max(1.0, weight.sum()):
        raise ArgumentError("entered", f"adds up to {entered.sum():g} while {weight.sum():g} left", "Everybody who entered must fail or leave on some day.")
    comes = entered > 0
    when = days_reached(days, time[comes]) - 1
    late = when >= 0
    if codes is not None:
        own = np.bincount(codes[comes], weights=entered[comes], minlength=clusters) - np.bincount(code, weights=weight, minlength=clusters)
        if (np.abs(own) > 1e-9 * max(1.0, weight.max())).any():
            raise ArgumentError("entered", "differs from those who left in some cluster", "Everybody who entered must fail or leave on some day.")
        code = np.concatenate([code, codes[comes][late]])
    extra = entered[comes][late]
    return [np.concatenate([position, when[late]]), np.concatenate([event, np.zeros(late.sum())]), np.concatenate([weight, -extra]), code]
