"""Who is due, on a log small enough to count by hand; the files of the list; and what another recall interval would do."""

from __future__ import annotations

import csv
import datetime
import io
from dataclasses import replace

import icalendar
import numpy as np
import pandas as pd
import pytest

from outcomes.analyses import due_list, due_months, due_rules, next_steps, recall_planning
from outcomes.analyses.due import COMING, DUE, OVERDUE, PARTS, QUESTIONNAIRE, RECALL, REVIEW, due
from outcomes.errors import Misuse
from outcomes.present.sheet import render

DAY = pd.Timestamp
CLOSING = datetime.date(2024, 12, 31)


def visit(patient, day, reason="recall", checked="all"):
    return {"visit_id": f"{patient}/{day}", "patient_id": patient, "day": DAY(day), "arch": None, "reason": reason, "minutes": 10.0, "parts_checked": checked, "snap": None, "snap_as_written": "not asked",
            "seen": reason not in ("laboratory", "contact only"), "problem": reason == "problem", "looked": checked in ("all", "inserts only", "listed only")}  # fmt: skip


@pytest.fixture
def desk(handmade):
    """Seven patients, closing on the last day of 2024. A: long overdue. B: never seen again. C: died. D: dry mouth. E: coming up. F: failed last. G: moved after the closing day."""
    log = handmade.log(7, answered=False)
    names = list("ABCDEFG")
    people = pd.DataFrame({"patient_id": names, "birth_year": 1950, "sex": "female", "left_on": pd.to_datetime([None, None, "2023-06-30", None, None, None, "2025-02-01"]), "left_reason": [None, None, "died", None, None, None, "moved"],
                           "ends_on": pd.NaT, "dry_mouth": [None, None, "yes", "yes", "no", None, None], "bruxism": ["possible", "no", "definite", None, "no", "probable", None], "limited_dexterity": None})  # fmt: skip
    delivered = ["2022-01-01", "2024-06-01", "2022-01-01", "2022-01-01", "2023-02-01", "2022-01-01", "2022-01-01"]
    dentures = pd.DataFrame({"denture_id": [f"{name}/lower/1" for name in names], "patient_id": names, "arch": "lower", "delivered_on": pd.to_datetime(delivered), "delivered_on_precision": "day", "retired_on": pd.NaT, "retired_reason": None, "existing": None})
    visits = [visit(name, day, "delivery") for name, day in zip(names, delivered)]
    visits += [visit("A", "2023-01-01"), visit("A", "2024-06-01", "problem", "none"), visit("C", "2023-01-01"), visit("D", "2024-06-20"), visit("E", "2024-02-01", checked="inserts only"), visit("F", "2024-03-01", "problem"), visit("G", "2024-12-01")]
    return replace(log, closing=CLOSING, everybody=7, patients=people, dentures=dentures, visits=pd.DataFrame(visits), episodes=log.episodes.iloc[:0], answers=log.answers.iloc[:0],
                   failures=pd.DataFrame({"patient_id": ["F"], "day": [DAY("2024-03-01")]}), in_place=pd.DataFrame({"patient_id": ["E", "E", "A"], "denture_id": ["E/lower/1", "E/lower/1", "A/lower/1"], "part": ["housing", "insert", "housing"],
                                         "position": ["33", "33", "33"], "looked_on": [DAY("2022-02-01"), DAY("2024-02-01"), DAY("2023-01-01")]}))  # fmt: skip


def item(found, patient, what=RECALL):
    (row,) = found.of(what)[lambda rows: rows["patient_id"] == patient].itertuples()
    return row


