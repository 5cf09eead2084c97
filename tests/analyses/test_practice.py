"""What the clinic did, counted by hand: the right denominator, the right day, and limits that know how many patients there are."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from outcomes import schemas
from outcomes.analyses import practice, standards, standards_years
from outcomes.analyses.standards import CANNOT_TELL, MET
from outcomes.analyses.standards_years import TOO_EARLY, TOO_FEW, Year, by_chance, by_year
from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.content import Prose

DAY = pd.Timestamp


def visits(rows) -> pd.DataFrame:
    """(patient, day, reason, snap, parts_checked) as the log's visits."""
    frame = pd.DataFrame(rows, columns=["patient_id", "day", "reason", "snap", "parts_checked"]).assign(day=lambda one: pd.to_datetime(one["day"]))
    return frame.assign(visit_id=[str(i) for i in range(len(frame))], seen=~frame["reason"].isin(["laboratory", "contact only"]), problem=frame["reason"] == "problem", minutes=20.0, looked=True, arch=None, clinician="A", snap_as_written=frame["snap"])


def with_visits(handmade, rows, closing="2024-12-31", **other):
    log = handmade.log(0)
    people = pd.DataFrame({"patient_id": sorted({row[0] for row in rows})}).assign(ends_on=pd.NaT, left_on=pd.NaT, left_reason=None)
    return replace(log, visits=visits(rows), patients=people, closing=datetime.date.fromisoformat(closing), **other)


def test_every_declared_count_can_be_counted_and_no_other():
    assert set(practice.COUNTED) == set(schemas.practice())


def test_recalls_fall_due_a_year_after_the_last_one_or_after_the_one_missed(handmade):
    # Interval 365 days, 60 days of grace. A: first visit 2020-01-01, recalls 2021-01-10 (kept), then nobody until 2024: missed by 2022-03-11
    # and 2023-03-11, and the recall of 2024-01-05 keeps the one due 2024-01-10. B: one visit shortly before the end: nothing due.
    log = with_visits(handmade, [("A", "2020-01-01", "delivery", None, "all"), ("A", "2021-01-10", "recall", None, "all"), ("A", "2024-01-05", "recall", None, "all"), ("A", "2024-02-01", "problem", None, "all"), ("B", "2024-06-01", "recall", None, "all")])
    rows = practice.rows(log, "recalls kept")
    assert [(str(row.day.date()), bool(row.done)) for row in rows.itertuples()] == [("2021-03-01", True), ("2022-03-11", False), ("2023-03-11", False), ("2024-03-10", True)]
    assert practice.rows(log, "recalls kept", "2022-01-01", "2022-12-31")["done"].tolist() == [False]


def test_a_recall_that_comes_late_is_missed_and_keeps_no_other(handmade):
    # Always 100 days late: due 2020-12-31 and missed by 2021-03-01, came 2021-04-10; due 2022-04-10 and missed by 2022-06-09, came 2022-07-19; due 2023-07-19, missed by 2023-09-17.
    rows = [("A", "2020-01-01", "delivery", None, "all"), ("A", "2021-04-10", "recall", None, "all"), ("A", "2022-07-19", "recall", None, "all")]
    found = practice.rows(with_visits(handmade, rows, closing="2024-01-31"), "recalls kept")
    assert [(str(row.day.date()), bool(row.done)) for row in found.itertuples()] == [("2021-03-01", False), ("2022-06-09", False), ("2023-09-17", False)]


def test_a_look_at_another_visit_moves_the_recall_as_on_the_list_of_who_is_due(handmade):
    # Looked over with a problem on 2020-12-01: the next recall is due 2021-12-01, and came on 2021-12-20. A visit without a look moves nothing.
    rows = [("A", "2020-01-01", "delivery", None, "all"), ("A", "2020-12-01", "problem", None, "all"), ("A", "2021-12-20", "recall", None, "all")]
    log = with_visits(handmade, rows, closing="2022-06-30")
    found = practice.rows(log, "recalls kept")
    assert [(str(row.day.date()), bool(row.done)) for row in found.itertuples()] == [("2022-01-30", True)]
    unseen = replace(log, visits=log.visits.assign(looked=log.visits["reason"] != "problem"))
    assert practice.rows(unseen, "recalls kept")["done"].tolist() == [False, True]


def test_the_standard_says_that_shorter_intervals_do_not_count():
    assert "sooner" in schemas.practice()["recalls kept"]["of"] and "the same for everybody" in schemas.practice()["recalls kept"]["of"]


