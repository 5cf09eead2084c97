"""Episodes: the physical life of each part, and what ends it."""

from __future__ import annotations

import datetime

from clinic_log import Clinic


def brief(rows):
    return [(row["serial"], row["ending"], row["end_day"]) for row in rows]


def test_each_change_of_an_insert_ends_one_part_and_starts_the_next():
    clinic = Clinic().fit("2020-01-01")
    clinic.visit("2021-01-01", "recall", ("33", "insert", "worn", "replaced", {"level": "firm"}), checked="all")
    clinic.visit("2022-01-01", "recall", ("33", "insert", "sound", "replaced", {"change_reason": "wanted lighter", "level": "light"}), checked="all")
    derived = clinic.visit("2022-06-01", "recall", checked="all").build()
    rows = derived.episodes()
    assert brief(rows) == [(1, "failed", 366), (2, "wanted lighter", 365), (3, "", 151)]
    assert [(row["level"], row["retention_n"]) for row in rows] == [("light", 6.7), ("firm", 12.0), ("light", 6.7)]
    assert [row["first_insert"] for row in rows] == [True, False, False]


def test_a_part_still_in_place_ends_on_the_last_day_it_was_recorded_sound():
    row = Clinic().fit("2020-01-01").visit("2021-01-01", checked="all").visit("2022-01-01", checked="none").build().episodes()[0]
    assert (row["ending"], row["ended_on"], row["end_day"], row["last_sound_day"]) == ("", None, 366, 366)


def test_a_part_mended_in_place_goes_on_and_the_mending_is_an_event_within():
    clinic = Clinic().fit("2020-01-01").visit("2020-07-01", "problem", ("33", "abutment", "loose in its seat", "tightened"))
    derived = clinic.visit("2021-01-01", checked="all").build()
    assert brief(derived.episodes("abutment")) == [(1, "", 366)]
    events = derived.rows("SELECT * FROM episode_events")
    assert [(e["episode_id"], e["day"], e["kind"], e["action"]) for e in events] == [("P1/33/abutment/1", 182, "mended", "tightened")]


def test_a_worn_insert_left_in_is_not_recorded_sound_again():
    clinic = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all")
    clinic.visit("2021-01-01", "recall", ("33", "insert", "worn", "none"), checked="all")
    row = clinic.visit("2022-01-01", checked="all").build().episodes()[0]
    assert (row["ending"], row["last_sound_day"]) == ("", 182)


def test_housings_and_inserts_end_with_their_denture_and_the_abutment_outlives_it():
    clinic = Clinic(denture={"retired_on": "2022-01-01", "retired_reason": "remade"}).fit("2020-01-01")
    clinic.visit("2021-12-01", checked="all")
    clinic.denture("2022-01-01")
    clinic.visit("2022-01-01", "delivery", ("33", "housing", "not present", "fitted"), ("33", "insert", "not present", "fitted"))
    derived = clinic.visit("2023-01-01", checked="all").build()
    assert [(r["denture_id"], r["ending"], r["end_day"]) for r in derived.episodes("housing")] == [("P1/lower/1", "denture retired", 731), ("P1/lower/2", "", 365)]
    assert [(r["denture_id"], r["ending"], r["first_insert"]) for r in derived.episodes()] == [("P1/lower/1", "denture retired", True), ("P1/lower/2", "", True)]
    assert brief(derived.episodes("abutment")) == [(1, "", 1096)]


def test_a_denture_without_a_retirement_date_ends_when_the_next_one_is_delivered():
    clinic = Clinic().fit("2020-01-01").denture("2022-01-01").visit("2022-01-01", "delivery", ("33", "housing", "not present", "fitted"))
    assert [r["ending"] for r in clinic.build().episodes("housing")] == ["denture retired", ""]


def test_an_insert_goes_with_its_housing_unless_it_has_a_row_of_its_own():
    clinic = Clinic().fit("2020-01-01", ("33", "43"))
    clinic.visit("2021-01-01", "problem", ("33", "housing", "debonded", "replaced"), ("43", "housing", "debonded", "replaced"), ("43", "insert", "worn", "replaced"))
    derived = clinic.visit("2022-01-01", checked="all").build()
    assert brief(derived.episodes(position="33")) == [(1, "with its carrier", 366)]
    assert brief(derived.episodes(position="43")) == [(1, "failed", 366), (2, "", 365)]


