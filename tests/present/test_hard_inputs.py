"""Hard inputs: no events, everything on one day, an empty group, names in any script or of sixty letters, thirty groups, two patients and
twenty thousand. Each gives a figure without a covered word, or a sentence that says why there is none."""

from __future__ import annotations

import csv
import re

import numpy as np
import pandas as pd
import pytest

from outcomes.present import content, page, tables
from outcomes.present.alike import alike
from outcomes.present.areas import Endings, answers_over_time, endings
from outcomes.present.calendar import Calendar, calendar
from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.counts import Counts, ticks_for
from outcomes.present.curves import CannotDraw, Frame, Line, survival
from outcomes.present.fitted import fitted
from outcomes.present.flow import Stage, flow
from outcomes.present.folder import Folder
from outcomes.present.forest import Axis, Row, forest
from outcomes.present.funnel import Units, funnel
from outcomes.present.people import Scores, scores
from outcomes.present.streams import Column, Streams, streams
from outcomes.present.trajectories import Course, course
from outcomes.present.upkeep_curve import mean_count

SHAPES = (PAGE, PHONE, TALK)
FRAME = Frame("What is shown, and in whom it is shown", "20 000 patients, 40 000 inserts. Shaded: likely range (95 %).")
COLOURS = ("signal", "sand", "accent", "plum", "ink", "moss")
LONG = ("level of retention as it was named by somebody with patience", "another level of retention, named by the same person, firmer", "m" * 60)
SCRIPTS = ("ليّن", "мягкая вставка", "μαλακό", "רך", "weich, größte Öffnung")
UNSHIPPED = ("軽い", "हल्का", "เบา", "🦷 ①")  # scripts whose letters do not ship with the package
HOSTILE = ("<script>alert(1)</script>", "=HYPERLINK(\"x\")", "'; DROP TABLE visits; --", "</text><a href='x'>", "$\\frac{1}{2}$ {{ 1337*3 }}", "@SUM(1)&amp;\u202e")
EVIL = re.compile(r"<script|</text><a|<a href='x'")


def line(label: str, *, patients: int = 84, events: bool = True, one_day: bool = False, end: float = 5.0) -> Line:
    """A curve of so many patients; nothing happens, or everything on one day."""
    days = np.linspace(0, end, 2 if one_day or not events else min(patients, 400))
    share = np.ones(len(days)) if not events else np.array([1.0, 0.0]) if one_day else np.exp(-0.2 * days)
    steps = pd.DataFrame({"years": days, "share": share, "low": np.clip(share - 0.1, 0, 1), "high": np.clip(share + 0.1, 0, 1)})
    ticks = ticks_for(end)
    failed = tuple(int(patients * (1 - share[np.searchsorted(days, tick, side="right") - 1])) for tick in ticks)
    counts = Counts("inserts", patients, ticks, {"at risk": tuple(patients - n for n in failed), "failed": failed, "censored": (0,) * len(ticks)})
    return Line(label, steps, counts)


def curve(names, shape, **how):
    return survival([line(name, end=5 - 0.01 * i, **how) for i, name in enumerate(names)], FRAME, shape)


def smooth(names, shape, **how):
    one = line(names[0], **how)
    return fitted(one, one.steps, FRAME, shape, {name: one.steps for name in names[1:]})


def areas(names, shape, patients: int = 84):
    years = np.linspace(0, 5, 30)
    shares = pd.DataFrame({"years": years, **{name: 0.9 / len(names) * (1 - np.exp(-years)) for name in names}})
    return endings(Endings(shares, {name: COLOURS[i % 6] for i, name in enumerate(names)}, line("", patients=patients).counts, {5: 5.0, 10: 5.0}), FRAME, shape)


