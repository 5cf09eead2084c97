"""Kappa against published tables and two other implementations."""

from __future__ import annotations

import json
import math
import subprocess

import numpy as np
import pytest

from outcomes.longevity.estimate import ArgumentError
from outcomes.satisfaction import cohen_kappa


def spread(table):
    """Two codings with this cross-table of counts."""
    table = np.asarray(table)
    places = np.arange(len(table))
    return np.repeat(np.repeat(places, len(table)), table.ravel()), np.repeat(np.tile(places, len(table)), table.ravel())


RUN_ONCE = {None: 0.4915254237288136, "linear": 0.4736842105263158, "quadratic": 0.4545454545454546}
COHEN = [[88, 14, 18], [10, 40, 10], [2, 6, 12]]  # proportions .44 .07 .09 / .05 .20 .05 / .01 .03 .06 of 200
DISAGREEMENT = np.array([[0, 1, 3], [1, 0, 6], [3, 6, 0]])


def test_the_table_of_cohen():
    """Cohen 1968 Psychol Bull 70:213, the table in the help page of R's psych::cohen.kappa: kappa .492, weighted .348."""
    assert cohen_kappa(*spread(COHEN)).kappa == pytest.approx(0.492, abs=5e-4)
    weighted = cohen_kappa(*spread(COHEN), weights=1 - DISAGREEMENT / DISAGREEMENT.max())
    assert weighted.kappa == pytest.approx(0.348, abs=5e-4)


def test_the_example_of_fleiss_cohen_and_everitt():
    """Fleiss, Cohen & Everitt 1969 Psychol Bull 72:323, table and figures from memory: kappa .429, standard error .054."""
    found = cohen_kappa(*spread([[106, 10, 4], [22, 28, 10], [2, 12, 6]]))
    assert (found.kappa, found.se) == (pytest.approx(0.429, abs=5e-4), pytest.approx(0.054, abs=5e-4))


def test_two_psychiatrists_by_hand():
    """Fleiss, Levin & Paik, Statistical Methods for Rates and Proportions, table 18.1 (from memory): po .89, pe .66, kappa .676."""
    found = cohen_kappa(*spread([[75, 1, 4], [5, 4, 1], [0, 0, 10]]))
    assert (found.observed, found.expected) == (pytest.approx(0.89), pytest.approx(0.66))
    assert found.kappa == pytest.approx(0.23 / 0.34)


RANDOM = [np.random.default_rng(seed).multinomial(n, np.random.default_rng(seed).dirichlet(np.full(k * k, 0.6))).reshape(k, k) for seed, (k, n) in enumerate([(2, 40), (3, 90), (5, 300), (4, 25), (6, 1000)])]


@pytest.mark.parametrize("weights", [None, "linear", "quadratic"])
@pytest.mark.parametrize("table", [COHEN, *RANDOM], ids=str)
def test_statsmodels_finds_the_same_kappa_and_standard_error(table, weights):
    from statsmodels.stats.inter_rater import cohens_kappa

    ours, theirs = cohen_kappa(*spread(table), categories=range(len(table)), weights=weights), cohens_kappa(np.asarray(table), wt=weights)
    assert (ours.kappa, ours.se) == (pytest.approx(theirs.kappa, abs=1e-12), pytest.approx(theirs.std_kappa, abs=1e-12))


@pytest.mark.needs_psych
@pytest.mark.parametrize("table", [COHEN, *RANDOM], ids=str)
def test_r_finds_the_same_kappa_plain_and_quadratic(table):
    """psych::cohen.kappa, whose weights fall off with the square of the distance. Its standard error of the weighted kappa is left out: psych 2.2.9
    gives .0643 for the table of Cohen 1968, statsmodels and the formula of Fleiss, Cohen & Everitt .0665."""
    numbers = ",".join(str(int(count)) for count in np.asarray(table).ravel())
    code = (f"k <- psych::cohen.kappa(matrix(c({numbers}), {len(table)}, byrow=TRUE)); "
            "cat(jsonlite::toJSON(c(k$kappa, k$weighted.kappa, sqrt(k$var.kappa)), digits=15))")
    done = subprocess.run(["Rscript", "-e", code], capture_output=True, text=True)
    plain, weighted, se = json.loads(done.stdout.splitlines()[-1])
    ours = cohen_kappa(*spread(table), categories=range(len(table)))
    assert (ours.kappa, ours.se) == (pytest.approx(plain, abs=1e-9), pytest.approx(se, abs=1e-9))
    assert cohen_kappa(*spread(table), categories=range(len(table)), weights="quadratic").kappa == pytest.approx(weighted, abs=1e-9)


