"""The report on housings: late entrants counted, few failures said as counts, how they were fixed compared where it can be."""

from __future__ import annotations

import re

import numpy as np
import pytest

from outcomes.analyses import factors_declared, factors_groups, factors_models, factors_sections, housing_longevity, wear_shapes


def write(handmade, monkeypatch, log, out):
    monkeypatch.setattr(housing_longevity, "read_log", lambda connection, plan: log)
    return housing_longevity.report(handmade.NoStore(), log.plan, out)


def loosened(handmade, patients: int = 120, chairside: float = 1.0, laboratory: float = 1.0, late: bool = False):
    """A clinic whose housings come loose as said (years, exponential), fixed in the mouth or in the laboratory by patient."""
    log, chance = handmade.log(patients), np.random.default_rng(9)
    rows = log.times["endpoint"] == "housing bond failure"
    mouth = log.times["patient_id"].str[-1].isin(list("02468"))
    log.times["pick_up"] = np.where(mouth, "chairside", "laboratory")
    life = np.ceil(chance.exponential(size=len(log.times)) * np.where(mouth, chairside, laboratory) * 365.25)
    end = np.maximum(log.times["found_day"].astype(float), 400.0)
    seen = life < end
    log.times.loc[rows, "found_day"] = np.minimum(life, end)[rows]
    log.times.loc[rows, "observed"] = seen[rows]
    log.times.loc[rows, "cause"] = np.where(seen, "event", "")[rows]
    log.times.loc[rows, "left_day"] = np.where(seen, np.maximum(life - 30, 0), end)[rows]
    log.times.loc[rows, "right_day"] = np.where(seen, life, np.nan)[rows]
    if late:  # seen first, sound, half a year after fitting; those that had come loose by then were never followed
        first = rows & log.times["unit_id"].str.contains("/33/")
        log.times.loc[first, "entry_day"] = 180.0
        log.times.loc[first, "fresh"] = False
        log.times.loc[first & (log.times["found_day"] <= 180), "excluded"] = "found failed on arrival"
    return log


def test_the_page_stands_on_few_failures_with_counts_and_without_a_comparison(handmade, monkeypatch, tmp_path):
    log = handmade.log(40)
    assert log.lifetime("housing bond failure").patients_with_events < 10
    html = write(handmade, monkeypatch, log, tmp_path).read_text(encoding="utf-8")
    assert "The log cannot say yet what goes with a longer life" in html and "No smooth curve" in html
    assert "nan" not in re.sub(r"<[^>]*>", " ", html).lower().split()


@pytest.mark.parametrize("late", [False, True], ids=["all fresh", "half in place before the log"])
def test_housings_that_hold_twice_as_long_are_found_so_with_or_without_late_entry(handmade, late):
    log = loosened(handmade, chairside=2.0, laboratory=4.0, late=late)
    life = log.lifetime("housing bond failure")
    found = factors_models.ratios(life, factors_sections.every(log, life, ["pick_up"]))
    ratio = next(one for one in found.alone if not one.reference)
    truth = 2.0 if ratio.group == "in the laboratory" else 0.5
    assert ratio.low < truth < ratio.high and not ratio.low < 1 < ratio.high


def test_the_tested_comparison_agrees_with_the_difference_in_mean_life(handmade):
    log = loosened(handmade, chairside=2.0, laboratory=6.0)
    groups = factors_groups.grouped(log, log.lifetime("housing bond failure"), factors_declared.factor("pick_up"))
    apart = factors_groups.apart(groups)[0]
    assert groups.test.p_value < 0.001 and apart.view == "day found" and (apart.low > 0 or apart.high < 0)


def test_every_shapes_answer_is_beside_the_plans(handmade):
    log = loosened(handmade, chairside=3.0, laboratory=3.0)
    found = wear_shapes.shapes(log.lifetime("housing bond failure"))
    shown, exact = wear_shapes.by_shape(found)
    assert set(found.fits) == {"weibull", "lognormal", "loglogistic", "exponential"} and len(shown) == 5
    # The truth is exponential with a mean of 3 years, so the plan's shape gives exp(-1/3) after a year.
    assert exact[(exact["shape"] == "weibull, the plan's") & (exact["years"] == 1)]["share"].iloc[0] == pytest.approx(np.exp(-1 / 3), abs=0.06)


def test_a_factor_nobody_wrote_down_is_said_to_be_so(handmade, monkeypatch, tmp_path):
    html = write(handmade, monkeypatch, loosened(handmade, patients=60, chairside=3.0, laboratory=3.0), tmp_path).read_text(encoding="utf-8")
    assert "Nobody wrote down the surface of the abutments" in html
