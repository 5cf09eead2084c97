"""The rules by which day sheet and set-up become long tables, each under its number in outcomes/intake/day_sheet.py."""

from __future__ import annotations

import pandas as pd
import pytest

LEVELS = [{"level": word, "system": "A", "retention": force, "unit": "N"} for word, force in (("light", "6.7"), ("medium", "13"))]


def parts(checked, day: str, *columns: str) -> dict:
    """(position, part) → the columns asked for, of one visit; missing cells are None."""
    rows = checked.tables["parts_log"]
    rows = rows[rows["visit_id"] == f"P1/{day}"]
    columns = columns or ("finding", "action", "change_reason")
    plain = rows[["position", "part", *columns]].astype(object)
    plain = plain.where(plain.notna(), None)
    return {(one[0], one[1]): one[2] if len(columns) == 1 else tuple(one[2:]) for one in plain.itertuples(index=False)}


def clean(checked):
    assert checked.error_count == 0, checked.problems[["rule", "message", "line"]].to_string()
    return checked


def test_1_a_line_is_one_visit_with_its_cells_as_given(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery", seen_by="dentist", clinician="A", minutes="45", snap="a bit firm", snap_history="never right")))
    visit = checked.tables["visits"].iloc[0]
    assert (visit["visit_id"], visit["patient_id"], visit["reason"], visit["seen_by"], visit["clinician"], visit["minutes"], visit["parts_checked"], visit["snap"], visit["snap_history"]) \
        == ("P1/2021-05-04", "P1", "delivery", "dentist", "A", 45.0, "all", "a bit firm", "never right")
    assert pd.isna(visit["arch"]) and visit["visited_on"] == pd.Timestamp(2021, 5, 4) and visit["visited_on_precision"] == "day"


def test_1_the_jaw_and_the_order_enter_the_key_only_where_written(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2022-01-10", arch="lower"), sheet.line("2022-01-10", "problem", arch="lower", visit_order="2"), sheet.line("2022-03")))
    assert checked.tables["visits"]["visit_id"].tolist() == ["P1/2021-05-04", "P1/2022-01-10/lower", "P1/2022-01-10/lower/2", "P1/2022-03"]


def test_2_a_set_fitted_on_the_day_is_three_parts_at_each_position(sheet):
    sets = sheet.pair(torque_ncm="25", height_mm="3", pick_up="chairside", divergence_deg="8")
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sets=sets))
    new = ("not present", "fitted", None)
    assert parts(checked, "2021-05-04") == {(at, part): new for at in ("33", "43") for part in ("abutment", "housing", "insert")}
    found = parts(checked, "2021-05-04", "attachment", "level", "torque_ncm", "height_mm", "pick_up")
    assert found["33", "abutment"] == ("stud", None, 25.0, 3.0, None)
    assert found["33", "housing"] == ("stud", None, None, None, "chairside")
    assert found["33", "insert"] == ("stud", "light", None, None, None)
    assert checked.tables["implants"][["position", "divergence_deg", "state"]].to_numpy().tolist() == [["33", 8.0, "in use"], ["43", 8.0, "in use"]]
    assert checked.tables["implants"]["state_on_precision"].isna().all()


def test_2_a_bar_is_a_bar_with_housing_and_clip(sheet):
    sets = [dict(sheet.pair()[0], position="33-43", attachment="bar")]
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2022-05-04", inserts_changed="all", why="worn", level_now="light"), sets=sets))
    assert set(parts(checked, "2021-05-04")) == {("33-43", "bar"), ("33-43", "housing"), ("33-43", "clip")}
    assert parts(checked, "2022-05-04") == {("33-43", "clip"): ("worn", "replaced", "failed")}
    assert not len(checked.tables["implants"])


def test_2_a_conversion_replaces_what_is_there_and_keeps_the_denture(sheet):
    sets = sheet.pair(attachment="ball") + sheet.pair("2023-03-01", attachment="stud")
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-03-01", "conversion", worn_at="33", abutments="43 loose in its seat"), sets=sets))
    found = parts(checked, "2023-03-01")
    assert found["33", "housing"] == found["43", "insert"] == found["33", "abutment"] == ("sound", "replaced", "conversion")
    assert found["33", "insert"] == ("worn", "replaced", "conversion")
    assert found["43", "abutment"] == ("loose in its seat", "replaced", "conversion")
    assert checked.tables["dentures"]["denture_id"].tolist() == ["P1/lower/1"]


