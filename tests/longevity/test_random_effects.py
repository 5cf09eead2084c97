"""Clinics taken together: the same numbers as R's metafor, recorded for a published set and live on random ones."""

import json
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from outcomes import longevity

HERE = Path(__file__).parent
WAYS = {"DL": ("DL", False), "DL_HK": ("DL", True), "PM_HK": ("PM", True), "REML_HK": ("REML", True)}


def compare(found, theirs, tolerance):
    got = {"value": found.mean.value, "se": found.mean.se, "low": found.mean.low, "high": found.mean.high, "tau2": found.tau2, "q": found.q, "q_p": found.q_p, "i2": 100 * found.i2}
    if found.clinics >= 5:
        got |= {"predict_low": found.prediction[0], "predict_high": found.prediction[1]}
    for name, value in got.items():
        assert value == pytest.approx(theirs[name], rel=tolerance, abs=tolerance), (name, value, theirs[name])


@pytest.mark.parametrize("way", WAYS)
def test_the_vaccine_trials_as_metafor_recorded_them(way):
    """random_effects.json: dat.bcg (Colditz et al. 1994) through metafor 3.8.1, which prints −0.7145 (0.1808), τ² 0.3132 by REML."""
    known = json.loads((HERE / "random_effects.json").read_text())
    method, knapp = WAYS[way]
    compare(longevity.random_effects(known["value"], known["se"], method=method, hartung_knapp=knapp), known["answers"][way], 1e-6)


@pytest.mark.needs_metafor
def test_random_sets_beside_metafor_live(tmp_path):
    r = np.random.default_rng(11)
    sets = {}
    for number in range(25):
        k = int(r.integers(3, 16))
        error = r.uniform(0.05, 0.7, k)
        sets[f"s{number}"] = (r.normal(0.3, r.choice([0.0, 0.1, 0.8]), k) + r.normal(0, error), error)
    sets["agree"] = (np.full(4, 0.2), np.array([0.1, 0.2, 0.3, 0.4]))
    pd.concat([pd.DataFrame({"set": name, "value": value, "se": se}) for name, (value, se) in sets.items()]).to_csv(tmp_path / "sets.csv", index=False, float_format="%.17g")
    done = subprocess.run(["Rscript", str(HERE / "random_effects.R"), str(tmp_path / "sets.csv"), str(tmp_path / "out.json")], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    theirs = json.loads((tmp_path / "out.json").read_text())
    for name, (value, se) in sets.items():
        for way, (method, knapp) in WAYS.items():
            compare(longevity.random_effects(value, se, method=method, hartung_knapp=knapp), theirs[name][way], 2e-5)


def test_worked_example_in_the_docstring():
    import doctest
    from importlib import import_module

    outcome = doctest.testmod(import_module("outcomes.longevity.between_clinics"))
    assert outcome.attempted > 0 and outcome.failed == 0


def test_clinics_that_agree_have_no_variance_between_them_and_the_mean_of_their_precisions():
    found = longevity.random_effects([1.0, 1.0], [0.1, 0.2], hartung_knapp=False)
    assert found.tau2 == 0 and found.mean.value == 1 and found.mean.se == pytest.approx((1 / 0.01 + 1 / 0.04) ** -0.5)


def test_three_clinics_that_agree_by_chance_are_not_known_better_than_their_errors_allow():
    """metafor 3.8.1, rma(c(.1, .12, .11), sei = c(.2, .3, .25), method = "PM"): test = "knha" 0.0833 to 0.1313; test = "adhoc" −0.4887 to 0.7034, se 0.1385."""
    given = [0.1, 0.12, 0.11], [0.2, 0.3, 0.25]
    plain, kept = longevity.random_effects(*given), longevity.random_effects(*given, never_narrower=True)
    assert (round(plain.mean.low, 4), round(plain.mean.high, 4)) == (0.0833, 0.1313)
    assert (round(kept.mean.low, 4), round(kept.mean.high, 4), round(kept.mean.se, 4)) == (-0.4887, 0.7034, 0.1385)
    apart = [-1.0, 0.2, 1.3], [0.2, 0.3, 0.25]
    assert longevity.random_effects(*apart, never_narrower=True).mean.se == longevity.random_effects(*apart).mean.se  # where they differ nothing changes


def test_the_order_of_clinics_and_the_unit_do_not_matter():
    value, se = np.array([0.1, 0.9, -0.4, 0.3]), np.array([0.2, 0.3, 0.25, 0.1])
    one, other = longevity.random_effects(value, se), longevity.random_effects(10 * value[::-1], 10 * se[::-1])
    assert other.mean.value == pytest.approx(10 * one.mean.value) and other.tau2 == pytest.approx(100 * one.tau2)


def test_four_clinics_foretell_no_fifth():
    found = longevity.random_effects([0.1, 0.9, -0.4, 0.3], [0.2] * 4)
    assert np.isnan(found.prediction).all()
    assert np.isfinite(longevity.random_effects([0.1, 0.9, -0.4, 0.3, 0.2], [0.2] * 5).prediction).all()


def test_wider_differences_between_clinics_widen_the_mean_and_more_the_prediction():
    near, far = (longevity.random_effects(np.array([-1, -0.5, 0, 0.5, 1]) * by, [0.1] * 5) for by in (0.2, 2))
    assert far.mean.se > near.mean.se
    assert np.diff(far.prediction)[0] > far.mean.high - far.mean.low


@pytest.mark.parametrize("value, se", [([0.1], [0.2]), ([0.1, 0.2], [0.1, 0.0]), ([0.1, 0.2], [0.1])])
def test_what_cannot_be_pooled_is_refused(value, se):
    with pytest.raises(longevity.ArgumentError):
        longevity.random_effects(value, se)
