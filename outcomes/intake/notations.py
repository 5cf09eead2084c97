"""Tooth notations that a mapping may declare, read into ISO 3950. Nothing is ever guessed: a notation is declared for a whole file."""

from __future__ import annotations

import re
from collections.abc import Callable

from outcomes.intake import positions

QUADRANTS = ("upper_right", "upper_left", "lower_left", "lower_right")  # ISO 3950 quadrants 1 to 4, as the patient's own right and left
ISO, UNIVERSAL = "ISO 3950", "Universal"
NAMED = (ISO, UNIVERSAL)


def converter(notation: str | dict[str, str] | None) -> Callable[[str], str]:
    """A function from one position as written to ISO 3950; it raises ValueError with one plain sentence where it names no site.

    ``notation``: "ISO 3950", "Universal", or for each quadrant how a site in it is written, ``#`` standing for its number counted
    from the midline: ``{"upper_right": "#+", "upper_left": "+#", "lower_left": "-#", "lower_right": "#-"}``.

    >>> converter("Universal")("22"), converter({"upper_right": "UR#", "upper_left": "UL#", "lower_left": "LL#", "lower_right": "LR#"})("lr 3")
    ('33', '43')
    """
    if notation in (None, ISO):
        return str
    if notation == UNIVERSAL:
        return _universal
    shapes = [(re.compile("(.*)".join(re.escape(_bare(part)) for part in notation[quadrant].split("#"))), str(number)) for number, quadrant in enumerate(QUADRANTS, 1)]

    def read(text: str) -> str:
        bare = _bare(text)
        if bare == positions.MIDLINE:
            return positions.MIDLINE
        for shape, quadrant in shapes:
            found = shape.fullmatch(bare)
            if found and found[1] in tuple("12345678"):
                return quadrant + found[1]
        raise ValueError("it is no site in the notation that the mapping declares")
    return read


def faulty(notation) -> str | None:
    """What is wrong with a declared notation, in a few words; None if it can be used."""
    if isinstance(notation, str):
        return None if notation in NAMED else f"it is {NAMED[0]}, {NAMED[1]}, or a table with {', '.join(QUADRANTS)}"
    if not isinstance(notation, dict) or set(notation) != set(QUADRANTS):
        return f"it needs each of {', '.join(QUADRANTS)}"
    if not all(isinstance(shape, str) and shape.count("#") == 1 for shape in notation.values()):
        return "each quadrant is written with one # where the number of the site stands"
    if len({_bare(shape) for shape in notation.values()}) < 4:
        return "two quadrants are written alike"
    return None


def _bare(text: str) -> str:
    return "".join(str(text).split()).casefold()


def _universal(text: str) -> str:
    bare = _bare(text).lstrip("#")
    if bare == positions.MIDLINE:
        return positions.MIDLINE
    if not re.fullmatch(r"\d{1,2}", bare) or not 1 <= int(bare) <= 32:
        raise ValueError("it is no number of the Universal numbering (1 to 32)")
    return positions.universal_to_iso(int(bare))
