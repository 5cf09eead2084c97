"""Codes matched without regard to case and stray blanks; the nearest ones offered for a word that is none."""

from __future__ import annotations

import difflib
import re

from outcomes import schemas


# Control characters, and those that turn the direction of writing: a terminal or a page would obey them instead of showing them.
_UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")


def unseen(text: str) -> bool:
    """Whether a text holds characters that cannot be shown, line breaks and tabs included."""
    return bool(_UNSEEN.search(text))


def visible(text: str, most: int = 2000) -> str:
    """A text as it may be shown anywhere: a line break or tab as a blank, another character that cannot be shown as a question mark,
    and no more than ``most`` letters of it.

    >>> visible("one\\ntwo"), visible("a\\x1b[31m")
    ('one two', 'a?[31m')
    """
    text = text if len(text) <= most else text[:most] + "…"
    return _UNSEEN.sub(lambda found: " " if found[0] in "\t\r\n\v\f\x85" else "?", text)


def fold(text) -> str:
    """A word without case and stray blanks."""
    return " ".join(str(text).split()).casefold()


def meanings(codes: str) -> dict[str, str]:
    """Every way in which a code of the list may be written, folded, with the code itself. A list with a scale also takes its numbers."""
    body = schemas.codebook()[codes]
    found = {fold(code): code for code in body["codes"]}
    for code, number in body.get("scale", {}).items():
        found.setdefault(str(number), code)
    return found


def nearest(word: str, known, count: int = 2) -> list[str]:
    """The known words nearest to ``word``, best first; none where nothing is near."""
    by_fold = {fold(one): one for one in known}
    near = difflib.get_close_matches(fold(word), list(by_fold), n=count, cutoff=0.55)
    near += [key for key in by_fold if fold(word) and key not in near and (key.startswith(fold(word)) or fold(word) in key.split())]
    return [by_fold[key] for key in near[:count]]


def suggestion(word: str, known) -> str:
    """What to do about a word that is none of the known ones."""
    near = nearest(word, known)
    if near:
        return f"Did you mean {' or '.join(near)}?"
    known = list(known)
    shown = ", ".join(known[:12]) + (", …" if len(known) > 12 else "")
    return f"Write one of: {shown}." if known else "None is known so far."