def test_scikit_learn_gave_the_same():
    """cohen_kappa_score of scikit-learn 1.9.1 on the table of Cohen 1968, run once: plain, linear, quadratic."""
    for weights, value in RUN_ONCE.items():
        assert cohen_kappa(*spread(COHEN), weights=weights).kappa == pytest.approx(value, abs=1e-12)


def test_with_two_codes_weights_change_nothing():
    one = [cohen_kappa(*spread([[20, 5], [10, 15]]), weights=weights) for weights in (None, "linear", "quadratic")]
    assert one[0].kappa == pytest.approx(0.4) and {round(each.kappa, 12) for each in one} == {0.4}  # po .7, pe .5


def test_codes_swapped_between_the_two_or_renamed_change_nothing():
    first, second = spread(COHEN)
    a, b = cohen_kappa(first, second), cohen_kappa(second, first)
    c = cohen_kappa([f"code {x}" for x in first], [f"code {x}" for x in second])
    assert a.kappa == pytest.approx(b.kappa) == pytest.approx(c.kappa) and a.se == pytest.approx(b.se) == pytest.approx(c.se)


def test_one_code_throughout_leaves_kappa_undefined_and_says_so():
    found = cohen_kappa(["sound"] * 30, ["sound"] * 30)
    assert math.isnan(found.kappa) and found.observed == 1 and "not defined: both used one code throughout" in found.note
    assert math.isnan(cohen_kappa([], []).kappa)


def test_no_difference_gives_one_and_no_limits():
    found = cohen_kappa(list("aabbc"), list("aabbc"))
    assert found.kappa == pytest.approx(1) and math.isnan(found.low) and "not one difference" in found.note


def test_no_agreement_at_all_gives_no_limits_of_no_width():
    found = cohen_kappa(["a", "b"] * 5, ["b", "a"] * 5)
    assert found.kappa == -1 and math.isnan(found.low) and "no limits" in found.note


def test_every_item_twice_within_its_patient_leaves_the_limits_as_they_were():
    first, second = spread(COHEN)
    once = cohen_kappa(first, second)
    twice = cohen_kappa(np.tile(first, 2), np.tile(second, 2), cluster=np.tile(np.arange(len(first)), 2))
    assert (twice.kappa, twice.se) == (pytest.approx(once.kappa), pytest.approx(once.se))
    assert cohen_kappa(np.tile(first, 2), np.tile(second, 2)).se == pytest.approx(once.se / math.sqrt(2))


def test_limits_hold_kappa_about_as_often_as_they_promise():
    chance = np.random.default_rng(3)
    share = np.array(COHEN) / 200
    true = cohen_kappa(*spread(COHEN)).kappa
    held = []
    for _ in range(400):
        found = cohen_kappa(*spread(chance.multinomial(150, share.ravel()).reshape(3, 3)))
        held.append(found.low <= true <= found.high)
    assert 0.92 <= np.mean(held) <= 0.975


@pytest.mark.parametrize(("change", "words"), [({"second": ["a"]}, "second"), ({"categories": ["a"]}, "not among the categories"), ({"weights": "cubic"}, "cubic"), ({"weights": [[1, 0]]}, "2 by 2"), ({"first": ["a", None]}, "second|first")])
def test_what_cannot_be_used_is_named(change, words):
    with pytest.raises((ArgumentError, TypeError), match=words):
        cohen_kappa(**{"first": ["a", "b"], "second": ["a", "a"], **({"categories": ["a", "b"]} if change.get("first") else {}), **change})
