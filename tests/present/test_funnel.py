"""The funnel: limits where the formula puts them, names where there is room, nobody named on a talk, nobody ranked."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.funnel import Units, funnel

SHAPES = (PAGE, PHONE, TALK)
FRAME = Frame("Inserts found worn, by who fitted them", "Clinicians with at least 10 patients. Shaded: where chance alone puts a clinician.", "failures expected if all parts of a kind had lasted alike; up: seen ÷ expected")


def units(number: int, names=None, dispersion: float = 1.3, seed: int = 1) -> Units:
    """So many clinicians; the second lies far outside."""
    chance = np.random.default_rng(seed)
    expected = chance.uniform(5, 60, number)
    ratio = np.clip(chance.normal(1, np.sqrt(dispersion / expected) / 2), 0, None)
    if number > 1:
        ratio[1] = 1 + 3.6 * np.sqrt(dispersion / expected[1])
    outside = np.abs(ratio - 1) > 3.090232 * np.sqrt(dispersion / expected)
    return Units(pd.DataFrame({"unit": names or [f"D{i + 1}" for i in range(number)], "expected": expected, "ratio": ratio, "outside": outside}), dispersion)


def said(sheet) -> list[str]:
    return [label.get_text() for label in sheet.labels]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize("number", [1, 5, 30, 80])
def test_no_name_covers_another_or_leaves_the_sheet(shape, number):
    for seed in range(4):
        assert funnel(units(number, seed=seed), FRAME, shape).overlaps() == []


@pytest.mark.parametrize("shape", (PAGE, PHONE), ids=lambda shape: shape.name)
def test_no_name_covers_a_dot(shape):
    what = units(30)
    sheet = funnel(what, FRAME, shape)
    box, axes = sheet.figure.axes[0].get_position(), sheet.figure.axes[0]
    dots = [((box.x0 + box.width * (e - axes.get_xlim()[0]) / np.ptp(axes.get_xlim())) * sheet.width, (box.y0 + box.height * r / axes.get_ylim()[1]) * sheet.height) for e, r in zip(what.points["expected"], what.points["ratio"])]
    names = [label for label in sheet.labels if label.get_text().split(":")[0] in set(what.points["unit"])]
    assert len(names) > 12  # most find room
    for label in names:
        extent = label.get_window_extent(sheet._renderer)
        assert not [dot for dot in dots if extent.x0 < dot[0] < extent.x1 and extent.y0 < dot[1] < extent.y1], label.get_text()


def test_the_drawn_limits_are_those_of_the_formula():
    what = units(6)
    lines = [line for line in funnel(what, FRAME, PAGE).figure.axes[0].lines if len(line.get_xdata()) > 50]
    for line, (z, sign) in zip(lines, ((3.090232, -1), (3.090232, 1), (1.959964, -1), (1.959964, 1))):
        expected, drawn = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
        shown = np.isfinite(drawn)
        assert drawn[shown] == pytest.approx((1 + sign * z * np.sqrt(1.3 / expected))[shown]) and (drawn[shown] >= 0).all()


def test_those_beyond_the_outer_limits_carry_look_into_and_no_other_judgement():
    words = " ".join(said(funnel(units(8), FRAME, PAGE)))
    assert "D2: look into" in words and words.count("look into") == 1
    for judgement in ("worse", "better", "best", "rank", "outlier", "poor"):
        assert judgement not in words.lower()


def test_where_a_long_name_finds_no_room_look_into_stands_alone():
    points = pd.DataFrame({"unit": ["a", "m" * 60], "expected": [6.0, 60.0], "ratio": [0.7, 2.2], "outside": [False, True]})
    assert "look into" in said(funnel(Units(points, 1.2), FRAME, PHONE))


def test_a_talk_names_nobody():
    talk = said(funnel(units(8), FRAME, TALK))
    assert "look into" in talk and not [text for text in talk if text.startswith("D")]


def test_letters_of_a_talk_are_eighteen_points_or_more():
    sheet = funnel(units(30), FRAME, TALK)
    assert min(label.get_fontsize() for label in sheet.labels) >= 18
    assert min(label.get_fontsize() for label in (*sheet.figure.axes[0].get_xticklabels(), *sheet.figure.axes[0].get_yticklabels())) >= 18


def test_the_order_of_the_rows_changes_nothing(tmp_path):
    what = units(12)
    turned = Units(what.points.iloc[::-1].reset_index(drop=True), what.dispersion)
    one, two = (funnel(each, FRAME, PAGE).save(tmp_path / name, "funnel") for name, each in (("one", what), ("two", turned)))
    assert [path.read_bytes() for path in one] == [path.read_bytes() for path in two]


def test_nobody_with_enough_patients_is_a_sentence():
    with pytest.raises(CannotDraw, match="enough patients"):
        funnel(units(3).__class__(units(3).points.iloc[:0], 1.0), FRAME, PAGE)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_no_failure_seen_many_expected_and_a_ratio_far_off_stay_on_the_axis(shape):
    points = pd.DataFrame({"unit": ["none", "all", "huge"], "expected": [40.0, 5.0, 4000.0], "ratio": [0.0, 6.0, 1.0], "outside": [True, True, False]})
    sheet = funnel(Units(points, 1.0), FRAME, shape)
    assert sheet.overlaps() == []
    assert sheet.figure.axes[0].get_ylim()[0] == 0 and sheet.figure.axes[0].get_ylim()[1] > 6