def test_each_recall_falls_due_by_the_shortest_interval_that_fits(desk):
    found = due(desk)
    assert (item(found, "A").due_on, item(found, "A").state, item(found, "A").why) == (DAY("2024-01-01"), OVERDUE, "")  # 1 January 2023 and 365 days; the visit without a look counts for nothing
    assert (item(found, "D").due_on, item(found, "D").state, item(found, "D").why) == (DAY("2024-12-20"), DUE, "dry mouth")  # 20 June and 183 days
    assert (item(found, "E").due_on, item(found, "E").state, item(found, "E").days_over) == (DAY("2025-01-31"), COMING, -31)
    assert (item(found, "F").due_on, item(found, "F").state, item(found, "F").why) == (DAY("2024-08-31"), OVERDUE, "bruxism and failure at the last visit")


def test_who_was_never_seen_again_needs_a_review_and_no_recall(desk):
    found = due(desk)
    assert item(found, "B", REVIEW).due_on == DAY("2024-06-08") and "B" not in set(found.of(RECALL)["patient_id"])


def test_the_dead_are_never_due_and_who_leaves_later_still_is_a_patient_on_the_day(desk):
    assert set(due(desk, 365).items["patient_id"]) == set("ABDEFG")


def test_a_part_passed_over_at_recalls_is_on_the_list_unless_the_recall_comes_first(desk):
    found = due(desk)
    assert (item(found, "E", PARTS).due_on, item(found, "E", PARTS).detail) == (DAY("2024-02-01"), "1 housing not looked at since 1\u00a0February 2022")
    assert "A" not in set(found.of(PARTS)["patient_id"])


def test_a_window_of_no_days_shows_only_what_is_due_and_a_longer_one_more(desk):
    assert not len(due(desk, 0).items[lambda rows: rows["state"] == COMING])
    assert len(due(desk, 400).items) > len(due(desk).items)


def test_questionnaires_can_be_asked_for_until_their_window_closes(handmade):
    log = handmade.log(60)
    found, closing = due(log, 0), DAY(log.closing)
    first = log.delivered.groupby("patient_id")["delivered_on"].min()
    age = (closing - first).dt.days
    since = (log.answers["answered_on"] - log.answers["patient_id"].map(first)).dt.days
    have = set(log.answers.loc[since.between(180, 545), "patient_id"])
    here = set(log.patients.loc[log.patients["left_on"].isna(), "patient_id"])
    assert set(found.of(QUESTIONNAIRE)["patient_id"]) == {name for name in first.index[age.between(335, 545)] if name in here and name not in have}
    log.plan._body["recall"] = {**log.plan["recall"], "occasions": ["month 3", "month 12"]}
    assert len(due(log, 0).of(QUESTIONNAIRE)) >= len(found.of(QUESTIONNAIRE))


def test_the_front_page_counts_what_the_list_holds(desk):
    found, tasks = due(desk), {task.key: task for task in next_steps.tasks(desk)}
    assert tasks["recalls"].number == len(found.of(RECALL, OVERDUE)) == 2 and {name for name, _ in tasks["recalls"].rows} == {"A", "F"}
    assert tasks["reviews"].number == len(found.of(REVIEW, OVERDUE)) == 1 and tasks["unchecked"].number == len(found.of(PARTS, OVERDUE)) == 1


def test_the_rules_are_printed_with_whose_choice_they_are(desk):
    said = due_rules.said(desk.plan)
    assert said[0] == "Everybody: every 12 months (the clinic's own choice)." and "Single implant: every 6 months (the clinic's own choice)." in said
    assert all("own choice" in sentence for sentence in said) and len(said) == 7


@pytest.mark.parametrize(("entry", "answer"), [({"when": "dry mouht", "days": 90}, "Did you mean “dry mouth”"), ({"when": "dry mouth"}, "needs when and days"), ({"when": "dry mouth", "days": 0}, "whole number"),
                                               ({"when": "dry mouth", "days": 90, "note": "x"}, "nothing else"), ({"when": "dry mouth", "days": True}, "whole number"), ("dry mouth", "needs when and days"), ({"when": "zzz", "days": 9}, "Known are")])  # fmt: skip
def test_a_rule_that_means_nothing_is_refused_with_the_nearest_that_does(desk, entry, answer):
    desk.plan._body["recall"] = {**desk.plan["recall"], "shorter": [entry]}
    with pytest.raises(Misuse, match=answer):
        due(desk)


