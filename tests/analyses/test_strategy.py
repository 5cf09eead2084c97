"""Ways to start: who is sorted by what was put in on the day of delivery, what is counted, and when nothing is compared."""

from __future__ import annotations

import csv
import dataclasses
import re

import duckdb
import numpy as np
import pandas as pd
import pytest

from outcomes.analyses import strategy_comparison, strategy_words
from outcomes.analyses.cohort import read_log
from outcomes.analyses.levels_paths import paths
from outcomes.analyses.strategy_conversions import conversions
from outcomes.analyses.strategy_outcomes import care
from outcomes.analyses.strategy_patients import ATTACHMENT, LEVEL, PICK_UP, Started, arms, covariates, started
from outcomes.analyses.strategy_trial import compare
from outcomes.longevity import Estimate
from outcomes.plan import read_plan
from outcomes.present import words

EVEN = {"levels": {"start": {"light": 0.55, "medium": 0.40, "firm": 0.05}}, "cast": {"ball_in_log": 0.0}}


def plan(**report):
    body = read_plan()
    body._body["report"] = {**body["report"], "draws": 60, **report}
    return body


@pytest.fixture(scope="module")
def demo(simulated):
    """The demo clinic, in which few start firmer."""
    store = simulated(90, 46)
    return store, read_log(store.connection, plan())


@pytest.fixture(scope="module")
def even(simulated):
    """A clinic that starts light and firmer as if by lot."""
    store = simulated(300, 7, **EVEN)
    return store, read_log(store.connection, plan())


def asked(question, clinic):
    store, log = clinic
    return compare(question, log, store.connection, started(log, store.connection), paths(log), plan())


@pytest.fixture(scope="module")
def unfair(demo):
    return asked(LEVEL, demo)


@pytest.fixture(scope="module")
def fair(even):
    return asked(LEVEL, even)


# ---------------------------------------------------------------- who


def test_everybody_with_a_denture_is_in_an_arm_or_counted_among_those_left_out(demo, even):
    for store, log in (demo, even):
        start = started(log, store.connection)
        for question in (LEVEL, ATTACHMENT, PICK_UP):
            rows, left = arms(question, start, plan())
            assert len(rows) + sum(left.values()) == log.dentures["patient_id"].nunique()
            assert rows["patient_id"].is_unique


def test_what_was_put_in_later_moves_nobody_to_the_other_arm(demo):
    store, log = demo
    later = log.episodes.copy()
    stepped = (later["part"] == "insert") & (later["serial"] > 1)
    assert stepped.sum() > 50
    later.loc[stepped, ["retention_n", "level", "attachment", "divergence_deg"]] = [29.0, "firm", "ball", 45.0]
    changed = type(log)(**{**{name: getattr(log, name) for name in log.__dataclass_fields__ if name != "worked_out"}, "episodes": later})
    for question in (LEVEL, ATTACHMENT):
        one, two = (arms(question, started(each, store.connection), plan())[0] for each in (log, changed))
        pd.testing.assert_frame_equal(one, two)
        pd.testing.assert_frame_equal(covariates(question, one, plan())[0], covariates(question, two, plan())[0])


def test_a_step_neither_ends_the_follow_up_nor_moves_its_first_day(demo, unfair):
    _, log = demo
    rows, settled = unfair.rows.set_index("patient_id"), paths(log).dentures.set_index("denture_id")
    until = log.until()
    for patient, row in rows.iterrows():
        expected = (min(until[patient], row["begun"] + pd.Timedelta(days=float(settled.loc[row["denture_id"], "end"]))) - row["begun"]).days
        assert unfair.care.end[rows.index.get_loc(patient)] == expected
    assert (unfair.care.step & (unfair.care.day > 0)).sum() > 5  # steps there were


def made(**columns):
    """Eligible patients made by hand."""
    n = len(next(iter(columns.values())))
    usual = {"patient_id": [f"P{i}" for i in range(n)], "denture_id": [f"P{i}/lower/1" for i in range(n)], "begun": pd.Timestamp("2022-01-10"), "arch": "lower", "sites": 2.0, "known": True, "low": 6.7, "high": 6.7,
             "attachment": "stud", "pick_up": "chairside", "divergence": 5.0, "opposing": "complete denture", "bruxism": "no", "limited_dexterity": "no", "birth_year": 1950, "clinician": "A"}  # fmt: skip
    return Started(pd.DataFrame({**usual, **columns}, index=range(n)), {})


def test_mixed_bridging_and_unknown_starts_are_left_out_and_counted():
    start = made(low=[6.7, 13.3, 6.7, 10.0, np.nan], high=[8.0, 20.0, 13.3, 10.0, np.nan], known=[True, True, True, True, False])
    rows, left = arms(LEVEL, start, plan())
    assert list(rows["other"]) == [False, True]
    assert left == {"starting level not written down": 1, "mixed levels, or one between light and medium": 2}


