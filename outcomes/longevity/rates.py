"""Events per unit of exposure, with exact limits for independent counts and robust ones where events come in clusters."""

from __future__ import annotations

import numpy as np
from scipy import stats

from outcomes.longevity.estimate import ArgumentError, Estimate, as_numbers, normal_quantile, t_quantile
from outcomes.longevity.exits import as_counts, cluster_codes


def event_rate(events, exposure, *, cluster=None, level=0.95, small_sample=False) -> Estimate:
    """Events per unit of exposure: a rate with exact Poisson limits, or by cluster with robust limits on the log scale.

    events, exposure: numbers, or (n,) arrays that are added up; exposure above 0. Without ``cluster`` the events count as independent
    and the limits are Garwood's. cluster: (n,) labels: SE = √(Σ_c (E_c − r Y_c)²)/ΣY, limits r·exp(±q·SE/r); with small_sample
    G/(G − 1) and Student's t; no event at all has the exact upper limit −log(α/2)/ΣY.

    Raises ArgumentError. Source: Garwood 1936 (Biometrika 28:437), whose 95 % limits for 10 events are 4.795 and 18.39:

    >>> rate = event_rate(10, 1)
    >>> round(rate.low, 3), round(rate.high, 2)
    (4.795, 18.39)
    """
    normal_quantile(level)
    counts, times = np.atleast_1d(np.asarray(events, dtype=float)), np.atleast_1d(np.asarray(exposure, dtype=float))
    counts, times = as_counts("events", counts, len(counts)), as_numbers("exposure", times, length=len(counts))
    if (times < 0).any() or not times.sum() > 0:
        raise ArgumentError("exposure", "must not be negative, and its sum positive", "Give the time under observation behind the events.")
    total, time = counts.sum(), times.sum()
    rate, alpha = total / time, 1 - level
    if cluster is None:
        low = stats.chi2.ppf(alpha / 2, 2 * total) / 2 / time if total > 0 else 0.0
        high = stats.chi2.ppf(1 - alpha / 2, 2 * (total + 1)) / 2 / time
        return Estimate(float(rate), float(np.sqrt(total) / time), float(low), float(high), level)
    codes, clusters = cluster_codes(cluster, len(counts))
    if total == 0:
        upper = float(-np.log(alpha / 2) / time)
        return Estimate(0.0, 0.0, 0.0, upper, level, "no event: exact upper limit, as if events were independent")
    if clusters == 1:
        return Estimate(float(rate), *[float("nan")] * 3, level, "one cluster has no between-cluster variance")
    excess = np.bincount(codes, weights=counts - rate * times)
    se = float(np.sqrt((excess**2).sum()) / time)
    q, factor = normal_quantile(level), 1.0
    if small_sample:
        q, factor = t_quantile(level, clusters), np.sqrt(clusters / (clusters - 1))
    spread = float(np.exp(q * factor * se / rate))
    return Estimate(float(rate), se, float(rate / spread), float(rate * spread), level)


def rate_ratio(events: float, exposure: float, events_other: float, exposure_other: float, *, level: float = 0.95) -> Estimate:
    """Ratio of two independent rates, first over second, with exact conditional limits; ``se`` is that of the log ratio.

    events, events_other: counts of 0 or more; exposure, exposure_other: the time behind each, above 0 and in one unit. Given the total count, the first is binomial; the limits are Clopper and
    Pearson's for its share. inf or nan, with a note, where the second (or both) counts are 0.

    Raises ArgumentError. The same numbers as R's poisson.test:

    >>> ratio = rate_ratio(11, 800, 3, 1011)
    >>> round(ratio.value, 5), round(ratio.low, 4), round(ratio.high, 3)
    (4.63375, 1.2241, 25.867)
    """
    normal_quantile(level)
    one, other = as_counts("events", [events], 1)[0], as_counts("events_other", [events_other], 1)[0]
    for name, value in (("exposure", exposure), ("exposure_other", exposure_other)):
        if not 0 < value < float("inf"):
            raise ArgumentError(name, f"must be a positive number, not {value!r}", "Give the time under observation behind the events.")
    scale = exposure_other / exposure
    if one + other == 0:
        return Estimate(float("nan"), float("nan"), 0.0, float("inf"), level, "no event in either: the ratio is undefined")
    alpha = 1 - level
    low = stats.beta.ppf(alpha / 2, one, other + 1) if one > 0 else 0.0
    high = stats.beta.ppf(1 - alpha / 2, one + 1, other) if other > 0 else 1.0
    value = one / other * scale if other > 0 else float("inf")
    se = float(np.sqrt(1 / one + 1 / other)) if min(one, other) > 0 else float("inf")
    upper = high / (1 - high) * scale if high < 1 else float("inf")
    note = "" if other > 0 else "no event in the second: the ratio has no upper limit"
    return Estimate(float(value), se, float(low / (1 - low) * scale), float(upper), level, note)
