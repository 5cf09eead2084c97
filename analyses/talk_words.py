"""How a sentence is parted for a slide."""

from __future__ import annotations

from outcomes.present import words


def split(sentence: str, most: int = 105) -> tuple[str, str]:
    """(message, rest): a long sentence parted at its colon, so that a title stays a title.

    >>> split("a" * 80 + ": " + "since b" * 10)[1][:7]
    'Since b'
    """
    head, colon, rest = sentence.partition(": ")
    if len(sentence) <= most or not colon:
        return sentence, ""
    return f"{head.rstrip('.')}.", words.sentence(rest)


def lower(text: str) -> str:
    """The text with a small first letter."""
    return text[:1].lower() + text[1:]