def test_a_questionnaire_occasion_that_does_not_exist_is_refused(handmade):
    log = handmade.log(20)
    log.plan._body["recall"] = {**log.plan["recall"], "occasions": ["month12"]}
    with pytest.raises(Misuse, match="Did you mean month 12"):
        due(log)


def test_table_calendar_and_sheet_hold_the_same_items(desk, tmp_path):
    found = due(desk)
    paths = due_list.write_list(found, desk, recall_planning.Planning(pd.DataFrame(), "Cannot be said."), tmp_path / "list")
    assert {path.name for path in paths} == {"due.csv", "due.ics", "due.html"}
    table = list(csv.DictReader(io.StringIO((tmp_path / "list/due.csv").read_text(encoding="utf-8-sig"))))
    calendar = icalendar.Calendar.from_ical((tmp_path / "list/due.ics").read_bytes())
    page = (tmp_path / "list/due.html").read_text(encoding="utf-8")
    assert len(table) == len(calendar.walk("VEVENT")) == page.count('<i></i></td>') == len(found.items) == 6
    starts = {str(event["summary"]).rpartition(": ")[2]: event["dtstart"].dt for event in calendar.walk("VEVENT")}
    assert starts["A"] == CLOSING  # what is past its day stands on the day of the list
    again = due_list.write_list(found, desk, recall_planning.Planning(pd.DataFrame(), "Cannot be said."), tmp_path / "again")
    assert [path.read_bytes() for path in paths] == [path.read_bytes() for path in again]


def test_a_hostile_pseudonym_is_harmless_in_every_file(desk, tmp_path):
    name = "=cmd|'x'!A0\r\nEND:VEVENT<script>"
    frames = {column: getattr(desk, column).assign(patient_id=getattr(desk, column)["patient_id"].replace("A", name)) for column in ("patients", "dentures", "visits", "in_place")}
    found = due(replace(desk, **frames))
    due_list.write_list(found, replace(desk, **frames), recall_planning.Planning(pd.DataFrame(), "x"), tmp_path / "out")
    rows = list(csv.reader(io.StringIO((tmp_path / "out/due.csv").read_bytes().decode("utf-8-sig"), newline="")))
    assert ["'" + name] == [row[0] for row in rows if "cmd" in row[0]]
    assert len(icalendar.Calendar.from_ical((tmp_path / "out/due.ics").read_bytes()).walk("VEVENT")) == len(found.items)
    assert "<script>" not in (tmp_path / "out/due.html").read_text(encoding="utf-8")


def test_nobody_due_gives_no_calendar_and_takes_an_old_one_away(desk, tmp_path):
    nothing = replace(desk, patients=desk.patients.iloc[:0], dentures=desk.dentures.iloc[:0])
    (tmp_path / "due.ics").write_text("old")
    paths = due_list.write_list(due(nothing), nothing, recall_planning.Planning(pd.DataFrame(), "x"), tmp_path)
    assert {path.name for path in paths} == {"due.csv", "due.html"} and not (tmp_path / "due.ics").exists()
    assert "Nobody is due." in (tmp_path / "due.html").read_text(encoding="utf-8")


def test_the_months_ahead_hold_everybody_in_care_once_and_again_by_the_interval(desk):
    months = due_months.ahead(desk)
    assert months.rows.loc[months.rows["month"].isna(), "next"].item() == 5 and months.rows["next"].sum() == months.patients == 6  # A, B, D, E by its housing, and F are past the day
    assert months.rows.set_index("month").loc[DAY("2025-12-01"), "next"] == 1 and not months.rows["again"].any()  # G: 1 December 2024 and 365 days
    assert months.asked == pytest.approx(30.4375 * (4 / 365 + 2 / 183))  # D and F are seen every half year
    assert months.seen == pytest.approx(3 / 12)  # D, E and G in 2024; A and F came with a problem
    desk.plan._body["recall"] = {**desk.plan["recall"], "interval_days": 120, "shorter": []}
    again = due_months.ahead(desk).rows.set_index("month")["again"]
    assert list(again.index[again > 0]) == [DAY("2025-07-01"), DAY("2025-11-01")]  # G: due 31 March, so again 29 July and 26 November