def test_a_value_that_many_lack_is_a_value_of_its_own_and_one_that_few_lack_costs_those_patients():
    start = made(bruxism=["no"] * 20 + ["possible"] * 10 + [None] * 10, opposing=["complete denture"] * 39 + [None])
    known, kept, same = covariates(LEVEL, start.rows, plan())
    assert kept.sum() == 39 and known["grinds the teeth"].sum() == 10 and known["grinds the teeth: not known"].sum() == 9
    assert "upper jaw" in same and not known.isna().any().any()


def test_clinicians_are_told_apart_only_where_each_has_enough_patients():
    many, few = (covariates(LEVEL, made(clinician=names).rows, plan())[0] for names in (["A"] * 25 + ["B"] * 20, ["A"] * 26 + ["B"] * 19))
    assert "clinician B" in many and not any(name.startswith("clinician") for name in few)


# ---------------------------------------------------------------- what is counted


def test_a_visit_counts_once_and_only_for_work_on_an_insert_for_its_own_sake(demo):
    _, log = demo
    connection = duckdb.connect()
    connection.execute("CREATE TABLE visits AS SELECT * FROM (VALUES ('a', 'P0', DATE '2022-01-10', 'delivery', 60), ('b', 'P0', DATE '2022-03-01', 'problem', 20), ('c', 'P0', DATE '2022-06-01', 'recall', NULL),"
                       " ('d', 'P0', DATE '2022-08-01', 'recall', 30), ('e', 'P0', DATE '2022-09-01', 'conversion', 75), ('f', 'P1', DATE '2022-04-01', 'recall', 15)) t(visit_id, patient_id, visited_on, reason, minutes)")
    connection.execute("CREATE TABLE parts_log AS SELECT * FROM (VALUES ('a', 'insert', 'not present', 'fitted', NULL), ('b', 'insert', 'sound', 'replaced', 'wanted firmer'), ('b', 'insert', 'sound', 'replaced', 'wanted firmer'),"
                       " ('c', 'insert', 'worn', 'none', NULL), ('d', 'insert', 'sound', 'replaced', 'with reline or housing work'), ('e', 'insert', 'worn', 'replaced', 'conversion'), ('f', 'insert', 'sound', 'none', NULL))"
                       " t(visit_id, part, finding, action, change_reason)")
    small = type(log)(**{**{name: getattr(log, name) for name in log.__dataclass_fields__ if name != "worked_out"}, "patients": pd.DataFrame({"patient_id": ["P0", "P1"], "left_on": pd.to_datetime([None, "2022-02-01"]), "left_reason": [None, "died"], "ends_on": pd.to_datetime([None, "2022-02-01"])}),
                         "dentures": pd.DataFrame({"denture_id": ["P0/lower/1", "P1/lower/1"], "retired_on": pd.to_datetime([None, None]), "gone_on": pd.to_datetime([None, None])})})  # fmt: skip
    found = care(small, connection, made(low=[6.7, 6.7]).rows)
    assert [(int(who), int(day), bool(problem), bool(step)) for who, day, problem, step in zip(found.who, found.day, found.problem, found.step)] == [(0, 50, True, True), (0, 142, False, False)]
    assert found.unwritten == 1 and list(found.minutes) == [20.0, 20.0]
    assert list(found.gone) == [False, True] and found.end[1] == 22


def test_converted_patients_are_described_before_and_after_and_never_compared(demo):
    found = conversions(demo[1])
    table = found.table()
    assert found.patients >= 1 and list(table.columns) == ["", "patients", "years", "problems", "asked", "right"]


# ---------------------------------------------------------------- compared, or not


def test_too_few_firmer_starts_are_not_compared_and_the_number_it_would_take_is_given(unfair):
    first, second = unfair.patients
    assert second < 20 and not unfair.fair and unfair.trial.failing[0].rule == "patients"
    assert unfair.needed_for_arms == int(np.ceil((first + second) * 20 / second)) and unfair.needed_for_difference >= 20
    assert all(np.isnan(one.difference.value) and np.isnan(one.crude_difference.value) for one in unfair.trial.contrasts)


def test_starts_as_if_by_lot_are_compared(fair):
    assert fair.fair and fair.trial.balance["weighted"].abs().max() <= 0.10
    main = fair.main
    assert main.name == "visits for an insert, within 2 years" and main.difference.low < main.difference.value < main.difference.high


def test_a_group_without_any_such_visit_is_no_proof_of_a_difference(fair):
    nothing = Estimate(*[float("nan")] * 4)
    main = dataclasses.replace(fair.main, crude=(0.4, 0.0), difference=nothing, ratio=nothing)
    alike = dataclasses.replace(fair, trial=dataclasses.replace(fair.trial, contrasts=(main, *fair.trial.contrasts[1:])))
    said = strategy_words.of_comparison(alike, 0.95)
    assert said.value is None or np.isnan(said.value)
    assert "no answer yet. Nobody in one of the groups had such a visit" in said.sentence and "not a fair" not in said.sentence


