"""The words of the day sheet's written cells."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes import schemas
from outcomes.intake import phrases, words
from outcomes.intake.phrases import Entry

SITES = st.sampled_from(["31", "33", "43", "45", "13", "23", "33-43", "midline"])
FINDINGS = st.sampled_from(list(schemas.codebook()["part_finding"]["codes"]))
ACTIONS = st.sampled_from([code for code in schemas.codebook()["part_action"]["codes"] if code != "none"])


@given(st.dictionaries(SITES, st.tuples(FINDINGS, ACTIONS), min_size=1, max_size=4), st.sampled_from(["; ", ";", " ;  "]), st.booleans(), st.booleans())
def test_finding_and_action_written_out_are_read_as_written(said, between, turned, loud):
    text = between.join(f"{site} {', '.join((action, finding) if turned else (finding, action))}" for site, (finding, action) in said.items())
    found = phrases.parse(text.upper() if loud else text, "housing")
    assert {entry.position: (entry.finding, entry.action) for entry in found} == said


@given(st.lists(SITES, min_size=1, max_size=4, unique=True), st.sampled_from([" ", ", ", " and ", " + "]))
def test_one_word_for_several_positions_holds_for_each(sites, between):
    found = phrases.parse(f"{between.join(sites)} picked up again", "housing")
    assert found == tuple(Entry(site, "debonded", "picked up again") for site in sites)


@given(st.dictionaries(SITES, st.sampled_from(["light", "extra light", "B-firm", "1.5", "unknown"]), min_size=1), st.sampled_from([" ", ", ", "; "]), st.sampled_from([":", ": ", " = "]))
def test_levels_are_read_for_each_position(levels, between, mark):
    assert phrases.parse_levels(between.join(f"{site}{mark}{level}" for site, level in levels.items())) == tuple(levels.items())


@pytest.mark.parametrize("text, part, expected", [
    ("Fine ", "housing", "fine"),
    ("43 tightened", "abutment", (Entry("43", "loose in its seat", "tightened"),)),
    ("33 fine; 43 loose in its seat", "abutment", (Entry("33", "sound", "none"), Entry("43", "loose in its seat", "none"))),
    ("33 fitted", "housing", (Entry("33", "not present", "fitted"),)),
    ("33 replaced", "housing", (Entry("33", "notes silent", "replaced", "not recorded"),)),
    ("all cleaned", "housing", (Entry("all", "debris in it", "cleaned"),)),
    ("relined", "denture", (Entry("", "not recorded", "relined"),)),
    ("base fractured, to laboratory", "denture", (Entry("", "base fractured", "to laboratory"),)),
    ("relined, cleaned", "denture", (Entry("", "not recorded", "relined"), Entry("", "not recorded", "cleaned"))),
    ("sore spot, adjusted; tooth worn", "denture", (Entry("", "sore spot", "adjusted"), Entry("", "tooth worn", "none"))),
])
def test_cells_are_read_as_people_write_them(text, part, expected):
    assert phrases.parse(text, part) == expected


@pytest.mark.parametrize("text, part, why", [
    ("replaced", "housing", "names no position"), ("33", "housing", "nothing is said of 33"), ("33 replaed", "housing", "Did you mean replaced"),
    ("33 worn, torn", "housing", "two findings"), ("33 cleaned, replaced", "housing", "two actions"), ("33 worn; 33 torn", "housing", "two entries"),
    ("all cleaned; 33 worn", "housing", "all stands beside"), ("55 worn", "housing", "milk tooth"), ("99 worn", "housing", "no site"), ("brocken", "denture", "in none of the lists"),
])
def test_what_cannot_be_read_says_why(text, part, why):
    with pytest.raises(ValueError, match=why):
        phrases.parse(text, part)


@pytest.mark.parametrize("text, why", [("33:", "no level"), ("light 33:firm", "without its position"), ("33:light 33:firm", "twice"), ("99:light", "no site")])
def test_levels_that_cannot_be_read_say_why(text, why):
    with pytest.raises(ValueError, match=why):
        phrases.parse_levels(text)


@pytest.mark.parametrize("word, known, nearest", [("recal", ["recall", "review"], ["recall"]), ("Chair side", ["chairside", "laboratory"], ["chairside"]), ("pull", ["no", "yes"], []),
                                                  ("soap", ["water or soap", "tablets"], ["water or soap"])])
def test_the_nearest_words_are_offered(word, known, nearest):
    assert words.nearest(word, known)[:1] == nearest
