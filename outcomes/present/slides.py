"""How a slide is set: kicker, title, and a figure, points, counts or questions, each in the room that is left for it."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from outcomes.present.canvas import CannotDraw, Shape, Sheet
from outcomes.present.palette import LIGHT
from outcomes.present.talk_fit import LEADING, LEAST, Fitted, fit

WIDE, HIGH = 960.0, 540.0  # points: 16:9
EDGE = 48.0
ROOM = WIDE - 2 * EDGE
HEAD, FOOT = 54.0, 22.0  # where the title starts, and what stays free at the bottom
LEAST_HIGH = 278.0  # a figure gets at least so much, under a title of two lines and over four lines of text
FIGURE = Shape("talk", ROOM / 72, LEAST_HIGH / 72, 21.0, stop_at=10, bare=True)
SHARP = 160  # dots per inch of a figure: 1920 across
NUMBER = re.compile(r"(?:About |Over |Under |Fewer than |More than )?[+−]?\d[\d.,]*(?: to \d[\d.,]*)?(?:\u00a0%| of \d+| years?)?(?= )")


@dataclass(frozen=True)
class Figure:
    """What draws a sheet of a given shape, and what it shows in a sentence for those who do not see it."""

    draw: Callable[[Shape], Sheet]
    finding: str


@dataclass(frozen=True)
class Slide:
    """``kicker``: what it is about, in two or three words; ``title``: the message. ``left`` and ``right``: under the figure,
    counts and caveat; without a figure ``points`` are set large instead; ``counted``: pairs of a number and what it counts; ``asked``: pairs of question and answer.
    ``first``: the deck's first slide."""

    kicker: str
    title: str
    figure: Figure | None = None
    left: str = ""
    right: str = ""
    points: tuple[str, ...] = ()
    counted: tuple[tuple[str, str], ...] = ()
    asked: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    first: bool = False


def first(page, slide: Slide) -> None:
    """The first slide: the title on a ground of its own."""
    _ground(page, "accent")
    title = fit([clean(slide.title)], ROOM, 130.0, (48, 44, 40, 36, 32, 28, 24), face="serif")
    top = 150.0
    _title(page, title, top, title.height + 1, colour="paper")
    below = top + title.height + 30
    _text(page, fit([clean(point) for point in slide.points], ROOM, HIGH - below - 40, (22, 20, LEAST), gap=0.45), EDGE, below, ROOM, HIGH - below - 40, colour="paper", gap=0.45)


def plain(page, slide: Slide) -> None:
    """Any other slide. A figure that cannot be drawn leaves its room to the words."""
    _text(page, fit([clean(slide.kicker)], ROOM, 24.0, (LEAST,), bold=True), EDGE, 26.0, ROOM, 24.0, colour="accent", bold=True)
    wanted = [fit([clean(slide.title)], ROOM, 76.0, sizes, face="serif") for sizes in ((30, 28, 26, 24, 22, 20), (26, 24, 22, 20), (24, 22, 20))]
    title = min(wanted, key=lambda one: len(one.lines))  # one line of smaller letters rather than a single word on a second
    _title(page, title, HEAD, title.height + 1)
    top = HEAD + title.height + 16
    if slide.figure and _pictured(page, slide, top):
        return
    if slide.counted:
        _counted(page, slide.counted, top + 12)
    elif slide.asked:
        _asked(page, slide.asked, top + 4)
    else:
        said = [clean(part) for part in (*slide.points, slide.left, slide.right) if part]
        if said:
            room, high = ROOM - 48, HIGH - top - 40
            fitted = min((fit(said, room, high - 44, (*(size for size in (28, 26, 24, 22, 20) if size <= most), LEAST), gap=0.7) for most in (28, 26, 24)), key=lambda one: len(one.lines))
            _text(page, fitted, EDGE, top + 12, ROOM, min(fitted.height + 44, high), gap=0.7, panel=24.0)


def _pictured(page, slide: Slide, top: float) -> bool:
    """The figure in all the room that is left, the words under it; False where it cannot be drawn there."""
    half = (ROOM - 32) / 2
    under = [(x, fit([clean(text)], half, 4 * LEAST * LEADING + 1, (LEAST,)), colour) for x, text, colour in ((EDGE, slide.left, "ink"), (EDGE + half + 32, slide.right, "quiet")) if text]
    tall = max((fitted.height for _, fitted, _ in under), default=0.0)
    y = HIGH - FOOT - tall - 1
    try:
        sheet = slide.figure.draw(replace(FIGURE, height=(y - 12 - top) / 72))
    except CannotDraw:
        return False
    if sheet.height > y - 8 - top or sheet.width > ROOM + 0.1:
        return False
    _picture(page, sheet, slide.figure.finding, top + (y - 12 - top - sheet.height) / 2)
    for x, fitted, colour in under:
        _text(page, fitted, x, y, half, fitted.height + 1, colour=colour)
    return True


