"""Each denture has exactly one of six outcomes, by the plan's thresholds; the counts add up whatever the log holds."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.analyses import six_outcomes
from outcomes.analyses.six_outcomes import DECEASED, FIELDS, REPAIR, RETREATMENT, SUCCESSFUL, SURVIVING, UNKNOWN, outcomes
from outcomes.plan import read_plan

CLOSING = pd.Timestamp("2024-12-31")
COLUMNS = ["visit_id", "patient_id", "day", "reason", "denture_id", "position", "part", "finding", "action", "change_reason", "kind"]


class Small:
    """A log of dentures, people, visits and work, as the six outcomes read it."""

    def __init__(self, dentures, people=(), visits=(), done=(), **rule):
        plan = {**read_plan(), "six_outcomes": {**read_plan()["six_outcomes"], **rule}}
        self.plan, self.closing = plan, CLOSING.date()
        self.dentures = pd.DataFrame(dentures, columns=["denture_id", "patient_id", "arch", "delivered_on", "retired_on", "retired_reason"]).assign(existing="no")
        for name in ("delivered_on", "retired_on"):
            self.dentures[name] = pd.to_datetime(self.dentures[name])
        names = sorted(set(self.dentures["patient_id"]))
        known = dict((row[0], row[1:]) for row in people)
        self.patients = pd.DataFrame({"patient_id": names, "ends_on": pd.to_datetime([known.get(name, (None, None))[0] for name in names]), "left_reason": [known.get(name, (None, None))[1] for name in names]})
        self.visits = pd.DataFrame(visits, columns=["patient_id", "day", "reason"]).assign(arch=None)
        self.visits["day"], self.visits["seen"] = pd.to_datetime(self.visits["day"]), ~self.visits["reason"].isin(["contact only", "laboratory"])
        self.things_done = pd.DataFrame([("v", patient, pd.Timestamp(day), reason, denture, position, part, finding, action, None, None) for patient, day, reason, denture, position, part, finding, action in done], columns=COLUMNS)
        self.things_done["day"] = pd.to_datetime(self.things_done["day"])


ONE = ("d", "A", "lower", "2020-01-01", None, None)
SEEN = [("A", "2020-01-01", "delivery"), ("A", "2024-06-01", "recall")]


def outcome(*args, **rule) -> str:
    (found,) = outcomes(Small(*args, **rule)).dentures["outcome"]
    return found


def change(day, part="insert", action="replaced", finding="worn", position="33"):
    return ("A", day, "problem", "d", position, part, finding, action)


def test_seen_within_the_window_and_little_done_is_successful():
    assert outcome([ONE], visits=SEEN) == SUCCESSFUL
    assert outcome([ONE], visits=SEEN, done=[change("2020-05-01"), change("2021-05-01")]) == SUCCESSFUL


def test_heard_of_only_is_surviving_and_silence_is_unknown():
    assert outcome([ONE], visits=[*SEEN[:1], ("A", "2024-03-01", "contact only")]) == SURVIVING
    assert outcome([ONE], visits=SEEN[:1]) == UNKNOWN
    assert outcome([ONE], visits=SEEN[:1], seen_within_days=2000) == SUCCESSFUL


def test_more_than_two_in_the_first_year_or_five_in_five_years_is_repair():
    first = [change(day) for day in ("2020-03-01", "2020-06-01", "2020-12-30")]
    assert outcome([ONE], visits=SEEN, done=first) == REPAIR
    assert outcome([ONE], visits=SEEN, done=first, first_year_most=3) == SUCCESSFUL
    later = [change(f"{year}-02-01") for year in (2021, 2022, 2023, 2024)] + [change("2021-08-01"), change("2022-08-01")]
    assert outcome([ONE], visits=SEEN, done=later[:5]) == SUCCESSFUL and outcome([ONE], visits=SEEN, done=later) == REPAIR


def test_parts_of_one_visit_count_once_unless_the_plan_counts_each():
    pair = [change(day, position=position) for day in ("2020-03-01", "2020-06-01") for position in ("33", "43")]
    assert outcome([ONE], visits=SEEN, done=pair) == SUCCESSFUL and outcome([ONE], visits=SEEN, done=pair, counted_by="part") == REPAIR
    assert outcomes(Small([ONE], visits=SEEN, done=pair)).by_part == 1


def test_a_mended_base_and_a_second_reline_are_repair_and_a_ground_in_denture_is_not():
    mended = [("A", "2022-01-01", "problem", "d", None, "denture", "base fractured", "repaired")]
    reline = [("A", f"{year}-01-01", "recall", "d", None, "denture", "poor fit", "relined") for year in (2021, 2024)]
    assert outcome([ONE], visits=SEEN, done=mended) == REPAIR
    assert outcome([ONE], visits=SEEN, done=reline[:1]) == SUCCESSFUL and outcome([ONE], visits=SEEN, done=reline) == REPAIR
    assert outcome([ONE], visits=SEEN, done=[("A", "2022-01-01", "recall", "d", None, "denture", "sore spot", "adjusted")] * 9) == SUCCESSFUL


def test_what_is_fitted_at_delivery_or_conversion_is_no_repair():
    assert outcome([ONE], visits=SEEN, done=[("A", day, "conversion", "d", "33", "insert", "sound", "replaced") for day in ("2020-02-01", "2020-03-01", "2020-04-01")]) == SUCCESSFUL


def test_replaced_comes_before_death_and_death_before_retirement_after_it():
    died = [("A", "2023-01-01", "died")]
    assert outcome([ONE], people=died, visits=SEEN[:1]) == DECEASED
    assert outcome([(*ONE[:4], "2022-01-01", "remade")], people=died, visits=SEEN[:1]) == RETREATMENT
    assert outcome([(*ONE[:4], "2023-02-01", "lost")], people=died, visits=SEEN[:1]) == DECEASED
    assert outcome([ONE], people=died, visits=SEEN[:1], done=[change(day) for day in ("2020-03-01", "2020-06-01", "2020-12-01")]) == REPAIR
    assert outcome([ONE], people=[("A", "2023-01-01", "changed to fixed")], visits=SEEN[:1]) == RETREATMENT


def test_a_denture_that_another_took_the_place_of_is_retreatment_though_nobody_wrote_it_retired():
    found = outcomes(Small([ONE, ("e", "A", "lower", "2022-01-01", None, None), ("f", "A", "upper", "2022-01-01", None, None)], visits=SEEN)).dentures.set_index("denture_id")["outcome"]
    assert found.to_dict() == {"d": RETREATMENT, "e": SUCCESSFUL, "f": SUCCESSFUL}


days = st.dates(datetime.date(2015, 1, 1), datetime.date(2026, 1, 1)).map(str)
maybe = st.one_of(st.none(), days)
dentures = st.lists(st.tuples(st.sampled_from("ABC"), st.sampled_from(["upper", "lower"]), maybe, maybe, st.sampled_from([None, "remade", "lost"])), min_size=0, max_size=8)
people = st.lists(st.tuples(st.sampled_from("ABC"), maybe, st.sampled_from(["died", "moved", "changed to fixed", None])), max_size=3, unique_by=lambda row: row[0])
seen = st.lists(st.tuples(st.sampled_from("ABC"), days, st.sampled_from(["recall", "problem", "contact only", "laboratory", "delivery"])), max_size=12)
work = st.lists(st.tuples(st.sampled_from("ABC"), days, st.sampled_from(["recall", "problem", "delivery"]), st.integers(0, 7), st.sampled_from(["33", "43"]), st.sampled_from(["insert", "housing", "abutment", "denture"]),
                          st.sampled_from(["worn", "base fractured", "sound"]), st.sampled_from(["replaced", "relined", "repaired", "tightened", "picked up again"])), max_size=20)  # fmt: skip


@given(dentures, people, seen, work)
@settings(max_examples=30, deadline=None)
def test_counts_add_up_to_all_dentures_delivered_on_any_log(drawn, who, visits, done):
    rows = [(f"d{i}", *row) for i, row in enumerate(drawn)]
    log = Small(rows, who, visits, [(one[0], *one[1:3], f"d{one[3]}", *one[4:]) for one in done])
    found = outcomes(log)
    here = ~(log.dentures["delivered_on"] > CLOSING)
    assert len(found.dentures) == here.sum() and set(found.dentures["outcome"]) <= set(FIELDS)
    assert found.dentures["denture_id"].is_unique
    if len(found.dentures):
        table = found.table
        assert table.loc["all dentures", "all"] == here.sum() == table.loc[list(FIELDS), "all"].sum()
        assert (table.loc[list(FIELDS)].sum() == table.loc["all dentures"]).all() and (table.drop(columns="all").sum(axis=1) == table["all"]).all()


def test_the_page_says_where_the_thresholds_come_from_and_how_sure_they_are(handmade, tmp_path):
    from outcomes.present.folder import Folder

    section = six_outcomes.section(handmade.log(40), Folder(tmp_path))
    text = " ".join(" ".join(block.paragraphs) if block.kind == "prose" else block.frame.to_string() for block in section.blocks)
    assert "from memory" in text and "setting of the plan" in text and "add" not in text.split()[:1]
    assert "more than 2 times in the first 12 months" in text and (tmp_path / "tables" / "six_outcomes.csv").exists()
    empty = six_outcomes.section(replace(handmade.log(0)), Folder(tmp_path / "empty"))
    assert "no denture" in empty.blocks[0].text


@pytest.mark.parametrize("rule", [{"relines_most": 0}, {"first_year_most": 0}, {"later_most": 0}])
def test_a_threshold_of_none_makes_the_first_one_a_repair(rule):
    done = [change("2022-05-01"), ("A", "2022-05-02", "recall", "d", None, "denture", "poor fit", "relined"), change("2020-05-01")]
    assert outcome([ONE], visits=SEEN, done=done, **rule) == REPAIR
