"""Which rule may censor what was not found: the wrong one misleads by half a curve, the right one by less than three points.

The recorded study (censoring_study.json) has 500 repetitions of 200 patients in each cell; ``pytest -m slow`` makes it anew.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from censoring_study import CELLS, TRUE_SHARE, shares, study

RECORDED = json.loads(Path(__file__).with_name("censoring_study.json").read_text())

# The rule an endpoint should choose in each cell, and whether the other one misleads there. Where a failure brings the patient in within the notice days the
# patient rule holds whatever the recalls are; where it stays silent the examination rule does. With yearly recalls kept by all, both are nearly right.
RIGHT = {name: "examination" if cell["comes"] == 0 else "patient" for name, cell in CELLS.items()}
MISLEADS = ("failures come, no recalls", "failures come, recalls every 2 years", "failures come, half recalled yearly and half never")
MIXED = "half of failures come, recalls every 2 years"  # half of the failures wait up to two years unseen: neither rule is right, the two bracket the truth


def bias(cell: str, rule: str) -> tuple[float, float]:
    row = RECORDED["cells"][cell][rule]
    return row["bias"], row["error"]


@pytest.mark.parametrize("cell", [name for name in CELLS if name != MIXED])
def test_the_rule_that_fits_the_endpoint_misses_by_less_than_three_points(cell):
    missed, error = bias(cell, RIGHT[cell])
    assert abs(missed) <= 0.03 - 3 * error


@pytest.mark.parametrize("cell", MISLEADS)
def test_the_other_rule_misses_by_more_than_five(cell):
    missed, error = bias(cell, "examination")
    assert missed < -0.05 - 3 * error


def test_care_that_ends_for_everybody_at_the_first_gap_misses_little_and_capping_the_unfailed_alone_misses_much():
    cell = "failures come, half recalled yearly and half never"
    assert abs(bias(cell, "first gap")[0]) <= 0.03 - 3 * bias(cell, "first gap")[1]
    assert bias(cell, "only the un-failed capped")[0] < -0.05


def test_where_neither_fits_the_two_rules_bracket_the_truth():
    assert bias(MIXED, "examination")[0] < -0.05 and 0.03 < bias(MIXED, "patient")[0] < 0.05


@pytest.mark.parametrize("cell", ["failures come, no recalls", "failures come, recalls every 2 years", "failures are silent, recalls yearly"])
def test_a_short_run_of_the_study_says_the_same(cell):
    found = shares(200, 40, **CELLS[cell], seed=7)
    right = found[RIGHT[cell]]
    assert abs(right.mean() - TRUE_SHARE) <= 0.03 + 3 * right.std(ddof=1) / 40**0.5
    if cell in MISLEADS:
        assert found["examination"].mean() - TRUE_SHARE < -0.05


def test_the_recorded_study_is_of_this_truth():
    assert RECORDED["true_share"] == pytest.approx(TRUE_SHARE, abs=1e-6)
    assert list(RECORDED["cells"]) == list(CELLS)


@pytest.mark.slow
def test_the_recorded_study_comes_out_again():
    again = study(RECORDED["patients"], RECORDED["repetitions"], RECORDED["seed"])
    for cell, rules in RECORDED["cells"].items():
        for rule, row in rules.items():
            assert again[cell][rule]["bias"] == pytest.approx(row["bias"], abs=0.001), (cell, rule)
