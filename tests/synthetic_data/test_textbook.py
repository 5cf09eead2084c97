"""The textbook's arrays follow their law, and show the biases that the simulations of estimators are there to measure."""

import numpy as np
import pytest

from outcomes.errors import Misuse
from outcomes.longevity import kaplan_meier, turnbull
from outcomes.synthetic_data import scenario, simulate, textbook
from outcomes.synthetic_data.draws import NEVER

THREE = 1096


def test_lives_follow_the_true_survival():
    drawn = textbook(20_000, seed=1)
    for t in (365, THREE, 1826):
        assert (drawn.life_days > t).mean() == pytest.approx(drawn.survival(t), abs=0.01)
    assert drawn.survival(THREE) == pytest.approx(1 / (1 + (THREE / 1461) ** 1.5), rel=1e-12)


def test_a_failure_lies_after_the_last_sound_look_and_not_after_the_day_found():
    drawn = textbook(5_000, seed=2)
    left, right = drawn.by_examination()
    found = np.isfinite(right)
    assert (left < drawn.failed_day).all() and (drawn.failed_day[found] <= right[found]).all()
    assert (drawn.end_day >= left).all() and found.mean() > 0.3
    left, right = drawn.by_patient()
    assert (left[found] < drawn.failed_day[found]).mean() > 0.93, "the rest were silent until another insert's failure brought the patient in"


def test_sites_of_a_patient_share_their_frailty():
    for variance, low, high in ((0.0, -0.05, 0.05), (1.0, 0.2, 0.8)):
        drawn = textbook(6_000, seed=3, variance=variance, sites=(2,))
        one, two = drawn.life_days[::2], drawn.life_days[1::2]
        assert low < np.corrcoef(np.log(one), np.log(two))[0, 1] < high


def test_yearly_recalls_and_silent_failures_are_what_the_interval_curve_needs():
    """With no failure-triggered visit the interval-censored curve is right: bias at 3 years within 0.02."""
    drawn = textbook(3_000, seed=4, problem=0.0, died_per_year=0.0, request_per_year=0.0)
    curve = turnbull(*drawn.by_examination())
    assert curve.survival_at(THREE) == pytest.approx(drawn.survival(THREE), abs=0.03)


def test_problem_visits_alone_ruin_the_curve_that_censors_at_the_last_look():
    """Failures found and successes never seen: censoring the rest at their last look gives 0, at the end of care about the truth."""
    drawn = textbook(3_000, seed=5, problem=1.0, recall_days=None, variance=0.0, sites=(1,), request_per_year=0.0, died_per_year=0.0)
    wrong, right = turnbull(*drawn.by_examination()), turnbull(*drawn.by_patient())
    assert wrong.survival_at(THREE) < drawn.survival(THREE) - 0.3
    assert right.survival_at(THREE) == pytest.approx(drawn.survival(THREE), abs=0.03)


def test_changing_the_whole_set_censors_the_neighbours_informatively():
    """Frailty variance 1, sets of four, all changed when the first is found: Kaplan-Meier per part is far too high."""
    drawn = textbook(4_000, seed=6, sites=(4,), set_change=1.0, problem=1.0, request_per_year=0.0, died_per_year=0.0)
    duration, observed = drawn.on_day_found()
    assert kaplan_meier(duration, observed).survival_at(THREE) > drawn.survival(THREE) + 0.08


def test_replicates_are_separate_clinics():
    drawn = textbook(30, seed=7, replicates=50)
    assert np.unique(drawn.replicate).size == 50
    assert np.unique(drawn.patient).size == 1500
    assert (drawn.patient // 30 == drawn.replicate).all()
    again = textbook(30, seed=7, replicates=50)
    assert (again.life_days == drawn.life_days).all()
    with pytest.raises(Misuse):
        textbook(10, seed=1, sites=(5,))


def test_the_arrays_and_the_simulated_clinic_follow_the_same_law():
    plain = scenario("textbook", leaving={"died_per_year": 0.0}, wish={"request_per_year": 0.0})
    clinic = simulate(plain, patients=4000, seed=8)
    parts = clinic.truth.parts
    first = parts[(parts["part"] == "insert") & (parts["serial"] == 1)]
    found = (first["ending"] == "failed").mean()
    drawn = textbook(8000, seed=8, died_per_year=0.0, request_per_year=0.0)
    assert found == pytest.approx((drawn.found_day < NEVER).mean(), abs=0.02)
    assert clinic.truth.survival("insert worn", THREE)[0] == pytest.approx(drawn.survival(THREE), rel=1e-12)