def test_an_insert_stays_when_its_housing_is_picked_up_again():
    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "problem", ("33", "housing", "debonded", "picked up again"))
    derived = clinic.visit("2022-01-01", checked="all").build()
    assert brief(derived.episodes()) == [(1, "", 731)]
    assert brief(derived.episodes("housing")) == [(1, "", 731)]


def test_whatever_stands_on_an_implant_is_out_of_service_from_the_day_that_was_lost():
    clinic = Clinic().fit("2020-01-01").visit("2020-12-01", checked="all")
    clinic.tables["implants"].append({"patient_id": "P1", "position": "33", "state": "lost", "state_on": "2021-03-01"})
    derived = clinic.visit("2021-06-01", "recall", ("33", "insert", "sound", "left out on purpose"), checked="all").build()
    for part in ("abutment", "housing", "insert"):
        assert brief(derived.episodes(part)) == [(1, "implant lost", 425)]
        assert derived.episodes(part)[0]["last_sound_day"] == 335


def test_an_abutment_taken_out_on_the_day_its_implant_was_lost_ended_with_the_implant():
    clinic = Clinic().fit("2020-01-01").visit("2021-03-01", "problem", ("33", "abutment", "not checked", "removed"))
    clinic.tables["implants"].append({"patient_id": "P1", "position": "33", "state": "lost", "state_on": "2021-03-01"})
    assert brief(clinic.build().episodes("abutment")) == [(1, "implant lost", 425)]


def test_a_site_left_empty_starts_again_only_when_something_is_fitted():
    clinic = Clinic().fit("2020-01-01").visit("2020-06-01", "recall", ("33", "insert", "sound", "left out on purpose"))
    clinic.visit("2020-09-01", "recall", ("33", "insert", "not present", "none"), checked="all")
    derived = clinic.visit("2021-01-01", "recall", ("33", "insert", "not present", "fitted")).visit("2022-01-01", checked="all").build()
    assert brief(derived.episodes()) == [(1, "left out on purpose", 152), (2, "", 365)]


def test_a_lost_part_is_gone_and_one_put_back_is_not():
    clinic = Clinic().fit("2020-01-01", ("33", "43"))
    derived = clinic.visit("2021-01-01", "problem", ("33", "insert", "lost", "none"), ("43", "insert", "lost", "taken out and put back")).visit("2022-01-01", checked="all").build()
    assert brief(derived.episodes(position="33")) == [(1, "failed", 366)]
    assert brief(derived.episodes(position="43")) == [(1, "", 731)]


def test_a_housing_moved_elsewhere_leaves_its_site_sound():
    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "other", ("33", "housing", "sound", "moved"))
    assert brief(clinic.build().episodes("housing")) == [(1, "moved elsewhere", 366)]


def test_housings_taken_over_from_the_old_denture_have_no_known_beginning():
    clinic = Clinic().fit("2020-01-01").denture("2022-01-01", housings_from="moved from the old denture")
    clinic.visit("2022-01-01", "delivery", ("33", "housing", "not present", "fitted"), ("33", "insert", "not present", "fitted"))
    derived = clinic.build()
    new = derived.episodes("housing")[1]
    assert (new["arrival"], new["start_known"]) == ("already in place", False)
    assert derived.episodes()[1]["arrival"] == "fitted"


def test_a_part_on_a_new_denture_logged_as_replaced_has_none_before_it():
    clinic = Clinic().fit("2020-01-01").denture("2022-01-01")
    clinic.visit("2022-01-01", "delivery", ("33", "housing", "sound", "replaced", {"change_reason": "denture remade"}))
    rows = clinic.build().episodes("housing")
    assert [(r["denture_id"], r["serial"], r["arrival"]) for r in rows] == [("P1/lower/1", 1, "fitted"), ("P1/lower/2", 1, "fitted")]


def test_a_conversion_changes_the_parts_and_keeps_the_denture():
    clinic = Clinic().fit("2020-01-01")
    rows = [("33", part, "sound", "replaced", {"change_reason": "conversion", "attachment": "stud"}) for part in ("abutment", "housing", "insert")]
    derived = clinic.visit("2021-01-01", "conversion", *rows).visit("2022-01-01", checked="all").build()
    for part in ("abutment", "housing", "insert"):
        assert brief(derived.episodes(part)) == [(1, "with other work", 366), (2, "", 365)]


