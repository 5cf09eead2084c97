"""Observed against expected failures by unit, and limits of a funnel, against counts by hand and printed formulas."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.longevity import ArgumentError, counted_shares, expected_failures, share_limits
from outcomes.longevity.funnel import SharesFunnel
from outcomes.longevity import funnel as numbers


def by_hand(duration, observed, entry, strata):
    """Each row's expected failures, one failure day after the other."""
    expected = np.zeros(len(duration))
    for stratum in set(strata):
        own = [i for i in range(len(duration)) if strata[i] == stratum]
        for day in {duration[i] for i in own if observed[i]}:
            risk = [i for i in own if (entry[i] < day or entry[i] == 0) and duration[i] >= day]
            for i in risk:
                expected[i] += sum(duration[j] == day and observed[j] for j in own) / len(risk)
    return expected


rows = st.lists(st.tuples(st.integers(1, 9), st.booleans(), st.integers(0, 4), st.sampled_from("xy"), st.sampled_from(["a", "b", ""]), st.integers(0, 4)), min_size=1, max_size=30)


@given(rows)
@settings(max_examples=80, deadline=None)
def test_expected_failures_are_those_counted_day_by_day_and_add_up_to_those_seen(drawn):
    duration, observed, entry, strata, unit, patient = (list(column) for column in zip(*drawn))
    duration = [e + d for e, d in zip(entry, duration)]
    found = expected_failures(duration, observed, unit, cluster=patient, entry=entry, strata=strata)
    each = by_hand(duration, observed, entry, strata)
    assert each.sum() == pytest.approx(sum(observed))
    for place, name in enumerate(found.units):
        own = np.array(unit) == name
        assert found.expected[place] == pytest.approx(each[own].sum())
        assert found.observed[place] == sum(np.array(observed)[own])
        apart = [sum((np.array(observed) - each)[own & (np.array(patient) == one)]) ** 2 for one in set(np.array(patient)[own])]
        assert found.variance[place] == pytest.approx(sum(apart)) and found.patients[place] == len(apart)
    assert found.unnamed == unit.count("") and found.dispersion >= 1


def test_parts_of_one_mouth_that_fail_together_widen_the_limits():
    chance = np.random.default_rng(5)
    alone = chance.exponential(100, 400)
    single = expected_failures(alone, np.ones(400), chance.choice(list("abcdef"), 400), cluster=np.arange(400))
    names = chance.choice(list("abcdef"), 200)
    double = expected_failures(np.repeat(alone[:200], 2), np.ones(400), np.repeat(names, 2), cluster=np.repeat(np.arange(200), 2))
    assert double.dispersion > 1.6 * single.dispersion
    assert np.ptp(double.limits(50.0, 0.95)) > np.ptp(single.limits(50.0, 0.95))


def test_limits_are_those_of_the_formula_and_never_below_nought():
    found = expected_failures([1, 2, 3, 3], [1, 1, 0, 0], list("aabb"), cluster=[1, 2, 3, 4])
    assert found.dispersion == 1.0
    assert [float(limit) for limit in found.limits(16.0, 0.95)] == pytest.approx([1 - 1.959964 / 4, 1 + 1.959964 / 4], abs=1e-6)
    assert [float(limit) for limit in found.limits(5.0, 0.998)] == pytest.approx([0.0, 1 + 3.090232 / np.sqrt(5)], abs=1e-6)


def test_few_patients_few_failures_or_few_units_are_not_shown():
    chance = np.random.default_rng(1)

    def of(units, patients):
        names = np.repeat(np.arange(units).astype(str), patients)
        return expected_failures(chance.exponential(10, len(names)), np.ones(len(names)), names, cluster=np.arange(len(names)))

    assert of(5, 10).enough.sum() <= 5 and of(5, 30).speaks and not of(4, 30).speaks and not of(20, 9).speaks
    assert not of(4, 30).outside(0.1).any() and not of(4, 30).table()["shown"].any()


def test_units_beyond_the_limits_are_found_on_either_side():
    chance = np.random.default_rng(2)
    names = np.repeat(list("abcdefg"), 40)
    time = chance.exponential(np.where(names == "a", 3, np.where(names == "b", 60, 12)))
    found = expected_failures(np.minimum(time, 25), time < 25, names, cluster=np.arange(280))
    assert [name for name, out in zip(found.units, found.outside()) if out] == ["a", "b"]
    assert found.ratio[0] > 1 > found.ratio[1]