def test_2_an_implant_added_later_is_fitted_beside_what_is_there(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2022-02-02", "other"), sets=sheet.pair() + [dict(sheet.pair("2022-02-02")[0], position="midline")]))
    assert parts(checked, "2022-02-02") == {("midline", part): ("not present", "fitted", None) for part in ("abutment", "housing", "insert")}


def test_2_a_part_taken_out_for_good_is_fitted_again_not_replaced(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2022-01-10", "problem", housings="33 lost, removed"), sheet.line("2022-02-10", "other"),
                          sets=sheet.pair() + [dict(sheet.pair("2022-02-10")[0])]))
    found = parts(checked, "2022-02-10", "action")
    assert (found["33", "abutment"], found["33", "housing"]) == ("replaced", "fitted")


@pytest.mark.parametrize("renewing", [{"reason": "delivery"}, {"reason": "other", "denture": "remade"}])
def test_2_a_renewal_retires_the_denture_and_starts_the_next(sheet, renewing):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2024-02-01", **renewing), sheet.line("2024-06-01", inserts_changed="33", why="worn", level_now="light"),
                          sets=sheet.pair() + sheet.pair("2024-02-01")))
    dentures = checked.tables["dentures"]
    assert dentures["denture_id"].tolist() == ["P1/lower/1", "P1/lower/2"]
    assert dentures["retired_on"].tolist()[0] == dentures["delivered_on"].tolist()[1] == pd.Timestamp(2024, 2, 1)
    assert dentures["retired_reason"].astype(object).where(dentures["retired_reason"].notna(), None).tolist() == ["remade", None]
    assert parts(checked, "2024-02-01", "action") == {(at, part): "replaced" if part == "abutment" else "fitted" for at in ("33", "43") for part in ("abutment", "housing", "insert")}
    assert set(parts(checked, "2024-02-01", "denture_id").values()) == set(parts(checked, "2024-06-01", "denture_id").values()) == {"P1/lower/2"}


def test_2_a_denture_converted_at_its_first_set_existed_before(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "conversion")))
    assert checked.tables["dentures"]["existing"].tolist() == ["yes"]


@pytest.mark.parametrize("fitted_on, day, precision", [("2019-06-01", "2019-06-01", "day"), ("2019-06", "2019-06-01", "month"), ("2019", "2019-01-01", "year"), ("not known", None, "not known")])
def test_3_a_set_from_before_enters_with_the_first_line_as_already_in_place(sheet, fitted_on, day, precision):
    checked = clean(sheet(sheet.line("2021-05-04"), sheet.line("2022-05-04"), sets=sheet.pair(fitted_on)))
    assert parts(checked, "2021-05-04") == {(at, part): ("sound", "none", None) for at in ("33", "43") for part in ("abutment", "housing", "insert")}
    assert parts(checked, "2022-05-04") == {}
    rows = checked.tables["parts_log"]
    assert set(rows["in_place_since_precision"]) == {precision}
    assert rows["in_place_since"].isna().all() if day is None else set(rows["in_place_since"]) == {pd.Timestamp(day)}
    denture = checked.tables["dentures"].iloc[0]
    assert denture["delivered_on_precision"] == precision and (pd.isna(denture["delivered_on"]) if day is None else denture["delivered_on"] == pd.Timestamp(day))


@pytest.mark.parametrize("checked_parts, insert, others", [("all", "sound", "sound"), ("inserts only", "sound", "not checked"), ("listed only", "not checked", "not checked"),
                                                            ("none", "not checked", "not checked"), ("notes silent", "not checked", "not checked")])
def test_3_what_was_found_of_parts_already_in_place_follows_parts_checked(sheet, checked_parts, insert, others):
    found = parts(clean(sheet(sheet.line("2021-05-04", parts_checked=checked_parts), sets=sheet.pair("2019"))), "2021-05-04", "finding")
    assert found == {(at, part): insert if part == "insert" else others for at in ("33", "43") for part in ("abutment", "housing", "insert")}


