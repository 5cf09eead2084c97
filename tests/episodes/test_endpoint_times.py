"""Endpoint times: how far a unit is known to have been without the event, and the first day it was found."""

from __future__ import annotations

import pytest
from clinic_log import Clinic


def span(row, rule="day"):
    return row[f"left_{rule}"], row[f"right_{rule}"]


def one_insert(*visits, **rules):
    clinic = Clinic().fit("2020-01-01")
    for visit in visits:
        keywords = visit[-1] if isinstance(visit[-1], dict) else {}
        clinic.visit(*[part for part in visit if not isinstance(part, dict)], **keywords)
    return clinic.build(**rules)


WORN = ("33", "insert", "worn", "replaced")


def test_wear_lies_between_the_last_sound_look_and_the_visit_that_found_it():
    row = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2021-01-01", "recall", WORN)).time("insert worn")
    assert span(row) == (182, 366) and row["observed"] and row["cause"] == "event" and row["found_at"] == "recall"


def test_without_a_failure_an_examination_endpoint_is_censored_at_the_last_look():
    row = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2021-01-01", "recall", {"checked": "none"})).time("insert worn")
    assert span(row) == (182, None) and row["found_day"] == 182 and row["found_day_other"] == 366 - 30


def test_a_visit_that_checked_inserts_only_says_nothing_of_housings():
    derived = one_insert(("2021-01-01", "recall", {"checked": "inserts only"}))
    assert derived.time("insert worn")["left_look"] == 366
    assert derived.time("housing loss")["left_look"] == 0
    assert derived.time("abutment loosening")["left_look"] == 0


def test_nothing_is_seen_by_telephone_and_no_abutment_in_the_laboratory():
    derived = one_insert(("2020-07-01", "laboratory", {"checked": "all"}), ("2021-01-01", "contact only", {"checked": "all"}))
    assert derived.time("insert worn")["left_look"] == 182
    assert derived.time("abutment loosening")["left_look"] == 0


def test_a_part_listed_as_not_checked_was_not_looked_at_though_all_others_were():
    derived = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2021-01-01", "recall", ("33", "insert", "not checked", "none"), {"checked": "all"}))
    assert derived.time("insert worn")["left_look"] == 182
    assert derived.time("housing loss")["left_look"] == 366


def test_a_look_before_an_unseen_one_still_counts_however_many_lines_lie_between():
    silent = ("33", "insert", "not checked", "none")
    derived = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2020-09-01", "recall", silent, {"checked": "all"}), ("2020-10-01", "recall", silent),
                         ("2020-11-01", "recall", silent, {"checked": "all"}), ("2021-01-01", "recall", WORN))  # fmt: skip
    assert span(derived.time("insert worn")) == (182, 366)


def test_a_part_overgrown_or_covered_was_not_seen():
    for finding in ("tissue grown over", "covered", "notes silent"):
        derived = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2021-01-01", "recall", ("33", "abutment", finding, "none")))
        assert derived.time("abutment loosening")["left_look"] == 182


def test_a_finding_that_does_not_count_proves_the_endpoint_had_not_happened():
    derived = Clinic().fit("2020-01-01").visit("2021-01-01", "recall", ("33", "housing", "worn", "none")).visit("2022-01-01", "recall", ("33", "housing", "lost", "replaced")).build()
    assert span(derived.time("housing loss"), "look") == (366, 731)


def test_the_first_failing_look_ends_the_clock_though_the_part_stays():
    derived = one_insert(("2021-01-01", "recall", ("33", "insert", "worn", "none")), ("2022-01-01", "recall", WORN))
    assert span(derived.time("insert worn")) == (0, 366)
    assert derived.time("any insert change")["right_day"] == 731
    assert derived.episodes()[0]["end_day"] == 731


def test_worn_and_wanted_firmer_is_a_failure():
    row = one_insert(("2021-01-01", "recall", (*WORN, {"change_reason": "wanted firmer"}))).time("insert worn")
    assert row["observed"] and row["right_day"] == 366


