"""Numbers as people write them: the decimal mark found once per file; forces in newtons."""

from __future__ import annotations

import math
import re
import unicodedata

NEWTONS = {"N": 1.0, "lbf": 4.4482216152605, "gf": 0.00980665}
"""Newtons in one unit of force. Exact: 1 lbf = 0.45359237 kg × 9.80665 m/s² (international pound 1959; standard gravity, CGPM 1901); 1 gf = 0.001 kg × 9.80665 m/s²."""

_PLAIN = re.compile(r"[+-]?\d+")
_MARKED = re.compile(r"[+-]?\d*([.,])\d+|[+-]?\d+([.,])")
_GROUPED = {mark: re.compile(rf"[+-]?\d{{1,3}}(?:{re.escape(mark)}\d{{3}})+") for mark in ".,"}


_SIGNS = str.maketrans({"\u066b": ".", "\u066c": "'", "\u2212": "-", "\u2019": "'", "\u02bc": "'", "\uff0c": ",", "\uff0e": ".", "\uff0b": "+", "\uff0d": "-", "\u00a0": " ", "\u2009": " ", "\u202f": " "})
_APART = re.compile(r"(?<=\d)[ '](?=\d{3}(?:\D|$))")  # marks that set thousands apart and are never a decimal mark


def digits(text: str) -> str:
    """The text with the decimal digits of every script as 0 to 9."""
    return text if text.isascii() else "".join(str(unicodedata.decimal(letter)) if letter.isdecimal() else letter for letter in text)


def plainly(text: str) -> str:
    """A number as written in any script, in the digits 0 to 9: full-width and Arabic digits and marks, a true minus, thousands set apart by
    a blank or an apostrophe.

    >>> plainly("６，７"), plainly("٦٫٧"), plainly("1 500,5"), plainly("−0.137")
    ('6,7', '6.7', '1500,5', '-0.137')
    """
    if text.isascii() and " " not in text and "'" not in text:
        return text
    return _APART.sub("", digits(text.translate(_SIGNS)).strip())


def newtons(value, unit):
    """A force in newtons: ``value`` (number, array or Series) times the newtons in one ``unit`` (N, lbf or gf; one, or one for each value).

    Missing values stay missing. Raises KeyError for a unit that is none of these.

    >>> newtons(1, "lbf")
    4.4482216152605
    >>> round(newtons(1.5, "lbf"), 1)
    6.7
    """
    if isinstance(unit, str):
        return value * NEWTONS[unit]
    import numpy as np

    return np.asarray(value, dtype=float) * np.array([NEWTONS[one] if isinstance(one, str) else np.nan for one in unit])


def decimal_marks(texts) -> tuple[str | None, str | None]:
    """(a text that can only use a comma, a text that can only use a point); None for each where there is none.

    ``6,7`` can only use a comma; ``1,500`` leaves doubt; where both marks stand in one text the last is the decimal mark.
    """
    found: dict[str, str | None] = {",": None, ".": None}
    for text in texts:
        mark = _sure_mark(plainly(text.strip()))
        if mark and found[mark] is None:
            found[mark] = text.strip()
    return found[","], found["."]


def doubtful(texts) -> str | None:
    """A text whose mark may be a decimal mark or set thousands apart, such as ``1.500``; None if there is none."""
    return next((text.strip() for text in texts if re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", plainly(text.strip()))), None)


def _sure_mark(text: str) -> str | None:
    if not re.fullmatch(r"[+-]?[\d.,]*\d[\d.,]*", text):
        return None
    commas, points = text.count(","), text.count(".")
    if commas and points:
        last = "," if text.rfind(",") > text.rfind(".") else "."
        return last if text.count(last) == 1 else None
    if commas + points == 0:
        return None
    mark, other = (",", ".") if commas else (".", ",")
    if commas + points > 1:
        return other if _GROUPED[mark].fullmatch(text) else None
    before, after = re.split(r"[.,]", text.lstrip("+-"))
    return None if len(after) == 3 and 1 <= len(before) <= 3 and not before.startswith("0") else mark


def parse(value, decimal: str) -> float:
    """The number a cell holds. ``value``: a number, or a text under the file's decimal mark. Raises ValueError where it is none.

    >>> parse("6,7", ","), parse("1,500", "."), parse(25, ".")
    (6.7, 1500.0, 25.0)
    """
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        try:
            return _finite(float(value))
        except OverflowError:
            raise ValueError("no number") from None
    if not isinstance(value, str):
        raise ValueError("no number")
    text = plainly(value.strip())
    if _PLAIN.fullmatch(text):
        return _finite(float(text))
    other = "." if decimal == "," else ","
    whole, mark, rest = text.partition(decimal)
    if _GROUPED[other].fullmatch(whole):
        whole = whole.replace(other, "")
    if not re.fullmatch(r"[+-]?\d*", whole) or not re.fullmatch(r"\d*", rest) or not (whole.strip("+-") or rest):
        raise ValueError("no number")
    return _finite(float(f"{whole}.{rest}"))


def _finite(number: float) -> float:
    """The number, where it is one that can be written down. Raises ValueError otherwise."""
    if not math.isfinite(number):
        raise ValueError("no number")
    return number
