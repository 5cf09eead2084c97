"""Numbers are rounded once and said the same way everywhere."""

from __future__ import annotations

import datetime
import doctest
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.present import counts, curves, palette, tables, words


@pytest.mark.parametrize("module", [words, counts, curves, palette, tables])
def test_the_examples_in_the_text_are_true(module):
    assert doctest.testmod(module).failed == 0


@given(st.floats(0, 1))
def test_a_share_is_nought_or_all_only_where_it_is(share):
    said = words.percent(share)
    assert ("0\u00a0%" == said) == (share == 0)
    assert ("100\u00a0%" == said) == (share == 1)


@given(st.floats(0.005, 0.99))
def test_a_whole_percent_is_the_nearest(share):
    said = int(words.percent(share).split("\u00a0")[0]) if words.percent(share)[0].isdigit() else None
    if said is not None:
        assert abs(said - 100 * share) <= 0.5 + 1e-9


@given(st.floats(-1000, 1000), st.floats(-1000, 1000))
def test_rounding_keeps_the_order(one, other):
    low, high = sorted((one, other))
    assert words.rounded(low, 1) <= words.rounded(high, 1)


def test_below_twenty_people_a_share_is_said_in_people():
    assert words.share(0.5, 19) == "10 of 19"
    assert words.share(0.5, 20) == "50\u00a0%"


def test_what_is_not_known_is_said_so():
    for value in (None, math.nan):
        assert words.percent(value) == words.number(value) == words.rate(value) == words.newtons(value) == words.years(value) == "not known"


def test_a_negative_number_has_a_true_minus_and_nought_has_none():
    assert words.number(-0.4) == "0"
    assert words.number(-1.26, 1) == "−1.3"


def test_a_date_is_said_the_same_on_every_machine():
    assert words.day(datetime.date(2024, 3, 1)) == "1\u00a0March 2024"


def test_counts_agree_with_their_nouns():
    assert words.people(1, 2, "insert") == "1 patient, 2 inserts"
