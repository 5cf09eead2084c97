"""Text that spreadsheets would run: harmless on every way out, and the same again when read back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.neutral import freed, guarded, neutral

# Signs: OWASP, "CSV Injection" (= + - @ tab CR, full-width forms, quoting alone does not help); ASVS 1.2.10 adds NUL and LF; CWE-1236.
SIGNS = ["=", "+", "-", "@", "\t", "\r", "\n", "\x00", "＝", "＋", "－", "＠"]
RUN = ["=1+1", '=HYPERLINK("http://x","y")', "=cmd|' /C calc'!A0", "+1+1", "-2+3+cmd|' /C calc'!D2", "@SUM(1+1)*cmd|' /C calc'!A0", "\t=1", "\r=1", "\n=1", "\x00=1"]
texts = st.text(st.one_of(st.sampled_from([*SIGNS, "'", " ", "\u00a0", "\u3000", "\u200b", "1", ".", ","]), st.characters()), max_size=8)


@pytest.mark.parametrize("text", [*RUN, *SIGNS, *(" " + text for text in RUN), *("\u00a0" + sign + "x" for sign in SIGNS), *("\u3000" + sign + "x" for sign in SIGNS)])
def test_a_text_that_a_spreadsheet_would_run_gets_an_apostrophe(text):
    assert neutral(text) == "'" + text and freed("'" + text) == text


@pytest.mark.parametrize("value", [-0.137, -5, 0, None, True, "-0.137", "-5", "+3,5"])
def test_numbers_stay_numbers(value):
    assert neutral(value) is value


@given(texts)
def test_every_text_is_read_back_as_it_was(text):
    assert freed(neutral(text)) == text == freed(guarded(text))


@given(texts)
def test_nothing_that_goes_out_starts_like_a_formula(text):
    out = neutral(text)
    start = out.lstrip(" \u00a0\u3000\u200b\ufeff")[:1]
    assert start not in SIGNS or out.strip().lstrip("+-").replace(",", ".", 1).replace(".", "", 1).isdigit()
