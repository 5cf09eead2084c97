"""What to do next, retention, upkeep and what patients say, against logs small enough to count by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes.analyses import next_steps
from outcomes.analyses.people import improved_words_of, satisfied, snap
from outcomes.analyses.retention import settling
from outcomes.analyses.upkeep import upkeep

DAY = pd.Timestamp


def visit(patient, day, reason="recall", *, snap=None, checked="all", minutes=10.0):
    return {"visit_id": f"{patient}/{day}", "patient_id": patient, "day": DAY(day), "arch": None, "reason": reason, "minutes": minutes, "parts_checked": checked, "snap": snap, "snap_as_written": snap or "not asked",
            "seen": reason not in ("laboratory", "contact only"), "problem": reason == "problem", "looked": checked in ("all", "inserts only", "listed only")}  # fmt: skip


@pytest.fixture
def small(handmade):
    """Three patients, closing on the last day of 2024; every frame replaced by hand."""
    from dataclasses import replace

    log = handmade.log(3, answered=False)
    names = ["A", "B", "C"]
    people = pd.DataFrame({"patient_id": names, "birth_year": [1950] * 3, "sex": ["female"] * 3, "left_on": pd.to_datetime([None, None, "2023-06-30"]), "left_reason": [None, None, "died"], "ends_on": pd.to_datetime([None, None, "2023-06-30"])})
    dentures = pd.DataFrame({"denture_id": ["A/lower/1", "B/lower/1", "C/lower/1"], "patient_id": names, "arch": "lower", "delivered_on": pd.to_datetime(["2022-01-01", "2024-06-01", "2022-01-01"]),
                             "delivered_on_precision": "day", "retired_on": pd.NaT, "retired_reason": None, "existing": None})  # fmt: skip
    visits = pd.DataFrame([visit("A", "2022-01-01", "delivery"), visit("A", "2022-07-01", "problem", snap="a bit loose"), visit("A", "2022-07-01", "problem"), visit("A", "2023-01-01", snap="just right"),
                           visit("B", "2024-06-01", "delivery"), visit("C", "2022-01-01", "delivery"), visit("C", "2023-01-01", snap="far too firm", checked="none")])  # fmt: skip
    episodes = pd.DataFrame([
        ("A/33/1", "A", "A/lower/1", "lower", "33", "insert", 1, "fitted", True, DAY("2022-01-01"), 0, 181.0, DAY("2022-07-01"), "wanted firmer", "wish", "light", 6.7),
        ("A/33/2", "A", "A/lower/1", "lower", "33", "insert", 2, "fitted", False, DAY("2022-07-01"), 0, np.nan, pd.NaT, "", "", "medium", 13.3),
        ("B/33/1", "B", "B/lower/1", "lower", "33", "insert", 1, "fitted", True, DAY("2024-06-01"), 0, np.nan, pd.NaT, "", "", None, np.nan),
        ("C/33/1", "C", "C/lower/1", "lower", "33", "insert", 1, "fitted", True, DAY("2022-01-01"), 0, np.nan, pd.NaT, "died", "", "light", 6.7),
    ], columns=handmade.EPISODES)  # fmt: skip
    return replace(log, everybody=3, patients=people, dentures=dentures, visits=visits, episodes=episodes, inserts_in=pd.DataFrame({"patient_id": ["B"], "day": [DAY("2024-06-01")], "level": [""], "inserts": [2]}))


def test_who_is_overdue_and_who_was_never_seen_again(small):
    tasks = {task.key: task for task in next_steps.tasks(small)}
    assert tasks["recalls"].rows == (("A", "last looked at 1\u00a0January 2023"),)
    assert tasks["reviews"].rows == (("B", "lower, delivered 1\u00a0June 2024"),)


def test_those_who_left_are_never_due(small):
    concerned = {who for task in next_steps.tasks(small) for who, _ in task.rows}
    assert "C" not in concerned


def test_the_drawer_counts_inserts_of_the_last_year_by_level(small):
    drawer = next(task for task in next_steps.tasks(small) if task.key == "drawer")
    assert drawer.number == 2 and "unknown 2" in drawer.text


def test_levels_nobody_wrote_down_are_a_gap(small):
    gap = next(task for task in next_steps.tasks(small) if task.key == "unknown-level")
    assert gap.rows == (("B", "position 33"),)


def test_an_overdue_recall_is_no_longer_one_after_a_look(small):
    from dataclasses import replace

    seen = replace(small, visits=pd.concat([small.visits, pd.DataFrame([visit("A", "2024-12-01", snap="just right")])], ignore_index=True))
    assert not [task for task in next_steps.tasks(seen) if task.key == "recalls"]


def test_the_level_is_followed_to_its_first_change_or_to_the_end(small):
    found = settling(small)
    rows = found.rows.set_index("denture_id")
    assert found.unknown == 1 and "B/lower/1" not in rows.index
    assert (rows.loc["A/lower/1", "days"], rows.loc["A/lower/1", "cause"]) == (181, "step up")
    assert (rows.loc["C/lower/1", "days"], rows.loc["C/lower/1", "cause"]) == (545, "died")


def test_two_problem_visits_on_one_day_count_once(small):
    up = upkeep(small)
    rows = up.patients.set_index("patient_id")
    assert rows.loc["A", "unplanned"] == 1 and rows.loc["A", "planned"] == 1
    assert rows.loc["A", "years"] == pytest.approx((DAY("2024-12-31") - DAY("2022-01-01")).days / 365.25)
    assert rows.loc["C", "years"] == pytest.approx(545 / 365.25)
    assert up.rate()[0] == pytest.approx(1 / up.years)


def test_visits_so_far_rise_by_one_for_each_problem_visit(small):
    so_far = upkeep(small).so_far
    assert so_far.mean_at(180) == 0
    assert so_far.mean_at(182) == pytest.approx(1 / 3)


def test_the_last_word_counts_and_the_worse_of_two_on_one_day(small):
    from dataclasses import replace

    said = snap(small)
    assert dict(zip(said.last["patient_id"], said.last["word"])) == {"A": "just right", "C": "far too firm"}
    two = pd.concat([small.visits, pd.DataFrame([visit("A", "2023-01-01", snap="far too loose") | {"visit_id": "A/2"}])], ignore_index=True)
    assert dict(zip(*[snap(replace(small, visits=two)).last[name] for name in ("patient_id", "word")]))["A"] == "far too loose"


def test_words_over_time_count_each_person_once_in_each_spell(small):
    table = snap(small).table.set_index("occasion")
    assert table.loc["to 1 year", "people"] == 2
    assert (table.drop(columns="people").sum(axis=1) == table["people"]).all()


def test_satisfaction_is_compared_within_patients(handmade):
    log = handmade.log(40)
    found = satisfied(log, "satisfaction_card")
    both = found.own.dropna(subset=["before", "1 year"])
    assert found.change.value == pytest.approx((both["1 year"] - both["before"]).mean())
    assert found.pairs == len(both) and found.started == found.own["before"].notna().sum()
    assert improved_words_of(found).startswith(f"{(both['1 year'] - both['before'] >= 10).sum()} of {len(both)} patients improved")


def test_without_answers_there_is_nothing_to_say(handmade):
    assert satisfied(handmade.log(10, answered=False), "satisfaction_card") is None


def test_whoever_came_with_a_denture_delivered_elsewhere_is_not_followed_from_delivery(small):
    """D's denture was delivered elsewhere in 2022, after this log began; D first came in 2024: what happened in between nobody here knows."""
    from dataclasses import replace

    more = small.dentures.iloc[[0]].assign(denture_id="D/lower/1", patient_id="D", delivered_on=DAY("2022-06-01"))
    people = small.patients.iloc[[0]].assign(patient_id="D")
    came = pd.DataFrame([visit("D", "2024-06-01", "problem"), visit("D", "2024-07-01", "problem")])
    up = upkeep(replace(small, dentures=pd.concat([small.dentures, more], ignore_index=True), patients=pd.concat([small.patients, people], ignore_index=True), visits=pd.concat([small.visits, came], ignore_index=True)))
    rows = up.patients.set_index("patient_id")
    assert not rows.loc["D", "fresh"] and rows.loc["D", "unplanned"] == 1  # it counts in the rate, from the first visit on
    assert "D/lower/1" not in set(up.served["denture_id"]) and up.so_far.mean_at(60) == 0
