"""The deck: every text fits its box, nothing is small, every picture is told in words, and the same talk gives the same bytes."""

from __future__ import annotations

import datetime
import re
import zipfile

import pytest
from pptx.enum.dml import MSO_FILL

from outcomes.present import talk
from outcomes.present.canvas import Sheet
from outcomes.present.palette import LIGHT, contrast
from outcomes.present.talk import FIGURE, Figure, Slide, Talk
from outcomes.present.talk_figures import Axis, areas, curve, means_of, parted, ranged, steps
from outcomes.present.talk_fit import FONTS, LEADING, LEAST, broken, fit, width

DAY = datetime.date(2025, 6, 14)
LONG = "A message that goes on for far longer than anybody should let it, with 62 % of everything and a likely range from 48 to 74 %, and then on. "
HOSTILE = 'Ω≥ <script>alert("1")</script> & \x00\x1b ' + "x" * 300


def drawn(text: str = "a finding") -> Figure:
    def draw(shape):
        sheet = Sheet(shape)
        sheet.put(10, 10, "drawn")
        return sheet

    return Figure(draw, text)


def a_talk(title: str = "An audit", message: str = "62 % of dentures needed no repair.") -> Talk:
    return Talk(title, DAY, (
        Slide("", title, points=(message, message), notes=("method",), first=True),
        Slide("How long", message, drawn(), left=message, right=message * 3, notes=("Kaplan–Meier", "more")),
        Slide("Plain", message, points=(message,) * 4),
        Slide("To do", message, counted=(("14", message), ("<10", message), ("120", message))),
        Slide("Spare", message, asked=((message, message * 3),) * 4),
    ))  # fmt: skip


def opened(path):
    from pptx import Presentation

    return Presentation(str(path))


def texts(deck):
    """(slide number, shape) of every shape that holds text."""
    return [(place, shape) for place, slide in enumerate(deck.slides) for shape in slide.shapes if shape.has_text_frame and shape.text_frame.text]


def ground(slide, shape) -> str:
    """The colour behind a text: its own panel, or the slide's ground."""
    for fill in (shape.fill, slide.background.fill):
        if fill.type is not None and fill.type == MSO_FILL.SOLID:
            return f"#{fill.fore_color.rgb}"
    return LIGHT["paper"]


@pytest.mark.parametrize("message", ["Short.", LONG, LONG * 4, HOSTILE, "字" * 200])
def test_no_text_leaves_its_box_by_the_widths_of_the_real_letters(tmp_path, message):
    deck = opened(talk.write(a_talk(message, message), tmp_path))
    for place, shape in texts(deck):
        tall = 0.0
        for part in shape.text_frame.paragraphs:
            size, bold = part.runs[0].font.size.pt, bool(part.runs[0].font.bold)
            face = "serif" if shape == deck.slides[place].shapes.title or part.runs[0].font.name == "+mj-lt" else "sans"
            room = shape.width.pt - shape.text_frame.margin_left.pt - shape.text_frame.margin_right.pt
            lines = broken(part.text, room, size, face, bold)
            assert max(width(line, size, face, bold) for line in lines) <= room
            tall += len(lines) * part.line_spacing.pt + part.space_before.pt
        tall += shape.text_frame.margin_top.pt + shape.text_frame.margin_bottom.pt
        assert tall <= shape.height.pt + 0.5, (place, shape.text_frame.text)
        assert 0 <= shape.left.pt and shape.left.pt + shape.width.pt <= talk.WIDE and shape.top.pt + shape.height.pt <= talk.HIGH