def answers(names, shape, patients: int = 84):
    table = pd.DataFrame({"occasion": ["first 3 months", "later"], "people": [patients] * 2, **{name: [patients // len(names)] * 2 for name in names}})
    return answers_over_time(table, {name: COLOURS[i % 6] for i, name in enumerate(names)}, FRAME, shape)


def flows(names, shape):
    even = {name: 1 / len(names) for name in names}
    columns = tuple(Column(title, "84 patients", even) for title in ("at delivery", "after 1 year", "after 2 years"))
    moves = {(name, names[(i + 1) % len(names)]): 1 / len(names) for i, name in enumerate(names)}
    return streams(Streams(columns, (moves, moves), tuple(names), {name: COLOURS[i % 6] for i, name in enumerate(names)}), FRAME, shape)


def ratios(names, shape):
    rows = [Row(name, "84 patients, 168 inserts", 1.2 + 0.1 * i, 0.8, 1.9, f"lasts {1.2 + 0.1 * i:.1f} times as long", f"by {name}") for i, name in enumerate(names)]
    return forest(rows, Axis(True, ("shorter life", "longer life")), FRAME, shape)


def balance(names, shape):
    return alike(pd.DataFrame({"covariate": names, "crude": [0.3] * len(names), "weighted": [0.05] * len(names)}), 0.1, Frame(FRAME.title, FRAME.subtitle, "difference in SDs"), shape)


def means(names, shape, patients: int = 84):
    own = pd.DataFrame({name: np.linspace(20, 90, patients) for name in names})
    summary = pd.DataFrame({"occasion": names, "people": patients, "mean": 60.0, "low": 55.0, "high": 65.0})
    return scores(Scores(own, summary), FRAME, shape)


def over_time(names, shape, patients: int = 84):
    own = pd.DataFrame({name: np.linspace(20, 90, patients) for name in names})
    summary = pd.DataFrame({"occasion": names, "mean": 60.0, "low": 55.0, "high": 65.0, "answered": patients, "asked": patients + 5})
    return course(Course(own, summary), FRAME, shape)


def stages(names, shape):
    return flow([Stage(f"84 patients {name}", ((name, "3 patients"),)) for name in names], shape)


def clinicians(names, shape):
    points = pd.DataFrame({"unit": names, "expected": np.linspace(6, 60, len(names)), "ratio": np.linspace(0.7, 2.2, len(names)), "outside": [i == len(names) - 1 for i in range(len(names))]})
    return funnel(Units(points, 1.2), FRAME, shape)


def months(names, shape, patients: int = 84):
    index = pd.date_range("2019-01-01", periods=30, freq="MS")
    visits = pd.DataFrame({name: np.full(30, max(1, patients // 30)) for name in names}, index=index)
    return calendar(Calendar(visits, pd.DataFrame({"nothing looked at": visits.iloc[:, 0]}), visits.sum(axis=1)), FRAME, shape)


NAMED = {"curve": curve, "smooth": smooth, "areas": areas, "answers": answers, "streams": flows, "forest": ratios, "alike": balance, "scores": means, "course": over_time, "flow": stages, "funnel": clinicians, "calendar": months}
SIZED = {"curve": curve, "smooth": smooth, "areas": areas, "answers": answers, "scores": means, "course": over_time, "calendar": months}


def sheet_or_sentence(draw, names, shape, **how):
    """The sheet; None where there is a sentence instead, which must read as one."""
    try:
        return draw(names, shape, **how)
    except CannotDraw as reason:
        assert re.match(r"[A-Z0-9].*\.$", str(reason)), reason
        return None


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize("names", [LONG, SCRIPTS, HOSTILE], ids=["sixty letters", "any script", "hostile"])
@pytest.mark.parametrize("kind", NAMED)
def test_no_name_covers_another_word_or_leaves_the_sheet(kind, names, shape):
    sheet = sheet_or_sentence(NAMED[kind], list(names), shape)
    assert sheet is not None
    assert sheet.overlaps() == []
    assert all(axes.get_position().width * sheet.width > 0.25 * sheet.width for axes in sheet.figure.axes), "names leave no room for what is drawn"


@pytest.mark.filterwarnings("ignore:Glyph")
@pytest.mark.parametrize("kind", NAMED)
def test_a_script_whose_letters_do_not_ship_stays_text_on_the_page(kind):
    """The page's browser brings the letters; a PNG shows empty boxes for them, nothing worse."""
    sheet = NAMED[kind](list(UNSHIPPED), PAGE)
    assert sheet.overlaps() == []
    if kind not in ("smooth",):
        assert UNSHIPPED[0] in sheet.inline("figure")


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize("kind", NAMED)
def test_thirty_groups_are_drawn_apart_or_refused_with_a_sentence(kind, shape):
    sheet = sheet_or_sentence(NAMED[kind], [f"group {i + 1} of thirty" for i in range(30)], shape)
    assert sheet is None or sheet.overlaps() == []


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize("patients", [2, 20_000])
@pytest.mark.parametrize("kind", SIZED)
def test_two_patients_and_twenty_thousand(kind, patients, shape):
    names = ["before", "3 months", "1 year"] if kind in ("scores", "course") else ["light", "medium"]
    sheet = sheet_or_sentence(SIZED[kind], names, shape, patients=patients)
    assert sheet is None or sheet.overlaps() == []
    if patients == 20_000:
        assert sheet is not None and len(sheet.inline("figure")) < 400_000  # a large clinic's figure is no larger file


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize("how", [{"events": False}, {"one_day": True}], ids=["no events", "all on one day"])
@pytest.mark.parametrize("kind", ["curve", "smooth"])
def test_no_events_and_all_events_on_one_day(kind, how, shape):
    sheet = sheet_or_sentence(NAMED[kind], ["light", "firm"], shape, **how)
    assert sheet is not None and sheet.overlaps() == []


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_visits_and_endings_on_one_day_or_none(shape):
    followed, ticks = {"patients": (84, 84)}, (0.0, 1.0)
    once = pd.DataFrame({"years": [0.0, 0.5], "mean": [0.0, 1.0], "low": np.nan, "high": np.nan})
    never = pd.DataFrame({"years": [0.0, 0.5], "mean": 0.0, "low": 0.0, "high": 0.0})
    for steps in (once, never):
        assert mean_count(steps, ticks, followed, {5: 1.0, 10: 1.0}, FRAME, shape).overlaps() == []
    table = Counts("inserts", 84, (0.0, 1.0), {"in place": (84, 0), "ended": (0, 84)})
    one_day = Endings(pd.DataFrame({"years": [0.0, 0.5], "worn": [0.0, 1.0]}), {"worn": "signal"}, table, {5: 1.0, 10: 1.0})
    nothing = Endings(pd.DataFrame({"years": [0.0, 0.5], "worn": [0.0, 0.0]}), {"worn": "signal"}, table, {5: 1.0, 10: 1.0})
    for what, said in ((one_day, "worn 100\u00a0%"), (nothing, "still in place 100\u00a0%")):
        sheet = endings(what, FRAME, shape)
        assert sheet.overlaps() == [] and said in {label.get_text() for label in sheet.labels}


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_an_empty_group_beside_a_full_one(shape):
    nobody = Line("nobody", pd.DataFrame({"years": [0.0], "share": [1.0], "low": [np.nan], "high": [np.nan]}), Counts("inserts", 0, ticks_for(5.0), {"at risk": (0,) * 6, "failed": (0,) * 6, "censored": (0,) * 6}))
    sheet = survival([line("light"), nobody], FRAME, shape)
    assert sheet.overlaps() == []
    said = pd.DataFrame({"occasion": ["now", "later"], "people": [84, 0], "loose": [84, 0], "right": [0, 0]})
    assert answers_over_time(said, {"loose": "signal", "right": "accent"}, FRAME, shape).overlaps() == []
    rows = [Row("light", "84 patients", 1.2, 0.8, 1.9, "1.2 times"), Row("firm", "0 patients", np.nan, np.nan, np.nan, "nobody")]
    assert forest(rows, Axis(True, ("shorter", "longer")), FRAME, shape).overlaps() == []


@pytest.mark.parametrize("kind", NAMED)
def test_hostile_names_do_nothing_in_the_figure_its_page_and_its_table(kind, tmp_path):
    names = list(HOSTILE)
    folder = Folder(tmp_path)
    table = pd.DataFrame({"name": names, **{name: [1] * len(names) for name in names}})
    block = folder.picture("figure", lambda shape: NAMED[kind](names, shape), f"Finding on {names[0]}.", names[3], {"numbers": table})
    assert isinstance(block, content.Picture)
    for element in (str(block.wide), str(block.narrow), (tmp_path / "figures" / "figure.svg").read_text(encoding="utf-8")):
        assert not EVIL.search(element)
        import xml.etree.ElementTree as tree

        assert tree.fromstring(element.replace("<svg ", '<svg xmlns:xlink="x" ', 1) if "xmlns:xlink" not in element else element) is not None
    report = content.Report("Title", "today", "", "", (), (), (), (), (), (content.Section("one", names[0], (block, content.Grid(names[3], table))),))
    html = page.render(report)
    assert not EVIL.search(html) and ">4011" not in html
    rows = list(csv.reader((tmp_path / "tables" / "numbers.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert rows[0] == ["name", *(tables.cell(name) for name in names)]
    assert not [cell for row in rows for cell in row if cell.lstrip().startswith(("=", "+", "-", "@"))]
