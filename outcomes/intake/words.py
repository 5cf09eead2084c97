"""Codes matched without regard to case and stray blanks; the nearest ones offered for a word that is none."""

from __future__ import annotations

import difflib

from outcomes import schemas


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
