"""Scoring: long and wide answers, blanks, ranges, answers given twice, and what a whole file gives away."""

import time

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from outcomes.longevity import ArgumentError
from outcomes.satisfaction import instrument, score


def wide(n=40, form="ohip_14", seed=1, missing=0.0):
    form, rng = instrument(form), np.random.default_rng(seed)
    matrix = rng.integers(form.minimum, form.maximum + 1, (n, form.items)).astype(float)
    matrix[rng.random(matrix.shape) < missing] = np.nan
    frame = pd.DataFrame(matrix, columns=[f"{form.name}_{i}" for i in range(1, form.items + 1)])
    frame.insert(0, "patient_id", [f"P{i:04d}" for i in range(n)])
    frame.insert(1, "answered_on", pd.date_range("2023-01-02", periods=n, freq="7D"))
    return frame


def long(frame, form="ohip_14"):
    items = frame.melt(["patient_id", "answered_on"], var_name="item", value_name="response").dropna(subset=["response"])
    items["item"] = items["item"].str.rsplit("_", n=1).str[1].astype(int)
    return items.assign(instrument=form).sample(frac=1, random_state=0).reset_index(drop=True)


def test_long_and_wide_answers_give_the_same_scores():
    frame = wide(missing=0.08)
    one, two = score(frame, "ohip_14").table(), score(long(frame), "ohip_14").table()
    pd.testing.assert_frame_equal(one.sort_values("patient_id"), two.sort_values("patient_id").reset_index(drop=True)[one.columns], check_like=True)


def test_blanks_are_prorated_by_the_rule_and_counted():
    """By hand, 14 items: 2 blank of mean 2 gives 28; 3 blank gives none."""
    found = score([[2] * 14, [None, None] + [2] * 12, [None] * 3 + [2] * 11], "ohip_14")
    np.testing.assert_array_equal(found.total, [28, 28, np.nan])
    assert found.counts == {"questionnaires": 3, "complete": 1, "prorated": 1, "without a total": 1, "domain scores prorated": 0}


def test_no_total_is_ever_rebuilt_from_domains():
    """Three blanks in three domains: four domains stand, the total does not."""
    found = score([[None, 2, None, 2, None] + [2] * 9], "ohip_14")
    assert np.isnan(found.total[0]) and np.nansum([v[0] for v in found.domains.values()]) == 16


def test_reversed_items_are_turned_for_the_total_and_for_alpha():
    found = score([[1] * 12], "gohai")
    assert found.total[0] == 24 and list(found.items[0][[2, 4, 6]]) == [5, 5, 5]


def test_words_for_a_blank_and_named_codes_are_missing():
    found = score([["2"] * 12 + ["don't know", "9"], ["2"] * 12 + ["Missing", ""]], "ohip_14", not_answered=[9])
    np.testing.assert_array_equal(found.total, [28, 28])


def test_extent_counts_items_answered_three_or_four():
    """Extent as in Slade et al. 2005 (from memory): items answered 3 or 4."""
    assert score([[0, 1, 2, 3, 4] + [0] * 9], "ohip_14").table()["extent"][0] == 2


def test_a_snap_answer_is_scored_by_its_distance_from_just_right():
    assert list(score(pd.DataFrame({"patient_id": [1, 2, 3], "snap_question": [-2, 0, 1]}), "snap_question").table()["distance"]) == [2, 0, 1]


def test_lines_have_a_score_per_aspect_and_no_total():
    table = score([[50.5] * 8], "denture_lines").table()
    assert "total" not in table and table["comfort"][0] == 50.5


def test_upper_and_lower_dentures_are_questionnaires_of_their_own():
    frame = pd.concat([long(wide(5)).assign(about="upper"), long(wide(5, seed=2)).assign(about="lower")])
    table = score(frame, "ohip_14").table()
    assert len(table) == 10 and set(table["about"]) == {"upper", "lower"}


def test_only_the_asked_instrument_is_taken_from_a_mixed_file():
    mixed = pd.concat([long(wide(4)), pd.DataFrame({"patient_id": ["P9"], "item": [1], "response": [85], "instrument": ["satisfaction_card"]})])
    assert len(score(mixed, "ohip_14").table()) == 4
    assert list(score(mixed, "satisfaction_card").total) == [85]


@given(arrays.arrays(float, (3, 12), elements=st.integers(1, 5).map(float)))
@settings(max_examples=40)
def test_turning_every_answer_round_mirrors_the_total(matrix):
    form = instrument("gohai")
    assert score(6 - matrix, form).total == pytest.approx(form.lowest + form.highest - score(matrix, form).total)


@given(arrays.arrays(float, (4, 14), elements=st.sampled_from([0.0, 1.0, 2.0, 3.0, 4.0, np.nan])))
def test_a_total_lies_in_the_range_and_a_complete_one_is_the_sum(matrix):
    total = score(matrix, "ohip_14").total
    assert ((total >= 0) & (total <= 56) | np.isnan(total)).all()
    complete = ~np.isnan(matrix).any(axis=1)
    np.testing.assert_allclose(total[complete], matrix[complete].sum(axis=1))


# ---------------------------------------------------------------- bad input


def test_an_answer_out_of_range_names_item_and_range_and_no_value():
    frame = wide()
    frame.loc[3, "ohip_14_7"] = 5
    with pytest.raises(ArgumentError, match=r"item 7 is answered outside its range; ohip_14 runs from 0 to 4 in whole steps \(first at position 3\).*0 to 5, 1 to 5") as error:
        score(frame, "ohip_14")
    assert "P0003" not in str(error.value)


