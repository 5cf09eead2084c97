"""Text that spreadsheet programs would run as a formula: made harmless on every way out, and read back as it was."""

from __future__ import annotations

import re

SIGNS = "=+\\-@＝＋－＠\\t\\r\\n\\x00"
"""Signs that start a formula (OWASP, CSV injection; ASVS 1.2.10; CWE-1236), full-width forms included."""

BLANKS = "[\\s\\v\u0085\u00a0\u1680\u2000-\u200b\u2028\u2029\u202f\u205f\u3000\ufeff]*"
PATTERN = f"^{BLANKS}[{SIGNS}]"
"""Such a text, blanks before the sign included: for Python's ``re`` and for DuckDB's ``regexp_matches`` alike."""

ESCAPED = f"^'+{BLANKS}[{SIGNS}]"
"""A text that was made harmless, or looks as if it had been: a further apostrophe keeps the two apart when it is read back."""

_RISKY, _ESCAPED = re.compile(PATTERN), re.compile(ESCAPED)
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")


def neutral(value):
    """A text that no spreadsheet takes for a formula: an apostrophe before it where it starts like one. Numbers stay numbers.

    ``restored`` gives every text back as it was, those that begin with an apostrophe of their own included.

    >>> neutral("=1+1"), neutral("-0.137"), neutral(" @SUM"), neutral("P0042"), neutral(-0.137)
    ("'=1+1", '-0.137', "' @SUM", 'P0042', -0.137)
    """
    if isinstance(value, str) and (_RISKY.match(value) and not _NUMBER.fullmatch(value) or _ESCAPED.match(value)):
        return "'" + value
    return value


def restored(value):
    """What ``neutral`` was given: without the apostrophe that stands before something like a formula.

    >>> restored("'=1+1"), restored("''=1"), restored("'tis"), restored("-5")
    ('=1+1', "'=1", "'tis", '-5')
    """
    return value[1:] if isinstance(value, str) and _ESCAPED.match(value) else value
