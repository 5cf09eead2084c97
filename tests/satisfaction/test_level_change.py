"""Matched comparison after a change of level: who is set beside whom, and when there is only a description."""

import numpy as np
import pytest

from outcomes.longevity import ArgumentError
from outcomes.satisfaction import matched_level_change
from outcomes.satisfaction.matching import matched_sets, read_visits

FOLLOW = (60.0, 365.0)


def visits(*rows, sign=1.0):
    """Rows of patient, day, score, level, stepped."""
    return read_visits(*map(list, zip(*rows)), sign, FOLLOW)


def members(read, **widths):
    sets, rows = matched_sets(read, **({"score_within": 5.0, "days_within": 90.0, "most": 3} | widths))
    return [sorted((read.patient[r], read.day[r]) for r in rows[sets == s]) for s in np.unique(sets)]


def test_like_is_set_beside_like_only():
    read = visits(
        ("stepped", 100, 50, "light", True), ("stepped", 200, 60, "medium", False),
        ("alike", 150, 53, "light", False), ("alike", 250, 55, "light", False),
        ("too high", 100, 58, "light", False), ("too high", 200, 58, "light", False),
        ("too late", 220, 50, "light", False), ("too late", 320, 50, "light", False),
        ("other level", 100, 50, "medium", False), ("other level", 200, 50, "medium", False),
        ("never asked again", 100, 50, "light", False),
    )  # fmt: skip
    names = sorted({"stepped", "alike", "too high", "too late", "other level", "never asked again"})
    assert members(read) == [sorted([(names.index("alike"), 150), (names.index("stepped"), 100)])]


def test_at_most_three_and_each_patient_once():
    rows = [("z", 100, 50, 1, True), ("z", 200, 60, 2, False)]
    for p in "abcde":
        rows += [(p, d, 50.0, 1, False) for d in (90, 110, 180)]
    found = members(visits(*rows))
    assert len(found) == 1 and len(found[0]) == 4 and len({p for p, _ in found[0]}) == 4


def test_many_answers_of_one_patient_do_not_crowd_out_the_others():
    rows = [("z", 100, 50, 1, True), ("z", 300, 60, 2, False)]
    rows += [("a", d, 50.0, 1, False) for d in range(95, 135)] + [("a", 250, 50, 1, False)]
    rows += [(p, d, 52.0, 1, False) for p in "bc" for d in (60, 160)]
    assert len(members(visits(*rows))[0]) == 4


def test_nobody_is_set_beside_themself_and_nobody_after_a_step():
    read = visits(("a", 50, 50, 1, False), ("a", 120, 50, 1, True), ("a", 200, 50, 1, False), ("b", 10, 50, 2, True), ("b", 110, 50, 1, False), ("b", 200, 50, 1, False))
    assert members(read) == []


def test_the_score_that_follows_is_the_first_within_the_span():
    read = visits(("a", 0, 10, 1, False), ("a", 59, 20, 1, False), ("a", 60, 30, 1, False), ("a", 300, 40, 1, False))
    np.testing.assert_array_equal(read.later, [30, 40, 40, np.nan])


def test_an_answer_at_the_visit_of_a_step_comes_before_the_step():
    read = visits(("a", 0, 10, 1, False), ("a", 100, 20, 1, True), ("a", 200, 30, 2, False))
    np.testing.assert_array_equal(read.later, [20, 30])  # the visit after the step is only a later score


def test_whoever_steps_before_the_next_score_is_censored_there():
    read = visits(("a", 0, 10, 1, False), ("a", 40, np.nan, 1, True), ("a", 100, 30, 2, False))
    assert np.isnan(read.later[0]) and read.censored[0]


def many(n=30, gain=0.0, seed=1):
    rng = np.random.default_rng(seed)
    rows = []
    for p in range(2 * n):
        first = rng.normal(60, 5)
        rows += [(p, 100, first, "light", p < n), (p, 250, first + 10 + gain * (p < n) + rng.normal(0, 2), "medium" if p < n else "light", False)]
    return tuple(map(list, zip(*rows)))


def test_the_difference_is_what_the_step_added_and_not_the_rise():
    """Everybody rises by 10; the stepped by 4 more."""
    found = matched_level_change(*many(gain=4.0))
    assert found.observed_rise == pytest.approx(14, abs=1.2)
    assert found.effect.low < 4 < found.effect.high and found.effect.value == pytest.approx(4, abs=1.5)
    assert found.counts["patients stepped"] == 30 and found.counts["matched sets"] + found.counts["unmatched steps"] == 30


def test_where_lower_is_better_the_signs_turn():
    patient, day, score, level, stepped = many(gain=4.0)
    up = matched_level_change(patient, day, score, level, stepped)
    down = matched_level_change(patient, day, [-s for s in score], level, stepped, better="lower")
    assert down.effect == up.effect and down.expected_rise == pytest.approx(up.expected_rise)
    assert down.score_at_step == -up.score_at_step


def test_below_ten_matched_sets_there_is_only_a_description():
    found = matched_level_change(*many(n=9))
    assert np.isnan(found.effect.value) and found.counts["matched sets"] < 10
    assert "description only" in found.reading() and "After a step" in found.reading()
    assert "because" not in found.reading()


def test_the_expected_rise_always_stands_beside_the_observed():
    found = matched_level_change(*many())
    assert list(found.table()["quantity"])[:2] == ["rise after a step", "rise expected from regression to the mean"]
    assert "regression to the mean alone" in found.reading()


def test_expected_rise_by_the_formula():
    """(ρ − 1)(y − μ) by hand: ρ = 1/2, μ = 80; a step at 60 expects a rise of 10."""
    rows = [("s", 0, 60, 1, True), ("s", 100, 75, 2, False)]
    for p, now in (("a", 60), ("b", 70), ("c", 80), ("d", 90), ("e", 100)):
        rows += [(p, 0, now, 1, False), (p, 100, 40 + now / 2, 1, False)]
    found = matched_level_change(*map(list, zip(*rows)))
    assert (found.correlation, found.usual_score, found.expected_rise, found.observed_rise) == pytest.approx((0.5, 80, 10, 15))


def test_nobody_stepped_is_counted_not_an_error():
    found = matched_level_change([1, 1, 2], [0, 100, 0], [50, 60, 70], ["light"] * 3, [False] * 3)
    assert found.counts["patients stepped"] == 0 and np.isnan(found.observed_rise) and np.isnan(found.effect.value)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (([1, 1], [5, 5], [50, 60], ["a", "a"], [0, 0]), "day: a patient has two visits on one day"),
        (([1, 1], [5, np.nan], [50, 60], ["a", "a"], [0, 0]), "day: holds a missing"),
        (([1, 1], [5, 6], [50, 60], ["a", None], [0, 0]), "retention: holds a missing label"),
        (([1, 1], [5, 6], [50, 60], ["a", "a"], [0, 2]), "stepped: must be true/false"),
        (([1, 1], [5, 6], [50], ["a", "a"], [0, 1]), "score: has shape"),
    ],
)
def test_bad_arguments_are_named(arguments, said):
    with pytest.raises(ArgumentError, match=said):
        matched_level_change(*arguments)


def test_a_log_without_visits_is_no_crash():
    found = matched_level_change([], [], [], [], [])
    assert found.counts["patients"] == 0
