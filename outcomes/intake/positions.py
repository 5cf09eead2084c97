"""Sites of implants by ISO 3950, ranges for bars, and the midline; a file in Universal numbering is recognised, never converted."""

from __future__ import annotations

import re

MIDLINE = "midline"
UPPER = tuple(f"{quadrant}{place}" for quadrant in (1, 2) for place in range(1, 9))
LOWER = tuple(f"{quadrant}{place}" for quadrant in (3, 4) for place in range(1, 9))
SITES = frozenset(UPPER + LOWER)
_RANGE = re.compile(r"(\d\d)\s*[-–—]\s*(\d\d)")
SHARE = 0.2  # signs of Universal numbering in more than this share of a file's positions: the whole file is in it


def arch_of(position: str) -> str:
    """The jaw of a position: upper for 11–28 (and ranges there), lower for 31–48 and the midline."""
    return "upper" if position[:1] in "12" else "lower"


def parse(value) -> str:
    """The position a cell names: two digits of ISO 3950, a range within one jaw with the lower number first, or midline.

    Raises ValueError with one plain sentence where it names none.

    >>> parse(33), parse("43–33"), parse(" Midline ")
    ('33', '33-43', 'midline')
    """
    if isinstance(value, bool) or isinstance(value, float):
        raise ValueError("it is no position")
    text = str(value).strip()
    if text.casefold() == MIDLINE:
        return MIDLINE
    if text in SITES:
        return text
    ends = _RANGE.fullmatch(text)
    if ends:
        low, high = sorted(ends.groups())
        if low in SITES and high in SITES and low != high:
            if arch_of(low) != arch_of(high):
                raise ValueError("its two ends lie in different jaws")
            return f"{low}-{high}"
    if re.fullmatch(r"\d\d", text) and text[0] in "5678" and text[1] in "12345":
        raise ValueError("it is a milk tooth")
    raise ValueError("it is no site of ISO 3950")


def is_site(value) -> bool:
    """Whether a cell names positions as they are."""
    try:
        return bool(parse_list(re.sub(r"[/|]", " ", str(value))))
    except ValueError:
        return False


def parse_list(value, words: tuple[str, ...] = ()) -> str | tuple[str, ...]:
    """Several positions, as in ``33 43`` or ``33, 43``; or one of the ``words``. Raises ValueError as ``parse`` does."""
    text = " ".join(str(value).split())
    if text.casefold() in words:
        return text.casefold()
    if isinstance(value, float):
        raise ValueError("the spreadsheet took it for a decimal number")
    text = re.sub(r"\s*[-–—]\s*", "-", text)
    out = tuple(parse(token) for token in re.split(r"\s*(?:[,;+&]|\band\b|\s)\s*", text) if token)
    if len(set(out)) != len(out):
        raise ValueError("it names a position twice")
    return out


def universal_to_iso(number: int) -> str:
    """The ISO 3950 position of a tooth in Universal numbering, 1 to 32: for recognising such a file, never for converting it."""
    if not 1 <= number <= 32:
        raise ValueError("no tooth")
    return str(19 - number if number <= 8 else number + 12 if number <= 16 else 55 - number if number <= 24 else number + 16)


def looks_universal(named: list[tuple[str, str | None, int]]) -> bool:
    """Whether a whole file's positions look like Universal numbering.

    ``named``: (position as written, jaw if known, how often). True where every position is a number from 1 to 32, none
    contradicts a known jaw when read as Universal, and more than a fifth of them are no ISO site or lie in the wrong jaw when read as ISO.
    """
    total = signs = 0
    for text, arch, count in named:
        for token in re.split(r"[\s,;+&–—-]+", str(text).strip()):
            if not re.fullmatch(r"\d{1,2}", token):
                continue
            if not 1 <= int(token) <= 32 or (arch and arch_of(universal_to_iso(int(token))) != arch):
                return False
            total += count
            iso = token if token in SITES else None
            signs += count * (iso is None or bool(arch and arch_of(iso) != arch))
    return total > 0 and signs / total > SHARE
