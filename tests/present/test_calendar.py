"""The calendar: every month once, what adds up adds up, gaps told by height and place and not by colour alone."""

from __future__ import annotations

import doctest

import numpy as np
import pandas as pd
import pytest

from outcomes.present import calendar as drawing
from outcomes.present.calendar import Calendar, calendar
from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.palette import DARK, LIGHT, channels, contrast, hexadecimal

SHAPES = (PAGE, PHONE, TALK)
FRAME = Frame("The log, month by month", "612 visits of 84 patients, 4 March 2019 to 2 June 2025")
REASONS = {"delivery": 1.0, "conversion": 0.1, "review": 2.0, "recall": 4.0, "problem": 2.0, "hygiene": 0.3, "laboratory": 0.1, "contact only": 0.2}  # visits a month


def log(months: int, rate: float = 1.0, start: str = "2019-03-01", silent: tuple[int, ...] = ()) -> Calendar:
    chance = np.random.default_rng(4)
    index = pd.date_range(start, periods=months, freq="MS")
    visits = pd.DataFrame({name: chance.poisson(mean * rate, months) for name, mean in REASONS.items()}, index=index)
    visits.iloc[list(silent)] = 0
    gaps = pd.DataFrame({"nothing looked at": np.minimum(chance.poisson(0.6 * rate, months), visits.sum(axis=1))}, index=index)
    return Calendar(visits, gaps, visits.sum(axis=1))


def said(sheet) -> list[str]:
    return [label.get_text() for label in sheet.labels]


def beside(sheet, row: str) -> str:
    y = next(label.get_position()[1] for label in sheet.labels if label.get_text() == row)
    return next(label.get_text() for label in sheet.labels if abs(label.get_position()[1] - y) < 0.01 and label.get_text() != row)


def cells(sheet, colour: str) -> list:
    from matplotlib.colors import to_hex
    from matplotlib.patches import Rectangle

    return [patch for patch in sheet.figure.artists if isinstance(patch, Rectangle) and to_hex(patch.get_facecolor()) == LIGHT[colour]]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize(("months", "rate"), [(1, 2.0), (2, 1.0), (14, 3.0), (72, 1.0), (240, 5.0), (480, 400.0)])
def test_no_label_overlaps_from_one_month_to_forty_years(shape, months, rate):
    assert calendar(log(months, rate), FRAME, shape).overlaps() == []


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_totals_beside_the_rows_are_those_of_the_log(shape):
    what = log(72, 5.0)
    sheet = calendar(what, FRAME, shape)
    for reason in REASONS:
        total = int(what.visits[reason].sum())
        assert beside(sheet, reason) == f"{total}"


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_silent_months_are_counted_as_months_however_wide_a_column(shape):
    sheet = calendar(log(120, 3.0, silent=(20, 21, 22)), FRAME, shape)
    assert beside(sheet, "nobody seen") == "3 months"
    drawn = [patch for patch in cells(sheet, "ink") if patch.get_width() > 0]
    assert 1 <= len(drawn) <= 3


def test_each_month_with_visits_has_its_cell_and_none_without():
    what = log(36)
    sheet = calendar(what, FRAME, PAGE)
    legend = 4 if sheet else 0
    assert len(cells(sheet, "accent")) - int((what.visits.to_numpy() > 0).sum()) in range(1, legend + 1)  # the rest is the legend


def test_together_quarters_keep_every_visit():
    values = log(100).visits["recall"]
    for months in (3, 12, 60):
        assert drawing._together(values, months).sum() == values.sum()
    assert drawing._together(values, 12).index[1] == pd.Timestamp("2020-01-01")


def test_the_palest_cell_can_be_told_from_paper_in_light_and_dark():
    """Graphics need 3 to 1 (WCAG 2.2, 1.4.11)."""
    for roles in (LIGHT, DARK):
        for colour in ("accent", "signal"):
            paper, full = channels(roles["paper"]), channels(roles[colour])
            palest = hexadecimal(p + (f - p) * drawing.PALEST for p, f in zip(paper, full))
            assert contrast(palest, roles["paper"]) >= 3, (colour, palest)


def test_more_visits_are_higher_as_well_as_darker():
    edges = drawing._classes(24, 1)
    looks = [drawing._look(value, edges) for value in (1, 2, 5, 10)]
    assert looks == sorted(looks) and len({height for height, _ in looks}) == 4 and looks[-1] == (1.0, 1.0)


def test_on_a_talk_no_row_of_few_visits_can_be_seen_or_worked_out():
    what = log(24, 0.4)
    few = [name for name in REASONS if 0 < what.visits[name].sum() < 10]
    talk = said(calendar(what, FRAME, TALK))
    assert few and not set(few) & set(talk) and set(few) <= set(said(calendar(what, FRAME, PAGE)))
    shown = [int(text) for text in talk if text.isdigit() and len(text) < 4]
    assert min(shown) >= 10
    other = int(beside(calendar(what, FRAME, TALK), "other"))
    assert other > what.visits[few].to_numpy().sum() or len(few) > 1


def test_a_talk_is_a_slide():
    for months in (24, 72, 240):
        sheet = calendar(log(months, 5.0), FRAME, TALK)
        assert (sheet.width, sheet.height) == pytest.approx((TALK.width * 72, TALK.height * 72))


def test_letters_of_a_talk_are_eighteen_points_or_more():
    assert min(label.get_fontsize() for label in calendar(log(72), FRAME, TALK).labels) >= 18


def test_an_empty_log_is_a_sentence():
    for what in (log(0), log(3, 0.0)):
        with pytest.raises(CannotDraw, match="the log is empty"):
            calendar(what, FRAME, PAGE)
    assert calendar(log(2, 0.2), FRAME, PAGE).overlaps() == []
    with pytest.raises(CannotDraw, match="fewer than 10 visits"):
        calendar(log(2, 0.2), FRAME, TALK)


def test_the_drawing_grows_with_the_months_and_not_with_the_patients():
    few, many = (len(calendar(log(48, rate), FRAME, PAGE).figure.artists) for rate in (20.0, 20_000.0))
    assert many <= few * 1.4


def test_worked_examples_in_docstrings():
    outcome = doctest.testmod(drawing)
    assert outcome.attempted > 0 and outcome.failed == 0
