"""Keys left out are made, and rows that leave their denture out find it."""

from __future__ import annotations

import pytest

PATIENT = {"patient_id": "P1", "audit_consent": "yes"}


def visit(day: str, **cells) -> dict:
    return {"patient_id": "P1", "visited_on": day, "reason": "recall", "parts_checked": "all", **cells}


def part(visit_id: str, position: str = "33", **cells) -> dict:
    return {"visit_id": visit_id, "position": position, "part": "insert", "finding": "sound", "action": "none", **cells}


def test_a_visit_is_patient_date_as_written_jaw_and_order(clinic):
    visits = [visit("2024-03-14"), visit("2024-03"), visit("2023"), visit("2024-05-01", arch="lower"), visit("2024-05-01", arch="lower", visit_order="2"), visit("2024-06-01", visit_id="v7")]
    checked = clinic.check({"patients": [PATIENT], "visits": visits})
    assert checked.tables["visits"]["visit_id"].tolist() == ["P1/2024-03-14", "P1/2024-03", "P1/2023", "P1/2024-05-01/lower", "P1/2024-05-01/lower/2", "v7"]


def test_a_denture_is_patient_jaw_and_count_in_order_of_delivery(clinic):
    dentures = [{"patient_id": "P1", "arch": arch, "delivered_on": day} for arch, day in (("lower", "2021-05-04"), ("upper", "2020"), ("lower", "not known"), ("lower", "2023-01"))]
    checked = clinic.check({"patients": [PATIENT], "dentures": dentures})
    assert checked.tables["dentures"]["denture_id"].tolist() == ["P1/lower/2", "P1/upper/1", "P1/lower/1", "P1/lower/3"]


DENTURES = [
    {"denture_id": "old", "patient_id": "P1", "arch": "lower", "delivered_on": "2015", "retired_on": "2021-05-04", "retired_reason": "remade"},
    {"denture_id": "new", "patient_id": "P1", "arch": "lower", "delivered_on": "2021-05-04", "follows": "old"},
    {"denture_id": "spare", "patient_id": "P1", "arch": "lower", "delivered_on": "2022-01-01", "use": "spare"},
    {"denture_id": "top", "patient_id": "P1", "arch": "upper", "delivered_on": "not known"},
]


@pytest.mark.parametrize("day, position, denture", [("2016-01-01", "33", "old"), ("2015", "33", "old"), ("2021-05-03", "33", "old"), ("2021-05-04", "33", "new"), ("2024-01-01", "midline", "new"),
                                                    ("2024-01-01", "33-43", "new"), ("2024-01-01", "13", "top")])
def test_a_part_left_without_its_denture_gets_the_one_in_use_in_its_jaw(clinic, day, position, denture):
    checked = clinic.check({"patients": [PATIENT], "dentures": DENTURES, "visits": [visit(day)], "parts_log": [part(f"P1/{day}", position)]})
    assert checked.error_count == 0, checked.problems
    assert checked.tables["parts_log"]["denture_id"].tolist() == [denture]


@pytest.mark.parametrize("day, denture", [("2021-02-01", "old"), ("2021-05-04", "new"), ("2021-06-01", "new")])
def test_a_denture_delivered_in_some_month_of_the_year_began_when_the_one_it_follows_went(clinic, day, denture):
    coarse = [DENTURES[0], dict(DENTURES[1], delivered_on="2021")]
    checked = clinic.check({"patients": [PATIENT], "dentures": coarse, "visits": [visit(day)], "parts_log": [part(f"P1/{day}")]})
    assert checked.tables["parts_log"]["denture_id"].tolist() == [denture]


def test_a_row_on_the_denture_itself_needs_a_jaw_where_there_are_two(clinic):
    log = [{"visit_id": "P1/2024-01-01", "finding": "sore spot", "action": "adjusted"}, {"visit_id": "P1/2024-02-01/upper", "finding": "sore spot", "action": "adjusted"}]
    checked = clinic.check({"patients": [PATIENT], "dentures": DENTURES, "visits": [visit("2024-01-01"), visit("2024-02-01", arch="upper")], "denture_log": log})
    assert checked.tables["denture_log"]["denture_id"].tolist() == ["top"]
    assert checked.problems[["rule", "file", "line"]].to_numpy().tolist() == [["denture not found", "denture_log.csv", 2]]


def test_a_level_is_the_same_in_any_case(clinic):
    levels = [{"level": "Extra light", "system": "A", "retention": "3", "unit": "N"}]
    rows = [part("P1/2024-01-01", at, finding="worn", action="replaced", level=level) for at, level in (("33", "extra LIGHT"), ("43", "Unknown"))]
    checked = clinic.check({"patients": [PATIENT], "dentures": DENTURES, "insert_levels": levels, "visits": [visit("2024-01-01")], "parts_log": rows})
    assert checked.tables["parts_log"]["level"].tolist() == ["Extra light", "unknown"]


def test_text_stays_text(clinic):
    checked = clinic.check({"patients": [{"patient_id": "0042", "audit_consent": "yes"}, {"patient_id": "42", "audit_consent": "yes"}]})
    assert checked.tables["patients"]["patient_id"].tolist() == ["0042", "42"]