def test_3_what_the_first_line_says_of_a_part_stands(sheet):
    line = sheet.line("2021-05-04", inserts_changed="33", why="worn", level_now="medium", housings="43 debonded, picked up again", abutments="33 tightened")
    checked = clean(sheet(line, sets=sheet.pair("2019"), insert_levels=LEVELS))
    found = parts(checked, "2021-05-04", "finding", "action", "change_reason", "level")
    assert found["33", "insert"] == ("worn", "replaced", "failed", "medium")
    assert found["43", "insert"] == ("sound", "none", None, "light")
    assert found["43", "housing"] == ("debonded", "picked up again", None, None)
    assert found["33", "abutment"] == ("loose in its seat", "tightened", None, None)
    assert set(parts(checked, "2021-05-04", "in_place_since_precision").values()) == {"year"}


def test_3_a_set_written_late_for_a_day_without_a_line_is_an_error(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sets=sheet.pair() + [dict(sheet.pair("2022-02-02")[0], position="34")])
    one = checked.problems.query("severity == 'error'")
    assert one[["rule", "file", "cell"]].to_numpy().tolist() == [["set without a visit line", "set_up.csv", "D4"]]


@pytest.mark.parametrize("why", ["worn", "torn", "lost"])
def test_4_failed_inserts_are_those_at_worn_at_and_the_others_went_with_their_pair(sheet, why):
    found = parts(clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="33 43", why=why, worn_at="43", level_now="light"))), "2023-01-10")
    assert found == {("43", "insert"): (why, "replaced", "failed"), ("33", "insert"): ("sound", "replaced", "with its pair")}


def test_4_without_worn_at_every_insert_changed_had_failed(sheet):
    found = parts(clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="all", why="worn", level_now="light"))), "2023-01-10")
    assert found == {(at, "insert"): ("worn", "replaced", "failed") for at in ("33", "43")}


@pytest.mark.parametrize("checked_parts, finding", [("all", "sound"), ("inserts only", "sound"), ("listed only", "not checked"), ("notes silent", "not checked")])
def test_4_what_was_found_of_the_pair_follows_parts_checked(sheet, checked_parts, finding):
    line = sheet.line("2023-01-10", parts_checked=checked_parts, inserts_changed="all", why="worn", worn_at="33", level_now="light")
    assert parts(clean(sheet(sheet.line("2021-05-04", "delivery"), line)), "2023-01-10")["43", "insert"] == (finding, "replaced", "with its pair")


@pytest.mark.parametrize("why, reason", [("wanted firmer", "wanted firmer"), ("wanted lighter", "wanted lighter"), ("routine", "routine"), ("other work", "with reline or housing work")])
def test_4_a_change_for_another_reason_keeps_it_and_worn_at_is_still_seen(sheet, why, reason):
    found = parts(clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="all", why=why, worn_at="33", level_now="light"))), "2023-01-10")
    assert found == {("33", "insert"): ("worn", "replaced", reason), ("43", "insert"): ("sound", "replaced", reason)}


def test_4_a_change_without_why_says_so(sheet):
    found = parts(clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="33", level_now="light"))), "2023-01-10")
    assert found == {("33", "insert"): ("notes silent", "replaced", "not recorded")}


def test_4_worn_at_without_why_still_says_which_had_failed(sheet):
    found = parts(clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="all", worn_at="33", level_now="light"))), "2023-01-10")
    assert found == {("33", "insert"): ("worn", "replaced", "failed"), ("43", "insert"): ("sound", "replaced", "with its pair")}


def test_4_an_insert_found_worn_and_left_in_is_a_row_without_an_action(sheet):
    found = parts(clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="none", worn_at="33"))), "2023-01-10")
    assert found == {("33", "insert"): ("worn", "none", None)}


def test_4_levels_are_one_for_all_or_one_for_each(sheet):
    lines = [sheet.line("2021-05-04", "delivery"), sheet.line("2022-01-10", inserts_changed="all", why="wanted firmer", level_now="Medium"),
             sheet.line("2023-01-10", inserts_changed="33 43", why="wanted firmer", level_now="33:light 43: MEDIUM"), sheet.line("2024-01-10", inserts_changed="33", why="routine")]
    checked = clean(sheet(*lines, insert_levels=LEVELS))
    assert parts(checked, "2022-01-10", "level") == {("33", "insert"): "medium", ("43", "insert"): "medium"}
    assert parts(checked, "2023-01-10", "level") == {("33", "insert"): "light", ("43", "insert"): "medium"}
    assert parts(checked, "2024-01-10", "level") == {("33", "insert"): None}
    assert checked.problems["rule"].tolist() == ["level blank at a change"] and checked.problems[["table", "column"]].to_numpy().tolist() == [["day_sheet", "level_now"]]


