"""Positions are those of ISO 3950; a file in Universal numbering is recognised as a whole."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.intake import positions


def test_thirty_two_sites_sixteen_in_each_jaw():
    # ISO 3950: quadrants 1 and 2 upper, 3 and 4 lower, places 1 to 8 from the midline
    assert len(positions.SITES) == 32
    assert [p for p in positions.SITES if positions.arch_of(p) == "upper"].__len__() == 16
    assert {positions.arch_of(p) for p in ("11", "18", "21", "28")} == {"upper"}
    assert {positions.arch_of(p) for p in ("31", "38", "41", "48", "midline", "33-43")} == {"lower"}


@pytest.mark.parametrize("text", ["00", "10", "19", "20", "29", "30", "39", "40", "49", "03", "9", "51", "55", "61", "65", "71", "75", "81", "85", "99", "3.3", "C", "", 33.43, True])
def test_codes_that_are_no_site_are_refused(text):
    with pytest.raises(ValueError):
        positions.parse(text)


def test_a_milk_tooth_is_named_as_such():
    with pytest.raises(ValueError, match="milk tooth"):
        positions.parse("75")


@pytest.mark.parametrize("text, position", [("33", "33"), (33, "33"), (" 43 ", "43"), ("33-43", "33-43"), ("43 – 33", "33-43"), ("MIDLINE", "midline")])
def test_positions_are_read_as_people_write_them(text, position):
    assert positions.parse(text) == position


def test_a_bar_across_two_jaws_is_refused():
    with pytest.raises(ValueError, match="different jaws"):
        positions.parse("13-33")


@given(st.lists(st.sampled_from(sorted(positions.SITES)), min_size=1, max_size=6, unique=True), st.sampled_from([" ", ", ", "; ", " and ", " + ", "&"]))
def test_a_list_of_positions_is_read_with_any_usual_separator(sites, between):
    assert positions.parse_list(between.join(sites)) == tuple(sites)


def test_a_list_typed_with_a_decimal_comma_is_not_guessed_at():
    with pytest.raises(ValueError, match="decimal number"):
        positions.parse_list(33.43)


@given(st.integers(1, 32))
def test_every_universal_number_is_one_site_of_the_right_jaw(number):
    assert positions.arch_of(positions.universal_to_iso(number)) == ("upper" if number <= 16 else "lower")


def test_universal_numbers_map_one_to_one_with_known_pairs():
    assert {positions.universal_to_iso(n) for n in range(1, 33)} == positions.SITES
    # the lower canines are 22 and 27; the upper right first molar 3; the lower right third molar 32 (ADA numbering, from memory)
    assert [positions.universal_to_iso(n) for n in (22, 27, 3, 32)] == ["33", "43", "16", "48"]


@pytest.mark.parametrize("named, universal", [
    ([("22", "lower", 5), ("27", "lower", 5)], True),           # ISO codes of the other jaw
    ([("6", None, 3), ("11", None, 3), ("22", None, 3)], True),  # 6 is no site
    ([("11", "upper", 5)], False),                               # the same jaw in both: cannot be told
    ([("22", None, 5), ("27", None, 5)], False),                 # nothing known of the jaw
    ([("33", "lower", 5), ("9", None, 5)], False),               # 33 is no Universal number
    ([("13", "upper", 50), ("23", "upper", 50), ("9", "upper", 1)], False),  # one slip among many
    ([("22 27", "lower", 4)], True),
])
def test_a_whole_file_in_universal_numbering_is_recognised(named, universal):
    assert positions.looks_universal(named) is universal


@given(st.lists(st.tuples(st.sampled_from(sorted(positions.SITES)), st.integers(1, 50)), min_size=1, max_size=20))
def test_a_file_in_iso_numbering_is_never_taken_for_universal(named):
    assert not positions.looks_universal([(site, positions.arch_of(site), count) for site, count in named])
