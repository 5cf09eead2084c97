"""What to have in the drawer: the log read as a history, the forecast's refusals and words, and the recorded study of how often its ranges hold."""

from __future__ import annotations

import importlib.util
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from outcomes.analyses import drawer, next_steps
from outcomes.analyses.cohort import read_log
from outcomes.analyses.drawer_history import EPOCH, fitted, history, used
from outcomes.errors import Misuse
from outcomes.plan import read_plan

HERE = Path(__file__).resolve().parent
DAY = pd.Timestamp


@pytest.fixture(scope="module")
def log(simulated):
    return read_log(simulated(70, 5).connection, read_plan())


@pytest.fixture(scope="module")
def found(log):
    return drawer.stock(log, past=True)


def known(log, back=0):
    return history(log, fitted(log), (DAY(log.closing) - EPOCH).days - back)


def test_every_insert_in_the_mouths_of_those_in_care_is_followed_on(log):
    still = log.episodes[(log.episodes["part"] == "insert") & (log.episodes["ending"].fillna("") == "")]
    gone = set(log.patients.loc[log.patients["left_reason"].notna(), "patient_id"])
    assert known(log).in_place == (~still["patient_id"].isin(gone) & still["denture_id"].isin(log.dentures["denture_id"])).sum()


def test_a_past_year_uses_nothing_that_came_later(log):
    """Cutting the log itself a year before its end gives the history that the whole log gives for that day."""
    then = DAY(log.closing) - pd.Timedelta(days=365)
    later = {name: getattr(log, name) for name in ("episodes", "dentures", "patients", "visits")}
    cut = replace(
        log,
        closing=then.date(),
        visits=later["visits"][later["visits"]["day"] <= then],
        episodes=later["episodes"][pd.to_datetime(later["episodes"]["fitted_on"]).fillna(DAY("1900-01-01")) <= then].assign(
            ending=lambda rows: rows["ending"].where(pd.to_datetime(rows["ended_on"]) <= then, ""), ended_on=lambda rows: pd.to_datetime(rows["ended_on"]).where(pd.to_datetime(rows["ended_on"]) <= then)),
        dentures=later["dentures"][~(later["dentures"]["delivered_on"] > then)].assign(retired_on=lambda rows: rows["retired_on"].where(rows["retired_on"] <= then)),
        patients=later["patients"].assign(left_reason=lambda rows: rows["left_reason"].where(rows["left_on"] <= then), left_on=lambda rows: rows["left_on"].where(rows["left_on"] <= then)),
    )  # fmt: skip
    whole, shorter = known(log, 365), known(cut)
    for name in ("parts", "dentures", "patients"):
        pd.testing.assert_frame_equal(getattr(whole, name), getattr(shorter, name), check_dtype=False)


def test_what_a_year_took_is_what_the_log_shows_as_fitted(log):
    rows, before = fitted(log), known(log, 365)
    came = used(rows, before, 365)
    inside = log.inserts_in[(log.inserts_in["day"] > DAY(log.closing) - pd.Timedelta(days=365)) & log.inserts_in["patient_id"].isin(log.dentures["patient_id"])]
    assert came["total"].sum() == inside["inserts"].sum()


def test_the_table_has_a_row_per_level_lightest_first_and_ranges_that_hold_their_means(found):
    rows = found.rows
    levels = rows[~rows["level"].isin(("all", "unknown"))]
    assert levels["newtons"].is_monotonic_increasing and rows["level"].iloc[-1] == "all"
    for what in ("replaced", "new", "total"):
        assert (rows[f"{what}_low"] <= rows[f"{what}_high"]).all() and rows[what].iloc[:-1].sum() == pytest.approx(rows[what].iloc[-1], abs=0.5)
    assert found.all["total_low"] <= found.all["total"] <= found.all["total_high"]


def test_the_forecast_is_held_against_the_years_the_log_has(found):
    past = found.past
    assert set(past["what"]) == {"replaced", "new", "total"} and past["from"].nunique() >= 2
    assert (past["within"] == ((past["low"] <= past["used"]) & (past["used"] <= past["high"]))).all()
    assert "Held against the log" in drawer.fared(found)[0] and "80\u00a0% is asked for" in drawer.fared(found)[1]


