"""The emulated trial: arms of day 0 only, patients made alike or not compared, numbers that can be worked out by hand."""

import numpy as np
import pandas as pd
import pytest

from outcomes.longevity import ArgumentError, CountSoFar, MeanOf, Outcome, Rules, ShareOf, TimeFree, emulated_trial, kaplan_meier, mean_cumulative_function, patients_needed
from outcomes.longevity.balance import chances, differences, effective_share, outside, scaled, stabilised


def trial(other, covariates, value, **more):
    """A trial on one outcome known for everybody."""
    n = len(other)
    settings = {"decided": np.zeros(n), "begun": np.zeros(n), "draws": 50, "seed": 1} | more
    return emulated_trial(other, pd.DataFrame(covariates), [Outcome("value", MeanOf(np.asarray(value, dtype=float)), ratio=True)], **settings)


def confounded(n=400, seed=3, strength=1.0):
    """(second arm, one 0/1 covariate that goes with it, outcome that follows the covariate alone)."""
    rng = np.random.default_rng(seed)
    trait = rng.random(n) < 0.4
    other = rng.random(n) < 1 / (1 + np.exp(-strength * (trait - 0.4)))
    return other, {"trait": trait.astype(float)}, 1.0 + 2.0 * trait + rng.normal(0, 0.5, n)


# ---------------------------------------------------------------- who may be compared


def test_whoever_is_sorted_by_what_was_done_later_is_refused():
    other, x, value = confounded(100)
    stepped_on = np.where(other, 200.0, 0.0)
    with pytest.raises(ArgumentError, match="chosen on day 0"):
        trial(other, x, value, decided=stepped_on)


def test_the_day_of_decision_cannot_be_left_out():
    other, x, value = confounded(100)
    with pytest.raises(TypeError):
        emulated_trial(other, pd.DataFrame(x), [Outcome("value", MeanOf(value))])


def test_one_arm_alone_is_no_comparison():
    with pytest.raises(ArgumentError, match="one arm only"):
        trial(np.ones(50, bool), {"x": np.arange(50.0)}, np.zeros(50))


def test_a_gap_in_a_covariate_is_refused():
    other, x, value = confounded(100)
    x["trait"][3] = np.nan
    with pytest.raises(ArgumentError, match="trait"):
        trial(other, x, value)


def test_nineteen_patients_in_an_arm_give_each_arm_by_itself_and_no_difference():
    other = np.arange(100) < 19
    found = trial(other, {"x": np.tile([0.0, 1.0], 50)}, np.where(other, 3.0, 1.0))
    assert not found.fair and found.failing[0].rule == "patients" and found.failing[0].found == 19
    contrast = found.contrast("value")
    assert contrast.crude == (1.0, 3.0)
    for estimate in (contrast.difference, contrast.crude_difference, contrast.ratio, contrast.crude_ratio):
        assert np.isnan(estimate.value) and estimate.note == "not a fair comparison"
    assert np.isnan(contrast.weighted).all()


def test_arms_that_differ_by_era_are_not_compared():
    year = np.repeat([2019.0, 2020, 2021, 2022], 50)
    rng = np.random.default_rng(2)
    other = rng.random(200) < np.where(year >= 2021, 0.98, 0.02)
    found = trial(other, {"year": year}, year)
    assert not found.fair
    assert {"alike", "effective", "overlap"} & {check.rule for check in found.failing}
    assert np.isnan(found.contrast("value").difference.value)


def test_a_trait_that_settles_the_arm_is_no_overlap():
    rng = np.random.default_rng(2)
    settled = np.arange(200) < 60
    other = settled | (rng.random(200) < 0.3)
    found = trial(other, {"ball": settled.astype(float)}, np.zeros(200))
    assert "overlap" in {check.rule for check in found.failing}


# ---------------------------------------------------------------- what is compared


def test_weighting_undoes_a_confounder():
    other, x, value = confounded(4000, strength=1.5)
    found = trial(other, x, value, draws=100)
    contrast = found.contrast("value")
    assert found.fair
    assert contrast.crude_difference.value > 0.5
    assert abs(contrast.difference.value) < 0.06 and contrast.difference.low < 0 < contrast.difference.high


def test_one_trait_weighted_is_the_average_over_its_strata():
    other, x, value = confounded(2000)
    trait = x["trait"] == 1
    by_hand = sum(side.mean() * (value[side & other].mean() - value[side & ~other].mean()) for side in (trait, ~trait))
    assert trial(other, x, value).contrast("value").difference.value == pytest.approx(by_hand, abs=2e-3)


