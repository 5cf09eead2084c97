"""Figures: counts that add up, labels that do not overlap, the same bytes on every run, and a sentence where nothing can be drawn."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.present.areas import Endings, answers_over_time, endings
from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.counts import Counts, fewer, ticks_for
from outcomes.present.curves import CannotDraw, Frame, Line, spread, survival
from outcomes.present.people import Scores, scores

SHAPES = [PAGE, PHONE, TALK]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_no_label_overlaps_another_or_leaves_the_sheet(handmade, shape):
    for name, draw in handmade.DRAWINGS.items():
        assert draw(shape).overlaps() == [], name


def test_the_same_figure_has_the_same_bytes_in_two_folders(handmade, tmp_path):
    for draw in (handmade.DRAWINGS["inserts"], handmade.DRAWINGS["became"]):
        once, twice = draw(TALK).save(tmp_path / "one", "figure"), draw(TALK).save(tmp_path / "two", "figure")
        assert [path.suffix for path in once] == [".png", ".svg", ".pdf"]
        assert [path.read_bytes() for path in once] == [path.read_bytes() for path in twice]
        for path in once:
            assert b"2025-" not in path.read_bytes() and b"CreationDate" not in path.read_bytes()


def test_a_talk_picture_is_full_high_definition(handmade, tmp_path):
    import struct

    for name in ("inserts", "housings", "became", "satisfaction"):
        png = handmade.DRAWINGS[name](TALK).save(tmp_path, "figure")[0].read_bytes()
        assert struct.unpack(">II", png[16:24]) == (1920, 1080)


def test_nobodys_own_line_and_no_row_of_few_people_leaves_the_clinic(handmade):
    said = {label.get_text() for label in handmade.DRAWINGS["snap"](TALK).labels}
    assert "12 people" not in said and "80 people" in said
    assert "12 people" in {label.get_text() for label in handmade.DRAWINGS["snap"](PAGE).labels}
    own = lambda shape: [lines for lines in handmade.DRAWINGS["satisfaction"](shape).figure.axes[0].collections if len(lines.get_paths()) > 10]  # noqa: E731
    assert own(PAGE) and not own(TALK)


def test_under_a_talks_curve_stand_the_patients_still_followed_and_nothing_of_few_people(handmade):
    for name in ("housings", "inserts", "became", "levels"):
        said = [label.get_text() for label in handmade.DRAWINGS[name](TALK).labels]
        assert not {"at risk", "failed", "censored", "known sound", "not known"} & set(said), name
    said = [label.get_text() for label in handmade.DRAWINGS["housings"](TALK).labels]
    assert "patients followed" in said and {"84", "80", "60", "41", "22"} <= set(said)
    few = replace(handmade.line(), counts=Counts("housings", 20, (0.0, 1.0), {"patients": (12, 4), "at risk": (20, 6), "failed": (0, 4), "censored": (0, 10)}, ("patients",)))
    said = [label.get_text() for label in survival([few], handmade.HOUSINGS, TALK).labels]
    assert "<10" in said and "4" not in said and "12" in said


def test_counts_of_few_people_are_hidden_in_any_words_of_a_talk(handmade):
    frame = Frame("What is shown", "9 patients, 12 inserts; 3 of 40 patients had it.")
    said = {shape.name: " ".join(label.get_text() for label in survival([handmade.line()], frame, shape).labels) for shape in (PAGE, TALK)}
    assert "9 patients" in said["page"] and "3 of 40" in said["page"]
    assert "<10 patients, 12 inserts; <10 of 40 patients" in said["talk"]


def test_no_letter_of_a_talk_is_smaller_than_eighteen_points(handmade):
    for name, draw in handmade.DRAWINGS.items():
        sheet = draw(TALK)
        sizes = [label.get_fontsize() for label in sheet.labels] + [label.get_fontsize() for axes in sheet.figure.axes for label in (*axes.get_xticklabels(), *axes.get_yticklabels())]
        assert min(sizes) >= 18, name


def test_the_words_of_a_figure_are_text_on_the_page_and_hidden_from_screen_readers(handmade):
    svg = handmade.DRAWINGS["housings"](PAGE).inline("housings")
    assert ">at risk</text>" in svg and 'aria-hidden="true"' in svg
    assert "#0a6480" not in svg and "var(--accent)" in svg
    assert not re.search(r'id="(?!housings-)', svg)


def test_counts_that_do_not_add_up_are_refused():
    with pytest.raises(ValueError, match="do not add up"):
        Counts("inserts", 10, (0.0, 1.0), {"at risk": (10, 4), "failed": (0, 2), "censored": (0, 3)})


def test_published_counts_of_the_treated_arm_add_up():
    # Freireich et al. 1963, 6-MP arm, events and censorings before t (the extended risk table of Morris et al. 2019).
    table = Counts("patients", 21, (0, 6, 12, 18, 24, 30), {"at risk": (21, 21, 12, 9, 5, 4), "censored": (0, 0, 4, 5, 7, 8), "failed": (0, 0, 5, 7, 9, 9)})
    assert table.sums() == (21,) * 6


def test_with_late_entry_the_rows_add_up_to_those_who_entered():
    table = Counts("inserts", 10, (0.0, 1.0), {"entered": (6, 10), "at risk": (6, 7), "failed": (0, 1), "censored": (0, 2)})
    assert table.sums() == table.expected() == (6, 10)


def test_patients_beside_the_counts_are_no_part_of_the_sum(handmade):
    assert handmade.counts().sums() == (168,) * 6


def test_thirty_groups_are_refused_with_a_sentence(handmade):
    with pytest.raises(CannotDraw, match="30 groups cannot be told apart"):
        survival([handmade.line(f"group {i}") for i in range(30)], handmade.HOUSINGS, PAGE)


def test_nobody_to_draw_is_a_sentence():
    for attempt in (lambda: survival([], Frame("", ""), PAGE), lambda: answers_over_time(pd.DataFrame({"occasion": ["now"], "people": [0], "loose": [0]}), {}, Frame("", ""), PAGE),
                    lambda: scores(Scores(pd.DataFrame({"before": []}), pd.DataFrame({"occasion": ["before"], "people": [0], "mean": [np.nan], "low": [np.nan], "high": [np.nan]})), Frame("", ""), PAGE)):  # fmt: skip
        with pytest.raises(CannotDraw):
            attempt()


def test_a_curve_without_failures_and_one_that_ends_at_once_can_be_drawn():
    table = Counts("inserts", 2, (0.0,), {"at risk": (2,), "failed": (0,), "censored": (0,)})
    flat = Line("inserts", pd.DataFrame({"years": [0.0, 0.01], "share": [1.0, 1.0], "low": [0.2, 0.2], "high": [1.0, 1.0]}), table)
    all_at_once = Line("inserts", pd.DataFrame({"years": [0.0, 1.0], "share": [1.0, 0.0], "low": [np.nan, np.nan], "high": [np.nan, np.nan]}), table)
    for line in (flat, all_at_once):
        for shape in SHAPES:
            assert survival([line], Frame("Two patients", "2 patients"), shape).overlaps() == []


def test_a_talk_stops_where_fewer_than_ten_patients_are_followed(handmade):
    talk, page = handmade.DRAWINGS["housings"](TALK), handmade.DRAWINGS["housings"](PAGE)
    assert talk.figure.axes[0].get_xlim()[1] == pytest.approx(4.6)
    assert page.figure.axes[0].get_xlim()[1] == pytest.approx(5.0)


def test_where_there_is_no_band_limits_at_single_times_are_drawn_as_far_as_the_curve_goes(handmade):
    bare = handmade.line()
    bare = replace(bare, steps=bare.steps.assign(low=np.nan, high=np.nan))
    end = float(bare.steps["years"].iloc[-1])
    drawn = survival([bare], Frame("Housings firmly in the denture", "84 patients", reaches=((1.0, 0.9, 0.99), (end + 1, 0.5, 0.9))), PAGE).figure.axes[0]
    upright = [line for line in drawn.lines if list(line.get_xdata()) == [1.0, 1.0]]
    assert [list(line.get_ydata()) for line in upright] == [[0.9, 0.99]]
    assert not [line for line in drawn.lines if list(line.get_xdata()) == [end + 1] * 2]


def test_shares_are_drawn_from_nought_to_all(handmade):
    for name in ("housings", "inserts", "levels", "became"):
        assert handmade.DRAWINGS[name](PAGE).figure.axes[0].get_ylim() == (0, 1)


@pytest.mark.filterwarnings("ignore:Glyph")
@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "$x^2$ and \\frac", "ليّن", "軽い", "x" * 60, "a & b < c"])
def test_a_group_may_have_any_name(handmade, name):
    lines = [handmade.line(name), handmade.line("firm", 1.4)]
    svg = survival(lines, handmade.HOUSINGS, PAGE).inline("levels")
    assert "<script" not in svg


def test_many_people_are_drawn_no_slower_than_a_fixed_choice_of_them(handmade):
    own = pd.DataFrame(np.full((20_000, 2), 50.0), columns=["before", "12 months"])
    means = pd.DataFrame({"occasion": list(own), "people": [20_000, 20_000], "mean": [50.0, 50.0], "low": [49.0, 49.0], "high": [51.0, 51.0]})
    sheet = scores(Scores(own, means), handmade.SCORED, PAGE)
    assert len(sheet.figure.axes[0].collections[0].get_segments()) <= 150


def test_endings_of_nobody_are_a_sentence(handmade):
    nothing = Endings(pd.DataFrame({"years": [], "worn": []}), {"worn": "signal"}, handmade.counts("inserts"), {})
    with pytest.raises(CannotDraw):
        endings(nothing, handmade.BECAME, PAGE)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(0, 100), min_size=1, max_size=6))
def test_line_names_keep_their_distance_and_their_order(wanted):
    placed = spread(wanted, 10, 0, 100)
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    heights = [placed[i] for i in order]
    assert all(b - a >= 10 - 1e-6 for a, b in zip(heights, heights[1:]))


def test_ticks_start_at_nought_and_stay_few():
    for horizon in (0.1, 0.9, 3, 7.4, 24):
        ticks = ticks_for(horizon)
        assert ticks[0] == 0 and len(ticks) <= 8
    assert fewer((0, 1, 2, 3, 4, 5, 6), 4) == (0, 2, 4, 6)


def test_the_names_at_the_right_end_say_the_shares_that_are_drawn_there():
    import pandas as pd

    from outcomes.present.areas import Endings, endings
    from outcomes.present.counts import Counts
    from outcomes.present.canvas import PAGE
    from outcomes.present.curves import Frame

    shares = pd.DataFrame({"years": [0.0, 1.0, 2.0], "worn": [0.0, 0.3, 0.9]})
    what = Endings(shares, {"worn": "accent"}, Counts("inserts", 20, (0.0, 1.0, 2.0), {"in place": (20, 14, 2), "ended": (0, 6, 18)}), {5: 2.0, 10: 2.0})
    sheet = endings(what, Frame("What became", ""), PAGE)
    said = " ".join(text.get_text() for text in sheet.figure.texts)
    assert "worn 30" in said and "90" not in said


def test_of_several_groups_each_shows_its_range_and_a_curve_that_stops_early_is_led_to_its_name(handmade):
    long = replace(handmade.line("long"), reaches=((2.0, 0.6, 0.9),))
    early = handmade.line("early", 2.0)
    early = replace(early, steps=early.steps[early.steps["years"] <= 3], stops={}, reaches=((2.0, 0.3, 0.7),))
    sheet = survival([long, early], Frame("Title", "Subtitle"), PAGE)
    bars = sorted((line.get_ydata()[0], line.get_ydata()[1]) for line in sheet.figure.axes[0].lines if line.get_alpha() == 0.35)
    assert bars == [(0.3, 0.7), (0.6, 0.9)] and len({line.get_xdata()[0] for line in sheet.figure.axes[0].lines if line.get_alpha() == 0.35}) == 2
    leads = [one for one in sheet.figure.artists + sheet.figure.patches if one.get_linestyle() not in ("-", "solid")]
    assert len(leads) == 1, "from the early curve alone"
    both = survival([long, replace(handmade.line("other", 2.0))], Frame("Title", "Subtitle"), PAGE)
    assert not [one for one in both.figure.artists + both.figure.patches if one.get_linestyle() not in ("-", "solid")]


def test_a_mean_is_written_below_its_dot_where_the_line_to_the_next_one_rises():
    means = pd.DataFrame({"occasion": ["before", "3 months", "1 year"], "mean": [48.0, 82.0, 83.0], "low": [44.0, 78.0, 79.0], "high": [51.0, 86.0, 87.0], "people": [60, 40, 38]})
    for shape in SHAPES:
        sheet = scores(Scores(pd.DataFrame(columns=["before", "3 months", "1 year"], dtype=float), means), Frame("Title", "Subtitle"), shape)
        at = {label.get_text(): label.get_position()[1] for label in sheet.labels}
        box = sheet.figure.axes[0].get_position()
        dot = {name: (box.y0 + box.height * value / 100) * sheet.height for name, value in (("48", 48), ("82", 82))}
        assert at["48"] < dot["48"] - sheet.text and at["82"] > dot["82"], shape.name
