"""A standard is met, not met, or cannot be told; and nothing is met because nothing happened in a handful of patients."""

from __future__ import annotations

import doctest

import pandas as pd
import pytest
from scipy import stats

from outcomes.analyses import drawings, practice, retention, standards
from outcomes.analyses.standards import CANNOT_TELL, MET, NOT_MET, needed_at, needed_without_failure, verdict


def test_the_examples_in_the_text_are_true():
    for module in (standards, drawings, retention):
        assert doctest.testmod(module).failed == 0


@pytest.mark.parametrize("standard", [0.8, 0.9, 0.95])
def test_no_failure_among_too_few_patients_is_never_met(standard):
    # Clopper and Pearson with no failure: the lower limit is (alpha/2)^(1/n), exactly.
    wanted = needed_without_failure(standard)
    lowest = lambda n: stats.binomtest(n, n).proportion_ci(method="exact").low  # noqa: E731
    assert verdict(lowest(wanted), 1.0, standard) == MET
    assert verdict(lowest(wanted - 1), 1.0, standard) == CANNOT_TELL


@pytest.mark.parametrize(("share", "standard"), [(0.95, 0.9), (0.99, 0.9), (0.7, 0.8), (0.5, 0.9)])
def test_the_number_that_would_settle_it_settles_it_and_one_less_does_not(share, standard):
    wanted = needed_at(share, standard)
    assert standards._settled(share, wanted, standard, 0.95) and not standards._settled(share, wanted - 1, standard, 0.95)


def test_a_share_at_the_standard_is_never_settled():
    assert needed_at(0.9, 0.9) is None


def test_withheld_curves_meet_no_standard(handmade):
    log = handmade.log(40, guard="The log lists failures but not the visits where nothing was wrong.")
    of_parts = [one for one in standards.measured(log) if one.years]
    assert {one.verdict for one in of_parts} == {CANNOT_TELL}
    assert all("failures only" in standards.said(one, 0.95).need for one in of_parts)


def test_visits_are_counted_by_patient():
    rows = [{"patient_id": f"P{i % 4}", "seen": True, "reason": "recall", "snap": "just right" if i % 4 else None, "parts_checked": "all", "day": pd.Timestamp("2024-01-01")} for i in range(40)]
    visits = pd.DataFrame(rows)
    assert practice.asked_at(visits)["done"].mean() == 0.75
    assert len(practice.checked_at(visits.assign(reason="problem"))) == 0


def test_too_few_failures_are_told_in_the_words_of_the_endpoint(handmade):
    log = handmade.log(12, fail=30)
    told = {one.name: standards.said(one, 0.95).found for one in standards.measured(log) if one.counted}
    assert told and all(words.endswith("so far") and " had it" not in words for words in told.values()), told
    assert any("needed a repair" in words or "had a housing come loose" in words for words in told.values())


def test_a_whole_clinic_that_never_asks_does_not_meet_the_standard(handmade):
    log = handmade.log(40, asked=False)
    asked = next(one for one in standards.measured(log) if one.name == "Snap asked at visits")
    assert asked.verdict == NOT_MET and asked.share == 0


def test_rules_that_lead_to_different_verdicts_cannot_tell(handmade):
    log = handmade.log(60, fail=float("inf"))
    bonds = log.times["endpoint"] == "housing bond failure"
    assert next(one for one in standards.measured(log) if one.name.startswith("Housings")).verdict == MET
    fails = log.times.index[bonds][:14]
    log = handmade.log(60, fail=float("inf"))
    log.times.loc[fails, ["observed", "found_day", "found_day_other", "right_day"]] = [True, 700.0, 700.0, 700.0]
    log.times.loc[bonds, "found_day"] = log.times.loc[bonds, "found_day"].clip(lower=800)
    log.times.loc[bonds & ~log.times["observed"], "found_day_other"] = 5.0
    one = next(one for one in standards.measured(log) if one.name.startswith("Housings"))
    assert one.verdict == CANNOT_TELL


def test_no_clinic_is_told_to_wait_for_as_many_patients_as_it_has():
    short = standards.Measured("kept", 0.8, CANNOT_TELL, 0.4, 0.0, 0.82, 8, 8, "", years=1, worth=6.0)
    assert standards.said(short, 0.95).need == "At this share a few more patients would settle it."
    far = standards.Measured("kept", 0.8, CANNOT_TELL, 0.7, 0.3, 0.98, 8, 230, "", years=1, worth=6.0)
    assert standards.said(far, 0.95).need == "At this share about 230 patients would settle it."
