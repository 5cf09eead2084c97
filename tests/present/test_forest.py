"""Ratios on one axis, a smooth curve over what was seen, and the course of scores: readable at every size, and silent where nothing can be drawn."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.fitted import fitted
from outcomes.present.forest import Axis, Row, forest
from outcomes.present.trajectories import Course, course

SHAPES = [PAGE, PHONE, TALK]
FRAME = Frame("How many times as long they last", "71 patients, 189 inserts; 22 patients had an insert worn. Bars: likely range (95 %).")
RATIOS = Axis(True, ("shorter life", "longer life"), legend=("all taken together", "each on its own"))
ROWS = [
    Row("up to 8 N", "23 of 58 patients", 1, 1, 1, "compared with", "Retention level at fitting", True),
    Row("12 N or more", "7 of 12 patients", 0.4, 0.01, 0.9, "0.1 to 0.9 times as long", "Retention level at fitting", False, (0.5, 0.1, 1.1)),
    Row("lower jaw", "23 of 58 patients", 1, 1, 1, "compared with", "Jaw", True),
    Row("upper jaw", "5 of 8 patients", 3, 1.4, math.inf, "1.4 to over 10 times as long", "Jaw"),
]


def means(answered=(57, 27, 32), asked=(math.nan, 63, 52)) -> Course:
    own = pd.DataFrame({"before": [40.0, 50.0, np.nan], "3 months": [80.0, np.nan, 90.0], "1 year": [85.0, 70.0, 75.0]})
    table = pd.DataFrame({"occasion": own.columns, "mean": [44.0, 80.0, 81.0], "low": [40.0, 76.0, 77.0], "high": [48.0, 84.0, 85.0], "answered": answered, "asked": asked})
    return Course(own, table)


def drawn_words(sheet) -> list[str]:
    return [label.get_text() for label in sheet.labels]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_no_label_of_the_new_figures_overlaps_another_or_leaves_the_sheet(handmade, shape):
    line = handmade.line()
    smooth = pd.DataFrame({"years": np.linspace(0, 6, 50), "share": np.exp(-0.1 * np.linspace(0, 6, 50)), "low": 0.2, "high": 0.99})
    change = [Row("3 months", "24 of 57 patients", 36, 28, 45, "+36 points"), Row("5 years", "8 of 57 patients", -2, -15, 12, "−2.0 points")]
    for draw in (lambda: forest(ROWS, RATIOS, FRAME, shape), lambda: forest(change, Axis(False, ("worse", "better"), small=10), FRAME, shape), lambda: course(means(), FRAME, shape), lambda: fitted(line, smooth, FRAME, shape)):
        assert draw().overlaps() == []


def test_a_range_that_leaves_the_axis_ends_in_an_arrow_and_no_mark_is_drawn_outside_it():
    axes = forest(ROWS, RATIOS, FRAME, PAGE).figure.axes[0]
    arrows = [line.get_marker() for line in axes.lines if line.get_marker() in ("<", ">")]
    assert sorted(arrows) == ["<", ">"]
    low, high = axes.get_xlim()
    assert all(low <= x <= high for line in axes.lines for x in np.atleast_1d(line.get_xdata()) if line.get_marker() not in ("None", None, ""))


def test_points_are_drawn_around_nought_with_what_is_too_small_to_matter_shaded():
    axes = forest([Row("1 year", "28 patients", 37, 30, 44, "+37 points")], Axis(False, ("worse", "better"), small=10), FRAME, PAGE).figure.axes[0]
    zone = axes.patches[0].get_extents().transformed(axes.transData.inverted())
    assert (round(zone.x0), round(zone.x1)) == (-10, 10)
    assert "0" in [tick.get_text() for tick in axes.get_xticklabels()]


def test_where_there_is_only_a_reference_nothing_is_drawn():
    with pytest.raises(CannotDraw):
        forest(ROWS[:1], RATIOS, FRAME, PAGE)


def test_the_smooth_curve_stops_where_too_few_patients_are_followed(handmade):
    smooth = pd.DataFrame({"years": np.linspace(0, 9, 90), "share": np.linspace(1, 0.2, 90), "low": 0.1, "high": 1.0})
    for shape, until in ((PAGE, 5.0), (TALK, 4.6)):  # five and ten patients are still followed until then
        axes = fitted(handmade.line(), smooth, FRAME, shape).figure.axes[0]
        assert max(axes.lines[-1].get_xdata()) <= until + 1e-9


def test_everybodys_own_line_stays_off_the_slide_and_low_response_stands_out():
    page, talk = course(means(), FRAME, PAGE), course(means(), FRAME, TALK)
    assert page.figure.axes[0].collections[0].get_segments() and len(page.figure.axes[0].collections) == len(talk.figure.axes[0].collections) + 1
    bold = [label.get_text() for label in page.labels if label.get_text().startswith("of ") and label.get_fontweight() == "bold"]
    assert bold == ["of 63"]  # 27 of 63 is below six in ten, 32 of 52 is not
    assert "27 answered" in drawn_words(page) and "27 of 63" in drawn_words(course(means(), FRAME, PHONE))


def test_a_mean_is_written_beside_the_line_to_the_next_never_on_it():
    sheet = course(means(), Frame("Satisfaction", "30 people"), TALK)
    sheet.figure.canvas.draw()
    drawing = sheet.figure.canvas.get_renderer()
    y = {label.get_text(): (lambda box: (box.y0 + box.y1) / 2)(label.get_window_extent(drawing)) for label in sheet.labels}
    places = {str(value): sheet.figure.axes[0].transData.transform((0, value))[1] for value in (44, 80, 81)}
    assert y["44"] < places["44"] and y["80"] > places["80"] and y["81"] > places["81"]  # the line climbs from 44 only


def test_a_course_with_one_mean_only_is_refused():
    few = means()
    few.means.loc[1:, "mean"] = np.nan
    with pytest.raises(CannotDraw, match="two occasions"):
        course(few, FRAME, PAGE)


def test_the_same_forest_has_the_same_bytes(tmp_path):
    once, twice = (forest(ROWS, RATIOS, FRAME, TALK).save(tmp_path / name, "forest") for name in ("one", "two"))
    assert [path.read_bytes() for path in once] == [path.read_bytes() for path in twice]
