"""How many more it takes: published numbers, and what gaps between looks cost, by formula and by simulation."""

import doctest
import math
from importlib import import_module

import numpy as np
import pytest

from outcomes import longevity


def test_worked_examples_in_docstrings():
    outcome = doctest.testmod(import_module("outcomes.longevity.planning"))
    assert outcome.attempted > 0 and outcome.failed == 0


@pytest.mark.parametrize("ratio, share, power, published", [(2, 0.5, 0.8, 65.35), (0.5, 0.5, 0.8, 65.35), (1.5, 0.5, 0.8, 190.97), (2, 0.25, 0.8, 87.13), (0.57, 0.5, 0.9, 133.01)])
def test_events_for_a_hazard_ratio_as_schoenfeld_counts_them(ratio, share, power, published):
    """Schoenfeld 1983 (Biometrics 39:499); the numbers by its formula."""
    assert longevity.events_needed(ratio, share=share, power=power) == pytest.approx(published, abs=0.005)


def test_a_published_page_of_events_for_two_survivals():
    """Survival .75 against .37: 20.39 events with the rounded quantiles 1.96 and .84 of that page."""
    assert longevity.events_needed(math.log(0.75) / math.log(0.37)) == pytest.approx(20.39 * (1.959964 + 0.841621) ** 2 / 2.8**2, rel=1e-3)


def test_two_parts_that_are_half_alike_cost_half_as_many_again():
    """1 + (m − 1)ρ: 1.5 for m = 2, ρ = .5 (Kish; from memory)."""
    assert longevity.design_effect(2, 0.5) == 1.5
    assert longevity.design_effect([1, 1, 1], 0.9) == 1


def test_the_design_effect_is_the_ratio_of_the_robust_variance_to_the_naive_one():
    r = np.random.default_rng(4)
    m, rho = 4, 0.3
    value = np.sqrt(rho) * np.repeat(r.normal(size=4000), m) + np.sqrt(1 - rho) * r.normal(size=4000 * m)
    patient = np.repeat(np.arange(4000), m)
    measured = longevity.within_patient_correlation(value, patient)
    assert measured == pytest.approx(rho, abs=0.02)
    means = value.reshape(-1, m).mean(1)
    assert means.var(ddof=1) / 4000 / (value.var(ddof=1) / len(value)) == pytest.approx(longevity.design_effect(m, measured), rel=0.05)


@pytest.mark.parametrize("rate, gap", [(0.3, 1.0), (0.8, 2.0)])
def test_what_gaps_between_looks_cost_is_what_a_simulation_finds(rate, gap):
    """Variance of the maximum-likelihood log rate, the day of failure known, over that from looks every ``gap``."""
    r = np.random.default_rng(5)
    life = r.exponential(1 / rate, (4000, 150))
    horizon = 8.0
    exact = np.log((life < horizon).sum(1) / np.minimum(life, horizon).sum(1))
    failed = np.where(life < horizon, np.ceil(np.minimum(life, horizon) / gap), 0)
    looks = np.where(failed > 0, failed, horizon / gap).sum(1)
    looked = np.log(-np.log1p(-(failed > 0).sum(1) / looks) / gap)
    assert exact.var() / looked.var() == pytest.approx(longevity.looking_efficiency(rate, gap), abs=0.035)


@pytest.mark.parametrize("call", [lambda: longevity.events_needed(1.0), lambda: longevity.events_needed(2, power=1), lambda: longevity.events_needed(2, share=0), lambda: longevity.patients_for_events(10, 0, 0),
                                  lambda: longevity.design_effect(0, 0.5), lambda: longevity.patients_for_width(0.5, 0), lambda: longevity.looking_efficiency(-1, 1)])  # fmt: skip
def test_what_has_no_answer_is_refused(call):
    with pytest.raises(longevity.ArgumentError):
        call()


def test_parts_that_never_share_a_mouth_have_no_correlation():
    assert math.isnan(longevity.within_patient_correlation([1.0, 2.0, 3.0], ["a", "b", "c"]))
