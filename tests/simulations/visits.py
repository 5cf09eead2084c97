"""Failures found at visits: which censoring rule tells the truth, how often limits between looks hold, what recall habits feign."""

from __future__ import annotations

import numpy as np

from outcomes.longevity import interval_mean_difference, kaplan_meier, restricted_mean_difference, turnbull

from .clinic import NEVER, Found, fit_parts, look, survival
from .shares import THREE_YEARS, TWO_YEARS, ends, holds

FIVE_YEARS = 1826.0
NOTICE_DAYS = 30
CARE_DAYS = 550


def between_looks(found: Found):
    """(left, right) of an endpoint found by examination: in (L, R], else censored at the last look."""
    return found.left, found.right


def while_in_care(found: Found):
    """(left, right) of an endpoint the patient notices: within 30 days of a problem visit, in (L, R] at another, else in care till the end."""
    seen = found.right < NEVER
    back = np.where(found.at_problem, np.maximum(found.left, found.right - NOTICE_DAYS), found.left)
    return np.where(seen, back, np.maximum(found.left, found.end - NOTICE_DAYS)), found.right


def until_first_gap(found: Found):
    """The same where care ends for everybody at the first gap between contacts; later failures are not counted."""
    left, right = while_in_care(found)
    cut = (found.gap_end < found.end) & (right > found.gap_end)
    return np.where(cut, np.minimum(left, found.gap_end), left), np.where(cut, NEVER, right)


def day_found(left, right):
    """(duration, observed) with each failure dated on the day it was found."""
    return np.where(right < NEVER, right, left), right < NEVER


def capped(found: Found):
    """(duration, observed) with only the un-failed cut off, 550 days after their last contact."""
    left, right = while_in_care(found)
    return day_found(np.where(right < NEVER, left, np.minimum(left, found.last_contact + CARE_DAYS)), right)


def _curve(pair) -> float:
    return turnbull(*pair).survival_at(THREE_YEARS)


def _steps(pair) -> float:
    return kaplan_meier(*pair).survival_at(THREE_YEARS)


def censoring_rules(rng, *, patients, noticing, recall, frailty, sites=(2, 4), leaving=0.0):
    """Share at three years under each rule. noticing: share of failures that bring the patient in; recall: days, or None."""
    parts = fit_parts(rng, patients, frailty=frailty, sites=sites)
    found = look(rng, parts, recall=recall, jitter=30, noticing=noticing, leaving=leaving)
    looks = turnbull(*between_looks(found))
    last, care = looks.survival_at(THREE_YEARS), _curve(while_in_care(found))
    last_found, care_found = _steps(day_found(*between_looks(found))), _steps(day_found(*while_in_care(found)))
    return {
        "between looks": last, "between looks, lower edge": looks.survival_bounds_at(THREE_YEARS)[0], "in care": care, "in care, day found": care_found,
        "flagged between looks": float(abs(care - last) > 0.05), "flagged on the day found": float(abs(care_found - last_found) > 0.05),
        "in care until the first gap": _curve(until_first_gap(found)), "on the day found": last_found, "only the un-failed capped": _steps(capped(found)),
    }  # fmt: skip


def curve_between_looks(rng, *, patients, recall, jitter, frailty, draws):
    """The interval-censored curve and how often its limits hold at two and three years; nobody notices."""
    parts = fit_parts(rng, patients, frailty=frailty)
    left, right = between_looks(look(rng, parts, recall=recall, jitter=jitter, noticing=0.0))
    seed = int(rng.integers(2**31))
    ours = turnbull(left, right, cluster=parts.patient, draws=draws, seed=seed)
    alone = turnbull(left, right, draws=max(draws // 2, 50), seed=seed)
    duration, observed = day_found(left, right)
    late = kaplan_meier(duration, observed, cluster=parts.patient, small_sample=True)
    read = {}
    for years, day in ((2, TWO_YEARS), (3, THREE_YEARS)):
        truth = survival(day, frailty=frailty)
        read |= {
            f"share at {years} y": ours.survival_at(day), f"share at {years} y, on the day found": late.survival_at(day),
            f"limits at {years} y": holds(ours.interval_at(day), truth), f"limits at {years} y, ignoring clusters": holds(alone.interval_at(day), truth),
            f"limits at {years} y, on the day found": holds(late.interval_at(day), truth),
        }  # fmt: skip
    return read


def recall_habits(rng, *, patients, frailty, recalls, draws):
    """How often two groups with one life are called different because they are recalled at different intervals; five years."""
    groups = [fit_parts(rng, patients // 2, frailty=frailty) for _ in recalls]
    found = [look(rng, parts, recall=recall, jitter=30, noticing=0.0) for parts, recall in zip(groups, recalls)]
    left, right = (np.concatenate(pair) for pair in zip(*map(between_looks, found)))
    group = np.repeat([0, 1], [len(parts.life) for parts in groups])
    patient = np.concatenate([groups[0].patient, groups[1].patient + patients // 2])
    duration, observed = day_found(left, right)
    ours = interval_mean_difference(left, right, group, horizon=FIVE_YEARS, cluster=patient, draws=draws, seed=int(rng.integers(2**31)))
    late = restricted_mean_difference(duration, observed, group, horizon=FIVE_YEARS, cluster=patient, small_sample=True)
    return {
        "between looks": 1 - holds(ends(ours), 0.0), "difference between looks": ours.value,
        "on the day found": 1 - holds(ends(late), 0.0), "difference on the day found": late.value,
    }  # fmt: skip
