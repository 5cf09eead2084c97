"""Text that spreadsheet programs would run as a formula: made harmless on every way out, and read back as it was."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable
from pathlib import Path

from outcomes.errors import Misuse

SIGNS = "=+\\-@＝＋－＠\\t\\r\\n\\x00"
"""Signs that start a formula (OWASP, CSV injection; ASVS 1.2.10; CWE-1236), full-width forms included."""

BLANKS = "[\\s\\v\u0085\u00a0\u1680\u2000-\u200b\u2028\u2029\u202f\u205f\u3000\ufeff]*"
_RISKY = re.compile(f"{BLANKS}[{SIGNS}]")  # such a text, blanks before the sign included
_ESCAPED = re.compile(f"'+{BLANKS}[{SIGNS}]")  # one made harmless, or that looks as if it had been: a further apostrophe keeps the two apart when it is read back
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")


def guarded(text: str) -> str:
    """The text with an apostrophe before it where it starts like a formula, or like one that has an apostrophe already.

    >>> guarded("=1+1"), guarded("'=1+1"), guarded("-7"), guarded("light"), guarded("'tis")
    ("'=1+1", "''=1+1", "'-7", 'light', "'tis")
    """
    return "'" + text if _RISKY.match(text) or _ESCAPED.match(text) else text


def neutral(value):
    """``guarded`` for cells that people read: a text that is just a number stays as it is, and so does what is no text.

    >>> neutral("=1+1"), neutral("-0.137"), neutral(" @SUM"), neutral("P0042"), neutral(-0.137)
    ("'=1+1", '-0.137', "' @SUM", 'P0042', -0.137)
    """
    return guarded(value) if isinstance(value, str) and not _NUMBER.fullmatch(value) else value


def freed(text: str) -> str:
    """The text as it was before ``guarded`` or ``neutral``: without the apostrophe before something like a formula.

    >>> [freed(guarded(text)) for text in ("=1+1", "'=1+1", "-7", "light", "'tis")]
    ['=1+1', "'=1+1", '-7', 'light', "'tis"]
    """
    return text[1:] if _ESCAPED.match(text) else text


def unwritable(path: Path, problem: OSError) -> Misuse:
    """The refusal where a file cannot be written, with the system's reason."""
    return Misuse(f"{path.name} cannot be written: {problem.strerror or 'the system gave no reason'}. Close it in other programs, or give another place.")


def write_rows(path: Path, rows: Iterable[Iterable], *, separator: str = ",") -> Path:
    """Write rows, the headings first, as CSV with cells made harmless; UTF-8 with the mark by which spreadsheet programs show every letter.

    Raises Misuse where the file cannot be written.
    """
    try:
        with open(path, "w", encoding="utf-8-sig", newline="") as file:
            csv.writer(file, delimiter=separator).writerows([neutral(value) for value in row] for row in rows)
    except OSError as problem:
        raise unwritable(path, problem) from None
    return path
