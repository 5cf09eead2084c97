"""Clinics together: as the estimator says, from three on, and an honest word where they say too little."""

import math

import numpy as np
import pytest

from outcomes import longevity
from outcomes.club import pooled


def clinic(share=None, error=0.2, rate=None, change=None, withheld=""):
    return {"endpoints": [{"name": "e", "unit": "insert", "curve": [] if share is None else [{"years": 2.0, "share": share, "error": error}], "withheld": withheld}],
            "upkeep": {"rate": rate, "error": None if rate is None else 0.1, "patient_years": None, "withheld": withheld}, "satisfaction": {"instrument": "", "change": change, "error": None if change is None else 2.0, "withheld": withheld}}  # fmt: skip


def club(*clinics):
    return dict(zip("ABCDEFGH", clinics))


def test_shares_are_pooled_on_their_own_scale():
    shares, errors = [0.9, 0.8, 0.85, 0.7, 0.6], [0.2, 0.1, 0.3, 0.15, 0.2]
    found = pooled.share_at(club(*(clinic(s, e) for s, e in zip(shares, errors))), "e", 2.0, 0.95)
    ours = longevity.random_effects(np.log(-np.log(shares)), errors, never_narrower=True)
    assert found.mean == pytest.approx(tuple(math.exp(-math.exp(v)) for v in (ours.mean.value, ours.mean.high, ours.mean.low)))
    assert found.other[0] < found.mean[1] < found.mean[0] < found.mean[2] < found.other[1]
    assert [own.letter for own in found.own] == list("ABCDE")


def test_three_clinics_that_tell_the_same_share_still_leave_the_mean_unsure():
    low, high = pooled.share_at(club(clinic(0.9), clinic(0.9), clinic(0.9)), "e", 2.0, 0.95).mean[1:]
    alone = pooled.share_at(club(clinic(0.9), clinic(0.9), clinic(0.9)), "e", 2.0, 0.95).own[0]
    assert low < 0.88 and high > 0.92 and alone.low < 0.88  # Hartung and Knapp's own error would be nought: 90 to 90 %


def test_two_clinics_have_no_mean():
    assert pooled.share_at(club(clinic(0.9), clinic(0.8)), "e", 2.0, 0.95).mean is None


def test_a_clinic_where_nobody_had_it_is_counted_and_not_weighed():
    found = pooled.share_at(club(clinic(0.9), clinic(0.8), clinic(0.85), clinic(1.0, None)), "e", 2.0, 0.95)
    assert found.without == 1 and found.pooled.clinics == 3 and len(found.own) == 4


def test_a_clinic_that_kept_it_at_home_is_named_with_its_reason():
    found = pooled.share_at(club(clinic(0.9), clinic(withheld="few patients had it"), clinic(0.85)), "e", 2.0, 0.95)
    assert found.home == {"B": "few patients had it"}


def test_rates_on_the_log_and_changes_as_they_are():
    packets = club(clinic(rate=0.5, change=10.0), clinic(rate=0.25, change=20.0), clinic(rate=1.0, change=15.0))
    assert pooled.rates(packets, 0.95).mean[0] == pytest.approx(0.5)
    assert pooled.changes(packets, 0.95).mean[0] == pytest.approx(15.0)


def test_an_impossible_range_stays_a_range():
    found = pooled.share_at(club(*(clinic(s, 9.0) for s in (0.999, 0.001, 0.5))), "e", 2.0, 0.95)
    assert 0 <= found.mean[1] <= found.mean[0] <= found.mean[2] <= 1
