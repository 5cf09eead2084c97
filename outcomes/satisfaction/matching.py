"""Visits at which the level was changed, each with like visits of other patients at which it was not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from outcomes.longevity.estimate import ArgumentError, as_codes, as_flags, as_numbers

from .changes import as_scores


@dataclass(frozen=True)
class Visits:
    """Visits sorted by patient and day, up to each patient's first step, with the score that followed; score nan where not asked.

    ``later``: first score within the follow-up span, nan where there is none; ``later_row``: the visit of it among these, -1
    where it is not. ``censored``: unchanged, but a step of their own came first. ``again``: stepped again before ``later``.
    """

    patient: np.ndarray
    day: np.ndarray
    score: np.ndarray
    retention: np.ndarray
    stepped: np.ndarray
    later: np.ndarray
    later_row: np.ndarray
    censored: np.ndarray
    again: np.ndarray


def read_visits(patient, day, score, retention, stepped, sign: float, follow: tuple[float, float]) -> Visits:
    """One row per visit, checked; scores turned so that higher is better; visits after a first step serve as later scores only."""
    days = as_numbers("day", day)
    people, _ = as_codes("patient", patient, length=len(days))
    levels, _ = as_codes("retention", retention, length=len(days))
    flags = as_flags("stepped", stepped, length=len(days))
    values = sign * as_scores("score", score, len(days))
    if pd.DataFrame({"p": people, "d": days}).duplicated().any():
        raise ArgumentError("day", "a patient has two visits on one day", "Keep one row per patient, denture and day.")
    order = np.lexsort((days, people))
    people, days, levels, flags, values = people[order], days[order], levels[order], flags[order], values[order]
    first_step = np.full(people.max() + 1 if len(people) else 0, np.inf)
    np.minimum.at(first_step, people[flags], days[flags])
    scored = ~np.isnan(values)
    # One number that sorts by patient, then day; days are far below the stride.
    stride = 4 * (np.abs(days).max() + follow[1] + 1) if len(days) else 1.0
    rank = people[scored] * stride + days[scored]
    at = np.searchsorted(rank, people * stride + days + follow[0], side="left")
    found = at < len(rank)
    at = np.where(found, at, 0)
    when = np.where(found & (people[scored][at] == people), days[scored][at], np.inf) if len(rank) else np.full(len(days), np.inf)
    found = when <= days + follow[1]
    later = np.where(found, values[scored][at], np.nan) if len(rank) else np.full(len(days), np.nan)
    step = first_step[people]
    # The score at the visit of a step is asked before the step, so it still counts for the unchanged.
    censored = ~flags & (step > days) & (step <= days + follow[1]) & (when > step)
    later = np.where(censored, np.nan, later)
    next_step = np.searchsorted(people[flags] * stride + days[flags], people * stride + days, side="right")
    after = np.append(people[flags] * stride + days[flags], np.inf)[next_step] - people * stride
    kept = days <= step
    again = flags & found & (after < when)
    row = np.flatnonzero(scored)[at] if len(rank) else at
    row = np.where(found & ~censored & kept[row], (np.cumsum(kept) - 1)[row], -1) if len(days) else row
    return Visits(*(column[kept] for column in (people, days, values, levels, flags, later, row, censored, again)))


def matched_sets(visits: Visits, *, score_within: float, days_within: float, most: int) -> tuple[np.ndarray, np.ndarray]:
    """(set, visit row) of each member, the changed visit first: nearest visits of other patients at the same level, one a patient.

    Nearest by the larger of score and day difference in units of what is allowed, found in a tree: never all pairs.
    """
    usable = ~np.isnan(visits.later) & ~np.isnan(visits.score)
    place = np.column_stack([np.nan_to_num(visits.score) / score_within, visits.day / days_within])
    sets, members = [], []
    for level in np.unique(visits.retention[visits.stepped & usable]):
        here = usable & (visits.retention == level)
        changed, pool = np.flatnonzero(here & visits.stepped), np.flatnonzero(here & ~visits.stepped)
        if len(pool) == 0:
            continue
        tree = cKDTree(place[pool])
        for row in changed:
            chosen = _nearest(tree, pool, visits.patient, row, place, most)
            if chosen:
                sets += [row] * (len(chosen) + 1)
                members += [row, *chosen]
    return np.unique(sets, return_inverse=True)[1] if sets else np.array([], dtype=int), np.array(members, dtype=int)


def _nearest(tree, pool, patient, row, place, most) -> list[int]:
    asked = 4 * most
    while True:
        distance, index = tree.query(place[row], k=min(asked, len(pool)), p=np.inf, distance_upper_bound=1 + 1e-9)
        near = pool[np.atleast_1d(index)[np.isfinite(np.atleast_1d(distance))]]
        near = near[patient[near] != patient[row]]
        _, first = np.unique(patient[near], return_index=True)
        chosen = near[np.sort(first)][:most]
        if len(chosen) == most or asked >= len(pool) or len(near) < asked // 2:
            return [int(r) for r in chosen]
        asked *= 4