def test_4_all_means_the_sites_in_place_by_then_and_none_whose_implant_is_lost(sheet):
    sets = sheet.pair() + [dict(sheet.pair("2023-01-10")[0], position="midline")]
    lines = [sheet.line("2021-05-04", "delivery"), sheet.line("2022-01-10", inserts_changed="all", why="routine", level_now="light"), sheet.line("2023-01-10", "other"),
             sheet.line("2024-01-10", inserts_changed="all", why="routine", level_now="light"), sheet.line("2025-01-10", inserts_changed="all", why="routine", level_now="light")]
    implants = [{"patient_id": "P1", "position": "43", "state": "lost", "state_on": "2024-06-01"}]
    checked = clean(sheet(*lines, sets=sets, implants=implants))
    assert [{at for at, _ in parts(checked, day)} for day in ("2022-01-10", "2024-01-10", "2025-01-10")] == [{"33", "43"}, {"33", "43", "midline"}, {"33", "midline"}]


def test_5_words_about_housings_and_abutments_are_read_by_their_grammar(sheet):
    lines = [sheet.line("2021-05-04", "delivery"), sheet.line("2022-01-10", "problem", housings="33 picked up again; 43 loose in its seat", abutments="all tightened"),
             sheet.line("2023-01-10", "problem", housings="33 replaced", abutments="43 worn, replaced")]
    checked = clean(sheet(*lines))
    assert parts(checked, "2022-01-10") == {
        ("33", "housing"): ("debonded", "picked up again", None), ("43", "housing"): ("loose in its seat", "none", None),
        ("33", "abutment"): ("loose in its seat", "tightened", None), ("43", "abutment"): ("loose in its seat", "tightened", None)}
    assert parts(checked, "2023-01-10") == {("33", "housing"): ("notes silent", "replaced", "not recorded"), ("43", "abutment"): ("worn", "replaced", "not recorded")}


def test_5_fine_is_written_only_where_parts_checked_does_not_say_so(sheet):
    lines = [sheet.line("2021-05-04", "delivery"), sheet.line("2022-01-10", housings="fine", abutments="fine"),
             sheet.line("2023-01-10", parts_checked="inserts only", housings="Fine"), sheet.line("2024-01-10", parts_checked="listed only", abutments="fine")]
    checked = clean(sheet(*lines))
    assert parts(checked, "2022-01-10") == {}
    assert parts(checked, "2023-01-10") == {(at, "housing"): ("sound", "none", None) for at in ("33", "43")}
    assert parts(checked, "2024-01-10") == {(at, "abutment"): ("sound", "none", None) for at in ("33", "43")}


def test_5_what_is_said_of_the_denture_becomes_rows_of_the_denture_log(sheet):
    lines = [sheet.line("2021-05-04", "delivery"), sheet.line("2022-01-10", denture="fine"), sheet.line("2023-01-10", denture="poor fit, relined; tooth worn"),
             sheet.line("2024-01-10", "laboratory", parts_checked="none", snap="not asked", denture="to laboratory")]
    rows = clean(sheet(*lines)).tables["denture_log"]
    assert rows[["visit_id", "denture_id", "finding", "action"]].to_numpy().tolist() == [
        ["P1/2022-01-10", "P1/lower/1", "sound", "none"], ["P1/2023-01-10", "P1/lower/1", "poor fit", "relined"], ["P1/2023-01-10", "P1/lower/1", "tooth worn", "none"],
        ["P1/2024-01-10", "P1/lower/1", "not recorded", "to laboratory"]]


def test_6_snap_lost_belongs_to_the_failing_inserts(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", "problem", inserts_changed="all", why="torn", worn_at="33", level_now="light", housings="43 debonded, picked up again", snap_lost="2023-01")))
    assert parts(checked, "2023-01-10", "noticed_on_precision") == {("33", "insert"): "month", ("43", "insert"): None, ("43", "housing"): None}


def test_6_else_to_the_failing_housings_and_else_it_is_a_warning(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", "problem", housings="33 debonded, picked up again; 43 cleaned", snap_lost="2023-01-05"),
                          sheet.line("2023-02-10", "problem", snap_lost="not known")))
    assert parts(checked, "2023-01-10", "noticed_on_precision") == {("33", "housing"): "day", ("43", "housing"): None}
    assert checked.problems[["rule", "line"]].to_numpy().tolist() == [["snap lost without a failing part", 4]]


