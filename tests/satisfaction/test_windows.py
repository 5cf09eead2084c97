"""Occasions from days, pairs, and who did not answer."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.longevity import ArgumentError
from outcomes.satisfaction import WINDOWS, answer_status, assign_windows, pairs, response_rates, silent_at_start


def test_the_last_answer_before_delivery_and_the_nearest_after_count():
    days = [-200, -90, -3, 61, 95, 180, 545, 546, 1094, 1095, 2190, 2191]
    found = assign_windows(["p"] * len(days), days)
    # 12 months are day 365: 180 lies 185 away, 545 lies 180; 24 months day 730: 546 lies nearer; 60 months day 1826: 2190 lies nearer.
    assert dict(zip(days, found.window)) == {
        -200: "", -90: "", -3: "before", 61: "", 95: "month 3", 180: "", 545: "month 12", 546: "month 24", 1094: "", 1095: "", 2190: "month 60", 2191: "",
    }  # fmt: skip
    assert found.counts["outside every window"] == 2 and found.counts["nearer answer in the window"] == 5
    assert "Answers outside every window, left out: 2 of 12 (days −200 to 2191 since delivery)" in found.notes[0]


def test_the_first_weeks_belong_to_no_window():
    assert list(assign_windows(["p"] * 3, [1, 7, 59]).window) == ["", "", ""]


def test_upper_and_lower_have_windows_of_their_own():
    assert list(assign_windows(["p", "p"], [90, 92], about=["upper", "lower"]).window) == ["month 3", "month 3"]


def test_a_named_occasion_counts_only_where_the_day_is_unknown():
    found = assign_windows(["a", "b", "c"], [np.nan, 400, np.nan], given=["before", "month 3", None])
    assert list(found.window) == ["before", "month 12", ""]
    assert any("name another occasion than their day falls in: 1; the day decided" in n for n in found.notes)


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(-300, 2500)), max_size=40), st.randoms())
def test_a_patient_has_at_most_one_answer_an_occasion_whatever_the_order(rows, random):
    found = assign_windows([p for p, _ in rows], [d for _, d in rows]).window
    used = [(p, w) for (p, _), w in zip(rows, found) if w]
    assert len(used) == len(set(used))
    assert sum(assign_windows([p for p, _ in rows], [d for _, d in rows]).counts.values()) == len(rows)
    shuffled = random.sample(rows, len(rows))
    again = assign_windows([p for p, _ in shuffled], [d for _, d in shuffled]).window
    assert sorted((p, d, w) for (p, d), w in zip(rows, found) if w) == sorted((p, d, w) for (p, d), w in zip(shuffled, again) if w)


def test_windows_that_overlap_are_refused():
    with pytest.raises(ArgumentError, match="windows: overlap"):
        assign_windows(["p"], [1], windows=(*WINDOWS, WINDOWS[1]))


def test_pairs_keep_the_silent_and_leave_out_who_has_no_start():
    found = pairs(["a", "a", "b", "c"], ["before", "month 12", "before", "month 12"], [40.0, 70, 50, 60])
    assert found.values.tolist()[0] == ["a", "", "month 12", 40.0, 70.0]
    assert found["patient"].tolist() == ["a", "b"] and np.isnan(found["after"][1])


def test_two_answers_for_one_occasion_are_refused():
    with pytest.raises(ArgumentError, match="answer twice on one occasion: 1.*assign_windows"):
        pairs(["a", "a"], ["before", "before"], [1.0, 2.0])


# ---------------------------------------------------------------- who answered


def cohort():
    people = pd.DataFrame({
        "patient": ["answers", "silent", "dies", "moves", "new", "remade", "dies later"],
        "followed": [2000, 2000, 200, 200, 300, 200, 380],
        "ending": ["", "", "died", "moved", "", "denture retired", "died"],
    })  # fmt: skip
    return answer_status(people.patient, people.followed, people.ending, {("answers", "month 12"), ("dies", "month 3")})


def test_the_dead_and_those_without_the_denture_are_not_non_answerers():
    status = cohort().set_index(["patient", "window"])["status"]
    year = {p: status[p, "month 12"] for p in status.index.unique("patient")}
    assert year == {
        "answers": "answered", "silent": "no answer", "dies": "died", "moves": "moved", "new": "not yet due",
        "remade": "without the denture", "dies later": "no answer",
    }  # fmt: skip
    assert status["dies", "month 3"] == "answered"


def test_the_rate_is_out_of_those_there_and_a_low_one_carries_a_caution():
    """At a year 7 started: 1 not yet due, 1 died, 1 without the denture; of 4 asked 1 answered."""
    c = cohort()
    found = response_rates(c.window, c.status)
    row = found.table().set_index("window").loc["month 12"]
    assert (row["started"], row["not yet due"], row["died"], row["without the denture"], row["asked"], row["answered"]) == (7, 1, 1, 1, 4, 1)
    assert row["started"] == row["not yet due"] + row["died"] + row["without the denture"] + row["asked"]
    assert row["caution"] and row["why not"] == "moved 1; no answer 2" and row["there"] == pytest.approx(4 / 6)
    assert found.missing_share["month 12"] == pytest.approx(0.75)
    assert any(n.startswith("month 12: 1 of 4 answered (25%)") for n in found.notes)


def test_a_good_rate_carries_no_caution():
    found = response_rates(["month 3"] * 10, ["answered"] * 6 + ["no answer"] * 4)
    assert not found.table()["caution"][0] and found.notes == ()  # 60 % exactly is enough


def test_a_patient_standing_twice_is_refused():
    with pytest.raises(ArgumentError, match="patient: stands twice.*one denture at a time"):
        answer_status(["a", "a"], [100, 100], ["", ""], set())


def test_the_silent_are_compared_at_the_start():
    """By hand: answered 50, 60; silent 30, 40: 20 points lower."""
    row = silent_at_start(["month 12"] * 4, [50, 60, 30, 40], [70, 70, np.nan, np.nan]).table().iloc[0]
    assert (row["answered"], row["silent"], row["difference"]) == (2, 2, -20)
    assert row["low"] < -20 < row["high"]
