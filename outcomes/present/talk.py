"""The one door to python-pptx: slides into a 16:9 deck whose bytes are the same on every run.

A slide's title is its message as a sentence. Method names belong in the speaker's notes. Letters are the reader's own Georgia and
Verdana or whatever stands in for them; widths are reckoned for the widest of those.
"""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from dataclasses import dataclass
from pathlib import Path

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.palette import LIGHT
from outcomes.present.talk_fit import LEADING, LEAST, Fitted, fit

NAME = "talk.pptx"
WIDE, HIGH = 960.0, 540.0  # points: 16:9
EDGE = 48.0
ROOM = WIDE - 2 * EDGE
TOP, BELOW = 134.0, 438.0  # where a figure starts, and the text under it
FIGURE = Shape("talk", ROOM / 72, (BELOW - TOP - 8) / 72, 21.0, stop_at=10)
SHARP = 160  # dots per inch of a figure: 1920 across
FACES = {"serif": "Georgia", "sans": "Verdana"}
_ZIP_DAY = (1980, 1, 1, 0, 0, 0)
_ABOUT = b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<Properties xmlns="http://schemas.openxmlformats.org/officeDocument/2006/extended-properties"><Application>outcomes</Application></Properties>'


@dataclass(frozen=True)
class Figure:
    """A drawn sheet and what it shows, in a sentence for those who do not see it."""

    sheet: Sheet
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


@dataclass(frozen=True)
class Talk:
    """A deck: its title, the day its log closes, its language and its slides."""

    title: str
    date: datetime.date
    slides: tuple[Slide, ...]
    language: str = "en-GB"


def write(talk: Talk, out: Path) -> Path:
    """Write ``talk.pptx`` into ``out`` and return its path; the same talk gives the same bytes."""
    deck = _deck(talk)
    for slide in talk.slides:
        page = deck.slides.add_slide(deck.slide_layouts[0])
        (_first if slide.first else _plain)(page, slide)
        page.notes_slide.notes_text_frame.text = "\n".join(_clean(note) for note in slide.notes if note)
        _speak(page, talk.language)
    sink = io.BytesIO()
    deck.save(sink)
    path = out / NAME
    path.write_bytes(_settled(sink.getvalue()))
    return path


def _deck(talk: Talk):
    """An empty deck of our own: one layout, our letters and colours, no trace of the template's maker."""
    from pptx import Presentation
    from pptx.opc.constants import RELATIONSHIP_TYPE as KIND
    from pptx.util import Pt

    deck = Presentation()
    deck.slide_width, deck.slide_height = Pt(WIDE), Pt(HIGH)
    layouts = list(deck.slide_layouts)
    for layout in layouts:
        if layout.name != "Title Only":
            deck.slide_layouts.remove(layout)
    for owner in (deck.slide_master, deck.slide_layouts[0]):
        for shape in list(owner.placeholders):
            if shape.placeholder_format.type is not None and shape.placeholder_format.type.name in ("DATE", "FOOTER", "SLIDE_NUMBER"):
                shape._element.getparent().remove(shape._element)
        for shape in owner.placeholders:
            shape.left, shape.top, shape.width, shape.height = Pt(EDGE), Pt(54), Pt(ROOM), Pt(80)
    for rel in [key for key, rel in deck.part.rels.items() if rel.reltype.endswith("printerSettings")]:
        deck.part.rels.pop(rel)
    package = deck.part.package
    for rel in [key for key, rel in package._rels.items() if rel.reltype == KIND.THUMBNAIL]:
        package._rels.pop(rel)
    about, day = deck.core_properties, datetime.datetime.combine(talk.date, datetime.time())
    about.title, about.author, about.last_modified_by, about.subject = _clean(talk.title)[:250], "outcomes", "outcomes", "Outcomes of implant overdentures in one clinic"
    about.keywords = about.comments = about.category = ""
    about.created = about.modified = about.last_printed = day
    about.revision, about.language = 1, talk.language
    return deck


