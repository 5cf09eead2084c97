"""What is told to a patient: readable at twelve, per person, both ways round, and silent where too few were followed."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import textstat

from outcomes.analyses import tell, tell_words
from outcomes.errors import Misuse
from outcomes.present.sheet import render

TENTHS = [n / 10 for n in range(11)]
YEARS = (0.25, 0.5, 1, 1.5, 2, 3, 5, 10, 20)


def every_sentence() -> set[str]:
    """All that the templates can say, over all counts, ranges and times."""
    said = {*tell_words.CLOSING, *tell_words.QUESTIONS.values()}
    for years, share in itertools.product(YEARS, TENTHS):
        for template in (tell_words.repair, tell_words.level):
            said |= set(template(share, 0, 1, years))
        for rate in (0.0, 0.04, 0.1, 0.62, 1.0, 2.5, 12.0):
            said |= set(tell_words.visits(share, 0, 1, years, rate, rate / 2, rate * 2))
    for share in TENTHS:
        said |= set(tell_words.snap(share, 0, 1)) | set(tell_words.glad(share, 0, 1))
    return said | {tell_words.likely(low, high) for low in range(11) for high in range(low, 11)}


def test_every_sentence_can_be_read_at_twelve():
    # Flesch-Kincaid grade below 7: the sixth school year, ages 11 to 12 (Kincaid et al. 1975, from memory).
    grades = {sentence: textstat.flesch_kincaid_grade(sentence) for sentence in every_sentence()}
    assert len(grades) > 200 and {sentence: grade for sentence, grade in grades.items() if grade >= 7} == {}


def test_the_reading_check_can_fail():
    assert textstat.flesch_kincaid_grade("Approximately three in ten individuals experienced prosthodontic complications necessitating intervention.") > 12


def test_every_count_has_its_other_side_out_of_the_same_ten():
    for share in TENTHS:
        for said in (tell_words.repair(share, 0, 1, 2), tell_words.level(share, 0, 1, 2), tell_words.snap(share, 0, 1), tell_words.glad(share, 0, 1), tell_words.visits(share, 0, 1, 2, 0.5, 0.3, 0.7)):
            one, other = (re.search(r"(\d+) in 10", sentence) for sentence in said[:2])
            if 0 < tell_words.tens(share) < 10:
                assert int(one[1]) + int(other[1]) == 10
            else:
                assert {said[0][:5], said[1][:5]} == {"Fewer", "More "}  # none and all are never promised
            assert tell_words.PAST in said[0]


@pytest.fixture(scope="module")
def log(handmade):
    return handmade.log(80, report={"draws": 100})


@pytest.fixture(scope="module")
def told(log):
    return {one.topic: one for one in tell.tell(log)}


def test_shares_are_those_of_people_however_many_dentures_or_inserts_they_have(log, told):
    life = log.lifetime("first repair")
    twice = life.rows.assign(denture_id=life.rows["denture_id"].str.replace("lower/1", "upper/2"), unit_id=life.rows["unit_id"] + "/b", observed=False)
    dentures = pd.concat([log.dentures, log.dentures.assign(denture_id=log.dentures["denture_id"].str.replace("lower/1", "upper/2"), arch="upper", delivered_on=log.dentures["delivered_on"] + pd.Timedelta(days=1))])
    more = replace(log, times=pd.concat([log.times, twice], ignore_index=True), dentures=dentures.reset_index(drop=True), worked_out={})
    again = {one.topic: one for one in tell.tell(more)}
    for topic in ("first repair", "level change"):
        assert (again[topic].share, again[topic].low, again[topic].people) == pytest.approx((told[topic].share, told[topic].low, told[topic].people))


def test_the_share_without_a_repair_is_the_curve_of_first_dentures(log, told):
    one = told["first repair"]
    curve = tell.per_person(log.lifetime("first repair"), tell.first_dentures(log)).day_found
    assert one.share == pytest.approx(1 - curve.survival_at(one.years * 365.25)) and one.low <= one.share <= one.high
    assert one.sentences[0].startswith(tell_words.of_ten(tell_words.tens(one.share)))


def test_the_snap_and_satisfaction_are_counted_in_people(log, told):
    last = log.visits[log.visits["snap"].notna()].sort_values(["patient_id", "day"]).groupby("patient_id").last()
    assert told["snap right"].people == len(last) and told["snap right"].share == pytest.approx((last["snap"] == "just right").mean())
    wide = log.answers.assign(occasion=log.answers["occasion"]).pivot(index="patient_id", columns="occasion", values="response").dropna(subset=["before", "month 12"])
    assert told["satisfaction"].people == len(wide) and told["satisfaction"].share == pytest.approx((wide["month 12"] - wide["before"] >= 10).mean())


def test_who_came_back_unplanned_is_counted_once_however_often(log, told):
    rows = log.visits.merge(log.dentures[["patient_id", "delivered_on"]], on="patient_id")
    since = (rows["day"] - rows["delivered_on"]).dt.days
    came = rows.loc[rows["problem"] & (since <= 2 * 365.25) & (since > 0), "patient_id"].nunique()
    assert told["extra visits"].share >= came / told["extra visits"].people - 1e-9  # those not followed so long can only raise it
    assert told["extra visits"].years == 2 and len(told["extra visits"].sentences) == 4


def test_nothing_is_said_beyond_the_years_that_ten_patients_were_followed(log):
    beyond = {one.topic: one for one in tell.tell(log, 5)}
    for topic in ("first repair", "level change", "extra visits"):
        assert not beyond[topic].sentences and re.search(r"not said for 5 years: \d patients? (was|were) followed so long, and it takes 10", beyond[topic].refused)
    assert beyond["snap right"].sentences


def test_a_young_clinic_speaks_of_a_shorter_time_and_says_so(handmade):
    young = handmade.log(60, years=0.2, fail=1.0, report={"draws": 100})
    cut = replace(young, times=young.times.assign(found_day=young.times["found_day"].clip(upper=500), observed=young.times["observed"] & (young.times["found_day"] <= 500)), worked_out={})
    one = next(one for one in tell.tell(cut) if one.topic == "first repair")
    assert one.years == 1 and "within 1 year" in one.sentences[0] and one.note == "Said for 1 year: too few were followed for 2 years."


def test_a_log_of_few_patients_tells_nothing_and_says_why(handmade):
    for one in tell.tell(handmade.log(4)):
        assert not one.sentences and one.refused.startswith("not said")
    assert "We do not know enough" in render(tell.sheet(tell.tell(handmade.log(4))))


def test_few_events_are_counts_for_the_clinician_and_nothing_for_the_patient(handmade):
    lines = tell.lines(tell.tell(handmade.log(60, fail=np.inf)))
    assert any("First repair: not said: 0 of 60 patients had it so far, and it takes 5." in line for line in lines)


def test_a_log_of_failures_only_says_nothing_of_repairs(handmade):
    one = tell.tell(handmade.log(60, guard="The log lists failures but not the visits where nothing was wrong."))[0]
    assert not one.sentences and "lists failures" in one.refused


def test_the_leaflet_draws_as_many_people_as_the_first_line_counts_and_no_pseudonym(log, told):
    html = render(tell.sheet(list(told.values())))
    drawn = [html_part.count('class="yes"') for html_part in re.findall(r'<svg class="ten".*?</svg>', html)]
    assert drawn == [tell_words.tens(one.share) for one in told.values() if one.sentences]
    assert "P0001" not in html and all(sentence in html for sentence in tell_words.CLOSING) and "past patients of this clinic" in html


@pytest.mark.parametrize(("setting", "answer"), [({"followed": 2}, "at least 5"), ({"years": 0.1}, "0.25"), ({"shorter": [99]}, "to 20"), ({"shorter": ["one"]}, "to 20")])
def test_settings_that_cannot_be_are_refused(handmade, setting, answer):
    with pytest.raises(Misuse, match=answer):
        tell.tell(handmade.log(20, tell=setting))
