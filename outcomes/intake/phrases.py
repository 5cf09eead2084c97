"""The grammar of the day sheet's written cells: housings, abutments, denture, and the levels of the inserts fitted."""

from __future__ import annotations

import re
from dataclasses import dataclass

from outcomes import schemas
from outcomes.intake import positions
from outcomes.intake.words import fold, suggestion

FINE = "fine"
EVERY = "all"
_TOKEN = re.compile(r"(?:\d\d\s*[-–—]\s*\d\d|\d{1,2}|midline|all)(?=[\s,;:+&]|$)", re.IGNORECASE)


@dataclass(frozen=True)
class Entry:
    """One entry of a cell: the position it speaks of ("all": each in place; "": the denture), what was found, what was done, and why."""

    position: str
    finding: str
    action: str
    change_reason: str | None = None


def parse(value, part: str) -> str | tuple[Entry, ...]:
    """The entries of a cell of ``part`` (housing, abutment or denture), or "fine".

    Entries are separated by semicolons: positions, then words of the finding and action lists separated by commas. An action
    alone takes the finding that ``schemas/phrases.toml`` puts beside it; a finding alone takes the action none.
    Raises ValueError with one plain sentence where an entry cannot be read.

    >>> parse("33 picked up again; 43 fine", "housing")
    (Entry(position='33', finding='debonded', action='picked up again', change_reason=None), Entry(position='43', finding='sound', action='none', change_reason=None))
    """
    text = " ".join(str(value).split())
    if fold(text) == FINE:
        return FINE
    entries = [entry for piece in text.split(";") if piece.strip() for entry in _entry(piece.strip(), part)]
    named = [entry.position for entry in entries if entry.position]
    if len(set(named)) != len(named):
        raise ValueError("a position stands in two entries")
    if EVERY in named and len(named) > 1:
        raise ValueError("all stands beside single positions")
    return tuple(dict.fromkeys(entries))


def _entry(text: str, part: str) -> list[Entry]:
    where = []
    while part != "denture" and (token := _TOKEN.match(text)):
        where.append(EVERY if fold(token[0]) == EVERY else positions.parse(token[0]))
        text = re.sub(r"^(?:\s|[,:+&]|and\b)+", "", text[token.end():])
    if part != "denture" and not where:
        raise ValueError("an entry names no position: write position and word, as in 33 replaced")
    words = [word.strip() for word in text.split(",") if word.strip()]
    if not words:
        raise ValueError(f"nothing is said of {', '.join(where)}" if where else "it is empty")
    found = [_read(words, part)] if part != "denture" or len(words) < 2 else _read_many(words)
    return [Entry(position, *one) for position in (where or [""]) for one in found]


def _read(words: list[str], part: str) -> tuple[str, str, str | None]:
    lists = ("denture_finding", "denture_action") if part == "denture" else ("part_finding", "part_action")
    finding = action = None
    for word in words:
        kind, code = _code(word, lists)
        if kind == "finding" and finding is None:
            finding = code
        elif kind == "action" and action is None:
            action = code
        else:
            raise ValueError(f"two {kind}s stand in one entry: {finding if kind == 'finding' else action}, {code}")
    grammar = schemas.phrases()
    if finding is None:
        silent = "not recorded" if part == "denture" else "not present" if action == "fitted" else "notes silent"
        finding = grammar[part]["finding_for"].get(action, silent)
    action = action or "none"
    reason = grammar["change_reason_for"].get(action) if part != "denture" else None
    return finding, action, reason


def _read_many(words: list[str]) -> list[tuple[str, str, str | None]]:
    """Of a denture several things may be said without semicolons: relined, cleaned. A finding and an action side by side belong together."""
    try:
        return [_read(words, "denture")]
    except ValueError as problem:
        if "two" not in str(problem):
            raise
        return [_read([word], "denture") for word in words]


def _code(word: str, lists: tuple[str, str]) -> tuple[str, str]:
    if fold(word) == FINE:
        return "finding", "sound"
    for kind, name in zip(("finding", "action"), lists):
        for code in schemas.codebook()[name]["codes"]:
            if fold(code) == fold(word) and code != "none":
                return kind, code
    known = [code for name in lists for code in schemas.codebook()[name]["codes"]]
    raise ValueError(f"a word is in none of the lists. {suggestion(word, known)}")


def parse_levels(value) -> str | tuple[tuple[str, str], ...]:
    """The levels of the inserts fitted: one word for all, or (position, level) pairs from ``33:light 43:medium``.

    Raises ValueError with one plain sentence where it is neither.
    """
    text = " ".join(str(value).split())
    if ":" not in text and "=" not in text:
        return text
    marks = list(re.finditer(r"(midline|\d\d(?:\s*[-–—]\s*\d\d)?|\S+?)\s*[:=]\s*", text, re.IGNORECASE))
    if not marks:  # a word that begins with such a sign names a level and no position
        return text
    pairs = []
    for mark, following in zip(marks, [*marks[1:], None]):
        level = text[mark.end(): following.start() if following else None].strip(" ,;")
        if not level:
            raise ValueError(f"no level stands beside {mark[1]}")
        pairs.append((positions.parse(mark[1]), level))
    if text[: marks[0].start()].strip():
        raise ValueError("a level stands without its position")
    if len({position for position, _ in pairs}) != len(pairs):
        raise ValueError("it names a position twice")
    return tuple(pairs)
