"""Before and after speak of one denture: answers about the other jaw, or about a denture in use before the log, make no pair."""

from __future__ import annotations

import dataclasses

import pandas as pd

from outcomes.analyses.people import satisfied

CARD = "satisfaction_card"


def answer(patient, day, about, points):
    return {"patient_id": patient, "answered_on": pd.Timestamp(day), "answered_on_precision": "day", "occasion": None, "about": about, "instrument": CARD, "item": 1, "response": float(points), "filled_by": "patient", "where": "home"}


def of(handmade, dentures, answers):
    log = handmade.log(6)
    columns = ["denture_id", "patient_id", "arch", "delivered_on", "delivered_on_precision", "retired_on", "retired_reason", "existing"]
    rows = [(f"{patient}/{arch}/1", patient, arch, pd.Timestamp(day), "day", pd.NaT, None, None) for patient, arch, day in dentures]
    return satisfied(dataclasses.replace(log, dentures=pd.DataFrame(rows, columns=columns), answers=pd.DataFrame(answers)), CARD)


def test_an_answer_about_the_upper_denture_is_not_the_year_after_of_the_lower(handmade):
    begun = handmade.log(6).visits["day"].min()
    day = begun + pd.Timedelta(days=10)
    both = [("P0000", "lower", day), ("P0000", "upper", day)]
    before, year = day - pd.Timedelta(days=5), day + pd.Timedelta(days=365)
    mixed = of(handmade, both, [answer("P0000", before, "lower", 40), answer("P0000", year, "upper", 90)])
    assert (mixed.started, mixed.pairs) == (1, 0)
    own = of(handmade, both, [answer("P0000", before, "lower", 40), answer("P0000", year, "upper", 90), answer("P0000", year, "lower", 60)])
    assert own.pairs == 1 and own.own.iloc[0][["before", "1 year"]].tolist() == [40, 60]
    mouth = of(handmade, both, [answer("P0000", before, "mouth", 40), answer("P0000", year, "mouth", 70)])
    assert mouth.pairs == 1


def test_a_denture_in_use_before_the_log_has_no_before(handmade):
    begun = handmade.log(6).visits["day"].min()
    old = begun - pd.Timedelta(days=30)
    found = of(handmade, [("P0000", "lower", old)], [answer("P0000", old - pd.Timedelta(days=5), "lower", 40), answer("P0000", old + pd.Timedelta(days=365), "lower", 60)])
    assert found.started == 0 and found.pairs == 0