def test_sound_and_wanted_firmer_is_a_change_known_sound_that_day():
    change = ("33", "insert", "sound", "replaced", {"change_reason": "wanted firmer"})
    row = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2021-01-01", "recall", change)).time("insert worn")
    assert span(row) == (366, None) and row["cause"] == "wanted firmer" and row["competing_day"] == 366


def test_not_checked_and_changed_is_censored_at_the_last_look():
    change = ("33", "insert", "not checked", "replaced", {"change_reason": "routine"})
    row = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2021-01-01", "recall", change)).time("insert worn")
    assert span(row) == (182, None) and (row["cause"], row["competing_day"]) == ("routine", 366)


def test_a_change_of_an_insert_is_on_record_and_its_day_exact():
    change = ("33", "insert", "not checked", "replaced", {"change_reason": "routine"})
    derived = one_insert(("2021-01-01", "recall", change), ("2021-06-01", "contact only"))
    assert span(derived.time("any insert change")) == (365, 366)
    assert derived.time("any insert change", serial=2)["left_day"] == 151


def test_a_failure_on_the_day_of_fitting_lies_in_the_first_day():
    clinic = Clinic().fit("2020-01-01", visit_order=1).visit("2020-01-01", "problem", WORN, visit_order=2)
    row = clinic.build().time("insert worn")
    assert span(row) == (0, 1) and row["found_day"] == 1


def test_a_patient_who_feels_the_failure_comes_within_the_notice_days():
    debonded = ("33", "housing", "debonded", "replaced")
    derived = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all").visit("2021-01-01", "problem", debonded).build()
    row = derived.time("housing bond failure")
    assert span(row) == (336, 366) and span(row, "look") == (182, 366)
    row = Clinic().fit("2020-01-01").visit("2020-12-20", checked="all").visit("2021-01-01", "problem", debonded).build().time("housing bond failure")
    assert span(row) == (354, 366)


def test_a_failure_the_patient_feels_found_at_a_recall_may_be_as_old_as_the_last_look():
    row = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all").visit("2021-01-01", "recall", ("33", "housing", "debonded", "replaced")).build().time("housing bond failure")
    assert span(row) == (182, 366)


def test_without_a_failure_the_patient_rule_follows_to_the_closing_day_less_the_notice_days():
    derived = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all").build(closing_day="2022-01-01")
    row = derived.time("housing bond failure")
    assert (row["left_day"], row["left_look"], row["right_day"]) == (731 - 30, 182, None)


@pytest.mark.parametrize(("reason", "cause"), [("moved", ""), ("withdrew", ""), ("lost to follow-up", ""), ("treated elsewhere", ""), ("died", "died"), ("changed to plain denture", "denture retired")])
def test_the_patient_rule_stops_when_the_patient_leaves(reason, cause):
    row = Clinic(left_on="2021-01-01", left_reason=reason).fit("2020-01-01").visit("2020-07-01", checked="all").build(closing_day="2022-01-01").time("housing bond failure")
    assert row["left_day"] == 366 - 30 and row["cause"] == cause
    assert row["competing_day"] == (366 if cause else None)


def test_giving_up_the_denture_only_ends_the_watching_of_an_abutment():
    derived = Clinic(left_on="2021-01-01", left_reason="changed to fixed").fit("2020-01-01").build(closing_day="2022-01-01")
    assert derived.time("abutment loosening")["cause"] == ""


def test_the_patient_rule_stops_when_the_denture_is_retired_or_the_part_taken_out():
    derived = Clinic(denture={"retired_on": "2021-01-01", "retired_reason": "remade"}).fit("2020-01-01").build(closing_day="2023-01-01")
    row = derived.time("housing bond failure")
    assert (row["left_care"], row["cause"], row["competing_day"]) == (336, "denture retired", 366)
    derived = Clinic().fit("2020-01-01").visit("2021-01-01", "other", ("33", "housing", "not checked", "removed")).build(closing_day="2023-01-01")
    assert derived.time("housing bond failure")["left_care"] == 336


def test_a_day_noticed_narrows_the_interval_to_that_day():
    lost = ("33", "insert", "lost", "replaced", {"noticed_on": "2020-10-01"})
    row = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2021-01-01", "problem", lost)).time("insert worn")
    assert (row["noticed_left"], row["noticed_right"]) == (273, 274) and span(row) == (182, 366)