def _themed(theme: bytes) -> bytes:
    """The theme with our letters and colours, so that what somebody adds to the deck looks the same."""
    text = theme.decode("utf-8")
    text = re.sub(r'(<a:majorFont>\s*<a:latin typeface=")[^"]*', rf"\g<1>{FACES['serif']}", text)
    text = re.sub(r'(<a:minorFont>\s*<a:latin typeface=")[^"]*', rf"\g<1>{FACES['sans']}", text)
    colours = {"dk2": "ink", "lt2": "pale", "accent1": "accent", "accent2": "signal", "accent3": "moss", "accent4": "plum", "accent5": "slate", "accent6": "sand"}
    for slot, role in colours.items():
        text = re.sub(rf"(<a:{slot}>).*?(</a:{slot}>)", rf'\g<1><a:srgbClr val="{LIGHT[role][1:].upper()}"/>\g<2>', text, flags=re.S)
    return text.encode("utf-8")


def _first(page, slide: Slide) -> None:
    _rule(page, EDGE, 150.0, 96.0)
    title = fit([_clean(slide.title)], ROOM, 130.0, (44, 40, 36, 32, 28, 24), face="serif")
    _title(page, title, 168.0, title.height + 1)
    below = 168.0 + title.height + 28
    _text(page, fit([_clean(point) for point in slide.points], ROOM, HIGH - below - 40, (22, 20, LEAST), gap=0.45), EDGE, below, ROOM, HIGH - below - 40, colour="quiet", gap=0.45)


def _plain(page, slide: Slide) -> None:
    _text(page, fit([_clean(slide.kicker)], ROOM, 26.0, (LEAST,), bold=True), EDGE, 28.0, ROOM, 26.0, colour="accent", bold=True)
    wanted = [fit([_clean(slide.title)], ROOM, 76.0, sizes, face="serif") for sizes in ((28, 26, 24, 22, 20), (26, 24, 22, 20), (24, 22, 20))]
    _title(page, min(wanted, key=lambda one: len(one.lines)), 54.0, 76.0)  # one line of smaller letters rather than a single word on a second
    if slide.figure:
        _picture(page, slide.figure)
        half = (ROOM - 32) / 2
        for x, text, colour in ((EDGE, slide.left, "ink"), (EDGE + half + 32, slide.right, "quiet")):
            if text:
                _text(page, fit([_clean(text)], half, HIGH - BELOW - 13, (LEAST,)), x, BELOW, half, HIGH - BELOW - 13, colour=colour)
    elif slide.counted:
        _counted(page, slide.counted)
    elif slide.asked:
        _asked(page, slide.asked)
    else:
        said = [_clean(part) for part in (*slide.points, slide.left, slide.right) if part]
        if said:
            _text(page, fit(said, ROOM, HIGH - 156 - 36, (26, 24, 22, 20, LEAST), gap=0.6), EDGE, 156.0, ROOM, HIGH - 156 - 36, gap=0.6)


