"""The letters: fonts that ship with the package, the same in figures on every machine, cut to what a page shows and embedded in it."""

from __future__ import annotations

import base64
import io
from functools import cache
from pathlib import Path

FONTS = Path(__file__).resolve().parent / "fonts"  # their licences stand beside them

# family in the style sheet, weight, file
FACES = (
    ("Report Serif", 400, "STIXGeneral"),
    ("Report Serif", 700, "STIXGeneralBol"),
    ("Report Sans", 400, "DejaVuSans"),
    ("Report Sans", 700, "DejaVuSans-Bold"),
)


def file(name: str) -> Path:
    """The file of one of the package's own fonts."""
    return FONTS / f"{name}.ttf"


def faces(text: str) -> str:
    """@font-face rules holding the letters of ``text``; a letter the fonts lack falls back to the reader's own."""
    letters = "".join(sorted({letter for letter in text if letter.isprintable()} | {" ", "\u00a0"}))
    rules = []
    for family, weight, name in FACES:
        data = base64.b64encode(_subset(name, letters)).decode()
        rules.append(f'@font-face{{font-family:"{family}";font-weight:{weight};src:url(data:font/woff;base64,{data}) format("woff")}}')
    return "\n".join(rules)


@cache
def _subset(name: str, letters: str) -> bytes:
    from fontTools import subset

    options = subset.Options(flavor="woff", hinting=False, layout_features=["kern", "liga"], recalc_timestamp=False)
    options.drop_tables += ["FFTM"]
    font = subset.load_font(str(file(name)), options)
    cutter = subset.Subsetter(options)
    cutter.populate(text=letters)
    cutter.subset(font)
    sink = io.BytesIO()
    subset.save_font(font, sink, options)
    return sink.getvalue()
