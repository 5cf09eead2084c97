"""Tables hold every number as a number, and no text that a spreadsheet would run."""

from __future__ import annotations

import csv
import io

import pandas as pd
import pytest

from outcomes.present import tables


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\x00=1", "＝1", "＋1", "－1", "＠1", "  =1"])
def test_text_that_looks_like_a_formula_is_made_harmless(text):
    assert tables.cell(text) == "'" + text


@pytest.mark.parametrize("number", [-0.137, 0, 12, -3])
def test_numbers_stay_numbers(number):
    assert tables.cell(number) == number


def test_what_is_missing_is_an_empty_cell_and_what_is_not_reached_says_so():
    assert tables.cell(None) == tables.cell(float("nan")) == tables.cell(pd.NaT) == ""
    assert tables.cell(float("inf")) == "not reached"


def test_a_table_can_be_read_back_with_the_numbers_it_was_given():
    frame = pd.DataFrame({"name": ['a "quoted", b', "=x"], "share": [0.1 + 0.2, 1 / 3]})
    rows = list(csv.DictReader(io.StringIO(tables.as_csv(frame), newline="")))
    assert [float(row["share"]) for row in rows] == list(frame["share"])
    assert rows[0]["name"] == 'a "quoted", b' and rows[1]["name"] == "'=x"


def test_lines_end_as_the_standard_says_and_windows_sees_the_letters(tmp_path):
    path = tables.write(pd.DataFrame({"a": ["é"]}), tmp_path, "one")
    assert path.read_bytes() == b"\xef\xbb\xbfa\r\n\xc3\xa9\r\n"