def _asked(page, pairs) -> None:
    """Questions in two columns, each with its answer under it."""
    half, top, tall = (ROOM - 40) / 2, 148.0, 186.0
    heads = [fit([_clean(question)], half, 2 * LEAST * LEADING + 1, (LEAST,), bold=True) for question, _ in pairs[:4]]
    size = min(fit([_clean(answer)], half, tall - head.height - 8, (20, LEAST)).size for head, (_, answer) in zip(heads, pairs))
    for place, (head, (_, answer)) in enumerate(zip(heads, pairs)):
        x, y = EDGE + (place % 2) * (half + 40), top + (place // 2) * (tall + 6)
        _text(page, head, x, y, half, head.height + 1, colour="accent", bold=True)
        _text(page, fit([_clean(answer)], half, tall - head.height - 8, (size,)), x, y + head.height + 4, half, tall - head.height - 8)


def _counted(page, rows) -> None:
    """Numbers in a column, what each counts beside it."""
    wide, top, tall = 92.0, 156.0, HIGH - 156 - 30
    room = ROOM - wide - 20
    texts = [_clean(text) for _, text in rows]
    size = next((size for size in (24, 22, 20) if sum(fit([text], room, tall, (size,)).height + 14 for text in texts) <= tall), LEAST)
    y = top
    for (number, _), text in zip(rows, texts):
        said = fit([text], room, 2 * size * LEADING + 1, (size,))
        if y + said.height > HIGH - 30:
            break
        _text(page, fit([_clean(number)], wide, size * LEADING + 1, (size,), face="serif"), EDGE, y, wide, said.height + 1, colour="accent", face="serif", right=True)
        _text(page, said, EDGE + wide + 20, y, room, said.height + 1)
        y += said.height + 14


def _picture(page, figure: Figure) -> None:
    """The figure as large as its place allows, never so small that its letters fall below the least."""
    from pptx.util import Pt

    sheet = figure.sheet
    sink = io.BytesIO(sheet.as_png(SHARP))
    scale = min(1.0, ROOM / sheet.width)
    picture = page.shapes.add_picture(sink, Pt(EDGE), Pt(TOP), Pt(round(sheet.width * scale, 2)), Pt(round(sheet.height * scale, 2)))
    picture.name = "Figure"
    picture._element.nvPicPr.cNvPr.set("descr", _clean(figure.finding))


def _title(page, fitted: Fitted, top: float, height: float) -> None:
    from pptx.enum.text import MSO_ANCHOR
    from pptx.util import Pt

    box = page.shapes.title
    box.left, box.top, box.width, box.height = Pt(EDGE), Pt(top), Pt(ROOM), Pt(height)
    _fill(box.text_frame, fitted, "ink", False, 0.0)
    box.text_frame.vertical_anchor = MSO_ANCHOR.TOP


def _text(page, fitted: Fitted, x: float, y: float, width: float, height: float, *, colour: str = "ink", bold: bool = False, gap: float = 0.0, face: str = "sans", right: bool = False) -> None:
    from pptx.enum.text import PP_ALIGN
    from pptx.util import Pt

    frame = page.shapes.add_textbox(Pt(x), Pt(y), Pt(width), Pt(height)).text_frame
    _fill(frame, fitted, colour, bold, gap)
    for line in frame.paragraphs:
        line.alignment = PP_ALIGN.RIGHT if right else PP_ALIGN.LEFT
        for run in line.runs if face == "serif" else ():
            run.font.name = "+mj-lt"


def _fill(frame, fitted: Fitted, colour: str, bold: bool, gap: float) -> None:
    from pptx.dml.color import RGBColor
    from pptx.enum.text import MSO_AUTO_SIZE, PP_ALIGN
    from pptx.util import Pt

    frame.margin_left = frame.margin_right = frame.margin_top = frame.margin_bottom = 0
    frame.word_wrap, frame.auto_size = True, MSO_AUTO_SIZE.NONE
    for place, text in enumerate(fitted.paragraphs):
        line = frame.paragraphs[0] if place == 0 else frame.add_paragraph()
        line.alignment, line.line_spacing = PP_ALIGN.LEFT, Pt(fitted.size * LEADING)
        line.space_before, line.space_after = Pt(gap * fitted.size if place else 0), Pt(0)
        run = line.add_run()
        run.text = text
        run.font.size, run.font.bold, run.font.color.rgb = Pt(fitted.size), bold, RGBColor.from_string(LIGHT[colour][1:].upper())


def _rule(page, x: float, y: float, length: float) -> None:
    from pptx.dml.color import RGBColor
    from pptx.enum.shapes import MSO_CONNECTOR
    from pptx.util import Pt

    line = page.shapes.add_connector(MSO_CONNECTOR.STRAIGHT, Pt(x), Pt(y), Pt(x + length), Pt(y))
    line.line.width, line.line.color.rgb = Pt(3), RGBColor.from_string(LIGHT["accent"][1:].upper())


def _speak(page, language: str) -> None:
    """Every run in the deck's language, so that it is read aloud rightly."""
    for tree in (page._element, page.notes_slide._element):
        for run in tree.iter("{http://schemas.openxmlformats.org/drawingml/2006/main}r"):
            run.get_or_add_rPr().set("lang", language)


def _clean(text: str) -> str:
    """The text without control characters and line breaks, which a slide cannot hold."""
    return " ".join(re.sub(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]", " ", str(text)).split(" ")).strip()


def _settled(deck: bytes) -> bytes:
    """The same package with its parts in one order, our theme, and no time of day."""
    sink = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(deck)) as source, zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as target:
        names = sorted(source.namelist(), key=lambda name: (name != "[Content_Types].xml", name))
        for name in names:
            entry = zipfile.ZipInfo(name, _ZIP_DAY)
            entry.compress_type, entry.external_attr, entry.create_system = zipfile.ZIP_DEFLATED, 0o600 << 16, 3
            body = source.read(name)
            target.writestr(entry, _ABOUT if name == "docProps/app.xml" else _themed(body) if "/theme/" in name else body)
    return sink.getvalue()