def test_a_month_noticed_narrows_the_interval_to_that_month():
    lost = ("33", "insert", "lost", "replaced", {"noticed_on": "2020-10"})
    row = one_insert(("2021-01-01", "problem", lost)).time("insert worn")
    assert (row["noticed_left"], row["noticed_right"]) == (273, 304)


def test_a_day_noticed_outside_the_interval_is_not_used_and_said():
    lost = ("33", "insert", "lost", "replaced", {"noticed_on": "2020-05-01"})
    derived = one_insert(("2020-07-01", "recall", {"checked": "all"}), ("2021-01-01", "problem", lost))
    row = derived.time("insert worn")
    assert (row["noticed_left"], row["noticed_right"]) == (182, 366)
    assert any("noticed" in sentence for sentence in derived.built.warnings)


def test_a_day_noticed_long_before_the_notice_days_still_narrows():
    debonded = ("33", "housing", "debonded", "replaced", {"noticed_on": "2020-10-01"})
    row = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all").visit("2021-01-01", "problem", debonded).build().time("housing bond failure")
    assert span(row) == (336, 366) and (row["noticed_left"], row["noticed_right"]) == (273, 274)


def test_picking_a_housing_up_again_ends_one_bond_and_starts_the_next():
    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "problem", ("33", "housing", "debonded", "picked up again", {"pick_up": "chairside"}))
    derived = clinic.visit("2021-07-01", "problem", ("33", "housing", "debonded", "replaced")).build()
    rows = derived.times("housing bond failure")
    assert [(r["serial"], r["right_day"], r["observed"], r["fresh"]) for r in rows] == [(1, 366, True, True), (2, 181, True, True), (3, None, False, True)]
    assert len(derived.episodes("housing")) == 2
    assert [(r["serial"], r["observed"]) for r in derived.times("housing loss")] == [(1, False), (2, False)]


def test_a_tightened_abutment_was_loose_even_if_nothing_else_was_written():
    derived = Clinic().fit("2020-01-01").visit("2021-01-01", "recall", ("33", "abutment", "notes silent", "tightened")).build()
    assert span(derived.time("abutment loosening")) == (0, 366)


def test_ball_wear_asks_for_balls():
    def clinic(attachment):
        made = Clinic()
        return made.visit("2020-01-01", "delivery", ("33", "abutment", "not present", "fitted", {"attachment": attachment} if attachment else {}))

    worn = ("33", "abutment", "worn", "replaced", {"attachment": "ball"})
    assert clinic("ball").visit("2021-01-01", "recall", worn).build().time("attachment wear")["right_day"] == 366
    assert [row["serial"] for row in clinic("stud").visit("2021-01-01", "recall", worn).build().times("attachment wear")] == [2]
    assert clinic(None).build().time("attachment wear")["excluded"] == "attachment not recorded"


def test_a_broken_base_is_counted_from_delivery():
    clinic = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all").visit("2021-01-01", "problem", denture_rows=(("base fractured", "repaired"),))
    row = clinic.build().time("denture fracture", position=None)
    assert (row["unit_kind"], row["unit_id"]) == ("denture", "P1/lower/1")
    assert span(row) == (336, 366) and span(row, "look") == (182, 366)


def test_a_denture_retired_because_it_broke_is_a_broken_denture():
    row = Clinic(denture={"retired_on": "2021-01-01", "retired_reason": "fractured"}).fit("2020-01-01").build(closing_day="2022-01-01").time("denture fracture", position=None)
    assert row["observed"] and row["right_day"] == 366


def test_a_reline_is_on_record():
    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "laboratory", checked="none", denture_rows=(("not recorded", "relined"), ("poor fit", "to laboratory")))
    assert span(clinic.build().time("reline or rebase", position=None)) == (365, 366)


