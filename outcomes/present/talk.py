"""Slides into a 16:9 deck whose bytes are the same on every run; with ``slides`` the one door to python-pptx.

A slide's title is its message as a sentence, the number in front of it in the accent's colour; a figure gets the room that the words
leave; method names belong in the speaker's notes. Letters are the reader's own Georgia and Verdana or whatever stands in for them;
widths are reckoned for the widest of those.
"""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from dataclasses import dataclass
from pathlib import Path

from outcomes.present import slides
from outcomes.present.palette import LIGHT
from outcomes.present.slides import EDGE, FIGURE, HIGH, ROOM, WIDE, Figure, Slide, clean

NAME = "talk.pptx"
FACES = {"serif": "Georgia", "sans": "Verdana"}
_ZIP_DAY = (1980, 1, 1, 0, 0, 0)
_ABOUT = b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<Properties xmlns="http://schemas.openxmlformats.org/officeDocument/2006/extended-properties"><Application>outcomes</Application></Properties>'


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
        (slides.first if slide.first else slides.plain)(page, slide)
        page.notes_slide.notes_text_frame.text = "\n".join(clean(note) for note in slide.notes if note)
        _speak(page, talk.language)
    sink = io.BytesIO()
    deck.save(sink)
    path = out / NAME
    path.parent.mkdir(parents=True, exist_ok=True)
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
            shape.left, shape.top, shape.width, shape.height = Pt(EDGE), Pt(slides.HEAD), Pt(ROOM), Pt(80)
    for rel in [key for key, rel in deck.part.rels.items() if rel.reltype.endswith("printerSettings")]:
        deck.part.rels.pop(rel)
    package = deck.part.package
    for rel in [key for key, rel in package._rels.items() if rel.reltype == KIND.THUMBNAIL]:
        package._rels.pop(rel)
    about, day = deck.core_properties, datetime.datetime.combine(talk.date, datetime.time())
    about.title, about.author, about.last_modified_by, about.subject = clean(talk.title)[:250], "outcomes", "outcomes", "Outcomes of implant overdentures in one clinic"
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


def _speak(page, language: str) -> None:
    """Every run in the deck's language, so that it is read aloud rightly."""
    for tree in (page._element, page.notes_slide._element):
        for run in tree.iter("{http://schemas.openxmlformats.org/drawingml/2006/main}r"):
            run.get_or_add_rPr().set("lang", language)


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
