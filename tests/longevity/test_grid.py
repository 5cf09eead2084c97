"""Totals of several clinics give the very curve that all their rows together would, on the grid."""

import doctest
from importlib import import_module

import numpy as np
import pytest

from outcomes import longevity

EDGES = np.arange(1, 21) * 91.3125


def clinic(seed, patients=60):
    r = np.random.default_rng(seed)
    who = np.repeat(np.arange(patients), r.integers(1, 5, patients))
    frail = r.gamma(2, 0.5, patients)[who]
    life, end = np.ceil(r.exponential(1200, len(who)) / frail), np.ceil(r.uniform(50, 2200, patients))[who]
    return np.minimum(life, end), life <= end, np.array([f"{seed}/{k}" for k in who])


def on_the_grid(duration, observed, edges):
    """Rows moved onto the grid: failures to the end of their step, others back to the last edge they completed (0: never at risk)."""
    step = np.searchsorted(edges, duration, side="left")
    failing = observed & (step < len(edges))
    done = np.searchsorted(edges, duration, side="right")
    return np.where(failing, edges[np.minimum(step, len(edges) - 1)], np.where(done > 0, edges[np.maximum(done, 1) - 1], 0.0)), failing


def test_worked_example():
    assert doctest.testmod(import_module("outcomes.longevity.grid")).failed == 0


@pytest.mark.parametrize("edges", [EDGES, EDGES[3::4], EDGES[[3, 7, 19]]])
def test_clinics_pooled_from_totals_equal_all_rows_together(edges):
    clinics = [clinic(seed) for seed in (1, 2, 3)]
    pooled = longevity.pooled_grid_curve([longevity.grid_totals(*rows, edges) for rows in clinics])
    duration, observed, who = (np.concatenate(part) for part in zip(*clinics))
    day, failed = on_the_grid(duration, observed, edges)
    whole = longevity.kaplan_meier(day, failed, cluster=who)
    assert pooled.survival == pytest.approx(whole.survival_at(edges), abs=1e-12)
    assert pooled.se == pytest.approx(whole.standard_error_at(edges), abs=1e-12)


def test_limits_are_those_of_reports():
    clinics = [clinic(seed) for seed in (4, 5)]
    pooled = longevity.pooled_grid_curve([longevity.grid_totals(*rows, EDGES) for rows in clinics])
    duration, observed, who = (np.concatenate(part) for part in zip(*clinics))
    whole = longevity.kaplan_meier(*on_the_grid(duration, observed, EDGES), cluster=who, small_sample=True)
    found = pooled.estimate_at(EDGES[7])
    assert (found.low, found.high) == pytest.approx(whole.interval_at(EDGES[7]), abs=1e-12)


@pytest.mark.parametrize("keep", [EDGES[3::4], EDGES[[1, 9]], EDGES])
def test_a_coarser_grid_from_totals_is_the_one_from_rows(keep):
    rows = clinic(6)
    merged, direct = longevity.coarser(longevity.grid_totals(*rows, EDGES), keep), longevity.grid_totals(*rows, keep)
    assert (merged.failed == direct.failed).all() and (merged.at_risk == direct.at_risk).all() and (merged.moments == direct.moments).all()


def test_what_rests_on_few_patients_is_not_permitted():
    duration, observed, who = np.array([100.0] * 3 + [400.0] * 30), np.array([True] * 3 + [False] * 30), np.arange(33)
    fine = longevity.grid_totals(duration, observed, who, [91.3125, 182.625, 365.25])
    assert fine.fewest == 3 and not fine.permits(10) and fine.permits(3)
    assert longevity.grid_totals(duration, observed, who, [91.3125]).permits(10)
    leaves = np.array([100.0] * 4 + [400.0] * 30)
    assert longevity.grid_totals(leaves, np.zeros(34), np.arange(34), [91.3125, 182.625]).fewest == 4  # 34 at risk, then 30


@pytest.mark.parametrize("call", [lambda: longevity.grid_totals([1], [1], ["a"], []), lambda: longevity.grid_totals([1], [1], ["a"], [2, 1]), lambda: longevity.grid_totals([1], [1], None, [1]), lambda: longevity.pooled_grid_curve([]),
                                  lambda: longevity.coarser(longevity.grid_totals([1], [1], ["a"], [1, 2]), [1.5])])  # fmt: skip
def test_what_has_no_grid_is_refused(call):
    with pytest.raises(longevity.ArgumentError):
        call()
