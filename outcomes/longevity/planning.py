"""How many more patients an answer takes: events for a comparison, patients for a width, and what parts sharing a mouth and gaps between looks cost."""

from __future__ import annotations

import math

import numpy as np
from scipy import stats

from outcomes.longevity.estimate import ArgumentError, as_codes, as_numbers, normal_quantile


def _power_quantile(power: float) -> float:
    if not 0 < power < 1:
        raise ArgumentError("power", f"must lie between 0 and 1, not {power!r}", "Give 0.8 for four chances in five.")
    return float(stats.norm.ppf(power))


def events_needed(hazard_ratio: float, *, share: float = 0.5, level: float = 0.95, power: float = 0.80) -> float:
    """Events in both groups together for a true hazard ratio to show: (z + z')²/(p (1 − p) ln² HR), unrounded.

    share: the part of the patients in the first group. The events are independent ones; where parts share a mouth, multiply by
    ``design_effect``. Raises ArgumentError for a ratio of 1 or below 0, a share or power outside 0 to 1.
    Source: Schoenfeld 1983 (Biometrics 39:499), whose numbers at 5 % and 80 % are

    >>> [math.ceil(events_needed(ratio)) for ratio in (2, 0.5, 1.5)], math.ceil(events_needed(2, share=0.25))
    ([66, 66, 191], 88)
    >>> round(events_needed(0.57, power=0.90), 2)
    133.01
    """
    if not (hazard_ratio > 0 and hazard_ratio != 1 and math.isfinite(hazard_ratio)):
        raise ArgumentError("hazard_ratio", f"must be above 0 and not 1, not {hazard_ratio!r}", "Give the smallest ratio worth knowing.")
    _fraction("share", share)
    return (normal_quantile(level) + _power_quantile(power)) ** 2 / (share * (1 - share) * math.log(hazard_ratio) ** 2)


def patients_for_events(events: float, failing: float, failing_other: float, *, share: float = 0.5, parts: float = 1.0) -> int:
    """Patients in both groups together until so many events are expected.

    failing, failing_other: share of parts expected to fail in each group by the end of follow-up; share: the part of the patients in
    the first group; parts: parts per patient. Raises ArgumentError where nothing fails.

    A quarter and 63 % failing (a published worked page: 20.39 events, hence 46 or 47 patients):

    >>> patients_for_events(20.39, 0.25, 0.63)
    47
    """
    expected = (share * failing + (1 - share) * failing_other) * parts
    if not (0 <= failing <= 1 and 0 <= failing_other <= 1 and expected > 0):
        raise ArgumentError("failing", "must be shares of which one is above 0", "Where nothing fails no number of patients gives events.")
    return math.ceil(events / expected - 1e-9)


def design_effect(parts, rho: float) -> float:
    """How many times as many parts it takes when parts share a mouth: 1 + (m − 1)ρ.

    parts: m, or one number of parts for each patient, of which m is then Σm²/Σm (a patient with many parts weighs as many);
    rho: how alike the parts of one mouth are, −1 to 1. Never below 0. Raises ArgumentError. Source: Kish 1965, Survey Sampling (from memory).

    >>> design_effect(2, 0.5), round(design_effect([2, 2, 4], 0.5), 3)
    (1.5, 2.0)
    """
    sizes = as_numbers("parts", np.atleast_1d(parts))
    if (sizes <= 0).any() or not -1 <= rho <= 1:
        raise ArgumentError("parts", "must be above 0, and rho between −1 and 1", "Give parts per patient and their correlation.")
    return max(0.0, 1 + float((sizes**2).sum() / sizes.sum() - 1) * rho)


def within_patient_correlation(value, cluster) -> float:
    """How alike the values of one cluster are: the intraclass correlation of a one-way analysis of variance; nan without repeats.

    value: (n,) one number per part, such as failed less expected; cluster: (n,) patients. ρ = (B − W)/(B + (m₀ − 1)W) with the mean
    squares between and within and m₀ = (n − Σm²/n)/(G − 1). Raises ArgumentError.
    Source: Donner 1986 (Int Stat Rev 54:67; from memory). Four judges' ratings of six subjects, published with ρ = .17 for single
    ratings by that analysis (Shrout and Fleiss 1979, Psychol Bull 86:420):

    >>> ratings = [9, 2, 5, 8, 6, 1, 3, 2, 8, 4, 6, 8, 7, 1, 2, 6, 10, 5, 6, 9, 6, 2, 4, 7]
    >>> round(within_patient_correlation(ratings, [subject for subject in range(6) for judge in range(4)]), 2)
    0.17
    """
    value = as_numbers("value", value)
    codes, labels = as_codes("cluster", cluster, length=len(value))
    n, groups = len(value), len(labels)
    sizes = np.bincount(codes)
    if groups < 2 or n == groups:
        return float("nan")
    means = np.bincount(codes, weights=value) / sizes
    between = float(sizes @ (means - value.mean()) ** 2) / (groups - 1)
    within = float(((value - means[codes]) ** 2).sum()) / (n - groups)
    typical = (n - float((sizes**2).sum()) / n) / (groups - 1)
    below = between + (typical - 1) * within
    return (between - within) / below if below > 0 else float("nan")


def patients_for_width(sd: float, half_width: float, *, effect: float = 1.0, level: float = 0.95) -> int:
    """Patients until the likely range reaches no further than ``half_width`` to either side: (z sd/h)² times the design effect.

    sd: spread of one patient's value; √(S(1 − S)) for a share S. Raises ArgumentError. The textbook number for a share of one
    half within five points (Cochran 1977, Sampling Techniques; from memory):

    >>> patients_for_width(0.5, 0.05)
    385
    """
    if not (sd >= 0 and half_width > 0 and effect > 0):
        raise ArgumentError("half_width", "and what goes with it must be above 0", "Give how far to either side the range may reach.")
    return math.ceil(effect * (normal_quantile(level) * sd / half_width) ** 2 - 1e-9)


def looking_efficiency(rate: float, gap: float) -> float:
    """What is left of the information on a failure rate when parts are only looked at every ``gap``: (x/2 / sinh(x/2))², x = rate · gap.

    1 where looks are continuous; the patients (or events) needed are divided by it. For a constant rate, looks at even gaps and
    nothing missed between them: each look is a binomial with chance 1 − exp(−x), whose information on the rate is x²/(exp(x) − 1)
    for each part still at risk, against 1 − exp(−x) where the day of failure is seen. Derived here; held to a simulation in the
    tests. Raises ArgumentError for negative numbers.

    >>> round(looking_efficiency(0.2, 1.0), 4), round(looking_efficiency(1.0, 2.0), 3)
    (0.9967, 0.724)
    """
    if not (rate >= 0 and gap >= 0 and math.isfinite(rate * gap)):
        raise ArgumentError("rate", "and gap must not be negative", "Give events per year and years between looks.")
    half = rate * gap / 2
    return 1.0 if half < 1e-8 else (half / math.sinh(half)) ** 2


def _fraction(name: str, value: float) -> None:
    if not 0 < value < 1:
        raise ArgumentError(name, f"must lie between 0 and 1, not {value!r}", "Give a share, not a percentage.")
