"""What a page is made of: answers, next steps, doubts, verdicts, and sections of prose, figures, tables and lists."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from outcomes.present import phone, words

MOST_ANSWERS, MOST_STEPS, MOST_DOUBTS, MOST_VERDICTS = 7, 7, 5, 5
EMPTY = ("", "–", "hidden")
WORDED = ("not known", "not reached", "not compared", "too few to say", "too few patients", "nobody", "all", "none", "nearly all", "hardly any")  # stand among numbers


@dataclass(frozen=True)
class Answer:
    """One answer: one sentence that begins with one number, one likely range, counts.

    ``number``: how the sentence begins ("71 %"), empty where the log cannot say; ``sentence``: how it goes on. ``bar``:
    (low, value, high) as shares for the small bar, or None. ``anchor``: the section that says more.
    """

    name: str
    number: str
    sentence: str
    likely: str
    counts: str
    anchor: str
    bar: tuple[float, float, float] | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    caution: str = ""

    @property
    def goes_on(self) -> str:
        """What follows the number on the page."""
        return words.follow(self.number, self.sentence)

    @property
    def whole(self) -> str:
        """The sentence from its beginning."""
        return words.joined(self.number, self.sentence)


@dataclass(frozen=True)
class NextStep:
    """Something to do: a count, what it is about, and the list it is about."""

    number: str
    text: str
    anchor: str = ""


@dataclass(frozen=True)
class Doubt:
    """What the log lacks for an answer, and what that could do to it."""

    about: str
    text: str
    anchor: str = ""


@dataclass(frozen=True)
class Verdict:
    """A standard and whether it is met."""

    name: str
    asked: str
    found: str
    likely: str
    verdict: str  # met, not met, cannot tell
    need: str = ""
    anchor: str = ""


@dataclass(frozen=True)
class Prose:
    """Paragraphs."""

    paragraphs: tuple[str, ...]
    kind: str = "prose"


@dataclass(frozen=True)
class Notice:
    """A paragraph set apart: what the log cannot say, or a caution."""

    text: str
    kind: str = "notice"


@dataclass(frozen=True)
class Facts:
    """Pairs of a name and its value."""

    pairs: tuple[tuple[str, str], ...]
    kind: str = "facts"


@dataclass(frozen=True)
class Grid:
    """A table. ``frame``: text and numbers as they are shown; ``file``: its CSV in the tables folder."""

    caption: str
    frame: pd.DataFrame
    file: str = ""
    kind: str = "grid"

    def numeric(self, column: str) -> bool:
        """Whether a column holds nothing but numbers or nothing, and is set flush right."""
        return all(_looks_numeric(value) for value in self.frame[column]) and not (len(self.frame) and all(str(value) in WORDED for value in self.frame[column]))

    @property
    def stacks(self) -> bool:
        """Whether a phone shows each row as a block of its own."""
        return phone.stacks(self.frame, self.numeric)


@dataclass(frozen=True)
class Picture:
    """A figure with its finding in words. ``wide`` and ``narrow``: <svg> elements; ``files``: names in the figures folder;
    ``tables``: names in the tables folder."""

    stem: str
    finding: str
    caption: str
    wide: str
    narrow: str
    files: tuple[str, ...] = ()
    tables: tuple[str, ...] = ()
    kind: str = "picture"


@dataclass(frozen=True)
class Pseudonyms:
    """A list for the clinic: who and what, to be looked up in the practice's own records."""

    caption: str
    anchor: str
    rows: tuple[tuple[str, str], ...]
    kind: str = "pseudonyms"


@dataclass(frozen=True)
class Listing:
    """A plain text to be read as it stands, such as the plan."""

    text: str
    label: str
    kind: str = "listing"


@dataclass(frozen=True)
class Section:
    """A part of the report from page 2 on."""

    anchor: str
    title: str
    blocks: tuple = ()
    methods: bool = False  # method names are at home only here


@dataclass(frozen=True)
class Box:
    """One box of the small flow diagram on the front page."""

    number: str
    text: str
    left_out: str = ""


@dataclass(frozen=True)
class Report:
    """Everything a page says. ``closing``: the day the log ends, in words; ``stamp``: who may see it.

    ``front``: what stands on the first side below the answers; a report that sets no standard leaves that part out.
    """

    title: str
    closing: str
    stamp: str
    who: str
    answers: tuple[Answer, ...]
    next_steps: tuple[NextStep, ...]
    doubts: tuple[Doubt, ...]
    verdicts: tuple[Verdict, ...]
    flow: tuple[Box, ...]
    sections: tuple[Section, ...]
    notices: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    language: str = "en"
    made_with: str = ""
    front: tuple[str, ...] = ("next", "sure", "standards", "who")
    shown: dict = field(default_factory=dict)  # other headings: "answers", "no answers", "skip", "next", "no next", "standards", "no standards"


def _looks_numeric(value) -> bool:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return True
    text = str(value).strip()
    if ", " in text and any(letter.isalpha() for letter in text):
        return False  # "30 patients, 60 inserts" is read, not compared down a column
    return text in (*EMPTY, *WORDED) or text[:1].isdigit() or text[:1] in "−+<>" or text.startswith(("over ", "under ", "about "))
