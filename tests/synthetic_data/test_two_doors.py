"""The day sheet and the long tables are the same log: read by hand, line for line, one gives the other."""

import pandas as pd
import pytest


@pytest.fixture(params=["demo", "every_habit"])
def clinic(request):
    return request.getfixturevalue(request.param)


def test_each_day_sheet_line_is_one_visit(clinic):
    sheet, visits = clinic.day_sheet_tables()["day_sheet"], clinic.long_tables()["visits"]
    named = {"patient": "patient_id", "date": "visited_on"}
    shared = ["patient", "date", "visit_order", "arch", "reason", "seen_by", "clinician", "minutes", "parts_checked", "snap", "snap_history"]
    pd.testing.assert_frame_equal(sheet[shared].rename(columns=named), visits[[named.get(name, name) for name in shared]])


def test_the_day_sheet_read_by_hand_gives_the_parts_log(clinic, read_by_hand):
    expected = read_by_hand(clinic.day_sheet_tables())["parts_log"]
    log = clinic.long_tables()["parts_log"]
    told = ["finding", "action", "change_reason", "noticed_on", "attachment", "level", "torque_ncm", "height_mm", "pick_up", "in_place_since"]
    rows = log.astype(object).where(log.notna(), None).to_dict("records")
    got = {(row["visit_id"], row["position"], row["part"]): {name: row[name] for name in told} for row in rows}
    assert len(got) == len(log), "one row per visit, position and part"
    assert got.keys() == expected.keys()
    wrong = [(key, got[key], expected[key]) for key in got if got[key] != {name: expected[key].get(name) for name in told}]
    assert not wrong, wrong[:3]


def test_the_day_sheet_read_by_hand_gives_the_denture_log(clinic, read_by_hand):
    log = clinic.long_tables()["denture_log"]
    assert set(zip(log["visit_id"], log["finding"], log["action"])) == read_by_hand(clinic.day_sheet_tables())["denture_log"]


def test_the_stress_scenario_uses_every_form_of_entry(every_habit):
    log = every_habit.long_tables()["parts_log"]
    said = set(zip(log["part"], log["finding"], log["action"]))
    for needed in [
        ("housing", "lost", "replaced"), ("housing", "debonded", "picked up again"), ("housing", "loose in its seat", "replaced"), ("abutment", "worn", "replaced"),
        ("abutment", "worn", "tightened"), ("insert", "worn", "none"), ("insert", "notes silent", "replaced"), ("housing", "sound", "none"),
    ]:  # fmt: skip
        assert needed in said, needed