@pytest.mark.parametrize("message", ["Short.", LONG * 2])
def test_no_two_things_on_a_slide_lie_over_each_other(tmp_path, message):
    deck = opened(talk.write(a_talk(message, message), tmp_path))
    for slide in deck.slides:
        boxes = [(s.left.pt, s.top.pt, s.left.pt + s.width.pt, s.top.pt + s.height.pt, s.name) for s in slide.shapes if s.height.pt > 0]
        for i, one in enumerate(boxes):
            for other in boxes[i + 1 :]:
                apart = one[2] <= other[0] + 0.5 or other[2] <= one[0] + 0.5 or one[3] <= other[1] + 0.5 or other[3] <= one[1] + 0.5
                assert apart, (one, other)


def test_nothing_is_set_below_18_points_and_all_of_it_can_be_read(tmp_path):
    deck = opened(talk.write(a_talk(message=LONG * 3), tmp_path))
    for place, shape in texts(deck):
        for part in shape.text_frame.paragraphs:
            for run in part.runs:
                assert run.font.size.pt >= LEAST
                assert contrast(f"#{run.font.color.rgb}", ground(deck.slides[place], shape)) >= 4.5


def test_the_letters_of_every_figure_are_18_points_or_more_on_the_slide(tmp_path):
    import pandas as pd

    shares = pd.DataFrame({"years": [0, 1, 2.0], "worn": [0, 0.1, 0.3], "wish": [0, 0.2, 0.3]})
    from outcomes.present.areas import Endings
    from outcomes.present.counts import Counts
    from outcomes.present.curves import Line

    counts = Counts("inserts", 40, (0.0, 1.0, 2.0), {"patients": (20, 15, 11), "at risk": (40, 30, 20), "ended": (0, 10, 20)}, ("patients",))
    axis = Axis("years since fitting", {0.0: "20", 1.0: "15", 2.0: "<10"})
    line = Line("inserts", pd.DataFrame({"years": [0, 1, 2.0], "share": [1, 0.8, 0.6], "low": [0.9, 0.7, 0.4], "high": [1, 0.9, 0.7]}), counts)
    means = pd.DataFrame({"occasion": ["before", "1 year"], "people": [30, 20], "mean": [40, 95.0], "low": [35, 90.0], "high": [45, 99.0]})
    sheets = [areas(Endings(shares, {"worn": "signal", "wish": "plum"}, counts, {}), 2.0, axis, FIGURE), curve(line, 2.0, axis, (2.0, 0.6, "60 % at 2 years"), FIGURE),
              means_of(means, 0, 100, FIGURE), parted("How it felt", ("just right", 0.02, "accent"), ("too loose or too firm", 0.98, "signal"), FIGURE),
              steps([("95", "patients in the log", ("fewer than 10 patients: no overdenture",)), ("80", "patients, 220 inserts followed", ())], FIGURE)]  # fmt: skip
    for sheet in sheets:
        assert sheet.overlaps() == []
        assert min(label.get_fontsize() for label in sheet.labels) >= LEAST
        assert min([tick.get_fontsize() for axes in sheet.figure.axes for tick in (*axes.get_xticklabels(), *axes.get_yticklabels())] or [LEAST]) >= LEAST
        assert sheet.width <= talk.ROOM + 0.01 and sheet.height <= FIGURE.height * 72 + 0.01  # shown at full size, never shrunk


def test_reasons_that_have_no_room_are_left_out_whole_and_said_to_be_more():
    reason = "50 inserts: in place since an unknown day, long before anybody kept a log"
    for reasons in (2, 12):
        sheet = steps([("95", "patients, 106 overdentures, 692 inserts over time", (reason,) * reasons), ("80", "patients followed", ())], FIGURE)
        said = " ".join(label.get_text() for label in sheet.labels)
        assert sheet.overlaps() == [] and (said.count(reason) == 2 if reasons == 2 else 0 < said.count(reason) < 12)
        assert said.count("50 inserts") == said.count(reason) and ("and for other reasons" in said) == (reasons == 12)


