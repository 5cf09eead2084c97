"""Standards side by side and bars in two parts: no word covered, whatever the names and however many the years."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes.present.bars import Bar, bars
from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.years import Panel, years

SHAPES = (PAGE, PHONE, TALK)
NAMES = ("m" * 60, "=HYPERLINK(\"x\")", "<script>alert(1)</script>", "ليّن", "a standard named by somebody with patience, and at length")
VERDICTS = ("met", "not met", "cannot tell", "too early to tell", "too few to tell")


def panel(name: str, shown, patients: int = 30) -> Panel:
    verdicts = [VERDICTS[i % 5] for i in range(len(shown))]
    share = np.array([0.9 if "tell" not in verdict or verdict == "cannot tell" else np.nan for verdict in verdicts])
    return Panel(name, "at least 90 % at 2 years", 0.9, pd.DataFrame({"year": shown, "share": share, "low": share - 0.2, "high": np.minimum(share + 0.1, 1), "patients": patients, "verdict": verdicts}))


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize(("standards", "span"), [(1, 1), (2, 8), (5, 5), (5, 8), (9, 3)])
def test_no_word_covers_another(shape, standards, span):
    shown = tuple(range(2018, 2018 + span))
    sheet = years(tuple(panel(f"{NAMES[i % 5]}{i}", shown) for i in range(standards)), shown, shape)
    assert sheet.overlaps() == []


def test_the_standard_is_a_line_across_and_every_year_with_a_share_a_mark():
    shown = (2020, 2021, 2022)
    sheet = years((panel("x", shown),), shown, PAGE)
    axes = sheet.figure.axes[0]
    assert any(list(line.get_ydata()) == [0.9, 0.9] and list(line.get_xdata()) == [0, 1] for line in axes.lines)
    assert axes.get_ylim() == (0, 1) and sorted(float(line.get_xdata()[0]) for line in axes.lines if line.get_marker() in ("o", "D")) == [0, 1, 2]


def test_a_slide_shows_the_last_years_only_and_none_of_few_patients():
    shown = tuple(range(2016, 2025))
    said = {label.get_text() for label in years((panel("x", shown, 12), panel("y", shown, 4)), shown, TALK).labels}
    assert "2016" not in said and "2024" in said and "4" not in said
    with pytest.raises(CannotDraw):
        years((panel("y", shown, 4),), shown, TALK)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize("number", [1, 5, 16])
def test_bars_keep_their_names_and_words_apart(shape, number):
    rows = [Bar(f"{NAMES[i % 5]}{i}", (float(i), 2.0), "1234.56 (1000.00 to 1500.00)") for i in range(number if shape is not TALK else min(number, 6))]
    assert bars(rows, ("unplanned visits", "planned visits"), Frame("Chair minutes", "84 patients"), shape).overlaps() == []


def test_nothing_to_draw_is_a_sentence():
    with pytest.raises(CannotDraw, match="nothing to draw"):
        bars([Bar("x", (0.0, 0.0), "0")], ("a", "b"), Frame("t", "s"), PAGE)
