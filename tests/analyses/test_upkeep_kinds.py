"""Upkeep by kind of work, counted by hand: visits once per patient, day and kind; minutes that add up; cost by the clinic's prices; the fixed line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from outcomes import schemas
from outcomes.analyses import upkeep_page
from outcomes.analyses.upkeep import upkeep
from outcomes.analyses.upkeep_kinds import kinds
from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.folder import Folder

DAY = pd.Timestamp
PRICES = {"currency": "EUR", "date": "2025-01-01", "chair_hour": 60.0, "each": {"insert changed": 10.0, "relined": 100.0}}


@pytest.fixture()
def small(handmade):
    """Three patients from 2020-01-01. A: problem visit, two inserts and a housing, 30 minutes; recall, nothing done, 10. B dies in 2022, one laboratory reline. C: nothing."""
    log = handmade.log(0)
    rows = [("A", "2020-01-01", "delivery", 60), ("A", "2021-03-01", "problem", 30), ("A", "2022-01-01", "recall", 10), ("B", "2020-01-01", "delivery", 60), ("B", "2020-06-01", "laboratory", None), ("C", "2020-01-01", "delivery", 60)]
    visits = pd.DataFrame(rows, columns=["patient_id", "day", "reason", "minutes"]).assign(day=lambda frame: pd.to_datetime(frame["day"]), arch=None, snap=None, parts_checked="all", looked=True)
    visits = visits.assign(visit_id=[str(i) for i in range(len(visits))], seen=visits["reason"] != "laboratory", problem=visits["reason"] == "problem")
    dentures = pd.DataFrame({"denture_id": ["a", "b", "c"], "patient_id": list("ABC"), "arch": "lower", "delivered_on": DAY("2020-01-01"), "delivered_on_precision": "day", "retired_on": pd.NaT, "retired_reason": None, "existing": "no"})
    people = pd.DataFrame({"patient_id": list("ABC"), "ends_on": [pd.NaT, DAY("2022-01-01"), pd.NaT], "left_on": pd.NaT, "left_reason": [None, "died", None]})
    done = [("A", "2021-03-01", "problem", "a", "33", "insert", "worn", "replaced", "insert changed"), ("A", "2021-03-01", "problem", "a", "43", "insert", "sound", "replaced", "insert changed"), ("A", "2021-03-01", "problem", "a", "43", "housing", "debonded", "picked up again", "housing picked up again"),
            ("B", "2020-06-01", "laboratory", "b", None, "denture", "poor fit", "relined", "relined"), ("A", "2020-01-01", "delivery", "a", "33", "insert", "not present", "fitted", "set fitted")]  # fmt: skip
    done = pd.DataFrame(done, columns=["patient_id", "day", "reason", "denture_id", "position", "part", "finding", "action", "kind"]).assign(day=lambda frame: pd.to_datetime(frame["day"]))
    return replace(log, visits=visits, dentures=dentures, patients=people, things_done=done, closing=DAY("2024-12-31").date())


def test_a_visit_counts_once_for_each_kind_and_its_minutes_are_shared(small):
    up = upkeep(small)
    table = kinds(small, up).table().set_index("kind")
    assert table.loc["insert changed", ["unplanned", "planned", "patients", "handled", "minutes"]].tolist() == [1, 0, 1, 2.0, 15.0]
    assert table.loc["housing picked up again", ["unplanned", "minutes"]].tolist() == [1, 15.0]
    assert table.loc["looked at", ["unplanned", "planned", "minutes"]].tolist() == [0, 1, 10.0]
    assert table.loc["relined", ["unplanned", "planned", "handled", "minutes"]].tolist() == [0, 0, 1.0, 0.0]  # at the laboratory: no visit, but a reline
    assert table["minutes"].sum() == up.patients["minutes"].sum() == 40.0
    assert list(table.index) == list(schemas.upkeep())


def test_few_patients_have_exact_limits_of_visits_and_none_of_minutes(small):
    up = upkeep(small)
    table = kinds(small, up).table().set_index("kind")
    years = up.years
    assert years == pytest.approx((1826 + 731 + 1826) / 365.25)
    # Garwood 1936: 1 event .025 to 5.572, none up to 3.689
    assert table.loc["insert changed", ["unplanned_low", "unplanned_high"]].tolist() == pytest.approx([0.0253 / years, 5.5716 / years], abs=1e-4)
    assert table.loc["insert changed", "planned_high"] == pytest.approx(3.6889 / years, abs=1e-4)
    assert np.isnan(table.loc["insert changed", "minutes_low"])


def test_many_patients_have_limits_by_patient_by_hand(handmade):
    up = upkeep(handmade.log(60))
    rate, low, high, _ = up.rate()
    rows = up.patients[up.patients["years"] > 0]
    apart = rows["unplanned"] - rate * rows["years"]
    g = len(rows)
    se = np.sqrt(g / (g - 1) * (apart**2).sum()) / rows["years"].sum()
    from scipy import stats

    assert (low, high) == (pytest.approx(rate * np.exp(-stats.t.ppf(0.975, g - 1) * se / rate)), pytest.approx(rate * np.exp(stats.t.ppf(0.975, g - 1) * se / rate)))


def test_nothing_at_all_has_only_an_upper_limit(handmade, tmp_path):
    log = handmade.log(40, fail=float("inf"))
    up = upkeep(log)
    rate, low, high, _ = up.rate()
    assert (rate, low) == (0.0, 0.0) and high == pytest.approx(-np.log(0.025) / up.years)
    text = said(log, up, tmp_path)
    assert "No unplanned visit in" in text and "nan" not in text


def test_cost_is_time_and_things_by_the_clinics_prices_by_hand(small):
    table = kinds(small, upkeep(small)).cost(PRICES).set_index("kind")
    assert table.loc["insert changed", ["chair", "things", "cost"]].tolist() == [15.0, 20.0, 35.0]
    assert table.loc["relined", ["chair", "things"]].tolist() == [0.0, 100.0]
    assert table.loc["", "cost"] == 40.0 + 20.0 + 100.0 and table["cost"].iloc[:-1].sum() == table.loc["", "cost"]
    assert kinds(small, upkeep(small)).cost(PRICES | {"currency": ""}).empty


def test_cost_per_patient_and_year_has_limits_by_patient(handmade):
    log = handmade.log(60)
    total = kinds(log, upkeep(log)).cost(PRICES).iloc[-1]
    assert total["low"] < total["per_year"] < total["high"] and total["per_year"] == pytest.approx(total["cost"] / upkeep(log).years)


def said(log, up, out) -> str:
    from outcomes.analyses import answers

    section = upkeep_page.section(log, up, answers.of_upkeep(up, 0.95), Folder(out))
    return " ".join(" ".join(block.paragraphs) if block.kind == "prose" else block.caption + block.frame.to_string() if block.kind == "grid" else getattr(block, "text", "") + getattr(block, "caption", "") + getattr(block, "finding", "") for block in section.blocks)


def test_the_page_says_whose_prices_of_which_day_and_that_it_shows_only_where_time_goes(handmade, tmp_path):
    log = handmade.log(40, prices=PRICES)
    text = said(log, upkeep(log), tmp_path)
    assert "by the clinic's own prices of 1\u00a0January 2025" in text and text.count("This shows where time goes, not what would prevent it.") >= 2
    assert "Cost" not in said(handmade.log(40), upkeep(handmade.log(40)), tmp_path)
    exact = pd.read_csv(tmp_path / "tables" / "upkeep_by_kind.csv")
    assert len(exact) == len(schemas.upkeep())


def test_without_minutes_visits_stand_in_their_place_and_chair_time_is_not_charged(small, tmp_path):
    silent = replace(small, visits=small.visits.assign(minutes=np.nan))
    up = upkeep(silent)
    found = kinds(silent, up)
    assert "minutes_per_year" not in found.table() and found.cost(PRICES).iloc[-1]["cost"] == 120.0
    assert "nan" not in said(silent, up, tmp_path)


def test_whoever_died_or_gave_up_the_denture_counts_as_started(small):
    up = upkeep(small)
    assert up.patients.set_index("patient_id")["over"].to_dict() == {"A": False, "B": True, "C": False}
    # A's one visit on day 425 of 3 at risk: 1/3; B dies on day 731, after it. Dead before it instead: 1/2 in service, 1/2 x 2/3 of all started.
    assert up.so_far.mean_at(500) == pytest.approx(1 / 3) == up.of_all_started.mean_at(500)
    early = upkeep(replace(small, patients=small.patients.assign(ends_on=[pd.NaT, DAY("2020-06-01"), pd.NaT])))
    assert early.so_far.mean_at(500) == pytest.approx(1 / 2) and early.of_all_started.mean_at(500) == pytest.approx(1 / 3)
    assert early.by_denture.mean_at(500) == pytest.approx(1 / 2)


def test_watching_ends_with_the_last_denture_and_goes_on_with_the_next(small):
    gone = small.dentures.assign(retired_on=[DAY("2021-01-01"), pd.NaT, pd.NaT])
    up = upkeep(replace(small, dentures=gone)).patients.set_index("patient_id")
    assert up.loc["A", "years"] == pytest.approx(366 / 365.25) and up.loc["A", "over"] and up.loc["A", "unplanned"] == 0
    another = pd.concat([gone, gone.iloc[[0]].assign(denture_id="a2", delivered_on=DAY("2021-01-01"), retired_on=pd.NaT)], ignore_index=True)
    assert upkeep(replace(small, dentures=another)).patients.set_index("patient_id").loc["A", "unplanned"] == 1


def test_whoever_has_no_overdenture_lends_no_time_to_the_rate(small):
    """D came once, was never fitted with one, and would count as four years and more without an unplanned visit."""
    people = pd.concat([small.patients, small.patients.iloc[[0]].assign(patient_id="D", ends_on=pd.NaT)], ignore_index=True)
    visits = pd.concat([small.visits, small.visits.iloc[[0]].assign(patient_id="D", reason="other", problem=False)], ignore_index=True)
    assert upkeep(replace(small, patients=people, visits=visits)).years == upkeep(small).years


def test_half_of_the_visits_beside_what_chance_alone_gathers(handmade):
    found = kinds(handmade.log(60), upkeep(handmade.log(60)))
    some, chance = found.half_from(1)
    counts = np.sort(found.up.patients["unplanned"].to_numpy())[::-1]
    assert counts[:some].sum() >= counts.sum() / 2 > counts[: some - 1].sum()
    assert 0 < chance < 60 and found.half_from(1) == (some, chance)
    one = replace(found.up, patients=found.up.patients.assign(unplanned=np.where(np.arange(60) == 0, 20, 0)))
    assert replace(found, up=one).half_from(1)[0] == 1 and replace(found, up=one).half_from(1)[1] > 4


@pytest.mark.parametrize("shape", (PAGE, PHONE, TALK), ids=lambda shape: shape.name)
def test_the_bars_cover_no_word_and_on_a_slide_show_no_kind_of_few_patients(handmade, shape):
    up = upkeep(handmade.log(60))
    table = kinds(handmade.log(60), up).table()
    table.loc[table.index[3], ["patients", "planned", "planned_minutes"]] = [4, 9, 200.0]
    sheet = upkeep_page.drawn(table[table["unplanned"] + table["planned"] > 0], up, shape)
    assert sheet.overlaps() == []
    named = {label.get_text() for label in sheet.labels}
    assert (table["title"].iloc[3] in named) == (shape is not TALK)
