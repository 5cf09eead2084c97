"""A sheet to print: one self-contained A4 page of lists, tables or sentences for people who stand at a desk or a chair."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from outcomes.present import phone
from outcomes.present.content import Notice, Prose
from outcomes.present.palette import DARK, LIGHT, style_variables
from outcomes.present.self_contained import self_contained

TEN = 10


@dataclass(frozen=True)
class Rows:
    """A table under a heading. ``tick``: a box to tick before each row; ``wide``: columns whose text may run over lines; ``note`` stands before
    the table, ``after`` behind it, a line each."""

    title: str
    frame: pd.DataFrame
    tick: bool = False
    note: str = ""
    wide: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    kind: str = "rows"

    def numeric(self, column: str) -> bool:
        """Whether a column holds nothing but counts, and is set flush right."""
        return len(self.frame) > 0 and all(str(value)[:1].isdigit() and " " not in str(value) and "-" not in str(value) or str(value) == "–" for value in self.frame[column])

    @property
    def stacks(self) -> bool:
        """Whether a phone shows each row as a block of its own."""
        return phone.stacks(self.frame, self.numeric)


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
class Bar:
    """One row of ``Bars``: two amounts end to end, what is said of them, and limits of their sum (nan: none drawn)."""

    label: str
    parts: tuple[float, float]
    said: str
    low: float = math.nan
    high: float = math.nan


@dataclass(frozen=True)
class Bars:
    """A table whose last column draws its numbers on one scale from nought. ``heads``: over the labels, the words and the bars; ``parts``: what the two parts
    of a bar are (empty: one part only); ``mark``: an amount drawn across all rows, and what it is."""

    title: str
    sentences: tuple[str, ...]
    rows: tuple[Bar, ...]
    heads: tuple[str, str, str]
    parts: tuple[str, str] = ("", "")
    mark: tuple[float, str] | None = None
    note: str = ""
    kind: str = "bars"

    @property
    def most(self) -> float:
        """The amount at the right end of the scale."""
        return 1.04 * max([*(max(sum(row.parts), 0.0 if math.isnan(row.high) else row.high) for row in self.rows), self.mark[0] if self.mark else 0.0, 1e-9])

    def drawn(self, row: Bar):
        """One row's bar, for the eye only: as wide as its cell, the number stands beside it."""
        from markupsafe import Markup

        first, both = (1000 * amount / self.most for amount in (row.parts[0], sum(row.parts)))
        drawn = f'<rect class="{"yes" if math.isnan(row.low) else "soft"}" x="0" y="3" width="{first:.1f}" height="14"/>'
        if row.parts[1] > 0:
            drawn += f'<rect class="no" x="{first:.1f}" y="3" width="{both - first:.1f}" height="14"/>'
        if not math.isnan(row.low):
            low, high = (1000 * amount / self.most for amount in (row.low, row.high))
            drawn += f'<path class="reach" d="M{low:.1f} 10H{high:.1f}"/>'
        if self.mark:
            drawn += f'<path class="mark" d="M{1000 * self.mark[0] / self.most:.1f} 0V20"/>'
        return Markup(f'<svg viewBox="0 0 1000 20" preserveAspectRatio="none" aria-hidden="true" focusable="false">{drawn}</svg>')


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


__all__ = ["Bar", "Bars", "Notice", "Points", "Prose", "Rows", "Sheet", "Ten", "render", "write"]