def test_the_year_a_title_speaks_of_is_named_at_its_line():
    import pandas as pd

    from outcomes.present.areas import Endings
    from outcomes.present.counts import Counts

    shares = pd.DataFrame({"years": [0, 1, 2.0], "worn": [0, 0.1, 0.3]})
    counts = Counts("inserts", 40, (0.0, 1.0, 2.0), {"patients": (20, 15, 11), "at risk": (40, 30, 20), "ended": (0, 10, 20)}, ("patients",))
    sheet = areas(Endings(shares, {"worn": "signal"}, counts, {}), 2.0, Axis("years since fitting", {0.0: "20", 1.0: "15", 2.0: "11"}), FIGURE, 1.0)
    assert "at 1 year" in [label.get_text() for label in sheet.labels] and sheet.overlaps() == []
    assert {line.get_linestyle() for line in sheet.figure.axes[0].lines} == {"-"}


def test_a_number_of_years_on_a_line_has_its_unit():
    sheet = ranged(1.3, 1.9, 2.1, "1.9 years", "likely range 1.3 to 2.1 years (95 %)", FIGURE, share=False)
    assert "2.5 years" in [label.get_text() for label in sheet.labels] and sheet.overlaps() == []


def test_every_picture_is_told_in_words_and_every_slide_has_a_title_and_a_language(tmp_path):
    deck = opened(talk.write(a_talk(), tmp_path))
    for slide in deck.slides:
        assert slide.shapes.title.text_frame.text
        for shape in slide.shapes:
            if shape.shape_type is not None and shape.shape_type.name == "PICTURE":
                assert shape._element.nvPicPr.cNvPr.get("descr") == "a finding"
        for run in slide._element.iter("{http://schemas.openxmlformats.org/drawingml/2006/main}rPr"):
            assert run.get("lang") == "en-GB"
    assert (deck.slide_width.pt, deck.slide_height.pt) == (960, 540)


def test_the_same_talk_gives_the_same_bytes_in_any_folder_and_holds_no_time_of_day(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    first = talk.write(a_talk(), tmp_path / "a")
    assert first.read_bytes() == talk.write(a_talk(), tmp_path / "b").read_bytes()
    with zipfile.ZipFile(first) as package:
        assert {entry.date_time for entry in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert package.namelist()[0] == "[Content_Types].xml"
        assert not [name for name in package.namelist() if "thumbnail" in name or "printerSettings" in name]
    assert talk.write(a_talk("Another audit"), tmp_path / "b").read_bytes() != first.read_bytes()


def test_the_deck_says_who_made_it_and_nothing_of_the_template(tmp_path):
    path = talk.write(a_talk(), tmp_path)
    about = opened(path).core_properties
    assert (about.author, about.last_modified_by, about.title) == ("outcomes", "outcomes", "An audit")
    assert {about.created.date(), about.modified.date()} == {DAY}
    with zipfile.ZipFile(path) as package:
        everything = b" ".join(package.read(name) for name in package.namelist() if name.endswith((".xml", ".rels"))).decode("utf-8")
    assert not re.search(r"Canny|Calibri|Macintosh", everything)
    assert "Georgia" in everything and "Verdana" in everything


def test_a_text_too_long_loses_whole_sentences_before_it_is_cut():
    two = "One sentence that fits. Another that does not fit any more at all, since it goes on and on."
    assert fit([two], 300, LEAST * LEADING * 1.1, (LEAST,)).paragraphs == ("One sentence that fits.",)
    assert fit(["w" * 200], 300, LEAST * LEADING * 1.1, (LEAST,)).paragraphs[0].endswith("…")


def test_widths_are_those_of_the_fonts_drawn_with():
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    for (face, bold), _ in FONTS.items():
        family = {"serif": "DejaVu Serif", "sans": "DejaVu Sans"}[face]
        ink = TextPath((0, 0), "Housings: 62 % of them", size=100, prop=FontProperties(family=family, weight="bold" if bold else "normal")).get_extents().width
        assert width("Housings: 62 % of them", 100, face, bold) == pytest.approx(ink, rel=0.03)