def test_an_answer_out_of_range_in_long_rows_names_its_row():
    rows = long(wide())
    rows.loc[100, "response"] = 7
    with pytest.raises(ArgumentError) as error:
        score(rows, "ohip_14")
    assert error.value.position == 100


def test_half_steps_are_refused_where_answers_are_whole():
    with pytest.raises(ArgumentError, match="item 1 .*in whole steps"):
        score([[1.5] + [0] * 13], "ohip_14")


def test_the_range_is_not_taken_from_the_data():
    """Answers 1 to 5 throughout are refused by a 0 to 4 form, however consistent."""
    with pytest.raises(ArgumentError, match="0 to 4"):
        score(np.random.default_rng(1).integers(1, 6, (50, 14)), "ohip_14")


def test_answers_given_twice_and_differently_are_refused():
    rows = long(wide())
    again = rows.iloc[[5]].assign(response=(rows.iloc[5]["response"] + 1) % 5)
    with pytest.raises(ArgumentError, match="items answered twice, and differently, by one patient on one day: 1.*column about"):
        score(pd.concat([rows, again], ignore_index=True), "ohip_14")


def test_answers_given_twice_alike_count_once_and_are_mentioned():
    rows = long(wide())
    found = score(pd.concat([rows, rows.iloc[:3]], ignore_index=True), "ohip_14")
    assert found.counts["questionnaires"] == 40 and "counted once: 3." in found.notes[0]


def test_a_patient_twice_on_one_day_in_a_wide_file_is_refused():
    frame = wide()
    with pytest.raises(ArgumentError, match="stand twice for one patient and day: 1"):
        score(pd.concat([frame, frame.iloc[:1]], ignore_index=True), "ohip_14")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda f: f.drop(columns="ohip_14_9"), r"has no column for item 9 of ohip_14 \(1 of 14 missing\).*item_1"),
        (lambda f: f.assign(ohip_14_15=1), "a column for item 15; ohip_14 has 14 items"),
        (lambda f: f.assign(q3=1), "two columns for item 3"),
        (lambda f: f.assign(ohip_14_2="often"), "answers that are no numbers"),
    ],
)
def test_a_wide_file_that_does_not_fit_is_refused(change, said):
    with pytest.raises(ArgumentError, match=said):
        score(change(wide()), "ohip_14")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda r: r.assign(item=15), "item: must be a whole number from 1 to 14 for ohip_14.*another form"),
        (lambda r: r.assign(instrument="gohai"), "holds no answers to ohip_14. Instruments in it: gohai"),
        (lambda r: r.drop(columns="patient_id"), "has no column patient_id"),
    ],
)
def test_long_rows_that_do_not_fit_are_refused(change, said):
    with pytest.raises(ArgumentError, match=said):
        score(change(long(wide())), "ohip_14")


def test_an_array_of_the_wrong_width_is_refused():
    with pytest.raises(ArgumentError, match=r"shape \(2, 5\) where ohip_14 has 14 items"):
        score(np.zeros((2, 5)), "ohip_14")


# ---------------------------------------------------------------- suspicions


def gohai_answers(n=60, already=False):
    rng = np.random.default_rng(5)
    well = rng.normal(3, 1, n)[:, None]
    matrix = np.clip(np.round(well + rng.normal(0, 0.7, (n, 12))), 1, 5)
    if not already:
        matrix[:, [2, 4, 6]] = 6 - matrix[:, [2, 4, 6]]
    return matrix


def test_items_reversed_before_they_were_typed_are_suspected():
    found = score(gohai_answers(already=True), "gohai")
    assert any("Items 3, 5, 7 run against the rest once reversed" in n and "6 minus the answer" in n for n in found.notes)


def test_honest_reversed_items_raise_no_suspicion():
    assert score(gohai_answers(), "gohai").notes == ()


def test_an_edition_that_starts_higher_is_suspected():
    matrix = np.random.default_rng(2).integers(1, 5, (60, 14))
    assert any("Not one of 840 answers is 0: was an edition used that starts at 1?" in n for n in score(matrix, "ohip_14").notes)


def test_a_form_changed_midway_is_suspected_with_its_day():
    frame = wide(60)
    frame.loc[:29, ["ohip_14_13", "ohip_14_14"]] = np.nan
    assert any(f"Item 13 is answered only from {frame.answered_on[30]:%Y-%m-%d}" in n for n in score(frame, "ohip_14").notes)
    assert not any("Item" in n for n in score(wide(60, missing=0.1), "ohip_14").notes)


@pytest.mark.benchmark
def test_a_million_answers_are_scored_in_three_seconds():
    n = 1_000_000 // 14
    rows = pd.DataFrame({
        "patient_id": np.repeat([f"P{i % 30000:06d}" for i in range(n)], 14), "item": np.tile(np.arange(1, 15), n),
        "answered_on": np.repeat(pd.Timestamp("2020-01-01") + pd.to_timedelta(np.arange(n) // 30000 * 200, "D"), 14),
        "instrument": "ohip_14", "about": "lower", "response": np.random.default_rng(1).integers(0, 5, n * 14),
    })  # fmt: skip
    start = time.perf_counter()
    found = score(rows, "ohip_14")
    print(f"scored {len(rows)} answers in {time.perf_counter() - start:.2f} s")
    assert found.counts["questionnaires"] == n
