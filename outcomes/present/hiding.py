"""Counts of few people hidden in what may leave the clinic, and no count left from which another could be worked out."""

from __future__ import annotations

import re

_COUNTED = r"patients?|people|persons?|dentures?|overdentures?|inserts?|first inserts?|housings?|abutments?|implants?|visits?|recalls?|reviews?|failures?|units?|ball abutments?|such visits?|of them"
_COUNT = re.compile(rf"(?<![\d.,\u00a0–-])(\d+) ({_COUNTED})\b")
_PAIR = re.compile(r"(?<!about )(?<![\d.,\u00a0])(\d+) of (\d+)(?![\d.,%]|\u00a0%| factors)")


def few(amount: int, fewest: int) -> str:
    """A count as it may be shown: "fewer than 10" for 1 to 9, nought as it is.

    >>> few(3, 10), few(0, 10), few(10, 10)
    ('fewer than 10', '0', '10')
    """
    return f"fewer than {fewest}" if 0 < amount < fewest else str(amount)


def hidden(text: str, fewest: int) -> str:
    """The text with every count of few people or parts hidden, and pairs "x of y" from which few could be worked out.

    >>> hidden("Only 1 patient came; 12 did.", 10), hidden("45 of 48 patients", 10), hidden("3 of 48 patients", 10), hidden("after 3 years", 10)
    ('Fewer than 10 patients came; 12 did.', 'more than 38 of 48 patients', 'Fewer than 10 of 48 patients', 'after 3 years')
    """

    def pair(match: re.Match) -> str:
        part, whole = int(match[1]), int(match[2])
        if 0 < whole < fewest:
            return f"some of fewer than {fewest}"
        if 0 < part < fewest:
            return f"fewer than {fewest} of {whole}"
        if 0 < whole - part < fewest:
            return f"more than {whole - fewest} of {whole}"
        return match[0]

    text = _PAIR.sub(pair, text)
    text = _COUNT.sub(lambda match: _shown(match, text[: match.start()], fewest), text)
    text = re.sub(r"\b([Oo])nly fewer than", lambda match: "Fewer than" if match[1] == "O" else "fewer than", text)
    return re.sub(r"(?:(?<=^)|(?<=[.?!] ))fewer than", "Fewer than", text)


def _shown(match: re.Match, before: str, fewest: int) -> str:
    if before.endswith(("fewer than ", " of ")) or not 0 < int(match[1]) < fewest:
        return match[0]
    return f"{few(int(match[1]), fewest)} {match[2] if match[2].endswith(('s', 'people', 'them')) else match[2] + 's'}"