def test_the_order_of_patients_changes_nothing():
    other, x, value = confounded(300)
    mixed = np.random.default_rng(0).permutation(300)
    one, two = trial(other, x, value), trial(other[mixed], {"trait": x["trait"][mixed]}, value[mixed])
    assert one.contrast("value").difference.value == pytest.approx(two.contrast("value").difference.value, abs=1e-9)
    assert one.balance["weighted"].to_numpy() == pytest.approx(two.balance["weighted"].to_numpy(), abs=1e-9)


def test_the_same_seed_gives_the_same_limits():
    other, x, value = confounded(200)
    assert trial(other, x, value).table().equals(trial(other, x, value).table())


def test_rules_can_be_set():
    other, x, value = confounded(100)
    assert not trial(other, x, value, rules=Rules(patients=60)).fair


# ---------------------------------------------------------------- balance, held to other programs and to hands


def test_the_logistic_model_without_penalty_is_that_of_statsmodels():
    import statsmodels.api as sm

    rng = np.random.default_rng(8)
    x = rng.normal(size=(150, 3))
    arm = rng.random(150) < 1 / (1 + np.exp(-x @ [0.5, -1.0, 0.2]))
    theirs = sm.GLM(arm.astype(float), sm.add_constant(x), family=sm.families.Binomial()).fit(tol=1e-12)
    ours = chances(arm, x, penalty=0.0)
    assert ours.converged
    np.testing.assert_allclose(ours.coefficients, theirs.params, atol=1e-6)
    np.testing.assert_allclose(ours.score, theirs.fittedvalues, atol=1e-6)


def test_the_penalty_is_a_data_row_of_half_a_success_and_half_a_failure_per_slope():
    # log-F(1,1) as data augmentation: one more row per slope, the covariate 1, no intercept, half a success in one trial
    import statsmodels.api as sm

    rng = np.random.default_rng(9)
    x = (rng.random((80, 2)) < 0.4).astype(float)
    arm = rng.random(80) < 0.3 + 0.4 * x[:, 0]
    design = np.vstack([np.column_stack([np.ones(80), x]), [[0, 1, 0], [0, 0, 1]]])
    theirs = sm.GLM(np.concatenate([arm.astype(float), [0.5, 0.5]]), design, family=sm.families.Binomial()).fit(tol=1e-12)
    np.testing.assert_allclose(chances(arm, x).coefficients, theirs.params, atol=1e-6)


def test_a_trait_that_tells_the_arms_apart_keeps_its_slope_finite():
    fit = chances(np.arange(40) < 10, (np.arange(40) < 10).astype(float)[:, None])
    assert fit.converged and np.abs(fit.coefficients).max() < 8


def test_differences_by_hand():
    # arm 0: 1 of 4 (variance 3/16); arm 1: 3 of 4 (variance 3/16): 0.5 / sqrt(3/16)
    x, arm = np.array([[1.0], [0], [0], [0], [1], [1], [1], [0]]), np.arange(8) >= 4
    assert differences(x, arm, np.ones(8))[0] == pytest.approx(0.5 / np.sqrt(3 / 16))
    assert differences(x, arm, np.array([3.0, 1, 1, 1, 1, 1, 1, 3]))[0] == pytest.approx(0.0)


def test_effective_sample_overlap_and_stabilised_weights_by_hand():
    arm = np.array([False, False, True, True])
    assert effective_share(arm, np.array([1.0, 1, 1, 3])) == pytest.approx(16 / 10 / 2)
    assert outside(np.array([0.04, 0.5, 0.96, 0.95])) == 0.5
    np.testing.assert_allclose(stabilised(arm, np.array([0.25, 0.5, 0.5, 0.25]), cut=(0, 1)), [0.5 / 0.75, 1, 1, 2])


def test_columns_of_traits_stay_as_they_are_and_years_are_scaled():
    x = scaled(np.column_stack([[0.0, 1, 1, 0], [2019.0, 2020, 2021, 2022]]))
    np.testing.assert_array_equal(x[:, 0], [0, 1, 1, 0])
    assert x[:, 1].mean() == pytest.approx(0) and x[:, 1].std() == pytest.approx(1)


# ---------------------------------------------------------------- outcomes under weights


def visits():
    """Three patients followed to 10, 6 (then dead) and 8 days, with visits on days 2, 5 (first), 5 (second), 9 (first) and 7 (third)."""
    return {"end": np.array([10.0, 6, 8]), "gone": np.array([False, True, False]), "who": np.array([0, 0, 1, 0, 2]), "day": np.array([2.0, 5, 5, 9, 7])}