def test_the_front_page_and_the_command_say_the_same(log, found):
    task = next(task for task in next_steps.tasks(log) if task.key == "drawer")
    assert task.number == round(found.all["total"]) and f"range {found.all['total_low']} to {found.all['total_high']}" in task.text
    table = drawer.shown(found).set_index("level")
    first = next(part for part in task.text.rpartition(": ")[2].split(", "))
    level, number = first.rsplit(" ", 1)
    assert table.loc[level, "have"] == number


def test_five_parts_give_no_forecast_but_counts(handmade):
    few = drawer.stock(handmade.log(5))
    assert few.rows.empty and few.why.startswith("No forecast: it takes at least 10 patients with inserts in place") and "inserts in place in 4 patients, and 1 changed insert of 1 patient" in few.why
    (task,) = next_steps._drawer(handmade.log(5))
    assert "were fitted in the last year" in task.text


def test_a_log_in_which_nothing_was_ever_changed_gives_no_forecast(handmade):
    never = handmade.log(40, fail=np.inf)
    never = replace(never, episodes=never.episodes[never.episodes["ending"] == ""])
    assert "and 0 changed inserts of 0 patients" in drawer.stock(never).why
    assert drawer.stock(handmade.log(0)).why == "No forecast: the log holds no overdenture with a visit."


@pytest.mark.parametrize(("setting", "answer"), [({"packs": {"lihgt": 4}}, "Did you mean light"), ({"packs": {"light": 0}}, "whole pieces"), ({"packs": {"light": 2.5}}, "whole pieces"), ({"months": 0}, "half a month"), ({"share": 1.0}, "between 0.5 and 0.99"), ({"draws": 1}, "at least 50"), ({"minimum_patients": 1}, "at least 5")])
def test_settings_that_cannot_be_are_refused(handmade, setting, answer):
    with pytest.raises(Misuse, match=answer):
        drawer.stock(handmade.log(30, stock=setting))


def test_packs_are_counted_up_from_the_upper_end(simulated):
    log = read_log(simulated(70, 5).connection, read_plan())
    log.plan._body["stock"] = {**log.plan["stock"], "packs": {"light": 4}}
    rows = drawer.stock(log, 3).rows.set_index("level")
    assert rows.loc["light", "packs"] == -(-rows.loc["light", "total_high"] // 4) and pd.isna(rows.loc["medium", "packs"])
    assert "packs" in drawer.shown(drawer.stock(log, 3)).columns


def test_the_recorded_study_holds_its_ranges():
    """Run again with: python tests/analyses/drawer_study.py (long). Asked for: 0.80; three standard errors of the recorded number of clinics allowed."""
    study = json.loads((HERE / "drawer_study.json").read_text(encoding="utf-8"))
    rows = pd.DataFrame(study["results"])
    whole = rows[rows["patients"] == "all"].set_index(["what", "of"])
    for what in ("replaced", "new", "total"):
        for of in ("all levels together", "single levels"):
            assert whole.loc[(what, of), "held"] >= 0.8 - 3 * np.sqrt(0.16 / study["clinics"]), (what, of)
        assert whole.loc[(what, "all levels together"), "used_over_forecast"] == pytest.approx(1, abs=0.1)
    assert drawer.HELD == (round(whole["held"].min(), 2), round(whole["held"].max(), 2))  # what the page says of it
    assert drawer.USED == round(whole.loc[("replaced", "all levels together"), "used_over_forecast"], 2)


@pytest.mark.slow
def test_the_study_runs_as_recorded():
    spec = importlib.util.spec_from_file_location("drawer_study", HERE / "drawer_study.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["drawer_study"] = module
    spec.loader.exec_module(module)
    frame = pd.DataFrame([row for seed in (1, 2) for row in module.trials(100, seed)])
    held = frame[(frame["level"] == "all") & (frame["what"] == "replaced")]["held"].mean()
    assert held >= 0.3  # six ranges at 0.8: fewer than two held happens once in 600
