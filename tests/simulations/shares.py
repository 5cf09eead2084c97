"""Shares, tests, rates and verdicts where every failure is known on its day: what clusters do to them."""

from __future__ import annotations

from functools import cache

import numpy as np

from outcomes.longevity import ArgumentError, compare_curves, event_rate, kaplan_meier, restricted_mean_difference

from .clinic import YEAR, closings, fit_parts, frailties, lives, scale_for

THREE_YEARS = 1096.0
TWO_YEARS = 731.0


def holds(limits, truth: float) -> float:
    """1 if the limits hold the truth, 0 if not, nan where there are none."""
    low, high = limits
    return float("nan") if np.isnan(low) or np.isnan(high) else float(low <= truth <= high)


def ends(estimate) -> tuple[float, float]:
    return estimate.low, estimate.high


def share_at_three_years(rng, *, patients, share, frailty):
    """Coverage of 95 % limits around the share lasting beyond three years, by patient and as if parts were independent."""
    parts = fit_parts(rng, patients, frailty=frailty, scale=scale_for(share, THREE_YEARS, frailty=frailty))
    duration, observed = parts.seen_at_once()
    ours = kaplan_meier(duration, observed, cluster=parts.patient, small_sample=True)
    printed = kaplan_meier(duration, observed, cluster=parts.patient)
    alone = kaplan_meier(duration, observed)
    return {
        "log–log limits by patient": holds(ours.interval_at(THREE_YEARS), share),
        "effective sample": holds(ends(ours.share_interval(THREE_YEARS)), share),
        "ignoring clusters": holds(_closed(alone, THREE_YEARS), share),
        "by patient, z and no exact limits": holds(_closed(printed, THREE_YEARS), share),
    }


def _closed(curve, day):
    """Limits as most programs print them: [1, 1] where nobody has failed yet."""
    low, high = curve.interval_at(day)
    return (1.0, 1.0) if curve.survival_at(day) == 1 else (low, high)


def nobody_failed(rng, *, patients, standard):
    """Whether a standard counts as met where not one part failed: two or four parts a patient, all followed three years."""
    patient = np.repeat(np.arange(patients), rng.choice((2, 4), patients))
    duration, observed = np.full(len(patient), THREE_YEARS + 1), np.zeros(len(patient), dtype=bool)
    curve = kaplan_meier(duration, observed, cluster=patient, small_sample=True)
    return {
        "log–log limits by patient": float(curve.interval_at(THREE_YEARS)[0] >= standard),
        "effective sample": float(curve.share_interval(THREE_YEARS).low >= standard),
        "ignoring clusters": float(_closed(kaplan_meier(duration, observed), THREE_YEARS)[0] >= standard),
    }


def verdict(rng, *, patients, standard, frailty):
    """How often a standard is called met, or not met, when the true share is exactly the standard."""
    parts = fit_parts(rng, patients, frailty=frailty, scale=scale_for(standard, THREE_YEARS, frailty=frailty))
    duration, observed = parts.seen_at_once()
    ours = ends(kaplan_meier(duration, observed, cluster=parts.patient, small_sample=True).share_interval(THREE_YEARS))
    alone = _closed(kaplan_meier(duration, observed), THREE_YEARS)
    return {
        "effective sample: met": float(ours[0] >= standard), "effective sample: not met": float(ours[1] < standard),
        "ignoring clusters: met": float(alone[0] >= standard), "ignoring clusters: not met": float(alone[1] < standard),
    }  # fmt: skip


def two_groups(rng, *, patients, factor, frailty):
    """How often a factor without effect is called one at 5 %. factor: of the "patient", or "within" each patient."""
    parts = fit_parts(rng, patients, frailty=frailty)
    duration, observed = parts.seen_at_once()
    group = (parts.patient if factor == "patient" else parts.site) % 2
    return {
        "log-rank by patient": compare_curves(duration, observed, group, cluster=parts.patient).p_value < 0.05,
        "log-rank ignoring clusters": compare_curves(duration, observed, group).p_value < 0.05,
        "restricted mean by patient": _differ(duration, observed, group, cluster=parts.patient, small_sample=True),
        "restricted mean ignoring clusters": _differ(duration, observed, group),
    }


def _differ(duration, observed, group, **how) -> float:
    try:
        low, high = ends(restricted_mean_difference(duration, observed, group, horizon=TWO_YEARS, **how))
    except ArgumentError:  # a group whose last part was followed for less
        return float("nan")
    return float("nan") if np.isnan(low) else float(low > 0 or high < 0)


def upkeep(rng, *, patients, frailty, sites=4):
    """Coverage of 95 % limits around a rate where all ``sites`` parts are replaced at each visit."""
    visits, years = _replacements(rng, patients, frailty, sites)
    truth, mine = true_rate(frailty, sites), np.arange(patients)
    return {
        "robust by patient": holds(ends(event_rate(visits, years, cluster=mine, small_sample=True)), truth),
        "exact on visits": holds(ends(event_rate(visits, years)), truth),
        "exact on parts": holds(ends(event_rate(visits * sites, years * sites)), truth),
    }


def _replacements(rng, patients, frailty, sites):
    """(visits, years) by patient: a set serves until its first part fails, then all of it is replaced."""
    shared, closing = frailties(rng, patients, frailty), closings(rng, patients)
    visits, day, serving = np.zeros(patients), np.zeros(patients), np.arange(patients)
    while len(serving):
        day[serving] += lives(rng, sites * shared[serving])
        serving = serving[day[serving] <= closing[serving]]
        visits[serving] += 1
    return visits, closing / YEAR


@cache
def true_rate(frailty: float, sites: int) -> float:
    """Expected visits over expected years, from 1,000,000 patients: its own error is a hundredth of that of the 40 it is held against."""
    visits, years = _replacements(np.random.default_rng(20_260), 1_000_000, frailty, sites)
    return float(visits.sum() / years.sum())