def test_7_nothing_is_written_for_parts_that_were_only_looked_at(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), *(sheet.line(f"202{n}-05-04", parts_checked=word) for n, word in enumerate(("all", "inserts only", "none"), 2))))
    assert set(checked.tables["parts_log"]["visit_id"]) == {"P1/2021-05-04"}
    assert len(checked.tables["visits"]) == 4


def test_two_dentures_in_one_mouth_are_told_apart_by_jaw_or_by_the_positions_named(sheet):
    upper = [dict(one, arch="upper", position=at) for one, at in zip(sheet.pair(), ("13", "23"))]
    lines = [sheet.line("2021-05-04", "delivery", arch="lower"), sheet.line("2021-05-04", "delivery", arch="upper"), sheet.line("2022-05-04"),
             sheet.line("2023-05-04", inserts_changed="13", why="worn", level_now="light"), sheet.line("2024-05-04", inserts_changed="all", why="worn", level_now="light", arch="upper")]
    checked = clean(sheet(*lines, sets=sheet.pair() + upper))
    assert parts(checked, "2023-05-04", "denture_id") == {("13", "insert"): "P1/upper/1"}
    rows = checked.tables["parts_log"]
    assert set(rows[rows["visit_id"] == "P1/2024-05-04/upper"]["position"]) == {"13", "23"}


def test_every_long_row_keeps_the_line_it_came_from(sheet):
    checked = clean(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="43", why="worn", level_now="light", denture="relined")))
    names = [source.name for source in checked.sources]
    origin = {name: [(names[at], line) for at, line in zip(frame["_file"], frame["_line"])] for name, frame in checked.tables.items()}
    assert origin["visits"] == [("day_sheet.csv", 2), ("day_sheet.csv", 3)]
    assert set(origin["parts_log"][:6]) == {("set_up.csv", 2), ("set_up.csv", 3)} and origin["parts_log"][6] == ("day_sheet.csv", 3)
    assert origin["denture_log"] == [("day_sheet.csv", 3)] and origin["dentures"] == [("set_up.csv", 2)]


def test_a_line_with_an_error_waits_whole_with_all_that_it_makes(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", minutes="fifteen", inserts_changed="all", why="worn", level_now="light", denture="relined"))
    assert checked.problems[["table", "column", "line"]].to_numpy().tolist()[0] == ["day_sheet", "minutes", 3]
    assert len(checked.tables["visits"]) == 1 and len(checked.tables["parts_log"]) == 6 and len(checked.tables["denture_log"]) == 0
    assert checked.set_aside == {"visits": 1, "parts_log": 2, "denture_log": 1}


def test_a_line_of_which_no_row_can_be_made_is_counted_as_set_aside_too(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("yesterday"), sheet.line("2023-01-10"))
    assert checked.problems[["column", "line"]].to_numpy().tolist()[0] == ["date", 3]
    assert len(checked.tables["visits"]) == 2 and sum(checked.set_aside.values()) == 1


def test_a_problem_of_a_made_row_points_at_the_cell_that_made_it(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="33", why="worn", level_now="firmest", snap_lost="2023-02"))
    found = {one.rule: (one.file, one.column, one.value, one.line) for one in checked.problems.itertuples()}
    assert found["level not declared"][0] == found["noticed after the visit"][0] == "day_sheet.csv"
    assert found["level not declared"][2:] == ("firmest", 3) and found["noticed after the visit"][2:] == ("2023-02", 3)


def test_a_word_among_positions_is_answered_with_all_that_the_cell_may_hold(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", inserts_changed="no"), sheet.line("2023-05-10", inserts_changed="33", why="worn", level_now="light", worn_at="left"))
    said = {one.column: one.remedy for one in checked.problems[checked.problems["rule"] == "position not known"].itertuples()}
    assert said == {"inserts_changed": "Write none, all, or positions with a blank between, such as 33 43.", "worn_at": "Write positions with a blank between, such as 33 43."}