def test_visits_so_far_by_hand():
    # day 2: 1/3; day 5: 2/3; death on day 6: S = 2/3; day 7: 2/3 * 1/2; day 9: 2/3 * 1/1
    measure = CountSoFar(**visits(), amount=np.ones(5), horizon=10.0)
    assert measure.at(np.ones(3)) == pytest.approx(1 / 3 + 2 / 3 + 1 / 3 + 2 / 3)


def test_minutes_are_amounts():
    measure = CountSoFar(**visits(), amount=np.array([10.0, 20, 30, 40, 50]), horizon=6.0)
    assert measure.at(np.ones(3)) == pytest.approx((10 + 20 + 30) / 3)


def test_a_weight_of_two_is_the_patient_twice():
    one = visits()
    twice = {"end": np.append(one["end"], 10.0), "gone": np.append(one["gone"], False), "who": np.concatenate([one["who"], [3, 3, 3]]), "day": np.concatenate([one["day"], [2.0, 5, 9]])}
    weighted = CountSoFar(**one, amount=np.ones(5), horizon=10.0).at(np.array([2.0, 1, 1]))
    assert weighted == pytest.approx(CountSoFar(**twice, amount=np.ones(8), horizon=10.0).at(np.ones(4)))


def test_without_deaths_it_is_the_mean_cumulative_function():
    rng = np.random.default_rng(4)
    end = rng.integers(100, 900, 40).astype(float)
    who = np.repeat(np.arange(40), rng.integers(0, 5, 40))
    day = np.ceil(rng.random(len(who)) * end[who])
    ours = CountSoFar(end, np.zeros(40, bool), who, day, np.ones(len(who)), 600.0).at(np.ones(40))
    rows = pd.concat([pd.DataFrame({"subject": who, "stop": day, "event": 1.0}), pd.DataFrame({"subject": np.arange(40), "stop": end, "event": 0.0})]).sort_values(["subject", "stop", "event"], ascending=[True, True, False])
    rows["start"] = rows.groupby("subject")["stop"].shift().fillna(0.0)
    theirs = mean_cumulative_function(*(rows[name].to_numpy() for name in ("subject", "start", "stop", "event")))
    assert ours == pytest.approx(float(theirs.mean_at(600.0)), abs=1e-12)


def test_time_free_is_the_restricted_mean():
    rng = np.random.default_rng(5)
    end, failed = np.ceil(rng.exponential(500, 80)), rng.random(80) < 0.6
    assert TimeFree(end, failed, 400.0).at(np.ones(80)) == pytest.approx(kaplan_meier(end, failed).restricted_mean(400.0).value, abs=1e-9)


def test_shares_and_means_leave_out_what_is_not_known():
    assert ShareOf(np.array([1.0, 2]), np.array([2.0, 2])).at(np.array([1.0, 3])) == pytest.approx(7 / 8)
    assert MeanOf(np.array([1.0, np.nan, 5])).at(np.array([1.0, 9, 1])) == 3.0
    assert np.isnan(MeanOf(np.array([np.nan])).at(np.ones(1)))


def test_nobody_followed_to_the_horizon_is_not_known():
    assert np.isnan(CountSoFar(**visits(), amount=np.ones(5), horizon=11.0).at(np.ones(3)))


def test_patients_needed_is_the_textbook_number():
    # two means half an SD apart, 5 % level, 80 % power: 63 a group by the normal formula (64 with Student's t)
    assert patients_needed(1.0, 0.5) == 63
    assert patients_needed(1.0, 0.5, effective=0.5) == 126
    with pytest.raises(ArgumentError):
        patients_needed(1.0, 0.0)


def test_an_arm_in_which_nothing_happened_has_no_limits_of_no_width():
    rng = np.random.default_rng(7)
    other = np.repeat([False, True], 60)
    found = trial(other, {"trait": np.tile([0.0, 1.0], 60)}, np.where(other, 0.0, rng.poisson(0.5, 120)))
    contrast = found.contrast("value")
    assert found.fair and contrast.crude[1] == 0
    assert np.isnan(contrast.crude_limits[1]).all() and np.isfinite(contrast.crude_limits[0]).all()
    assert np.isnan([contrast.difference.value, contrast.difference.low, contrast.crude_difference.se]).all() and "came out the same" in contrast.difference.note