def test_leaving_is_told_by_how_the_patient_left():
    for reason, ending in (("died", "died"), ("moved", "moved"), ("withdrew", "withdrew"), ("lost to follow-up", "lost to follow-up"), ("changed to fixed", "denture retired")):
        row = Clinic(left_on="2021-01-01", left_reason=reason).fit("2020-01-01").visit("2020-06-01", checked="all").build(closing_day="2024-01-01").episodes()[0]
        assert (row["ending"], row["ended_on"], row["end_day"]) == (ending, datetime.date(2021, 1, 1), 366)


def test_the_number_of_sites_is_the_number_of_positions_of_the_denture():
    derived = Clinic().fit("2020-01-01", ("33", "43", "35", "45")).build()
    assert {row["sites"] for row in derived.rows("SELECT sites FROM episodes")} == {4}


def test_the_clinician_of_an_episode_is_the_one_who_fitted_it():
    clinic = Clinic().fit("2020-01-01", clinician="A").visit("2021-01-01", "recall", ("33", "insert", "worn", "replaced"), clinician="B")
    assert [row["clinician"] for row in clinic.build().episodes()] == ["A", "B"]


def test_two_visits_on_one_day_keep_their_order():
    clinic = Clinic().fit("2020-01-01")
    clinic.visit("2021-01-01", "problem", ("33", "insert", "worn", "replaced"), visit_order=2)
    clinic.visit("2021-01-01", "recall", ("33", "insert", "sound", "none"), visit_order=1)
    derived = clinic.build()
    assert brief(derived.episodes()) == [(1, "failed", 366), (2, "", 0)]
    assert derived.time("insert worn")["right_day"] == 366


def test_upper_and_lower_dentures_of_one_patient_are_looked_at_apart():
    clinic = Clinic().fit("2020-01-01", ("33",), arch="lower")
    clinic.denture("2020-01-01", arch="upper").fit("2020-01-01", ("13",), arch="upper")
    derived = clinic.visit("2021-01-01", checked="all", arch="upper").build()
    assert derived.episodes(position="13")[0]["last_sound_day"] == 366
    assert derived.episodes(position="33")[0]["last_sound_day"] == 0


def test_a_bar_belongs_to_the_mouth_and_its_clip_goes_with_the_housing():
    clinic = Clinic()
    rows = [("33-43", part, "not present", "fitted", {"attachment": "bar"}) for part in ("bar", "housing", "clip")]
    clinic.visit("2020-01-01", "delivery", *rows, checked="all")
    clinic.visit("2021-01-01", "problem", ("33-43", "housing", "debonded", "replaced")).denture("2022-01-01")
    derived = clinic.visit("2023-01-01", checked="all").build()
    assert brief(derived.episodes("bar", "33-43")) == [(1, "", 1096)]
    assert brief(derived.episodes("clip", "33-43")) == [(1, "with its carrier", 366)]
    assert brief(derived.episodes("housing", "33-43")) == [(1, "failed", 366), (2, "denture retired", 365)]


def test_an_insert_that_shows_up_where_none_was_fitted_is_of_unknown_age():
    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "problem", ("33", "housing", "debonded", "replaced"))
    derived = clinic.visit("2022-01-01", "recall", ("33", "insert", "worn", "replaced")).visit("2023-01-01", checked="all").build()
    rows = derived.episodes()
    assert brief(rows) == [(1, "with its carrier", 366), (2, "failed", None), (3, "", 365)]
    assert [(row["arrival"], row["start_known"]) for row in rows] == [("fitted", True), ("already in place", False), ("fitted", True)]
    assert [row["excluded"] for row in derived.times("insert worn")] == ["", "unknown start", ""]
    assert derived.time("first repair", position=None)["right_day"] == 366


def test_a_site_left_empty_stays_so_through_lines_that_say_nothing():
    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "recall", ("33", "insert", "sound", "removed"))
    clinic.visit("2021-06-01", "recall", ("33", "insert", "not checked", "none")).visit("2022-01-01", "recall", ("33", "insert", "lost", "none"))
    assert brief(clinic.build().episodes()) == [(1, "removed", 366)]