def test_a_clinic_that_changed_its_start_from_one_year_to_the_next_is_refused(even):
    store, log = even
    start = started(log, store.connection)
    late = start.rows["begun"] >= start.rows["begun"].median()
    era = Started(start.rows.assign(low=np.where(late, 13.3, 6.7), high=np.where(late, 13.3, 6.7), known=True), start.left_out)
    found = compare(LEVEL, log, store.connection, era, paths(log), plan())
    assert not found.fair and {"alike", "effective", "overlap"} & {check.rule for check in found.trial.failing}


# ---------------------------------------------------------------- the page


def text_of(page) -> str:
    html = re.sub(r"<(style|svg).*?</\1>", "", page.read_text(encoding="utf-8"), flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).replace("&#39;", "'")


def rows_of(path) -> list[dict]:
    return list(csv.DictReader(path.read_text(encoding="utf-8-sig").splitlines()))


def test_the_page_of_an_unfair_comparison_names_the_rule_and_prints_no_difference(demo, tmp_path):
    page = strategy_comparison.report(demo[0], plan(), tmp_path)
    text = text_of(page)
    assert re.search(r"not a fair comparison\. Only \d+ patients? started medium or firm; it takes 20 each way\.", text)
    assert "difference as it was" not in text and "could explain the whole of this difference" not in text
    assert all(not row["difference"] and not row["crude_difference"] for row in rows_of(tmp_path / "tables/starting_level_outcomes.csv"))
    outside = text.split(" Methods Design:")[0].lower()
    assert [name for name in words.METHOD_NAMES if name in outside] == []


def test_the_page_of_a_fair_comparison_stands_crude_and_weighted_side_by_side(even, tmp_path):
    page = strategy_comparison.report(even[0], plan(), tmp_path)
    text = text_of(page)
    assert "difference as it was" in text and "difference, made alike" in text and "Something nobody wrote down could explain" in text
    assert (tmp_path / "figures/alike_starting_level.svg").exists()
    row = rows_of(tmp_path / "tables/starting_level_outcomes.csv")[0]
    assert float(row["difference_low"]) < float(row["difference"]) < float(row["difference_high"])
    again = strategy_comparison.report(even[0], plan(), tmp_path / "again")
    assert again.read_bytes() == page.read_bytes()


def test_nobody_who_agreed_gives_a_page_that_says_so(simulated, tmp_path):
    store = simulated(20, 3, cast={"consent": {"no": 1.0}})
    text = text_of(strategy_comparison.report(store, plan(), tmp_path))
    assert "not a fair comparison" in text and "could be sorted one way or the other" in text


@pytest.mark.parametrize(("patients", "seed"), [(1, 1), (2, 5), (6, 2), (25, 1)])
def test_a_handful_of_patients_gives_a_page_without_a_comparison(simulated, tmp_path, patients, seed):
    text = text_of(strategy_comparison.report(simulated(patients, seed), plan(), tmp_path))
    assert "not a fair comparison" in text and "difference as it was" not in text


def test_patients_converted_from_balls_are_counted_on_both_sides_of_the_conversion(even):
    _, log = even
    small = type(log)(**{**{name: getattr(log, name) for name in log.__dataclass_fields__ if name != "worked_out"}, **_converted()})
    row = conversions(small).rows.iloc[0]
    assert len(conversions(small).rows) == 1
    assert (row["problems_before"], row["problems_after"], row["word_before"], row["word_after"]) == (2, 1, "a bit loose", "just right")
    assert row["years_before"] == pytest.approx(365 / 365.25) and row["years_after"] == pytest.approx(730 / 365.25)


def _converted() -> dict:
    """One patient converted from balls on 1 January 2022, one whose conversion had no ball."""
    days = ["2021-01-01", "2021-05-01", "2021-09-01", "2022-01-01", "2022-06-01", "2023-01-01"]
    visits = pd.DataFrame({"patient_id": "P0", "day": pd.to_datetime(days), "reason": ["recall", "problem", "problem", "conversion", "problem", "recall"], "problem": [False, True, True, False, True, False], "seen": True,
                           "snap": [None, "far too loose", None, "a bit loose", "just right", "a bit firm"]})  # fmt: skip
    other = visits.assign(patient_id="P1")
    parts = pd.DataFrame({"patient_id": ["P0", "P1"], "attachment": ["ball", "stud"], "ended_on": pd.to_datetime(["2022-01-01"] * 2)})
    people = pd.DataFrame({"patient_id": ["P0", "P1"], "ends_on": pd.to_datetime(["2024-01-01"] * 2), "left_on": pd.NaT, "left_reason": None})
    return {"visits": pd.concat([visits, other], ignore_index=True), "episodes": parts, "patients": people}
