"""Parts already in place when the log began: who enters when, and who does not."""

from __future__ import annotations

from clinic_log import Clinic


def old_insert(first_finding="sound", reason="recall", since="2018-01-01", *, endpoint="insert worn", later=(), **keywords):
    clinic = Clinic(delivered="2018-01-01")
    clinic.visit("2020-01-01", reason, ("33", "insert", first_finding, "none" if first_finding != "worn" else "replaced", {"in_place_since": since}), **keywords)
    for visit in later:
        clinic.visit(*visit[:-1], **visit[-1])
    return clinic.build()


WORN_LATER = (("2021-01-01", "recall", ("33", "insert", "worn", "replaced"), {}),)


def test_a_part_with_a_known_day_enters_when_first_seen_sound():
    row = old_insert(later=WORN_LATER).time("insert worn")
    assert (row["excluded"], row["fresh"], row["entry_day"], row["left_day"], row["right_day"]) == ("", False, 730, 730, 1096)


def test_a_part_of_unknown_age_has_no_lifetime_and_the_sites_later_parts_are_kept():
    derived = old_insert(since="not known", later=WORN_LATER)
    first, second = derived.times("insert worn")
    assert (first["excluded"], first["left_day"]) == ("unknown start", None)
    assert (second["excluded"], second["fresh"], second["serial"], second["first_insert"]) == ("", True, 2, False)
    assert derived.episodes()[0]["start_known"] is False


def test_a_part_found_failed_on_arrival_is_left_out_and_counted():
    derived = old_insert("worn")
    assert derived.time("insert worn")["excluded"] == "found failed on arrival"
    assert {"endpoint": "insert worn", "excluded": "found failed on arrival", "units": 1} in [
        {key: row[key] for key in ("endpoint", "excluded", "units")} for row in derived.rows("SELECT * FROM flow")]  # fmt: skip


def test_a_failing_that_does_not_count_is_no_bar_to_entry():
    derived = Clinic(delivered="2018-01-01").visit("2020-01-01", "recall", ("33", "housing", "worn", "none", {"in_place_since": "2018-01-01"})).visit("2021-01-01", checked="all").build()
    assert derived.time("housing loss")["entry_day"] == 730


def test_a_first_look_at_a_problem_visit_lets_the_part_in_at_the_next_look():
    later = (("2020-07-01", "recall", {"checked": "all"}), *WORN_LATER)
    assert old_insert(reason="problem", later=later).time("insert worn")["entry_day"] == 912


def test_failed_at_the_look_after_a_problem_visit_it_never_was_at_risk():
    row = old_insert(reason="problem", later=WORN_LATER).time("insert worn")
    assert row["excluded"] == "failed before it entered" and row["found_day"] is None


def test_a_part_not_checked_at_its_first_line_enters_when_it_is():
    later = (("2020-07-01", "recall", {"checked": "all"}), *WORN_LATER)
    assert old_insert("not checked", later=later).time("insert worn")["entry_day"] == 912


def test_a_part_never_looked_at_is_never_at_risk():
    later = (("2021-01-01", "contact only", {"checked": "none"}),)
    assert old_insert("not checked", later=later).time("insert worn")["excluded"] == "never seen sound"


def test_a_part_seen_once_has_no_time_at_risk():
    assert old_insert().time("insert worn")["excluded"] == "no time at risk"


def test_a_month_or_year_in_place_widens_only_one_way():
    row = old_insert(since="2018", later=WORN_LATER).time("insert worn")
    assert (row["entry_day"], row["left_day"], row["right_day"], row["found_day"]) == (366, 366, 1096, 732)


def test_a_year_in_place_that_runs_past_the_first_line_is_cut_there():
    derived = Clinic(delivered="2020").visit("2020-06-01", "recall", ("33", "insert", "sound", "none", {"in_place_since": "2020"})).visit("2021-06-01", checked="all").build()
    row = derived.time("insert worn")
    assert (row["entry_day"], row["left_day"]) == (0, 365)


def test_looks_before_the_parts_first_line_count_from_the_day_it_is_known_to_have_been_there():
    clinic = Clinic(delivered="2018-01-01").visit("2020-01-01", checked="all").visit("2020-07-01", checked="all")
    clinic.visit("2021-01-01", "recall", ("33", "insert", "worn", "replaced", {"in_place_since": "2018-01-01"}))
    row = clinic.build().time("insert worn")
    assert (row["excluded"], row["entry_day"], row["left_day"], row["right_day"]) == ("", 730, 912, 1096)


def test_an_old_denture_enters_at_its_first_look():
    clinic = Clinic(delivered="2018-01-01").visit("2020-01-01", checked="all").visit("2021-01-01", "problem", denture_rows=(("base fractured", "repaired"),))
    row = clinic.build().time("denture fracture", position=None)
    assert (row["fresh"], row["entry_day"], row["right_day"]) == (False, 730, 1096)


def test_an_old_implant_enters_with_its_abutment():
    clinic = Clinic(delivered="2018-01-01").visit("2020-01-01", "recall", ("33", "abutment", "sound", "none", {"in_place_since": "2017-06-01"})).visit("2021-01-01", checked="all")
    row = clinic.build(closing_day="2022-01-01").time("implant loss")
    assert (row["fresh"], row["entry_day"], row["left_day"]) == (False, 944, 1675)


def test_a_new_bond_of_an_old_housing_is_followed_from_its_first_day():
    clinic = Clinic(delivered="2018-01-01").visit("2020-01-01", "problem", ("33", "housing", "debonded", "picked up again", {"in_place_since": "not known"}))
    first, second = clinic.visit("2021-01-01", checked="all").build().times("housing bond failure")
    assert first["excluded"] == "unknown start"
    assert (second["excluded"], second["fresh"], second["serial"], second["entry_day"]) == ("", True, 2, 0)


def test_old_parts_are_no_first_inserts():
    assert old_insert(later=WORN_LATER).episodes()[0]["first_insert"] is False


def test_an_old_insert_changed_at_its_first_look_has_no_time_at_risk():
    clinic = Clinic(delivered="2018-01-01").visit("2020-01-01", "recall", ("33", "insert", "sound", "replaced", {"in_place_since": "2018-01-01", "change_reason": "routine"}))
    derived = clinic.visit("2021-01-01", checked="all").build()
    assert derived.time("any insert change")["excluded"] == "no time at risk"
    assert derived.time("insert worn")["excluded"] == "no time at risk"
