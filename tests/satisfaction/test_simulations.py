"""Simulation: limits that hold as often as they say, and a level change that does nothing must look like nothing.

Design after Morris, White & Crowther 2019 Stat Med 38:2074 (from memory). The full runs are marked slow; what they gave is
recorded beside them with the seed, so that they can be repeated.
"""

import numpy as np
import pytest

from outcomes.satisfaction import matched_level_change, trajectory

SD = 15.0
CORRELATION = 0.6


def course(rng, patients, gain=8.0, missing=0.2):
    """(patient, window, score): three later occasions; whoever scored low is likelier to be silent next time, ``missing`` on average."""
    own = rng.normal(60, SD * np.sqrt(CORRELATION), patients)
    rows, last = [], None
    for k, window in enumerate(("before", "month 3", "month 12", "month 24")):
        score = own + gain * (k > 0) + rng.normal(0, SD * np.sqrt(1 - CORRELATION), patients)
        # Missing at random: the chance rests on the score of the occasion before it, which is always seen for month 3.
        chance = 0.0 if last is None else np.clip(missing * (1 + (60 - last) / (2 * SD)), 0, 1)
        seen = rng.random(patients) >= chance
        rows += [(p, window, score[p]) for p in range(patients) if seen[p]]
        last = np.where(seen, score, 60 if last is None else last)
    return tuple(map(list, zip(*rows)))


def steps(rng, patients=100, visits=6, effect=0.0, gap=180):
    """(patient, day, score, retention, stepped): a step is asked for on bad days; it adds ``effect`` to every later score."""
    own = rng.normal(80, SD * np.sqrt(CORRELATION), patients)
    rows = []
    for p in range(patients):
        level = 0
        for v in range(visits):
            score = own[p] + effect * level + rng.normal(0, SD * np.sqrt(1 - CORRELATION))
            stepped = bool(rng.random() < (0.6 if score < 80 - SD else 0.03)) and level < 2
            rows.append((p, 90 + gap * v + int(rng.integers(-20, 21)), score, level, stepped))
            level += stepped
    return tuple(map(list, zip(*rows)))


def coverage(patients, repetitions, seed, gain=8.0):
    rng = np.random.default_rng(seed)
    hits, values = [], []
    for _ in range(repetitions):
        row = trajectory(*course(rng, patients, gain)).table().set_index("window").loc["month 12"]
        hits.append(row["low"] <= gain <= row["high"])
        values.append(row["change"])
    return float(np.mean(hits)), float(np.mean(values))


def level_change(repetitions, seed, **clinic):
    rng = np.random.default_rng(seed)
    truth = clinic.get("effect", 0.0)
    found = [matched_level_change(*steps(rng, **clinic)) for _ in range(repetitions)]
    effect = np.array([f.effect.value for f in found])
    return {
        "effect": float(effect.mean()), "error": float(effect.std() / np.sqrt(repetitions)),
        "covered": float(np.mean([f.effect.low <= truth <= f.effect.high for f in found])),
        "observed": float(np.mean([f.observed_rise for f in found])), "expected": float(np.mean([f.expected_rise for f in found])),
    }  # fmt: skip


def test_limits_of_a_course_with_answers_missing_hold():
    """Short run, 30 patients, a fifth missing at random: 60 repetitions, 95 % less 3 Monte Carlo errors (0.084) and 0.015 allowance."""
    covered, mean = coverage(30, 60, seed=30)
    assert covered >= 0.85 and abs(mean - 8) < 3 * 2.6 / np.sqrt(60)


def test_a_step_that_does_nothing_looks_like_nothing():
    """Short run: bias at most 0.1 SD beyond Monte Carlo error; the naive rise exceeds 0.4 SD and is what regression alone would bring."""
    found = level_change(120, seed=5)
    assert abs(found["effect"]) <= 0.1 * SD
    assert found["observed"] > 0.4 * SD
    assert found["expected"] == pytest.approx(found["observed"], abs=0.05 * SD)
    assert found["covered"] >= 0.88


def test_a_step_that_helps_is_found():
    found = level_change(120, seed=6, effect=6.0)
    assert found["effect"] == pytest.approx(6, abs=0.1 * SD)
    assert found["observed"] > 6 + 0.3 * SD  # the naive rise doubles it


def test_patients_who_step_between_two_scores_are_made_up_for():
    """Visits every 45 days: the next score comes after a visit at which the unchanged may step."""
    assert abs(level_change(60, seed=8, gap=45, visits=8)["effect"]) <= 0.1 * SD + 3 * 2.9 / np.sqrt(60)


@pytest.mark.slow
@pytest.mark.parametrize(("patients", "seed"), [(15, 2015), (30, 2030), (60, 2060)])
def test_limits_of_a_course_hold_in_full(patients, seed):
    """2000 repetitions each, accepted 0.935 to 0.97 plus 3 Monte Carlo errors.

    Recorded: 15 patients (paired changes) 0.950, mean 7.83; 30 patients 0.948, 7.95; 60 patients 0.940, 7.99; truth 8.
    """
    covered, _ = coverage(patients, 2000, seed)
    assert 0.935 - 0.0147 <= covered <= 0.97 + 0.0147


@pytest.mark.slow
def test_a_step_that_does_nothing_looks_like_nothing_in_full():
    """2000 repetitions, 100 patients, correlation 0.6, regression to the mean only.

    Recorded: effect −0.10 points (0.007 SD, Monte Carlo error 0.07), coverage 0.944, naive rise 7.27 (0.48 SD), expected from
    regression alone 7.30. With a true effect of 6 (400 repetitions, seed 2101): 6.14 (0.15), naive 13.2. With visits every 45
    days (400, seed 2102): −0.49 (0.16), without weights −0.68; coverage 0.915 there.
    """
    found = level_change(2000, seed=2100)
    assert abs(found["effect"]) <= 0.1 * SD and found["observed"] > 0.4 * SD
    assert 0.93 <= found["covered"] <= 0.97
