"""What was asked: each instrument's items, range, direction, domains, rule for blanks and thresholds, from its data file."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path

from outcomes.longevity.estimate import ArgumentError

BETTER = ("higher", "lower", "nearest")
KNOWN = {
    "name", "title", "also", "meaning", "items", "minimum", "maximum", "whole", "unit", "better", "best", "total", "reversed", "impact_from",
    "compares", "other_ranges", "source", "sure", "note", "missing", "answers", "domains", "thresholds", "published", "example",
}  # fmt: skip


@dataclass(frozen=True)
class Domain:
    """Part of an instrument: its name and the numbers of its items."""

    name: str
    items: tuple[int, ...]


@dataclass(frozen=True)
class Threshold:
    """A change that mattered to the people of one study: never a constant of the instrument."""

    change: float
    population: str
    method: str
    source: str
    sure: str


@dataclass(frozen=True)
class Example:
    """A scored questionnaire: responses as answered (None for a blank), the total (None for none), domain scores where given."""

    responses: tuple[float | None, ...]
    score: float | None
    domains: dict[str, float | None]
    prorated: bool | None
    source: str


@dataclass(frozen=True)
class Instrument:
    """One instrument as its file declares it.

    ``minimum`` and ``maximum`` bound one response as it is answered; ``reversed`` items are turned round before adding.
    ``better``: higher, lower, or nearest (to ``best``: both ends are bad). ``total``: sum or none. A total is prorated with
    at most ``missing_total`` blanks, a domain with at least ``domain_share`` of its items and ``domain_least`` items answered.
    """

    name: str
    title: str
    meaning: str
    items: int
    minimum: float
    maximum: float
    whole: bool
    better: str
    best: float
    total: str
    reversed: tuple[int, ...]
    missing_total: int
    domain_share: float
    domain_least: int
    domains: tuple[Domain, ...]
    thresholds: tuple[Threshold, ...]
    examples: tuple[Example, ...]
    impact_from: float | None = None
    compares: bool = False
    unit: str = "points"
    source: str = ""
    sure: str = ""
    note: str = ""
    also: tuple[str, ...] = ()
    other_ranges: tuple[str, ...] = ()
    answers: tuple[tuple[float, str], ...] = ()
    published: tuple[tuple[str, float, str, str, str], ...] = ()

    @property
    def lowest(self) -> float:
        """Smallest possible total, or smallest response where there is no total."""
        return self.minimum * (self.items if self.total == "sum" else 1)

    @property
    def highest(self) -> float:
        """Largest possible total, or largest response where there is no total."""
        return self.maximum * (self.items if self.total == "sum" else 1)

    @property
    def range_in_words(self) -> str:
        """How one response runs, for messages: ``0 to 4``."""
        return f"{self.minimum:g} to {self.maximum:g}"


def plain(name: str) -> str:
    """A name without case, spaces and marks, so that OHIP-14, ohip_14 and Ohip14 are one."""
    return re.sub(r"[^a-z0-9]", "", str(name).lower())


def _wrong(path, problem: str, remedy: str = "Mend the instrument's file.") -> ArgumentError:
    return ArgumentError("instrument", f"{Path(path).name}: {problem}", remedy)


def _number(value):
    return None if value in ("no answer", "none") else float(value)


def _examples(rows) -> tuple[Example, ...]:
    return tuple(
        Example(
            tuple(_number(r) for r in row["responses"]), _number(row["score"]),
            {k: _number(v) for k, v in row.get("domains", {}).items()}, row.get("prorated"), row.get("source", ""),
        )
        for row in rows
    )  # fmt: skip


def _check(form: Instrument, path) -> Instrument:
    if not form.minimum < form.maximum:
        raise _wrong(path, "minimum must be below maximum")
    if form.better not in BETTER:
        raise _wrong(path, f"better must be one of {', '.join(BETTER)}")
    if form.total not in ("sum", "none"):
        raise _wrong(path, "total must be sum or none")
    used = [i for d in form.domains for i in d.items]
    if len(set(used)) < len(used) or not set(used) | set(form.reversed) <= set(range(1, form.items + 1)):
        raise _wrong(path, f"domains and reversed items must be items 1 to {form.items}, each in one domain at most")
    return form


def read_instrument(path) -> Instrument:
    """The instrument that a TOML file declares, for a clinic's own form or another edition's range.

    Raises ArgumentError naming the file and what is wrong in it.
    """
    try:
        body = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, tomllib.TOMLDecodeError) as problem:
        raise _wrong(path, f"cannot be read ({problem})") from None
    unknown = sorted(set(body) - KNOWN)
    if unknown:
        raise _wrong(path, f"unknown key {unknown[0]}", f"Known keys: {', '.join(sorted(KNOWN))}.")
    absent = [k for k in ("name", "items", "minimum", "maximum", "better") if k not in body]
    if absent:
        raise _wrong(path, f"says nothing of {', '.join(absent)}", "Range and direction are never guessed: write them into the file.")
    return _check(_built(body), path)


def _built(body: dict) -> Instrument:
    missing, published = body.get("missing", {}), ("quantity", "value", "population", "source", "sure")
    return Instrument(
        **{k: body[k] for k in ("name", "items", "minimum", "maximum", "better")},
        **{k: body[k] for k in ("unit", "source", "sure", "note", "impact_from", "compares") if k in body},
        title=body.get("title", body["name"]),
        meaning=body.get("meaning", ""),
        whole=body.get("whole", True),
        best=float(body.get("best", body["maximum"] if body["better"] == "higher" else body["minimum"])),
        total=body.get("total", "sum"),
        reversed=tuple(body.get("reversed", ())),
        missing_total=missing.get("total", 0),
        domain_share=missing.get("domain_share", 1.0),
        domain_least=missing.get("domain_least", 1),
        domains=tuple(Domain(d["name"], tuple(d["items"])) for d in body.get("domains", ())),
        thresholds=tuple(Threshold(**t) for t in body.get("thresholds", ())),
        examples=_examples(body.get("example", ())),
        also=tuple(body.get("also", ())),
        other_ranges=tuple(body.get("other_ranges", ())),
        answers=tuple((float(k), v) for k, v in body.get("answers", {}).items()),
        published=tuple(tuple(row[k] for k in published) for row in body.get("published", ())),
    )


@cache
def _shipped() -> dict[str, Instrument]:
    from outcomes import schemas

    return {p.stem: read_instrument(p) for p in sorted((Path(schemas.HERE) / "instruments").glob("*.toml"))}


def instruments() -> dict[str, Instrument]:
    """Every instrument that ships, by name. See ``read_instrument`` for one of your own.

    >>> instruments()["ohip_14"].range_in_words
    '0 to 4'
    """
    return dict(_shipped())


def instrument(name) -> Instrument:
    """The instrument of that name (or the Instrument itself); OHIP-14, ohip_14 and Ohip14 are one name.

    Raises ArgumentError for an unknown name, with the nearest known ones.
    """
    if isinstance(name, Instrument):
        return name
    known = {plain(word): form for form in _shipped().values() for word in (form.name, form.title, *form.also)}
    if plain(name) in known:
        return known[plain(name)]
    near = get_close_matches(plain(name), known, n=1, cutoff=0.6)
    meant = f"Did you mean {known[near[0]].name}? " if near else ""
    raise ArgumentError(
        "instrument",
        f"{str(name)[:40]!r} is not an instrument that ships",
        f"{meant}Known: {', '.join(_shipped())}; a form of your own: read_instrument(file).",
    )
