"""Whether a text fits its box: lines broken by the widths of the real letters, at the largest size that fits."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from itertools import accumulate, takewhile

from outcomes.present import letters
from outcomes.present.words import shortened

LEAST = 18.0  # points: nothing on a slide is set smaller
LEADING = 1.22  # line height over size, of the tallest of the fonts a slide may be shown in
SLACK = 0.97  # of a box's width is filled, since another machine may set the text in another font
# Measured in the widest fonts that may stand in: Georgia and Verdana, where there are any, are narrower or the same.
FONTS = {("serif", False): "DejaVuSerif", ("serif", True): "DejaVuSerif-Bold", ("sans", False): "DejaVuSans", ("sans", True): "DejaVuSans-Bold"}


@dataclass(frozen=True)
class Fitted:
    """Paragraphs as they are set: ``size`` in points, ``lines`` as they break, ``height`` in points."""

    paragraphs: tuple[str, ...]
    size: float
    lines: tuple[str, ...]
    height: float


def width(text: str, size: float, face: str = "sans", bold: bool = False) -> float:
    """Width of ``text`` in points; a letter the font lacks counts as wide as it is high.

    >>> width("", 18)
    0.0
    """
    letters, units = _advances(FONTS[face, bold])
    return sum(letters.get(ord(letter), units) for letter in text) * size / units


def broken(text: str, room: float, size: float, face: str = "sans", bold: bool = False) -> list[str]:
    """``text`` in lines no wider than ``room`` points; a word too long for a line is cut."""
    lines: list[str] = []
    for word in text.split(" "):
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and width(joined, size, face, bold) <= room:
            lines[-1] = joined
            continue
        while len(word) > 1 and width(word, size, face, bold) > room:
            reach = accumulate(width(letter, size, face, bold) for letter in word)
            keep = max(1, sum(1 for _ in takewhile(lambda far: far <= room, reach)))
            lines.append(word[:keep])
            word = word[keep:]
        lines.append(word)
    return lines or [""]


def fit(paragraphs, room: float, height: float, sizes: tuple[float, ...], *, face: str = "sans", bold: bool = False, gap: float = 0.0) -> Fitted:
    """The paragraphs at the first of ``sizes`` (largest first) at which they fit ``room`` by ``height`` points.

    ``gap``: space between paragraphs over the size. Where even the smallest is too large, whole paragraphs go from the end,
    then sentences, and a single sentence is cut with an ellipsis.
    """
    kept = tuple(paragraph for paragraph in paragraphs if paragraph)
    while True:
        for size in sizes:
            found = _set(kept, room, size, face, bold, gap)
            if found.height <= height:
                return found
        kept = kept[:-1] if len(kept) > 1 else (_less(kept[0]),)


def _less(text: str) -> str:
    sentences = re.split(r"(?<=[.?!]) ", text)
    return " ".join(sentences[:-1]) if len(sentences) > 1 else shortened(text, max(1, int(len(text) * 0.95)))


def _set(paragraphs, room: float, size: float, face: str, bold: bool, gap: float) -> Fitted:
    lines = [broken(paragraph, room * SLACK, size, face, bold) for paragraph in paragraphs]
    tall = sum(len(part) for part in lines) * size * LEADING + max(0, len(lines) - 1) * gap * size
    return Fitted(tuple(paragraphs), size, tuple(line for part in lines for line in part), tall)


@cache
def _advances(file: str) -> tuple[dict[int, int], int]:
    """Advance width of each letter and units per em, of a font that ships with the package."""
    from fontTools.ttLib import TTFont

    with TTFont(letters.file(file)) as font:
        widths = font["hmtx"].metrics
        return {code: widths[name][0] for code, name in font.getBestCmap().items()}, font["head"].unitsPerEm
