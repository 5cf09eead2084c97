"""What cannot be used is refused by name, position and remedy; what is not defined is nan with a note, never a silent number."""

import numpy as np
import pandas as pd
import pytest

from outcomes import longevity
from outcomes.longevity import ArgumentError

NAN, INF = float("nan"), float("inf")
REFUSED = {
    "a negative duration": (lambda: longevity.kaplan_meier([1, -2, 3], [1, 0, 1]), "duration", 1),
    "a missing duration": (lambda: longevity.kaplan_meier([1, NAN], [1, 0]), "duration", 1),
    "an endless duration": (lambda: longevity.kaplan_meier([INF, 1], [0, 1]), "duration", 0),
    "no rows": (lambda: longevity.kaplan_meier([], []), "duration", None),
    "words for days": (lambda: longevity.kaplan_meier(["a week"], [1]), "duration", None),
    "an event that is neither": (lambda: longevity.kaplan_meier([1, 2], [1, 2]), "observed", 1),
    "spans of time for days": (lambda: longevity.kaplan_meier(pd.to_timedelta([1, 2], unit="D"), [1, 1]), "duration", None),
    "dates for days": (lambda: longevity.turnbull(pd.to_datetime(["2024-01-01"]), [5]), "left", None),
    "two quantiles at once": (lambda: longevity.kaplan_meier([1, 2], [1, 1]).quantile([0.2, 0.5]), "p", None),
    "too few events": (lambda: longevity.kaplan_meier([1, 2], [1]), "observed", None),
    "an event unknown to pandas": (lambda: longevity.kaplan_meier([1, 2], pd.array([True, None], dtype="boolean")), "observed", 1),
    "a missing event": (lambda: longevity.kaplan_meier([1, 2], [1, NAN]), "observed", 1),
    "entry on the last day": (lambda: longevity.kaplan_meier([3, 2], [1, 1], entry=[0, 2]), "entry", 1),
    "entry after the end": (lambda: longevity.kaplan_meier([3, 2], [1, 1], entry=[4, 0]), "entry", 0),
    "a missing entry": (lambda: longevity.kaplan_meier([3, 2], [1, 1], entry=[NAN, 0]), "entry", 0),
    "a negative weight": (lambda: longevity.kaplan_meier([1, 2], [1, 1], weights=[1, -1]), "weights", 1),
    "weights all zero": (lambda: longevity.kaplan_meier([1, 2], [1, 1], weights=[0, 0]), "weights", None),
    "a missing cluster": (lambda: longevity.kaplan_meier([1, 2], [1, 1], cluster=["p", None]), "cluster", 1),
    "a level of 95": (lambda: longevity.kaplan_meier([1, 2], [1, 1], level=95), "level", None),
    "an unknown transform": (lambda: longevity.kaplan_meier([1, 2], [1, 1], transform="logit"), "transform", None),
    "a quantile of 50": (lambda: longevity.kaplan_meier([1, 2], [1, 1]).quantile(50), "p", None),
    "a mean past the last day": (lambda: longevity.kaplan_meier([1, 2], [1, 0]).restricted_mean(3), "horizon", None),
    "a mean within nothing": (lambda: longevity.kaplan_meier([1, 2], [1, 0]).restricted_mean(0), "horizon", None),
    "influence without rows": (lambda: longevity.kaplan_meier_from_counts([1], [1], [1]).influence_at(1), "rows", None),
    "a table without ends": (lambda: longevity.kaplan_meier_from_counts([1], [0], [0]), "failed", None),
    "more gone than came": (lambda: longevity.kaplan_meier_from_counts([0, 1], [0, 2], [0, 0], entered=[1, 0]), "entered", None),
    "more failed than at risk": (lambda: longevity.kaplan_meier_from_counts([1, 2], [1, 3], at_risk=[3, 2]), "failed", 1),
    "a table with half its columns": (lambda: longevity.kaplan_meier_from_counts([1, 2], [1, 1]), "left", None),
    "left after right": (lambda: longevity.turnbull([1, 5], [2, 3]), "right", 1),
    "a negative left": (lambda: longevity.turnbull([-1, 5], [2, 7]), "left", 0),
    "a missing right": (lambda: longevity.turnbull([1, 5], [2, NAN]), "right", 1),
    "an endless left": (lambda: longevity.turnbull([INF], [INF]), "left", 0),
    "no intervals": (lambda: longevity.turnbull([], []), "left", None),
    "an interval mean past all ends": (lambda: longevity.turnbull([1, 5], [3, INF]).restricted_mean(6), "horizon", None),
    "one group": (lambda: longevity.compare_curves([1, 2], [1, 1], ["a", "a"]), "group", None),
    "a missing group": (lambda: longevity.compare_curves([1, 2], [1, 1], ["a", None]), "group", 1),
    "an unknown weighting": (lambda: longevity.compare_curves([1, 2], [1, 1], ["a", "b"], weighting="wilcoxon"), "weighting", None),
    "three groups to subtract": (lambda: longevity.restricted_mean_difference([1, 2, 3], [1, 1, 1], list("abc"), horizon=1), "group", None),
    "patients of both groups": (lambda: longevity.interval_mean_difference([1, 2], [3, 4], list("ab"), horizon=1, cluster=[7, 7]), "cluster", 0),
    "no cause at all": (lambda: longevity.cumulative_incidence([1, 2], ["", None]), "cause", None),
    "an unknown cause": (lambda: longevity.cumulative_incidence([1, 2], ["worn", ""]).incidence_at(1, "lost"), "cause", None),
    "overlapping rows of a unit": (lambda: longevity.mean_cumulative_function([1, 1], [0, 3], [5, 8], [0, 1]), "start", 1),
    "start after stop": (lambda: longevity.mean_cumulative_function([1], [3], [2], [1]), "start", 0),
    "a negative count": (lambda: longevity.mean_cumulative_function([1], [0], [2], [-1]), "event", 0),
    "an event nobody could have": (lambda: longevity.mean_cumulative_function([1, 2], [0, 6], [5, 6], [0, 1]), "event", 1),
    "a unit that ends twice": (lambda: longevity.mean_cumulative_function([1, 1], [0, 5], [5, 8], [0, 0], ended=[1, 1]), "ended", 0),
    "a day only one group reaches": (lambda: longevity.mean_count_contrast([1, 2], [0, 0], [9, 5], [1, 1], ["a", "b"], day=7), "day", None),
    "a state out of nowhere": (lambda: longevity.state_occupancy([1, 1], [0, 5], [5, 8], ["light", "firm"], ["medium", ""]), "state_from", 1),
    "a state not named": (lambda: longevity.state_occupancy([1], [0], [5], [""], ["firm"]), "state_from", 0),
    "a row of no length": (lambda: longevity.state_occupancy([1], [5], [5], ["light"], ["firm"]), "start", 0),
    "no exposure": (lambda: longevity.event_rate(3, 0), "exposure", None),
    "a negative count of events": (lambda: longevity.event_rate(-1, 5), "events", 0),
    "no exposure in the other": (lambda: longevity.rate_ratio(1, 5, 1, 0), "exposure_other", None),
    "more answers than asked": (lambda: longevity.wilson_interval(5, 4), "events", None),
    "a percentage for a share": (lambda: longevity.effective_sample_interval(95, 0.1, parts=9, at_risk=9), "share", None),
    "a censored gap before another": (lambda: longevity.serial_gaps(["33", "33"], [1, 2], [0, 1]), "complete", 0),
    "a serial number twice": (lambda: longevity.serial_gaps(["33", "33"], [1, 1], [1, 0]), "serial", 1),
    "a p-value of 5": (lambda: longevity.holm([0.1, 5]), "p_values", 1),
    "a ratio outside its limits": (lambda: longevity.e_value(2, 3, 4), "low", None),
    "an entry too late for its table": (lambda: longevity.risk_table([3], [1], [1], entry=[3]), "entry", 0),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refused_by_name_position_and_remedy(what):
    call, argument, position = REFUSED[what]
    with pytest.raises(ArgumentError) as refusal:
        call()
    assert refusal.value.argument == argument and refusal.value.position == position
    assert str(refusal.value).startswith(argument) and refusal.value.remedy in str(refusal.value)


def test_a_refused_horizon_names_the_largest_allowed():
    with pytest.raises(ArgumentError, match="largest horizon these rows allow is 90"):
        longevity.kaplan_meier([30, 90], [1, 0]).restricted_mean(365)


# ------------------------------------------------------------------ defined or not

def test_nobody_failed():
    curve = longevity.kaplan_meier([100, 200], [0, 0])
    assert curve.survival_at(150) == 1 and curve.quantile(0.5) == INF and curve.standard_error_at(150) == 0
    assert np.isnan(curve.interval_at(150)).all() and "nobody failed" in curve.note
    careful = longevity.kaplan_meier([100, 200], [0, 0], small_sample=True)
    assert careful.interval_at(50) == pytest.approx((0.025**0.5, 1)) and careful.interval_at(150) == pytest.approx((0.025, 1))


def test_everybody_failed():
    curve = longevity.kaplan_meier([10, 20], [1, 1])
    assert curve.survival_at(30) == 0 and curve.standard_error_at(30) == 0 and np.isnan(curve.interval_at(30)).all()
    assert curve.restricted_mean(30).value == 15 and curve.quantile(1) == 20
    careful = longevity.kaplan_meier([10, 20], [1, 1], small_sample=True)
    assert careful.interval_at(30) == pytest.approx((0, 1 - 0.025))


def test_past_the_last_day_nothing_is_known():
    curve = longevity.kaplan_meier([10, 20], [1, 0])
    assert curve.survival_at(20) == 0.5 and np.isnan(curve.survival_at(21)) and np.isnan(curve.interval_at(21)).all()
    assert np.isnan(longevity.cumulative_incidence([10, 20], ["worn", ""]).incidence_at(21, "worn"))
    assert np.isnan(longevity.mean_cumulative_function([1], [0], [20], [1]).mean_at(21))


@pytest.mark.parametrize("fit", [
    lambda **k: longevity.kaplan_meier([10, 20, 30], [1, 0, 1], **k).standard_error_at(10),
    lambda **k: longevity.kaplan_meier([10, 20, 30], [1, 0, 1], **k).restricted_mean(25).se,
    lambda **k: longevity.turnbull([0, 5, 7], [6, 9, INF], **k).standard_error_at(9),
    lambda **k: longevity.turnbull([0, 5, 7], [6, 9, INF], **k).restricted_mean(5).se,
    lambda **k: longevity.cumulative_incidence([10, 20, 30], ["worn", "", "lost"], **k).standard_error_at(10, "worn"),
    lambda **k: longevity.mean_cumulative_function([1, 2, 3], [0, 0, 0], [9, 9, 9], [1, 0, 2], **k).standard_error_at(9),
    lambda **k: longevity.state_occupancy([1, 2, 3], [0, 0, 0], [9, 8, 9], ["a"] * 3, ["b", "", ""], **k).standard_error_at(9, "a"),
    lambda **k: longevity.event_rate([1, 2, 3], [5, 5, 5], **k).se,
])
def test_one_cluster_has_no_spread(fit):
    assert np.isnan(fit(cluster=["one"] * 3))


def test_late_entrants_cannot_raise_a_curve_that_fell_to_zero():
    curve = longevity.kaplan_meier([5, 40, 50], [1, 1, 0], entry=[0, 10, 20])
    assert curve.survival_at(30) == 0 and "cannot raise the curve again" in curve.note


def test_groups_never_at_risk_together_cannot_be_compared():
    test = longevity.compare_curves([1, 2, 11, 12], [1, 1, 1, 1], list("aabb"), entry=[0, 0, 10, 10])
    assert np.isnan(test.statistic) and np.isnan(test.p_value) and test.df == 0 and "nothing to compare" in test.note


def test_few_clusters_are_named():
    rows = dict(duration=np.arange(1, 13), observed=np.ones(12), group=list("ab") * 6)
    assert "too few" in longevity.compare_curves(**rows, cluster=np.arange(12) // 2).note
    assert "8 %" in longevity.compare_curves(**rows, cluster=np.arange(12)).note


def test_ratios_of_nothing():
    assert longevity.rate_ratio(0, 5, 0, 5).note and np.isnan(longevity.rate_ratio(0, 5, 0, 5).value)
    assert longevity.rate_ratio(2, 5, 0, 5).value == INF and longevity.rate_ratio(0, 5, 2, 5).value == 0
    silent = longevity.mean_count_contrast([1, 2], [0, 0], [9, 9], [0, 0], ["a", "b"], day=5)["log_ratio"]
    assert np.isnan(silent.value) and "no ratio" in silent.note


def test_weights_that_are_no_counts_are_said_to_be_taken_as_such():
    assert "no whole numbers" in longevity.kaplan_meier([1, 2], [1, 0], weights=[0.5, 1.5]).note
    assert longevity.kaplan_meier([1, 2], [1, 0], weights=[0.5, 1.5], cluster=[1, 2]).note == ""


def test_rows_of_weight_zero_are_as_if_absent():
    curve = longevity.kaplan_meier([1, 2, 3, 4], [1, 1, 0, 1], weights=[1, 0, 1, 1], entry=[0, 0, 0, 2])
    without = longevity.kaplan_meier([1, 3, 4], [1, 0, 1], entry=[0, 0, 2])
    np.testing.assert_allclose(curve.table().to_numpy(float), without.table().to_numpy(float))
    assert curve.influence_at(3)[1] == 0
    assert longevity.turnbull([0, 1, 2], [5, 6, INF], weights=[1, 0, 1]).log_likelihood == longevity.turnbull([0, 2], [5, INF]).log_likelihood


def test_results_cannot_be_changed():
    curve = longevity.kaplan_meier([1, 2], [1, 0])
    with pytest.raises(AttributeError):
        curve.level = 0.5


def test_columns_of_a_frame_with_its_own_index_are_taken_by_position():
    frame = pd.DataFrame({"day": [3, 1, 2], "failed": [True, False, True], "who": pd.Categorical(["p", "q", "p"])}, index=[7, 8, 9])
    assert longevity.kaplan_meier(frame.day, frame.failed, cluster=frame.who).survival_at(2) == 0.5


def test_a_missing_right_end_is_told_how_to_say_not_yet():
    with pytest.raises(ArgumentError, match="inf says that it had not happened by the last look"):
        longevity.turnbull([0, 2], [5, NAN])


def test_upkeep_without_an_event_says_why_it_has_no_limits():
    curve = longevity.mean_cumulative_function(["a", "b"], [0, 0], [8, 8], [0, 0])
    assert curve.mean_at(5) == 0 and np.isnan(curve.interval_at(5)).all() and "no event" in curve.note


@pytest.mark.parametrize("group, cluster", [(list("aabbab"), ["p"] * 6), (list("abcabc"), ["p", "p", "p", "q", "q", "q"])])
def test_a_test_with_no_more_clusters_than_dimensions_has_no_statistic(group, cluster):
    found = longevity.compare_curves([3, 5, 6, 8, 10, 12], [1, 0, 1, 1, 1, 1], group, cluster=cluster)
    assert np.isnan([found.statistic, found.p_value]).all() and "cannot tell" in found.note
