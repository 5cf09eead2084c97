"""Intervals for shares: Wilson, Newcombe's difference, and Clopper–Pearson on an effective sample."""

from __future__ import annotations

import numpy as np
from scipy import stats

from outcomes.longevity.estimate import ArgumentError, Estimate, normal_quantile, t_quantile


def wilson_interval(events: float, total: float, *, level: float = 0.95) -> Estimate:
    """Share events/total with Wilson's score limits; se is the binomial one. nan where total is 0.

    Raises ArgumentError unless 0 <= events <= total. Source: Wilson 1927; method 3 of Newcombe 1998 (Stat Med 17:857).

    >>> share = wilson_interval(81, 263)
    >>> round(share.low, 4), round(share.high, 4)
    (0.2553, 0.3662)
    """
    events, total = _share("events", events, total)
    z = normal_quantile(level)
    if total == 0:
        return Estimate(*[float("nan")] * 4, level, "nobody was asked")
    share = events / total
    centre = (events + z**2 / 2) / (total + z**2)
    half = z * np.sqrt(share * (1 - share) * total + z**2 / 4) / (total + z**2)
    low = 0.0 if events == 0 else centre - half
    high = 1.0 if events == total else centre + half
    return Estimate(share, float(np.sqrt(share * (1 - share) / total)), float(low), float(high), level)


def newcombe_interval(events: float, total: float, events_other: float, total_other: float, *, level: float = 0.95) -> Estimate:
    """Difference of two independent shares, first less second, with limits built from their Wilson limits.

    events of total, events_other of total_other: counts of people. Raises ArgumentError unless 0 <= events <= total in both.
    Source: Newcombe 1998 (Stat Med 17:873), method 10, without continuity correction.

    >>> difference = newcombe_interval(56, 70, 48, 80)
    >>> round(difference.value, 2), round(difference.low, 4), round(difference.high, 4)
    (0.2, 0.0524, 0.3339)
    """
    one = wilson_interval(events, total, level=level)
    other = wilson_interval(events_other, total_other, level=level)
    value = one.value - other.value
    low = value - np.hypot(one.value - one.low, other.high - other.value)
    high = value + np.hypot(one.high - one.value, other.value - other.low)
    return Estimate(value, float(np.hypot(one.se, other.se)), float(low), float(high), level, one.note or other.note)


def effective_sample_interval(
    share: float, variance: float, *, parts: float, at_risk: float, clusters: int | None = None, level: float = 0.95,
) -> Estimate:
    """Clopper–Pearson limits for a share on the sample size that its variance is worth; cautious by design.

    share, variance: an estimated share S and its (cluster-robust) variance V; parts: number of parts, the cap of the effective
    sample; at_risk: patients at risk, the sample where S is 0 or 1; clusters: number of patients G, None where parts are
    independent. n = S(1 − S)/V · (z/q)², q Student's t at G − 1. Undefined (nan) where S is nan or there is a single cluster.
    Source: Korn and Graubard 1998 (Surv Methodol 24:193), beta quantiles with non-integer arguments.

    >>> interval = effective_sample_interval(1.0, 0.0, parts=40, at_risk=20, clusters=20)
    >>> round(interval.low, 3), interval.high
    (0.832, 1.0)
    """
    z = normal_quantile(level)
    if not (np.isnan(share) or 0 <= share <= 1):
        raise ArgumentError("share", f"must lie between 0 and 1, not {share!r}", "Give a share, not a percentage.")
    se = float(np.sqrt(variance))
    if 0 < share < 1:
        q = z if clusters is None else t_quantile(level, clusters)
        n = parts if variance == 0 else min(share * (1 - share) / variance * (z / q) ** 2, parts)
    else:
        n = float(at_risk)
    if np.isnan(share) or np.isnan(n) or n <= 0:
        return Estimate(float(share), se, float("nan"), float("nan"), level, "no effective sample: nobody at risk, or a single patient")
    alpha, failures = 1 - level, share * n
    low = float(stats.beta.ppf(alpha / 2, failures, n - failures + 1)) if share > 0 else 0.0
    high = float(stats.beta.ppf(1 - alpha / 2, failures + 1, n - failures)) if share < 1 else 1.0
    return Estimate(float(share), se, low, high, level, f"Clopper–Pearson on an effective sample of {n:.1f}")


def _share(name: str, events, total) -> tuple[float, float]:
    events, total = float(events), float(total)
    if not 0 <= events <= total < float("inf"):
        raise ArgumentError(name, f"must lie between 0 and the total, not {events:g} of {total:g}", "Give counts, the part first.")
    return events, total
