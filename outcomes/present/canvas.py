"""The one door to matplotlib: a sheet measured in points, and files whose bytes are the same on every run.

A figure is drawn by a function of (data, sheet); the sheet's shape says how large, for the page, a phone or a talk. Letters
are the ones that ship with the package, whatever fonts a machine has. Nothing here touches pyplot or settings outside.
"""

from __future__ import annotations

import io
import re
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from outcomes.present import letters
from outcomes.present.hiding import hidden
from outcomes.present.palette import LIGHT

FAMILY = "DejaVu Sans"
POINTS = 72


class CannotDraw(ValueError):
    """The figure would not be readable; the text is a sentence for the page."""


@dataclass(frozen=True)
class Shape:
    """A size of figure: inches, the size of its text in points, and at how few patients still followed curves stop.

    ``bare``: without title and subtitle, for a place that says them itself, such as a slide.
    """

    name: str
    width: float
    height: float
    text: float
    stop_at: int = 5
    bare: bool = False

    @property
    def room(self) -> int:
        """Rows of counts for which the sheet has room; with more it grows. A slide keeps its form as long as it can."""
        return 8 if self.shown_outside else 5

    @property
    def shown_outside(self) -> bool:
        """Whether it may leave the clinic: then nobody's own line is drawn, and no row of few people."""
        return self.stop_at >= 10

    @property
    def narrow(self) -> bool:
        """Too narrow for labels beside the curves: they go above."""
        return not self.bare and self.width * POINTS / self.text < 45


LEAST = 18.0  # points: nothing that may stand before a room is set smaller

PAGE = Shape("page", 7.6, 4.5, 9.5)
PHONE = Shape("phone", 3.75, 4.3, 9.0)
TALK = Shape("talk", 40 / 3, 7.5, 21.0, stop_at=10)  # 16:9, 1920 × 1080 dots; its smallest letters are 18 points

_SETTINGS = {
    "font.family": [FAMILY], "text.parse_math": False, "axes.unicode_minus": True, "svg.hashsalt": "outcomes", "pdf.fonttype": 3,
    "pdf.compression": 6, "path.simplify": True, "figure.dpi": POINTS, "savefig.dpi": POINTS, "hatch.linewidth": 0.7, "text.hinting": "none", "svg.image_inline": True,
}  # fmt: skip


