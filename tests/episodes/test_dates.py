"""Dates as coarse as people remember them: they widen intervals and never narrow them."""

from __future__ import annotations

import datetime

from clinic_log import Clinic

WORN = ("33", "insert", "worn", "replaced")


def test_a_failing_look_in_a_month_lies_at_the_months_end_and_a_sound_one_at_its_beginning():
    row = Clinic().fit("2020-01-01").visit("2020-07", checked="all").visit("2021-01", "recall", WORN).visit("2023-01-01", checked="none").build().time("insert worn")
    assert (row["left_day"], row["right_day"], row["found_day"]) == (182, 396, 396)


def test_a_part_fitted_in_a_month_is_as_young_or_as_old_as_that_allows():
    row = Clinic(delivered="2020-01").fit("2020-01").visit("2020-07-01", checked="all").visit("2021-01-01", "recall", WORN).build().time("insert worn")
    assert (row["left_day"], row["right_day"], row["found_day"]) == (152, 366, 336)


def test_a_coarse_visit_that_may_lie_after_the_next_change_says_nothing_of_unlisted_parts():
    derived = Clinic().fit("2020-01-01").visit("2021-01", checked="all").visit("2021-01-20", "recall", WORN).build()
    assert derived.time("insert worn")["left_day"] == 0
    assert derived.built.counts["visits_in_unknown_order"] == 1


def test_a_coarse_listed_look_that_may_lie_after_the_change_is_not_used_either():
    derived = Clinic().fit("2020-01-01").visit("2021-01", "recall", ("33", "insert", "sound", "none")).visit("2021-01-20", "recall", WORN).build()
    assert derived.time("insert worn")["left_day"] == 0


def test_a_coarse_visit_is_cut_at_the_delivery_that_must_have_come_before():
    derived = Clinic(delivered="2020-03-20").visit("2020-03", "recall", WORN).fit("2020-03-20").build(closing_day="2021-01-01")
    row = derived.time("insert worn")
    assert (row["left_day"], row["right_day"]) == (0, 11)


def test_a_coarse_delivery_is_cut_at_the_next_visit():
    derived = Clinic(delivered="2020-01").fit("2020-01").visit("2020-01-08", "review", checked="all").visit("2021-01-08", checked="all").build()
    row = derived.time("insert worn")
    assert (row["left_day"], row["right_day"]) == (366, None)


def test_no_visit_lies_after_the_closing_day():
    derived = Clinic().fit("2020-01-01").visit("2021", "recall", WORN).build(closing_day="2021-02-01")
    assert derived.time("insert worn")["right_day"] == 397


def test_visits_after_the_closing_day_are_not_read():
    derived = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all").visit("2021-01-01", "recall", WORN).build(closing_day="2020-12-31")
    row = derived.time("insert worn")
    assert (row["observed"], row["left_day"]) == (False, 182)
    assert derived.built.counts["visits_after_closing"] == 1


def test_the_closing_day_is_the_last_visit_of_any_patient():
    clinic = Clinic().fit("2020-01-01")
    clinic.patient("P2", delivered="2021-01-01").fit("2021-01-01").visit("2022-01-01", "contact only", checked="none")
    derived = clinic.build()
    assert derived.rows("SELECT closing_day FROM settings") == [{"closing_day": datetime.date(2022, 1, 1)}]
    assert [row["left_care"] for row in derived.times("housing loss")] == [731 - 30, 365 - 30]


def test_a_month_of_death_is_taken_at_its_first_day_but_not_before_the_last_visit():
    clinic = Clinic(left_on="2021-03", left_reason="died").fit("2020-01-01").visit("2021-03-10", checked="all")
    row = clinic.build(closing_day="2023-01-01").episodes()[0]
    assert (row["ending"], row["ended_on"], row["last_sound_day"]) == ("died", datetime.date(2021, 3, 10), 434)


def test_a_reason_for_leaving_without_a_day_ends_at_the_last_visit():
    clinic = Clinic(left_reason="lost to follow-up").fit("2020-01-01").visit("2021-01-01", checked="all")
    row = clinic.build(closing_day="2023-01-01").time("housing loss")
    assert (row["left_care"], row["cause"]) == (366, "")


def test_a_visit_without_any_day_is_counted_and_not_used():
    derived = Clinic().fit("2020-01-01").visit("not known", "recall", WORN).visit("2021-01-01", checked="all").build()
    assert derived.built.counts["visits_without_a_day"] == 1
    assert any("no day" in sentence for sentence in derived.built.warnings)


def test_lifetimes_count_calendar_days_over_leap_years():
    row = Clinic(delivered="2019-12-31").fit("2019-12-31").visit("2024-12-31", "recall", WORN).build().time("insert worn")
    assert row["right_day"] == 1827  # 5 years, two of them leap years: 5 * 365 + 2, by the calendar
