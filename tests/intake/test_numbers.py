"""Numbers: decimal comma and point, thousands, and forces in newtons."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.intake import newtons, numbers

decimals = st.decimals(min_value=-99999, max_value=99999, places=2)


@given(decimals, st.sampled_from(",."))
def test_a_number_written_and_read_under_one_mark_is_the_same(value, mark):
    assert numbers.parse(str(value).replace(".", mark), mark) == float(value)


@given(st.integers(1000, 9_999_999), st.sampled_from(",."))
def test_thousands_set_apart_do_not_change_a_number(value, mark):
    other = "." if mark == "," else ","
    assert numbers.parse(f"{value:,}".replace(",", other), mark) == value


@given(st.lists(decimals, min_size=1))
def test_the_sure_mark_is_never_the_wrong_one(values):
    comma, point = numbers.decimal_marks([str(value).replace(".", ",") for value in values])
    assert point is None and comma is not None


@pytest.mark.parametrize("texts, comma, point", [(["6,7"], "6,7", None), (["6.75", "1,500"], None, "6.75"), (["1.234,5"], "1.234,5", None), (["1,234.5"], None, "1,234.5"),
                                                 (["1,500", "25"], None, None), (["0,500"], "0,500", None), (["1,234,567"], None, "1,234,567"), (["soft", ""], None, None)])
def test_marks_are_found_only_where_a_cell_leaves_no_doubt(texts, comma, point):
    assert numbers.decimal_marks(texts) == (comma, point)


def test_one_group_of_three_leaves_doubt():
    assert numbers.doubtful(["25", "1,500"]) == "1,500"
    assert numbers.doubtful(["25", "6,70", "0,500"]) is None


@pytest.mark.parametrize("text", ["25 Ncm", "", ".", "-", "1.2.3", "12,3,4", "1 00", "1 0000", "5²", "①", "1e3", "nan", "½", "9" * 400, "9" * 400 + ",5", 10**400, None, True, float("nan"), float("inf")])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(ValueError):
        numbers.parse(text, ".")


def test_units_of_force_are_exact_by_definition():
    # international pound 1959 (0.45359237 kg), standard gravity of CGPM 1901 (9.80665 m/s²)
    pound, gravity = Fraction("0.45359237"), Fraction("9.80665")
    assert newtons(1, "lbf") == float(pound * gravity) == 4.4482216152605
    assert newtons(1, "gf") == float(gravity / 1000) == 0.00980665
    assert newtons(1, "N") == 1
    assert newtons(1000, "gf") == pytest.approx(9.80665, rel=1e-15)


def test_a_light_insert_of_a_pound_and_a_half_holds_six_point_seven_newtons():
    # 1.5 lbf = 6.7 N: common practice, no source for the level; the figure follows from the definition
    assert newtons(1.5, "lbf") == pytest.approx(6.672332422890749, rel=1e-15)
    assert round(newtons(1.5, "lbf"), 1) == 6.7


def test_forces_in_several_units_are_brought_to_newtons_one_by_one():
    out = newtons(np.array([1.5, 6.7, 680.0, 3.0]), ["lbf", "N", "gf", None])
    assert out[:3] == pytest.approx([6.672332422890749, 6.7, 6.668522])
    assert np.isnan(out[3])
