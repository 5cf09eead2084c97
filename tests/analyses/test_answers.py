"""Each answer is one sentence, one number, one likely range, and counts of people before parts."""

from __future__ import annotations

import re

import pytest

from outcomes.analyses import answers, certainty
from outcomes.analyses.people import satisfied, snap
from outcomes.analyses.retention import settling
from outcomes.analyses.upkeep import upkeep
from outcomes.present import words


@pytest.fixture(scope="module")
def said(clinic):
    lives = [clinic.lifetime(name) for name in clinic.plan["report"]["endpoints"]]
    return [*[answers.of_lifetime(life) for life in lives], answers.of_settling(settling(clinic), clinic.plan), answers.of_upkeep(upkeep(clinic), 0.95), answers.of_snap(snap(clinic)), answers.of_satisfied(satisfied(clinic, "satisfaction_card"), 0.95)]


def test_there_are_seven_with_people_before_parts(said):
    assert len(said) == 7
    assert all(re.match(r"\d+ patients?", one.counts) for one in said)


def test_no_method_is_named(said):
    for one in said:
        text = f"{one.whole} {one.likely} {one.counts} {one.caution}".lower()
        assert not [name for name in words.METHOD_NAMES if name in text]


def test_every_range_names_its_level_and_holds_its_number(said):
    for one in said:
        assert "(95\u00a0%)" in one.likely
        if one.value is not None:
            assert one.low <= one.value <= one.high


def test_a_wide_bracket_is_the_headline_of_wear(clinic, said):
    worn, life = said[1], clinic.lifetime("insert worn")
    assert life.bracket.is_headline_at(3 * 365.25)
    low, high = life.bracket.bounds_at(3 * 365.25)
    assert worn.number == words.percent_range(low, high) and worn.value is None


def test_a_narrow_bracket_leaves_the_curve_as_the_headline(handmade):
    log = handmade.log(150, fail=12.0, seed=5)
    life = log.lifetime("insert worn")
    life.__dict__["bracket"] = None
    assert answers.of_lifetime(life).value == life.share_at(life.horizon).value


def test_few_patients_are_answered_in_tenths_and_fewer_events_in_counts(handmade):
    one = answers.of_lifetime(handmade.log(17, fail=1.2).lifetime("first repair"))
    assert re.match(r"about \d+ of 10 dentures had needed no repair", one.whole)
    other = answers.of_lifetime(handmade.log(6).lifetime("first repair"))
    assert re.match(r"\d of 6 patients needed a repair: too few", other.whole) and other.likely == ""


def test_where_nothing_failed_the_range_still_says_what_that_is_worth(handmade):
    one = answers.of_lifetime(handmade.log(30, fail=float("inf")).lifetime("first repair"))
    assert one.whole == "0 of 30 patients needed a repair: nothing has failed yet."
    assert re.match(r"\d+ to 100\u00a0% \(95\u00a0%\) without it after 3 years", one.likely)


def test_a_guarded_log_is_silent_on_lifetimes(clinic):
    one = answers.of_lifetime(clinic.lifetime("insert worn"), "The log lists failures but not the visits where nothing was wrong.")
    assert one.number == "" and "lists failures but not the visits" in one.sentence


def test_more_endpoints_than_fit_leave_the_four_other_answers_in_place(said):
    front = answers.front([*said[:3], *said[:3], *said[3:]])
    assert len(front) == 7 and front[3:] == tuple(said[3:])


def test_an_endpoint_that_only_a_plan_knows_gets_a_sentence(handmade):
    log = handmade.log(40, endpoints=[{"name": "insert cracked", "title": "Insert cracked", "unit": "insert", "noticed_by": "examination", "definition": "An insert was cracked."}])
    log.times["endpoint"] = log.times["endpoint"].replace("insert worn", "insert cracked")
    assert "of inserts were free of “insert cracked”" in answers.of_lifetime(log.lifetime("insert cracked")).sentence


def test_doubts_name_what_the_log_lacks(clinic):
    life = clinic.lifetime("insert worn")
    text = certainty.of_lifetime(life, clinic, 9)
    assert "between the last sound look and the finding lie" in text
    assert all(name and value for name, value in certainty.facts(life))


def test_parts_of_which_only_failures_are_listed_are_withheld_and_others_are_not(handmade):
    from dataclasses import replace

    from outcomes.analyses import standards, who

    log = replace(handmade.log(40), withheld=frozenset({"insert"}), worked_out={})
    worn, bond = log.lifetime("insert worn"), log.lifetime("housing bond failure")
    assert answers.of_lifetime(worn, log.guard_of(worn)).number == ""
    assert answers.of_lifetime(bond, log.guard_of(bond)).number != ""
    assert "Of inserts the log lists failures" in certainty.of_lifetime(worn, log, 2)
    assert "Of inserts" in who.notices(log)[0]
    assert all(one.why == "" for one in standards.measured(log))


def test_where_failures_left_too_few_to_follow_their_count_is_the_answer(handmade):
    life = handmade.log(8, fail=0.15, seed=2).lifetime("first repair")
    assert life.speaks and life.horizon is None
    one = answers.of_lifetime(life)
    assert re.fullmatch(r"\d of 8 patients needed a repair so far: too few were followed for 1 year without it to give a share\.", one.whole)
