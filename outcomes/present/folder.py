"""The folder of a report: figures, tables, page and manifest, and a record of every file written."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from outcomes.present import content, manifest, page, tables, talk
from outcomes.present.canvas import PAGE, PHONE, TALK, Shape, Sheet
from outcomes.present.curves import CannotDraw


@dataclass(frozen=True)
class Asked:
    """A figure as a report asks for it."""

    stem: str
    draw: Callable[[Shape], Sheet]
    finding: str
    caption: str
    numbers: dict[str, pd.DataFrame]


_gathered: ContextVar[list[Asked] | None] = ContextVar("gathered", default=None)


@contextmanager
def gathering() -> Iterator[list[Asked]]:
    """While it lasts, figures asked of any folder are remembered instead of drawn: so one page can show those of many reports."""
    token = _gathered.set([])
    try:
        yield _gathered.get()
    finally:
        _gathered.reset(token)


class Folder:
    """Writes into ``out`` and remembers what it wrote. Figures and tables of an earlier report there are taken away first."""

    def __init__(self, out: Path):
        self.out = Path(out)
        self.out.mkdir(parents=True, exist_ok=True)
        self.written: list[Path] = []
        self.asked: dict[str, Asked] = {}  # every figure drawn, so that a talk can draw it again for a room
        self._clear()

    def _clear(self) -> None:
        """Remove what the last manifest says was ours; anything else in the folder stays."""
        try:
            listed = json.loads((self.out / manifest.NAME).read_text(encoding="utf-8"))["outputs"]
        except (OSError, ValueError, KeyError):
            return
        for name in listed:
            path = self.out / name
            if path.parent in (self.out / "figures", self.out / "tables") and path.is_file():
                path.unlink()

    def picture(self, stem: str, draw: Callable[[Shape], Sheet], finding: str, caption: str, numbers: dict[str, pd.DataFrame] | None = None) -> content.Picture | content.Notice:
        """Draw once for the page, once for a phone, once for talks (PNG, SVG, PDF); a sentence where nothing can be drawn.

        ``numbers``: what is drawn, as tables by name, each written as a CSV file beside the figures.
        """
        from markupsafe import Markup

        self.asked[stem] = Asked(stem, draw, finding, caption, dict(numbers or {}))
        if (asked := _gathered.get()) is not None:
            asked.append(self.asked[stem])
            return content.Picture(stem, finding, caption, Markup(""), Markup(""))
        try:
            wide, narrow = draw(PAGE), draw(PHONE)
        except CannotDraw as reason:
            return content.Notice(str(reason))
        written = [tables.write(frame, self.out / "tables", name) for name, frame in (numbers or {}).items()]
        self.written += written
        names: list[str] = []
        try:
            files = draw(TALK).save(self.out / "figures", stem)
            self.written += files
            names = [path.name for path in files]
        except CannotDraw:
            pass  # too few people for a talk, though enough for the clinic's own page
        return content.Picture(stem, finding, caption, Markup(wide.inline(stem)), Markup(narrow.inline(f"{stem}-narrow")), tuple(names), tuple(path.name for path in written))

    def grid(self, name: str, caption: str, shown: pd.DataFrame, exact: pd.DataFrame | None = None) -> content.Grid:
        """A table for the page, and the same in full precision as a CSV file."""
        self.written.append(tables.write(shown if exact is None else exact, self.out / "tables", name))
        return content.Grid(caption, shown, f"{name}.csv")

    def talk(self, deck: talk.Talk) -> Path:
        """Write the talk's slides; the path of the deck. While figures are gathered for another page there is none."""
        if _gathered.get() is not None:
            return self.out / talk.NAME
        self.written.append(talk.write(deck, self.out))
        return self.written[-1]

    def finish(self, report: content.Report, **origin) -> Path:
        """Write the page and the manifest (``origin``: see ``manifest.write``); the path of the page."""
        self.written.append(page.write(report, self.out))
        manifest.write(self.out, self.written, **origin)
        return self.out / "index.html"
