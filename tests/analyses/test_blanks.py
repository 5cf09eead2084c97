"""A blank cell is not a zero: chair time nobody wrote down, and a sex nobody recorded, each counted once."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from outcomes.analyses import upkeep_page, who
from outcomes.analyses.upkeep import upkeep


def with_minutes(log, minutes):
    return dataclasses.replace(log, visits=log.visits.assign(minutes=minutes))


def test_chair_time_that_nobody_wrote_down_is_not_known_rather_than_none(handmade):
    log = handmade.log(20)
    up = upkeep(with_minutes(log, np.nan))
    assert not up.timed
    assert upkeep_page.minutes(up) == (("Chair time", "not known: no visit has its minutes in the log"),)


def test_visits_without_minutes_count_as_long_as_the_others_on_average(handmade):
    log = handmade.log(40)
    some = np.where(np.arange(len(log.visits)) % 3 == 0, np.nan, 20.0)
    whole, partly = upkeep(log), upkeep(with_minutes(log, some))
    assert whole.unwritten == 0 and partly.unwritten > 0 and partly.timed
    assert partly.patients["minutes"].sum() == pytest.approx(whole.patients["minutes"].sum())
    assert partly.rate("minutes")[0] == pytest.approx(whole.rate("minutes")[0])


@pytest.mark.parametrize("sexes, not_known", [(["female", "male", None, None], 2), (["female", "male", "unknown", None], 2), (["male", "male", "other", None], 1), (["female", "male", "female", "male"], 0)])
def test_a_sex_not_recorded_is_counted_once(handmade, sexes, not_known):
    log = handmade.log(4)
    table = who.described(dataclasses.replace(log, patients=log.patients.assign(sex=sexes)))
    shown = table[table["what"].isin(("female", "male"))]["not known"]
    assert list(shown)[0] == (str(not_known) if not_known else "–") and set(shown.iloc[1:]) <= {"–"}
