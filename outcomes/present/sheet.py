"""A sheet to print: one self-contained A4 page of lists, tables or sentences for people who stand at a desk or a chair."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from outcomes.present.content import Notice, Prose
from outcomes.present.palette import DARK, LIGHT, style_variables
from outcomes.present.self_contained import self_contained

TEN = 10


@dataclass(frozen=True)
class Rows:
    """A table under a heading. ``tick``: a box to tick before each row; ``wide``: columns whose text may run over lines."""

    title: str
    frame: pd.DataFrame
    tick: bool = False
    note: str = ""
    wide: tuple[str, ...] = ()
    kind: str = "rows"

    def numeric(self, column: str) -> bool:
        """Whether a column holds nothing but counts, and is set flush right."""
        return len(self.frame) > 0 and all(str(value)[:1].isdigit() and " " not in str(value) and "-" not in str(value) or str(value) == "–" for value in self.frame[column])


@dataclass(frozen=True)
class Points:
    """Short lines under a heading."""

    title: str
    lines: tuple[str, ...]
    kind: str = "points"


@dataclass(frozen=True)
class Ten:
    """A question with its sentences, and ten people of whom some are filled; ``filled`` None: no drawing."""

    question: str
    sentences: tuple[str, ...]
    filled: int | None = None
    likely: tuple[int, int] | None = None
    basis: str = ""
    kind: str = "ten"

    def drawn(self):
        """Ten people in a row, for the eye only: the words stand beside it."""
        from markupsafe import Markup

        people = []
        for number in range(TEN):
            role = "yes" if number < self.filled else "no"
            x = 14 * number + 6
            people.append(f'<g class="{role}"><circle cx="{x}" cy="5" r="3.4"/><path d="M{x - 4.6} 22v-7.6a4.6 4.6 0 0 1 9.2 0v7.6z"/></g>')
        return Markup(f'<svg class="ten" viewBox="0 0 140 26" aria-hidden="true" focusable="false">{"".join(people)}</svg>')


@dataclass(frozen=True)
class Sheet:
    """What a sheet says. ``stamp``: who may see it; ``lead``: the line below the title; ``large``: set for reading together at the chair."""

    title: str
    stamp: str
    lead: str
    blocks: tuple
    cautions: tuple[str, ...] = ()
    large: bool = False
    language: str = "en"


def render(sheet: Sheet) -> str:
    """The sheet as HTML text; everything that comes from a log is escaped."""
    colours = f":root {{ {style_variables(LIGHT)} }}\n@media screen and (prefers-color-scheme: dark) {{ :root {{ {style_variables(DARK)} }} }}"
    return self_contained("sheet", lambda html: colours, sheet=sheet)


def write(sheet: Sheet, path: Path) -> Path:
    """Write the sheet to ``path`` and return it."""
    path.write_text(render(sheet), encoding="utf-8", newline="\n")
    return path


__all__ = ["Notice", "Points", "Prose", "Rows", "Sheet", "Ten", "render", "write"]
