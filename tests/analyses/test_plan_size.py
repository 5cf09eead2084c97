"""How many more: sentences and numbers on logs with a known answer, refusals where the log gives no basis, and the recorded simulation."""

import doctest
import json
import math
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pandas as pd
import pytest

from outcomes.analyses import plan_size, plan_size_words, standards
from outcomes.analyses.cohort import read_log
from outcomes.plan import read_plan

RECORDED = json.loads(Path(__file__).with_name("plan_size_study.json").read_text())


@pytest.fixture(scope="module")
def found(simulated):
    store = simulated(70, 5)
    log = read_log(store.connection, read_plan())
    return log, {one.question: one for one in plan_size.needs(log, store.connection)}, plan_size.pace(log)


def test_worked_examples():
    assert doctest.testmod(import_module("outcomes.analyses.plan_size")).attempted > 0


def test_every_open_standard_and_every_answer_has_its_line(found):
    log, needs, _ = found
    open_ = {f"standard: {one.name}" for one in standards.measured(log) if one.verdict == standards.CANNOT_TELL}
    assert open_ == {question for question in needs if question.startswith("standard: ")}
    assert {f"how sure: {name}" for name in log.plan["report"]["endpoints"]} <= set(needs)
    assert {"how sure: unplanned visits", "how sure: snap just right", "light against firmer: visits", "light against firmer: wear", "satisfaction: more than the smallest difference that matters"} <= set(needs)


def test_a_range_narrows_with_the_root_of_the_patients(found):
    log, needs, _ = found
    for name in log.plan["report"]["endpoints"]:
        one, life = needs[f"how sure: {name}"], log.lifetime(name)
        if one.needed is None:
            assert one.why
            continue
        share = life.share_at(life.horizon)
        assert one.needed == math.ceil(life.patients * ((share.high - share.low) / 2 / 0.10) ** 2 - 1e-9)


def test_wear_is_counted_over_the_time_that_parts_were_watched(found):
    """Parts already in place for two years when the log began: the years before it saw no failure because nobody was looking, and do not count."""
    log, _, _ = found
    life = log.lifetime("insert worn")
    late = replace(life, rows=life.rows.assign(**{name: life.rows[name] + 730 for name in ("found_day", "found_day_other", "left_day", "right_day")}, entry_day=730.0))
    watched = SimpleNamespace(lifetime=lambda name: late, guard_of=log.guard_of, plan=log.plan)
    assert plan_size._worn(watched)["rate"] == pytest.approx(plan_size._worn(log)["rate"])


def test_months_are_those_of_the_logs_own_deliveries(found):
    _, needs, pace = found
    assert pace.per_month == pytest.approx(pace.patients / pace.months)
    for one in needs.values():
        if one.needed is not None:
            assert pace.months_for(one.more) == pytest.approx(one.more * pace.months / pace.patients)


def test_a_clinic_that_fits_nobody_new_any_more_has_no_pace(found):
    """The last delivery lies more than two years before the end: an average over the whole log would promise patients that do not come."""
    log, needs, _ = found
    later = replace(log, closing=(log.dentures["delivered_on"].max() + pd.Timedelta(days=731)).date())
    pace = plan_size.pace(later)
    assert pace.stopped and math.isnan(pace.per_month) and math.isnan(pace.months_for(5))
    said = plan_size_words.sentences(list(needs.values()), pace)
    assert "none of them in its last 24" in said[0] and not any("of deliveries at this pace" in one for one in said)


def test_sentences_and_table_say_the_same(found):
    _, needs, pace = found
    said, table = plan_size_words.sentences(list(needs.values()), pace), plan_size_words.table(list(needs.values()), pace)
    assert len(said) == len(table) + 2 and list(table["question"]) == list(needs)
    for sentence, one in zip(said[1:], needs.values()):
        assert sentence.lower().startswith(one.question.lower()) and ("cannot be told" in sentence) == (one.needed is None)
        assert "nan" not in sentence and "None" not in sentence


@pytest.mark.parametrize("patients, settings", [(3, {}), (1, {}), (12, {"fail": float("inf")}), (20, {"asked": False, "answered": False}), (30, {"guard": "The log lists failures only"})])
def test_a_log_without_a_basis_is_told_so(handmade, patients, settings):
    log = handmade.log(patients, **settings)
    connection = _bare()
    needs, pace = plan_size.needs(log, connection), plan_size.pace(log)
    said = plan_size_words.sentences(needs, pace)
    assert any("cannot be told" in sentence for sentence in said)
    if patients < 5:
        assert all(one.needed is None or one.question.startswith("standard: ") for one in needs) and "to say how long more would take" in said[0]
    if "guard" in settings:
        assert all("lists failures" in one.why for one in needs if one.question in {f"how sure: {name}" for name in log.plan["report"]["endpoints"]})


def _bare():
    """A connection with the tables that the comparison reads, empty."""
    connection = duckdb.connect()
    connection.execute("CREATE TABLE patients (patient_id VARCHAR, bruxism VARCHAR, limited_dexterity VARCHAR)")
    connection.execute("CREATE TABLE dentures (denture_id VARCHAR, opposing VARCHAR)")
    connection.execute("CREATE TABLE visits (visit_id VARCHAR, patient_id VARCHAR, visited_on DATE, minutes DOUBLE, reason VARCHAR)")
    connection.execute("CREATE TABLE parts_log (visit_id VARCHAR, part VARCHAR, action VARCHAR, finding VARCHAR, change_reason VARCHAR)")
    return connection


def test_where_everybody_starts_one_way_nothing_is_said_of_the_other(simulated):
    store = simulated(40, 6)
    plan = read_plan()
    log = read_log(store.connection, {**{key: plan[key] for key in plan}, "levels": {**plan["levels"], "low_n": 99.0, "medium_n": 100.0}})
    asked = [one for one in plan_size.needs(log, store.connection) if one.question.startswith("light against")]
    assert len(asked) == 3 and all(one.needed is None and "started one way" in one.why for one in asked)


def test_the_recorded_study_says_that_the_formulas_keep_their_word():
    """Asked: 80 % power at the patients that Schoenfeld's events, inflated by the design effect, ask for; and a half width of 0.10."""
    assert RECORDED["repetitions"] >= 2000
    assert RECORDED["power"]["as they are, day known"] == pytest.approx(0.80, abs=0.03)
    assert RECORDED["power"]["as if independent, day known"] < 0.70  # without the design effect the word is not kept
    assert RECORDED["power"]["looks every 1"] == pytest.approx(0.80, abs=0.05)  # by the day found; failures since the last look are missed
    assert RECORDED["width"]["mean half width"] == pytest.approx(0.10, abs=0.004)


def test_what_gaps_between_looks_cost_is_said_as_recorded():
    recorded = RECORDED["variance of a share at 3 years over that with the day known"]
    assert {float(gap): factor for gap, factor in recorded.items()} == plan_size_words.GAPS_COST


@pytest.mark.slow
def test_the_study_again_with_fewer_repetitions():
    import importlib.util

    spec = importlib.util.spec_from_file_location("plan_size_study", Path(__file__).with_name("plan_size_study.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    again = module.study(300)
    assert again["power"]["as they are, day known"] == pytest.approx(0.80, abs=0.08)
    assert again["width"]["mean half width"] == pytest.approx(0.10, abs=0.006)
