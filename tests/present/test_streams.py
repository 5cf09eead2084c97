"""Who went where, and how alike two groups are: labels apart, shares that fill the height, a sentence where nothing can be drawn."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes.present.alike import alike
from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.streams import Column, Streams, streams

SHAPES = [PAGE, PHONE, TALK]
ORDER = ("light", "between", "medium", "firm", "level not known", "without insert", "denture gone", "patient died")
FRAME = Frame("Where people settle", "Dentures by the firmest of their inserts. Light: up to 8 N; between: up to 12 N; medium: from there; firm: from 17 N on.", "difference between the groups, in standard deviations")


def crowded(columns=5) -> Streams:
    """Every state in every column, most of them small."""
    shares = dict(zip(ORDER, (0.55, 0.01, 0.2, 0.1, 0.02, 0.005, 0.015, 0.1)))
    flow = {(one, other): share * part for one, share in shares.items() for other, part in shares.items()}
    titles = ("delivery", "3 months", "1 year", "2 years", "5 years")[:columns]
    return Streams(tuple(Column(title, "171 patients", shares) for title in titles), (flow,) * (columns - 1), ORDER, {"light": "accent", "firm": "ink", "patient died": "quiet"})


def balance(rows=12, weighted=True) -> pd.DataFrame:
    names = [f"natural or fixed teeth opposite {number}" for number in range(rows)]
    return pd.DataFrame({"covariate": names, "crude": np.linspace(-0.9, 0.4, rows), "weighted": np.linspace(-0.05, 0.09, rows) if weighted else np.nan})


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize("columns", [2, 4, 5])
def test_no_label_of_the_streams_overlaps_another_or_leaves_the_sheet(shape, columns):
    assert streams(crowded(columns), FRAME, shape).overlaps() == []


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize("weighted", [True, False])
def test_no_label_of_the_balance_overlaps_another_or_leaves_the_sheet(shape, weighted):
    for rows in (1, 14, 25):
        sheet = alike(balance(rows, weighted), 0.1, FRAME, shape)
        assert sheet.overlaps() == []
        assert shape is not TALK or sheet.height == pytest.approx(TALK.height * 72)


def test_streams_between_two_columns_fill_the_height_and_lie_one_on_another():
    from matplotlib.patches import PathPatch

    sheet = streams(crowded(2), FRAME, PAGE)
    axes = sheet.figure.axes[0]
    drawn = [patch.get_path().vertices for patch in axes.patches if isinstance(patch, PathPatch)]
    for corner in (0, 3):  # where each stream starts and ends
        heights = sorted((min(points[corner, 1], points[8 - corner if corner else 7, 1]), abs(points[corner, 1] - points[7 if corner == 0 else 4, 1])) for points in drawn)
        assert sum(height for _, height in heights) == pytest.approx(1)


def test_few_people_are_given_as_counts():
    what = Streams((Column("before", "", {"light": 0.5, "firm": 0.5}), Column("after", "", {"light": 1.0})), ({("light", "light"): 0.5, ("firm", "light"): 0.5},), ("light", "firm"), {}, (6, 6))
    said = {label.get_text() for label in streams(what, FRAME, PAGE).labels}
    assert {"3", "6"} <= said and not any("%" in text for text in said)


def test_one_column_is_no_path_and_nothing_known_is_no_balance():
    with pytest.raises(CannotDraw, match="Too few"):
        streams(crowded(1), FRAME, PAGE)
    with pytest.raises(CannotDraw, match="nothing known"):
        alike(balance(0), 0.1, FRAME, PAGE)


def test_a_trait_of_one_group_only_is_drawn_at_the_edge_and_says_so():
    sheet = alike(pd.DataFrame({"covariate": ["era", "upper jaw"], "crude": [np.inf, 0.2], "weighted": [np.nan, np.nan]}), 0.1, FRAME, PAGE)
    assert "era (over 3)" in {label.get_text() for label in sheet.labels} and sheet.overlaps() == []