def test_without_a_failure_nothing_is_expected_and_nothing_said():
    found = expected_failures([5, 6], [0, 0], ["a", "b"], cluster=[1, 2])
    assert found.expected.tolist() == [0, 0] and np.isnan(found.ratio).all() and not found.speaks and found.dispersion == 1.0
    assert found.table()["high_95"].isna().all()


def test_twenty_thousand_patients_and_names_that_mean_harm():
    chance = np.random.default_rng(3)
    names = chance.choice(["=1+1", "<b>", "x" * 60, "ليّن", "a"], 20_000)
    found = expected_failures(chance.integers(1, 2000, 20_000), chance.random(20_000) < 0.4, names, cluster=np.arange(20_000))
    assert found.units == tuple(sorted(set(names))) and found.expected.sum() == pytest.approx(found.observed.sum())


def test_a_row_that_ends_before_it_begins_is_refused():
    with pytest.raises(ArgumentError, match="not before the row's own end"):
        expected_failures([5, 3], [1, 0], ["a", "b"], cluster=[1, 2], entry=[0, 3])
    with pytest.raises(ArgumentError, match="3 values for 2 rows"):
        expected_failures([5, 3], [1, 0], ["a", "b", "c"], cluster=[1, 2])


# Limits for a target of 0.1 by the formulas of Spiegelhalter 2005 (Stat Med 24:1185-1202, appendix): exact ones computed
# in R 4.2.2 with qbinom and pbinom, normal ones with qnorm.
@pytest.mark.parametrize(("people", "level", "exact", "low", "high"), [
    (100, 0.95, True, 0.0404, 0.1577), (100, 0.998, True, 0.0142, 0.1984), (100, 0.95, False, 0.0412, 0.1588), (100, 0.998, False, 0.0073, 0.1927)])
def test_limits_of_a_share_of_one_in_ten(people, level, exact, low, high):
    assert [float(limit[0]) for limit in share_limits(0.1, [people], level, exact=exact)] == pytest.approx([low, high], abs=5e-5)


def test_the_normal_limit_that_falls_below_nought_is_cut_there():
    assert 0.1 - 3.090232 * np.sqrt(0.09 / 50) == pytest.approx(-0.0311, abs=5e-5)
    assert share_limits(0.1, [50], 0.998, exact=False)[0][0] == 0.0
    assert share_limits(0.1, [50], 0.998)[0][0] >= 0.0


def test_a_share_that_is_certain_and_half_a_person_are_refused():
    with pytest.raises(ArgumentError, match="target"):
        share_limits(1.0, [10])
    with pytest.raises(ArgumentError, match="whole number"):
        share_limits(0.5, [1.5])


def test_worked_examples_in_docstrings():
    outcome = doctest.testmod(numbers)
    assert outcome.attempted > 0 and outcome.failed == 0


@pytest.mark.parametrize("target", [0.5, 0.8, 0.95])
def test_a_counted_share_is_outside_only_where_chance_goes_so_far_once_in_a_thousand(target):
    """Each tail of the binomial law itself: P(X <= x) or P(X >= x) of at most 0.001 at 99.8 %, for every count of every number of rows."""
    from scipy import stats

    for rows in (10, 17, 40, 150):
        funnel = SharesFunnel(("a",), np.array([rows]), np.array([0]), np.array([rows]), target, 1.0, 0)
        low, high = (float(limit[0]) for limit in funnel.limits([rows], 0.998))
        for count in range(rows + 1):
            rare = min(stats.binom.cdf(count, rows, target), stats.binom.sf(count - 1, rows, target)) < 0.001
            assert rare == (count / rows < low - 1e-12 or count / rows > high + 1e-12), (rows, count)


def test_ten_of_ten_is_no_matter_to_look_into_where_nearly_everything_is_done():
    rows = [(unit, 10 * place + one, not (unit == "e" and one < 3)) for place, unit in enumerate("abcde") for one in range(10)]
    found = counted_shares([done for _, _, done in rows], [unit for unit, _, _ in rows], cluster=[patient for _, patient, _ in rows])
    assert found.target == 0.94 and found.speaks and not found.outside()[:4].any()