def test_the_months_ahead_are_drawn_and_said_alike(desk, tmp_path):
    months = due_months.ahead(desk)
    page = render(due_list.sheet(due(desk), desk, recall_planning.Planning(pd.DataFrame(), "x"), months))
    assert "5 patients are past the day" in page and page.count('<svg viewBox="0 0 1000 20"') == len(months.rows) == 14
    assert '<th scope="col"></th>' not in page, "a heading without words is none to a screen reader"
    due_list.write_list(due(desk), desk, recall_planning.Planning(pd.DataFrame(), "x"), tmp_path, months=months)
    table = pd.read_csv(tmp_path / "due_months.csv", encoding="utf-8-sig")
    assert table["next_visits"].tolist() == months.rows["next"].tolist() and table.loc[table["past_its_day"] == "yes", "next_visits"].item() == 5


def test_nobody_in_care_has_no_months_ahead(desk):
    nothing = replace(desk, patients=desk.patients.iloc[:0], dentures=desk.dentures.iloc[:0])
    assert due_months.block(due_months.ahead(nothing), CLOSING) is None


def test_twice_as_many_recalls_about_halve_the_time_wear_goes_unnoticed(handmade):
    log = handmade.log(150, fail=2.5, report={"draws": 100})
    planned = recall_planning.planning(log)
    nobody = planned.rows[planned.rows["coming"] == 0].set_index("interval")
    assert nobody.loc[183, "mean"] == pytest.approx(nobody.loc[365, "mean"] / 2, rel=0.1) and nobody.loc[365, "mean"] == pytest.approx(182.5, rel=0.12)
    some = planned.rows[planned.rows["coming"] > 0].set_index("interval")
    assert planned.share == pytest.approx(log.lifetime("insert worn").found_at_problem_visits) and (some["mean"] < nobody["mean"]).all()
    assert ((planned.rows["mean_low"] <= planned.rows["mean"]) & (planned.rows["mean"] <= planned.rows["mean_high"])).all()
    text = " ".join(recall_planning.sentences(planned, 365))
    assert "every recall is kept to the day" in text and "nobody comes earlier" in text
    page = render(due_list.sheet(due(log), log, planned))
    assert planned.in_care > 0 and recall_planning.recalls_a_month(planned, 183) == pytest.approx(planned.in_care * 30.4375 / 183)
    assert "12 months (now)" in page and "Recalls a month: for all" in page and "how long a worn insert goes unnoticed" in page


def test_too_few_worn_inserts_or_a_log_of_failures_only_plan_no_recall(handmade):
    few = recall_planning.planning(handmade.log(12, fail=np.inf))
    assert few.rows.empty and few.why == "Cannot be said: 0 patients of 12 had a first insert found worn; it takes 10."
    silent = recall_planning.planning(handmade.log(60, guard="The log lists failures but not the visits where nothing was wrong."))
    assert silent.rows.empty and "failures but not the visits" in silent.why


def test_where_no_curve_fits_the_sentence_does_not_blame_the_number_of_patients(handmade, monkeypatch):
    monkeypatch.setattr(recall_planning, "shapes", lambda life: None)
    why = recall_planning.planning(handmade.log(60)).why
    assert "no smooth curve could be fitted" in why and "it takes" not in why


@pytest.mark.parametrize("days", [[], [0], ["365"], [True]])
def test_intervals_to_compare_must_be_days(handmade, days):
    log = handmade.log(30)
    log.plan._body["recall"] = {**log.plan["recall"], "compare_days": days}
    with pytest.raises(Misuse, match="compare_days"):
        recall_planning.planning(log)