def test_a_recall_whose_last_day_lies_after_the_patient_left_is_not_due(handmade):
    log = with_visits(handmade, [("A", "2020-01-01", "delivery", None, "all")])
    left = replace(log, patients=log.patients.assign(ends_on=DAY("2021-02-01")))
    assert len(practice.rows(left, "recalls kept")) == 0 and len(practice.rows(log, "recalls kept")) == 4


def test_patients_asked_are_people_and_count_once_by_either_question(handmade):
    rows = [("A", "2024-03-01", "recall", "just right", "all"), ("A", "2024-05-01", "problem", None, "all"), ("B", "2024-03-01", "recall", None, "all"), ("C", "2024-03-01", "recall", None, "all"), ("D", "2024-02-01", "delivery", None, "all"), ("E", "2022-03-01", "recall", None, "all")]
    answers = pd.DataFrame({"patient_id": ["B"], "answered_on": [DAY("2024-04-01")]})
    found = practice.rows(with_visits(handmade, rows, answers=answers), "patients asked").set_index("patient_id")["done"]
    assert found.to_dict() == {"A": True, "B": True, "C": False}


def test_levels_count_inserts_not_rows_and_unknown_is_not_recorded(handmade):
    fitted = pd.DataFrame({"patient_id": ["A", "A", "B"], "day": [DAY("2024-01-01")] * 3, "level": ["light", "", "unknown"], "inserts": [2, 1, 4]})
    rows = practice.rows(replace(with_visits(handmade, [("A", "2024-01-01", "delivery", None, "all")]), inserts_in=fitted), "levels recorded")
    assert (len(rows), int(rows["done"].sum())) == (7, 2)


def test_limits_of_a_count_of_patients_are_clopper_and_pearsons():
    rows = pd.DataFrame({"patient_id": [f"P{i}" for i in range(20)], "done": [True] * 18 + [False] * 2})
    share, low, high, people, worth = practice.share(rows, 0.95)
    # R 4.2.2: binom.test(18, 20)
    assert (share, people, worth) == (0.9, 20, 20.0) and (low, high) == (pytest.approx(0.683017, abs=1e-6), pytest.approx(0.987651, abs=1e-6))


def test_limits_of_visits_rest_on_the_effective_sample_by_hand():
    # Five patients of four visits, done at 4, 4, 4, 2 and 2 of them: share 16/20; sums of done - 4 x 0.8 squared: 3 x 0.64 + 2 x 1.44 = 4.8;
    # V = 5/4 x 4.8/400 = 0.015; n = 0.16/0.015 x (1.959964/2.776445)^2 = 5.31553; R 4.2.2: qbeta(.025, .8n, .2n + 1), qbeta(.975, .8n + 1, .2n).
    rows = pd.DataFrame({"patient_id": np.repeat(list("abcde"), 4), "done": [True] * 12 + [True, True, False, False] * 2})
    share, low, high, people, worth = practice.share(rows, 0.95)
    assert (low, high) == (pytest.approx(0.29885338, abs=1e-7), pytest.approx(0.99387563, abs=1e-7))
    assert worth == pytest.approx(0.16 / 0.015) and people == 5 and share == 0.8


def test_one_patient_however_often_seen_gives_no_range():
    rows = pd.DataFrame({"patient_id": ["a"] * 50, "done": [True] * 50})
    share, low, high, *_ = practice.share(rows, 0.95)
    assert share == 1.0 and np.isnan(low) and np.isnan(high)
    assert np.isnan(practice.share(rows.iloc[:0], 0.95)[0])


def test_a_count_of_few_people_is_told_as_a_count(handmade):
    log = with_visits(handmade, [("A", "2024-03-01", "recall", "just right", "all"), ("B", "2024-03-01", "recall", None, "all")])
    one = next(one for one in standards.measured(log) if one.name == "Snap asked at visits")
    assert standards.said(one, 0.95).found == "1 of 2 visits" and one.verdict == CANNOT_TELL


def test_a_plan_without_standards_says_so_and_has_no_slide(handmade, tmp_path):
    from outcomes.analyses import standards_page, talk_audit
    from outcomes.present.content import Section
    from outcomes.present.folder import Folder

    log = handmade.log(20, standards=[])
    assert standards.measured(log) == [] and by_year(log) == []
    assert standards_page.section(log, [], (), Folder(tmp_path)).blocks[0].text == "The plan sets no standard."
    assert talk_audit._standards(log, 10, Section("methods", "Methods", (Prose(("Standards: x",)),))) is None