def _asked(page, pairs, top: float) -> None:
    """Questions in two columns, each with its answer under it."""
    gap = 20.0
    half, tall = (ROOM - gap) / 2, (HIGH - top - 28 - gap) / 2
    room, high = half - 36, tall - 30
    heads = [fit([clean(question)], room, 2 * LEAST * LEADING + 1, (LEAST,), bold=True) for question, _ in pairs[:4]]
    size = min(fit([clean(answer)], room, high - head.height - 8, (20, LEAST)).size for head, (_, answer) in zip(heads, pairs))
    for place, (head, (_, answer)) in enumerate(zip(heads, pairs)):
        x, y = EDGE + (place % 2) * (half + gap), top + (place // 2) * (tall + gap)
        frame = _text(page, head, x, y, half, tall, colour="accent", bold=True, panel=18.0)
        fitted = fit([clean(answer)], room, high - head.height - 8, (size,))
        _fill(frame, fitted, "ink", False, 0.35, more=True)


def _counted(page, rows, top: float) -> None:
    """Numbers in a column, what each counts beside it."""
    wide, tall = 92.0, HIGH - top - 24
    room = ROOM - wide - 20
    texts = [clean(text) for _, text in rows]
    size = next((size for size in (26, 24, 22, 20) if sum(fit([text], room, tall, (size,)).height + 14 for text in texts) <= tall), LEAST)
    said = [fit([text], room, 2 * size * LEADING + 1, (size,)) for text in texts]
    gap = min(26.0, max(14.0, (tall - sum(one.height for one in said)) / max(len(said), 1)))
    y = top
    for (number, _), one in zip(rows, said):
        if y + one.height > HIGH - 20:
            break
        _text(page, fit([clean(number)], wide, size * LEADING + 1, (size,), face="serif"), EDGE, y, wide, one.height + 1, colour="accent", face="serif", right=True)
        _text(page, one, EDGE + wide + 20, y, room, one.height + 1)
        y += one.height + gap


def _picture(page, sheet: Sheet, finding: str, top: float) -> None:
    from pptx.util import Pt

    picture = page.shapes.add_picture(io.BytesIO(sheet.as_png(SHARP)), Pt(EDGE), Pt(round(top, 2)), Pt(round(sheet.width, 2)), Pt(round(sheet.height, 2)))
    picture.name = "Figure"
    picture._element.nvPicPr.cNvPr.set("descr", clean(finding))


def _title(page, fitted: Fitted, top: float, height: float, colour: str = "ink") -> None:
    """The title; the number in front of it in the accent's colour."""
    from pptx.enum.text import MSO_ANCHOR
    from pptx.util import Pt

    box = page.shapes.title
    box.left, box.top, box.width, box.height = Pt(EDGE), Pt(round(top, 2)), Pt(ROOM), Pt(round(height, 2))
    _fill(box.text_frame, fitted, colour, False, 0.0, number="accent" if colour == "ink" else colour)
    box.text_frame.vertical_anchor = MSO_ANCHOR.TOP


def _text(page, fitted: Fitted, x: float, y: float, width: float, height: float, *, colour: str = "ink", bold: bool = False, gap: float = 0.0, face: str = "sans", right: bool = False, panel: float = 0.0):
    """A box of text; ``panel``: on a pale ground with so much margin. Returns its frame."""
    from pptx.dml.color import RGBColor
    from pptx.enum.text import PP_ALIGN
    from pptx.util import Pt

    box = page.shapes.add_textbox(Pt(round(x, 2)), Pt(round(y, 2)), Pt(round(width, 2)), Pt(round(height, 2)))
    frame = box.text_frame
    _fill(frame, fitted, colour, bold, gap)
    if panel:
        box.fill.solid()
        box.fill.fore_color.rgb = RGBColor.from_string(LIGHT["pale"][1:].upper())
        frame.margin_left = frame.margin_right = Pt(panel)
        frame.margin_top = frame.margin_bottom = Pt(panel * 0.8)
    for line in frame.paragraphs:
        line.alignment = PP_ALIGN.RIGHT if right else PP_ALIGN.LEFT
        for run in line.runs if face == "serif" else ():
            run.font.name = "+mj-lt"
    return frame


def _fill(frame, fitted: Fitted, colour: str, bold: bool, gap: float, *, number: str = "", more: bool = False) -> None:
    """Paragraphs into a frame, after those it holds where ``more``; ``number``: the colour of a number at the very start."""
    from pptx.dml.color import RGBColor
    from pptx.enum.text import MSO_AUTO_SIZE, PP_ALIGN
    from pptx.util import Pt

    if not more:
        frame.margin_left = frame.margin_right = frame.margin_top = frame.margin_bottom = 0
    frame.word_wrap, frame.auto_size = True, MSO_AUTO_SIZE.NONE
    for place, text in enumerate(fitted.paragraphs):
        line = frame.paragraphs[0] if place == 0 and not more else frame.add_paragraph()
        line.alignment, line.line_spacing = PP_ALIGN.LEFT, Pt(fitted.size * LEADING)
        line.space_before, line.space_after = Pt(gap * fitted.size if place or more else 0), Pt(0)
        begins = NUMBER.match(text) if number and place == 0 else None
        parts = [(text[: begins.end()], number), (text[begins.end() :], colour)] if begins else [(text, colour)]
        for part, role in parts:
            run = line.add_run()
            run.text = part
            run.font.size, run.font.bold, run.font.color.rgb = Pt(fitted.size), bold, RGBColor.from_string(LIGHT[role][1:].upper())


def _ground(page, role: str) -> None:
    from pptx.dml.color import RGBColor

    page.background.fill.solid()
    page.background.fill.fore_color.rgb = RGBColor.from_string(LIGHT[role][1:].upper())


def clean(text: str) -> str:
    """The text without control characters and line breaks, which a slide cannot hold."""
    return " ".join(re.sub(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]", " ", str(text)).split(" ")).strip()