def test_implant_loss_counts_from_the_day_its_first_abutment_was_fitted():
    clinic = Clinic().fit("2020-01-01", ("33", "43")).visit("2020-07-01", checked="all")
    clinic.tables["implants"] += [{"patient_id": "P1", "position": "33", "state": "lost", "state_on": "2021-01-01"}, {"patient_id": "P1", "position": "43", "state": "in use"}]
    derived = clinic.build(closing_day="2022-01-01")
    lost, kept = derived.times("implant loss")
    assert (lost["unit_id"], span(lost)) == ("P1/33", (365, 366))
    assert (kept["unit_id"], kept["right_day"], kept["left_day"]) == ("P1/43", None, 731)


def test_an_implant_lost_on_an_unknown_day_was_lost_somewhere_after_its_last_look():
    clinic = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all")
    clinic.tables["implants"].append({"patient_id": "P1", "position": "33", "state": "lost", "state_on": "2021"})
    left, right = span(clinic.build(closing_day="2023-01-01").time("implant loss"))
    assert left <= 366 and right == 730


def test_the_first_repair_of_a_denture_is_the_first_failure_at_any_of_its_sites():
    clinic = Clinic().fit("2020-01-01", ("33", "43"))
    clinic.visit("2020-06-01", "recall", ("43", "insert", "sound", "replaced", {"change_reason": "wanted lighter"}), checked="all")
    clinic.visit("2021-01-01", "problem", ("43", "housing", "debonded", "picked up again"))
    clinic.visit("2021-06-01", "problem", ("33", "insert", "worn", "replaced"))
    row = clinic.build().time("first repair", position=None)
    assert span(row) == (365, 366) and row["found_at"] == "problem" and row["level"] == "light" and row["sites"] == 2


def test_a_first_repair_by_report_counts_too():
    clinic = Clinic().fit("2020-01-01")
    clinic.visit("2021-01-01", "recall", ("33", "insert", "sound", "replaced", {"change_reason": "wanted firmer"}), snap="a bit loose", snap_history="was right before")
    assert clinic.build().time("first repair", position=None)["right_day"] == 366


def test_a_failure_that_counts_elsewhere_rules_the_part_out_under_its_own_name():
    derived = Clinic().fit("2020-01-01").visit("2021-01-01", "problem", ("33", "housing", "debonded", "replaced")).build()
    row = derived.time("housing loss")
    assert (row["observed"], row["cause"], row["competing_day"]) == (False, "failed otherwise", 366)


def test_an_endpoint_of_the_clinics_own_can_be_added_by_the_plan():
    from outcomes.episodes import build
    from outcomes.plan import read_plan

    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "recall", ("33", "insert", "debris in it", "cleaned"))
    plan = dict(read_plan()) | {"endpoints": [{"name": "insert clogged", "unit": "insert", "findings": ["debris in it"], "noticed_by": "examination"}]}
    derived = clinic.build()
    build(derived.connection, plan)
    assert derived.time("insert clogged")["right_day"] == 366


def test_choosing_endpoints_brings_what_they_are_made_of():
    derived = Clinic().fit("2020-01-01").build(endpoints=["first repair"])
    assert {row["endpoint"] for row in derived.rows("SELECT DISTINCT endpoint FROM endpoint_times")} == {
        "first repair", "insert worn or reported loose", "housing bond failure", "abutment loosening", "attachment wear", "clip worn", "bar loosening", "denture fracture"} - {"attachment wear", "clip worn", "bar loosening"}  # fmt: skip


def on_a_bar(*visits):
    clinic = Clinic().visit("2020-01-01", "delivery", *[("33-43", part, "not present", "fitted", {"attachment": "bar"}) for part in ("bar", "housing", "clip")], checked="all")
    for visit in visits:
        clinic.visit(*visit)
    return clinic.build()


def test_a_worn_clip_and_a_loose_bar_are_repairs_of_their_denture_too():
    worn = on_a_bar(("2020-07-01", "recall", ("33-43", "clip", "sound", "none")), ("2021-01-01", "problem", ("33-43", "clip", "worn", "replaced")))
    assert span(worn.time("clip worn", position="33-43")) == (182, 366)
    assert worn.time("first repair", position=None)["right_day"] == 366
    loose = on_a_bar(("2021-01-01", "recall", ("33-43", "bar", "loose in its seat", "tightened")))
    assert loose.time("bar loosening", position="33-43")["right_day"] == 366
    assert loose.time("first repair", position=None)["right_day"] == 366
