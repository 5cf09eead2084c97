"""Day sheets to print: for each denture what is in the mouth now, and the boxes of one line of the day sheet. Two to an A4 page."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from outcomes import schemas
from outcomes.present.palette import LIGHT, style_variables
from outcomes.present.self_contained import self_contained

PER_PAGE = 2
PLACES = 8  # positions of one denture that fit; more than eight in one jaw are hardly ever set
COLUMNS = ("position", "attachment", "level now", "insert since", "housing since", "abutment since", "last looked at")
WIDE = {"patient": 2, "date": 2, "arch": 2, "reason": 12, "seen_by": 6, "clinician": 2, "minutes": 2, "parts_checked": 8, "snap": 9.4, "snap_history": 4.6, "inserts_changed": 5, "why": 9, "worn_at": 4,
        "level_now": 8, "housings": 6, "abutments": 6, "denture": 6, "snap_lost": 4, "visit_order": 2}  # of fourteen parts of the width
SET_UP_LINES = 4
MOST_LEVELS = 8  # levels offered to tick


@dataclass(frozen=True)
class InMouth:
    """One position: its cells in the order of ``COLUMNS``."""

    cells: tuple[str, ...]


@dataclass(frozen=True)
class DenturePage:
    """One denture of one patient. ``places``: what is in the mouth now, empty where nothing is known, with ``why`` saying so;
    ``levels``: the clinic's own words, offered to tick.

    ``last``: lines on the last visit and snap; ``due``: what is due. ``date`` is printed in its box; ``arch`` "" leaves the box open.
    """

    patient: str
    arch: str
    date: str
    places: tuple[InMouth, ...]
    last: tuple[str, ...]
    due: tuple[str, ...]
    why: str = ""
    title: str = ""
    levels: tuple[str, ...] = ()


@dataclass(frozen=True)
class Box:
    """One box of the line: its heading, the words to tick, what stands in it already, and its width in parts of fourteen."""

    heading: str
    needed: bool
    words: tuple[str, ...]
    filled: str
    wide: float
    hint: str


def boxes(page: DenturePage) -> list[Box]:
    """The boxes in the order and under the words of the workbook's day sheet, so that typing follows the eye."""
    filled = {"patient": page.patient, "date": page.date, "arch": page.arch}
    sites = tuple(place.cells[0] for place in page.places)
    offered = {"inserts_changed": (*schemas.tables()["day_sheet"].column("inserts_changed").words, *sites), "worn_at": sites, "level_now": page.levels if len(page.levels) <= MOST_LEVELS else ()}
    out = []
    for column in schemas.tables()["day_sheet"].columns:
        words = () if filled.get(column.name) else offered.get(column.name, ("fine",) if column.type == "phrases" else column.code_list)
        hint = {"minutes": "min", "level_now": "one level, or position:level", "snap_lost": "since when"}.get(column.name, "")
        out.append(Box(column.name.replace("_", " "), column.required, words, filled.get(column.name, ""), WIDE[column.name], hint))
    return out


def set_up_headings() -> list[str]:
    """The headings of the set-up's columns that a fitting fills in."""
    return [column.name.replace("_", " ") for column in schemas.tables()["set_up"].columns if column.name not in ("patient", "arch")]


def render(pages: list[DenturePage], day: str, note: str = "") -> str:
    """The sheets as one self-contained HTML text; everything that comes from a log is escaped."""
    leaves = [pages[at: at + PER_PAGE] for at in range(0, len(pages), PER_PAGE)]
    return self_contained("day_sheets", lambda html: f":root {{ {style_variables(LIGHT)} }}", leaves=leaves, day=day, note=note, boxes=boxes, columns=COLUMNS, set_up=set_up_headings(), lines=range(SET_UP_LINES))


def write(pages: list[DenturePage], day: str, path: Path, note: str = "") -> Path:
    """Write the sheets to ``path`` and return it. The same content is the same bytes. Raises OSError where the file cannot be written."""
    path.write_text(render(pages, day, note), encoding="utf-8", newline="\n")
    return path