def test_a_slide_tells_verdicts_but_no_share_that_rests_on_few(handmade):
    from outcomes.analyses import talk_audit
    from outcomes.present.content import Section

    methods = Section("methods", "Methods", (Prose(("Standards: x",)),))
    few = talk_audit.slides(handmade.log(8), 10, methods)
    assert [slide.kicker for slide in few] == ["Standards"]  # of eight patients no upkeep is told
    assert all("too few patients to show the share" in text for _, text in few[0].counted)
    told, up = talk_audit.slides(handmade.log(80), 10, methods)
    assert any("%" in text.partition(": ")[2].partition(": ")[2] for _, text in told.counted) and talk_audit.upkeep_page.ONLY_WHERE in up.right
    assert "P0" not in " ".join([told.title, up.title, up.left, *(text for _, text in told.counted)])


# ------------------------------------------------------------------ year by year

def test_years_are_cohorts_of_fitting_at_the_same_age_and_recent_ones_are_too_early(handmade):
    log = handmade.log(80, fail=float("inf"), years=1.6)
    rows = [row for row in by_year(log) if row.standard == "Housings stay bonded"]
    begun = log.dentures["delivered_on"]
    for row in rows:
        own = begun[begun.dt.year == row.year]
        old = int((own + pd.Timedelta(days=731) <= pd.Timestamp(log.closing)).sum())
        assert row.patients == len(own) and row.reached == old
        assert (row.verdict == TOO_EARLY) == (old < min(5, len(own)))
    assert rows[-1].verdict == TOO_EARLY and np.isnan(rows[-1].share)
    assert all(row.share == 1.0 for row in rows if not np.isnan(row.share)) and sum(row.patients for row in rows) == 80


def test_a_whole_log_of_one_year_is_judged_in_that_year_as_in_all(handmade):
    log = handmade.log(60, years=0.3, fail=2.0)
    one = {row.standard: row for row in by_year(log)}["Dentures without a first repair"]
    whole = next(row for row in standards.measured(log) if row.name == "Dentures without a first repair")
    assert one.year == 2020 and (one.share, one.low, one.high, one.verdict) == (whole.share, whole.low, whole.high, whole.verdict)


def test_counts_go_by_calendar_year_and_the_years_add_up(handmade):
    log = handmade.log(60)
    rows = [row for row in by_year(log) if row.standard == "Snap asked at visits"]
    assert [row.year for row in rows] == sorted({day.year for day in practice.rows(log, "snap asked")["day"]})
    assert sum(len(practice.rows(log, "snap asked", f"{row.year}-01-01", f"{row.year}-12-31")) for row in rows) == len(practice.rows(log, "snap asked"))


def test_withheld_curves_have_no_years_and_few_patients_no_share(handmade):
    guarded = handmade.log(40, guard="The log lists failures but not the visits where nothing was wrong.")
    assert {row.standard for row in by_year(guarded)} <= {"Snap asked at visits", "Parts checked at recalls", "Recalls kept"}
    few = by_year(handmade.log(3))
    assert few and {row.verdict for row in few} <= {TOO_FEW, TOO_EARLY}
    assert by_year(handmade.log(0)) == []


def test_how_far_chance_goes_by_hand():
    rows = [Year("x", year, 0.9, None, MET, 0.8, 0.7, 0.9, 20, 20, worth=18.0) for year in (2020, 2021)]
    # pooled 0.8, one success and one failure added to 18: 15.4/20 = 0.77; 1.96 x sqrt(2 x 0.77 x 0.23 / 20)
    assert by_chance(rows) == pytest.approx(1.959964 * np.sqrt(2 * 0.77 * 0.23 / 20))
    assert np.isnan(by_chance(rows[:1]))


def test_no_word_compares_two_years(handmade, tmp_path):
    from outcomes.present.folder import Folder

    blocks = standards_years.blocks(handmade.log(60), Folder(tmp_path))
    text = " ".join(" ".join(block.paragraphs) if block.kind == "prose" else getattr(block, "finding", "") for block in blocks)
    assert "not tested against one another" in text and "chance alone" in text
    for word in ("improved", "better", "worse", "rose", "fell", "significant"):
        assert word not in text


@pytest.mark.parametrize("shape", (PAGE, PHONE, TALK), ids=lambda shape: shape.name)
def test_the_figure_covers_no_word_and_a_slide_shows_no_year_of_few(handmade, shape):
    found = by_year(handmade.log(80))
    sheet = standards_years.drawn(found, shape)
    assert sheet.overlaps() == []
    if shape is TALK:
        assert not [label for label in sheet.labels if label.get_text().isdigit() and 0 < int(label.get_text()) < 10]
        assert min(label.get_fontsize() for label in sheet.labels) >= 16