class Sheet:
    """One figure being drawn. Lengths are points from the lower left corner, so that text and lines keep their distance."""

    def __init__(self, shape: Shape, height: float | None = None):
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
        from matplotlib.transforms import Affine2D

        self.shape, self.text = shape, shape.text
        self.width, self.height = shape.width * POINTS, (height or shape.height) * POINTS
        with _settings():
            self.figure = Figure(figsize=(shape.width, self.height / POINTS), dpi=POINTS, facecolor=LIGHT["paper"])
            self._renderer = FigureCanvasAgg(self.figure).get_renderer()
        self.points = Affine2D().scale(1 / POINTS) + self.figure.dpi_scale_trans
        self.labels: list = []  # every text put on the sheet, so that a test can look for overlaps
        self.drawn_by = _drawer()

    def length(self, text: str, size: float = 1.0, bold: bool = False) -> float:
        """Width of ``text`` in points; ``size`` as a multiple of the shape's text size."""
        return _length(self._told(text), self.text * self._size(size), bold)

    def _size(self, size: float) -> float:
        """Never below the least size where the sheet is for a room."""
        return max(size, LEAST / self.text) if self.shape.shown_outside else size

    def _told(self, text) -> str:
        """What may be read: of few people no count, where the sheet may leave the clinic."""
        return hidden(str(text), self.shape.stop_at).replace("ewer than ", "<").replace("F<", "<").replace("f<", "<") if self.shape.shown_outside else str(text)

    def cut(self, text: str, width: float, size: float = 1.0, bold: bool = False) -> str:
        """``text`` as far as it fits into ``width`` points, an ellipsis where it goes on: the table beside a figure says it whole."""
        text = str(text)
        if self.length(text, size, bold) <= width:
            return text
        low, high = 0, len(text)  # the longest beginning that fits, found by halving
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self.length(text[:middle].rstrip() + "…", size, bold) <= width else (low, middle - 1)
        return text[:low].rstrip() + "…"

    def put(self, x: float, y: float, text: str, *, size: float = 1.0, colour: str = "ink", bold: bool = False, align: str = "left", middle: bool = False, backed: bool = False):
        """Text at (x, y): its baseline, or its middle, at y; ``backed`` keeps lines behind it from showing through."""
        label = self.figure.text(x, y, self._told(text), transform=self.points, fontproperties=_font(self.text * self._size(size), bold), color=LIGHT.get(colour, colour),
                                 ha=align, va="center" if middle else "baseline", parse_math=False)
        if backed:
            label.set_bbox({"facecolor": LIGHT["paper"], "alpha": 0.75, "linewidth": 0, "pad": self.text * 0.08})
        self.labels.append(label)
        return label

    def axes(self, left: float, bottom: float, right: float, top: float):
        """Axes with these margins, bare but for what is asked of them later."""
        if min(self.width - left - right, self.height - bottom - top) <= 0:
            raise CannotDraw("There is no room to draw this here; the page shows it.")
        with _settings():
            axes = self.figure.add_axes((left / self.width, bottom / self.height, (self.width - left - right) / self.width, (self.height - bottom - top) / self.height))
            axes.set_facecolor("none")
            for spine in axes.spines.values():
                spine.set_visible(False)
            axes.tick_params(length=0, labelsize=self.text * 0.92, labelcolor=LIGHT["quiet"], pad=self.text * 0.45)
        return axes

    def line(self, x0: float, y0: float, x1: float, y1: float, *, colour: str = "grid", width: float = 0.8, arrow: bool = False, dash="-"):
        """A straight rule, or an arrow, in points."""
        from matplotlib.patches import FancyArrowPatch

        self.figure.add_artist(FancyArrowPatch((x0, y0), (x1, y1), transform=self.points, arrowstyle="-|>" if arrow else "-", mutation_scale=self.text * 0.8,
                                               color=LIGHT.get(colour, colour), linewidth=width, linestyle=dash, shrinkA=0, shrinkB=0))

    def box(self, x: float, y: float, width: float, height: float, *, colour: str = "ink", fill: str | None = None):
        """A plain rectangle, in points."""
        from matplotlib.patches import Rectangle

        self.figure.add_artist(Rectangle((x, y), width, height, transform=self.points, edgecolor=LIGHT.get(colour, colour), linewidth=0.9,
                                         facecolor="none" if fill is None else LIGHT.get(fill, fill)))

    def overlaps(self) -> list[tuple[str, str]]:
        """Pairs of texts put on the sheet whose boxes overlap, and texts that leave the sheet (paired with "the edge")."""
        with _settings():
            boxes = [(label.get_text(), label.get_window_extent(self._renderer)) for label in self.labels if label.get_text()]
        found = [(text, "the edge") for text, box in boxes if box.x0 < -0.5 or box.y0 < -0.5 or box.x1 > self.width + 0.5 or box.y1 > self.height + 0.5]
        for i, (one, first) in enumerate(boxes):
            found += [(one, other) for other, second in boxes[i + 1 :] if _overlap(first, second)]
        return found

    def save(self, folder: Path, stem: str) -> list[Path]:
        """PNG, SVG and PDF in ``folder``; the same sheet gives the same bytes."""
        folder.mkdir(parents=True, exist_ok=True)
        plain = {"Date": None, "Creator": None}
        files = [folder / f"{stem}.{kind}" for kind in ("png", "svg", "pdf")]
        with _settings():
            self.figure.savefig(files[0], format="png", dpi=round(1920 / self.shape.width) if self.shape is TALK else 220, metadata={"Software": None})
            self.figure.savefig(files[1], format="svg", metadata=plain)
            self.figure.savefig(files[2], format="pdf", metadata={"CreationDate": None, "Producer": None, "Creator": None})
        return files

    def as_png(self, dots: int) -> bytes:
        """The sheet as a PNG with so many dots to the inch."""
        sink = io.BytesIO()
        with _settings():
            self.figure.savefig(sink, format="png", dpi=dots, metadata={"Software": None})
        return sink.getvalue()

    def inline(self, stem: str) -> str:
        """The figure as an <svg> element for a page: text as text, colours as the page's variables, identifiers its own."""
        sink = io.StringIO()
        with _settings({"svg.fonttype": "none"}):
            self.figure.savefig(sink, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
        return _for_page(sink.getvalue(), stem, self.width, self.height)


def _drawer() -> str:
    """The function, by its full name, that was asked for the sheet now being made: the outermost of the drawing modules."""
    frame, found = sys._getframe(2), ""
    while frame is not None and frame.f_globals.get("__name__") != "outcomes.present.folder":
        module, name = frame.f_globals.get("__name__", ""), frame.f_code.co_name
        if module.startswith("outcomes.present.") and not name.startswith("<"):
            found = f"{module}.{name}"
        frame = frame.f_back
    return found


def _for_page(svg: str, stem: str, width: float, height: float) -> str:
    svg = svg[svg.index("<svg") :].rstrip()
    svg = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", svg, flags=re.S)
    svg = svg.replace(f"font-family: '{FAMILY}'; ", "")
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.S)
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.S)
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{stem}-\1"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{stem}-\1)", svg)
    svg = re.sub(r'xlink:href="#([^"]+)"', rf'href="#{stem}-\1"', svg)
    svg = re.sub(r'<svg [^>]*>', f'<svg viewBox="0 0 {width:g} {height:g}" aria-hidden="true" focusable="false">', svg, count=1)
    for name, colour in LIGHT.items():
        svg = svg.replace(colour, f"var(--{name})")
    svg = re.sub(r"(?<=[ :])#([0-9a-f]{6})\b", r"var(--n-\1, #\1)", svg)  # retention colours have a twin in dark mode
    return re.sub(r"\n\s*\n+", "\n", svg)


def _overlap(one, other, slack: float = 0.6) -> bool:
    return one.x0 < other.x1 - slack and other.x0 < one.x1 - slack and one.y0 < other.y1 - slack and other.y0 < one.y1 - slack


def _settings(more: dict | None = None):
    import matplotlib

    _own_letters()
    return matplotlib.rc_context({**_SETTINGS, **(more or {})})


@cache
def _own_letters() -> None:
    """Let the package's own fonts be found before any of the same name on this machine."""
    from matplotlib.font_manager import fontManager

    for name in ("DejaVuSans-Bold", "DejaVuSans"):
        fontManager.addfont(letters.file(name))
        fontManager.ttflist.insert(0, fontManager.ttflist.pop())


@cache
def _length(text: str, size: float, bold: bool) -> float:
    from matplotlib.backends.backend_agg import RendererAgg

    with _settings():
        return RendererAgg(10, 10, POINTS).get_text_width_height_descent(text, _font(size, bold), ismath=False)[0]


@cache
def _font(size: float, bold: bool):
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=FAMILY, size=size, weight="bold" if bold else "normal")
