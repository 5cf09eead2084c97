"""What is hidden, why, and when a packet is refused."""

import numpy as np
import pytest

from outcomes.club.bands import bands
from outcomes.club.cells import HIDDEN, Cells
from outcomes.club.hiding import FEW, LATER, PROTECTS, hide
from outcomes.club.rule import Rule
from outcomes.errors import DataProblem

EXACT, ROUNDED = Rule("", 10, 1, ""), Rule("", 10, 5, "")


def row(**parts):
    return Cells({"all": sum(parts.values()), **parts}, (("all", tuple(parts)),), "all")


def test_a_small_count_and_the_smallest_other_are_hidden():
    shown = hide(row(a=4, b=15, c=40), EXACT, [])
    assert shown.release.shown == {"all": 59, "a": HIDDEN, "b": HIDDEN, "c": 40}
    assert shown.reasons == {"a": FEW, "b": PROTECTS}


def test_nought_is_shown_and_hides_nobody():
    assert hide(row(a=0, b=15, c=40), EXACT, []).reasons == {}


def test_two_small_counts_that_are_few_together_take_a_third_with_them():
    assert set(hide(row(a=3, b=4, c=12, d=40), EXACT, []).reasons) == {"a", "b", "c"}


def test_what_is_shown_is_rounded():
    assert hide(row(a=13, b=17, c=41), ROUNDED, []).release.shown == {"all": 70, "a": 15, "b": 15, "c": 40}


def test_too_few_people_altogether_are_refused():
    with pytest.raises(DataProblem, match="fewer than 10 patients"):
        hide(row(a=4, b=5), EXACT, [])


def again(cells, rule=EXACT):
    first = hide(cells, rule, [])
    return [(first.release, cells.counts)]


@pytest.mark.parametrize("later, word", [(row(a=20, b=43), "3 patients more"), (row(a=20, b=39), "1 patient fewer")])
def test_a_few_people_more_or_fewer_than_before_are_refused_with_what_to_do(later, word):
    with pytest.raises(DataProblem, match=f"{word}.*at least 10 more patients"):
        hide(later, EXACT, again(row(a=20, b=40)))


def test_the_same_people_again_are_no_difference():
    cells = row(a=20, b=40)
    assert hide(cells, EXACT, again(cells)).reasons == {}


def test_a_count_that_grew_by_a_few_is_hidden_and_protected():
    shown = hide(row(a=24, b=40, c=66), EXACT, again(row(a=20, b=40, c=40)))
    assert shown.reasons["a"] == LATER and len(shown.reasons) > 1


def test_a_table_by_two_groups_is_protected_in_both_directions():
    counts = {"all": 120, "x": 60, "y": 60, "had": 50, "not": 70, "x had": 4, "x not": 56, "y had": 46, "y not": 14}
    sums = (("all", ("x", "y")), ("all", ("had", "not")), ("x", ("x had", "x not")), ("y", ("y had", "y not")), ("had", ("x had", "y had")), ("not", ("x not", "y not")))
    shown = hide(Cells(counts, sums, "all"), EXACT, [])
    assert set(shown.reasons) >= {"x had", "x not", "y had", "y not"}


def test_a_sum_that_does_not_add_up_is_no_table():
    with pytest.raises(ValueError):
        Cells({"all": 3, "a": 1, "b": 1}, (("all", ("a", "b")),), "all")


def test_times_are_told_only_with_enough_events_between_them():
    """Every step of a shared curve rests on nobody or on at least the minimum (STATISTICS: shared curves)."""
    r = np.random.default_rng(8)
    for _ in range(30):
        n = int(r.integers(30, 400))
        event, last = np.ceil(r.exponential(2000, n)), np.ceil(r.uniform(100, 2500, n))
        event = np.where(event <= last, event, np.inf)
        last = np.minimum(last, event)
        taken = bands(event, last, [3, 1, 2, 5], ROUNDED)
        before = 0
        for band in taken:
            day = band.years * 365.25
            assert band.had == (event <= day).sum() and band.still == ((event > day) & (last >= day)).sum() and band.had + band.left + band.still == n
            assert band.still >= 10 and (band.had - before == 0 or band.had - before >= 10)
            before = band.had


def test_a_clinic_where_few_had_it_tells_no_time():
    event, last = np.full(50, np.inf), np.full(50, 2000.0)
    event[:4] = 100.0
    assert bands(event, np.minimum(event, last), [3, 1], ROUNDED) == []
