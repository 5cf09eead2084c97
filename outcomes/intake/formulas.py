"""Text that a spreadsheet program would take for a formula: marked with an apostrophe on the way out, freed of it on the way in."""

from __future__ import annotations

import re

# OWASP's page on CSV injection and CWE-1236: = + - @, tab, carriage return, line feed, NUL; full-width signs and leading blanks as well.
_FORMULA = re.compile(r"'*[\s\u3000]*[=+\-@\x00\t\r\n＝＋－＠]")


def guarded(text: str) -> str:
    """The text with an apostrophe before it where it starts like a formula, or like one that has an apostrophe already.

    >>> guarded("=1+1"), guarded("'=1+1"), guarded("-7"), guarded("light"), guarded("'tis")
    ("'=1+1", "''=1+1", "'-7", 'light', "'tis")
    """
    return "'" + text if _FORMULA.match(text) else text


def freed(text: str) -> str:
    """The text without the apostrophe that ``guarded`` or a spreadsheet program put before it; any other text as it is.

    >>> [freed(guarded(text)) for text in ("=1+1", "'=1+1", "-7", "light", "'tis")]
    ['=1+1', "'=1+1", '-7', 'light', "'tis"]
    """
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text
