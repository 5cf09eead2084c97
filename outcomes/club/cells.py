"""Counts of people and how they add up: what a packet could show, what it shows, and what one number says about others."""

from __future__ import annotations

from dataclasses import dataclass, field

HIDDEN = None  # in place of a count that is not shown


@dataclass(frozen=True)
class Known:
    """Something a published estimate says about counts: ``low`` ≤ Σ coefficient · count ≤ ``high``."""

    coefficients: dict[str, float]
    low: float = float("-inf")
    high: float = float("inf")


@dataclass(frozen=True, eq=False)
class Cells:
    """Counts of people by label.

    ``sums``: (whole, parts) labels; every whole is exactly the sum of its parts. ``everybody``: the label of all people. ``spare``:
    how willingly a label is hidden to protect another, higher first. ``growing``: labels whose people can only become more.
    """

    counts: dict[str, int]
    sums: tuple[tuple[str, tuple[str, ...]], ...]
    everybody: str
    spare: dict[str, int] = field(default_factory=dict)
    growing: frozenset[str] = frozenset()

    def __post_init__(self):
        for whole, parts in self.sums:
            if self.counts[whole] != sum(self.counts[part] for part in parts):
                raise ValueError(f"{whole} is not the sum of its parts")

    def without(self, gone: set[str]) -> Cells:
        """The same without these labels; sums that held one of them are dropped."""
        return Cells({label: count for label, count in self.counts.items() if label not in gone},
                     tuple((whole, parts) for whole, parts in self.sums if whole not in gone and not gone & set(parts)),
                     self.everybody, self.spare, self.growing - gone)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Release:
    """What one packet shows: a rounded count, or HIDDEN, for every label; how they add up; what its estimates say beside them."""

    shown: dict[str, int | None]
    sums: tuple[tuple[str, tuple[str, ...]], ...]
    growing: frozenset[str] = frozenset()
    known: tuple[Known, ...] = ()
    minimum: int = 10
    round_to: int = 5

    def body(self) -> dict:
        """As plain lists and numbers."""
        return {"shown": self.shown, "sums": [[whole, list(parts)] for whole, parts in self.sums], "growing": sorted(self.growing),
                "known": [[one.coefficients, *(None if abs(end) == float("inf") else end for end in (one.low, one.high))] for one in self.known],
                "minimum": self.minimum, "round_to": self.round_to}  # fmt: skip


def release_of(body: dict) -> Release:
    """The release behind plain lists and numbers."""
    known = tuple(Known(coefficients, float("-inf") if low is None else low, float("inf") if high is None else high) for coefficients, low, high in body["known"])
    return Release(dict(body["shown"]), tuple((whole, tuple(parts)) for whole, parts in body["sums"]), frozenset(body["growing"]), known, body["minimum"], body["round_to"])
