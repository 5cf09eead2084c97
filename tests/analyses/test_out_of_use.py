"""Ends of service that nobody wrote down as such, or that came after the day the log is read on."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from outcomes.analyses import due_rules
from outcomes.analyses.cohort import gone_by_denture, read_log
from outcomes.analyses.drawer_history import EPOCH, fitted, history
from outcomes.analyses.due import REVIEW, due, in_care
from outcomes.analyses.levels_paths import paths
from outcomes.analyses.retention import settling
from outcomes.plan import Plan, read_plan

DAY = pd.Timestamp


@pytest.fixture
def remade(handmade):
    """A's lower denture of 2020 was followed by another in 2022, of single implants both; nobody wrote that the first one was retired."""
    log = handmade.log(1, answered=False)
    people = pd.DataFrame({"patient_id": ["A"], "birth_year": [1950], "sex": ["female"], "left_on": pd.to_datetime([None]), "left_reason": [None], "ends_on": pd.to_datetime([None])})
    dentures = pd.DataFrame({"denture_id": ["A/lower/1", "A/lower/2"], "patient_id": "A", "arch": "lower", "delivered_on": [DAY("2020-01-01"), DAY("2022-01-01")], "delivered_on_precision": "day", "retired_on": pd.NaT, "retired_reason": None, "existing": None})
    rows = [("A/lower/1/33/insert/1", "A", "A/lower/1", "lower", "33", "insert", 1, "fitted", True, DAY("2020-01-01"), 0, 731.0, DAY("2022-01-01"), "denture retired", "", "light", 6.7),
            ("A/lower/2/33/insert/1", "A", "A/lower/2", "lower", "33", "insert", 1, "fitted", True, DAY("2022-01-01"), 0, None, pd.NaT, "", "", "light", 6.7)]  # fmt: skip
    visits = log.visits.iloc[[0, 0, 0]].assign(patient_id="A", visit_id=["a", "b", "c"], day=[DAY("2020-01-01"), DAY("2022-01-01"), DAY("2024-01-01")], reason=["delivery", "delivery", "recall"], problem=False)
    return replace(log, patients=people, dentures=dentures, visits=visits.reset_index(drop=True), episodes=pd.DataFrame(rows, columns=handmade.EPISODES).assign(sites=[1, 2]))


def test_a_denture_that_another_took_the_place_of_is_not_in_use(remade):
    assert list(in_care(remade)["denture_id"]) == ["A/lower/2"]
    assert due(remade).of(REVIEW).empty
    assert due_rules.CONDITIONS["single implant"](remade, DAY(remade.closing)) == set()  # the one with a single implant is out of use


def test_its_time_at_the_starting_level_ends_with_it(remade):
    rows = settling(remade).rows.set_index("denture_id")
    assert (rows.loc["A/lower/1", "days"], rows.loc["A/lower/1", "cause"]) == (731, "denture retired")
    spells = paths(remade).rows.set_index("denture_id").loc["A/lower/1"]
    assert (spells["stop"], spells["state"], spells["became"]) == (731, "light", "denture gone")


def test_the_drawer_counts_it_as_retired(remade):
    known = history(remade, fitted(remade), float((DAY("2023-01-01") - EPOCH).days))
    assert list(known.dentures["gone"]) == [True, False] and list(known.dentures["stop"]) == [float((DAY(day) - EPOCH).days) for day in ("2022-01-01", "2023-01-01")]


@pytest.fixture
def two(handmade):
    """P1 was delivered in 2020, seen in 2022 and died in 2023; P2, who did not agree to audit, came last, in 2024."""
    connection = handmade.NoStore().connection
    connection.execute("INSERT INTO patients BY NAME SELECT 'P1' AS patient_id, 'yes' AS audit_consent, DATE '2023-05-01' AS left_on, 'day' AS left_on_precision, 'died' AS left_reason UNION ALL BY NAME SELECT 'P2' AS patient_id, 'no' AS audit_consent")
    connection.execute("INSERT INTO dentures BY NAME SELECT 'P1/lower/1' AS denture_id, 'P1' AS patient_id, 'lower' AS arch, DATE '2020-01-01' AS delivered_on, 'day' AS delivered_on_precision")
    connection.execute("""INSERT INTO visits BY NAME SELECT * FROM (VALUES ('a', 'P1', DATE '2020-01-01', 'delivery'), ('b', 'P1', DATE '2022-06-01', 'recall'), ('c', 'P2', DATE '2024-03-01', 'recall'))
                          AS v (visit_id, patient_id, visited_on, reason), (SELECT 'day' AS visited_on_precision, 'all' AS parts_checked)""")
    return connection


def on(day: str) -> Plan:
    plan = read_plan()
    return Plan({**plan, "audit": {**plan["audit"], "closing_day": day}})


def test_the_log_closes_with_the_last_visit_of_anybody(two):
    log = read_log(two, read_plan())
    assert f"{log.closing:%Y-%m-%d}" == "2024-03-01"
    assert list(log.patients["left_reason"]) == ["died"]


def test_who_died_after_the_closing_day_was_alive_on_it(two):
    log = read_log(two, on("2022-12-31"))
    assert log.patients[["left_reason", "left_on"]].isna().all(axis=None) and log.until()["P1"] == DAY("2022-12-31")
    assert list(read_log(two, on("2023-12-31")).patients["left_reason"]) == ["died"]


@pytest.mark.parametrize(("reason", "gone"), [("changed to fixed", "2023-05-01"), ("changed to plain denture", "2023-05-01"), ("died", None), ("moved", None)])
def test_a_change_to_another_kind_of_denture_puts_the_old_one_out_of_use(two, reason, gone):
    """Of the ways to leave only these two end the denture: death is an end of its own, all others end the watching only."""
    two.execute("UPDATE patients SET left_reason = ? WHERE patient_id = 'P1'", [reason])
    day = gone_by_denture(read_log(two, read_plan()).dentures)["P1/lower/1"]
    assert day == DAY(gone) if gone else pd.isna(day)
