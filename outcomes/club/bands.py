"""At which times a curve may be told: on a grid of quarters, with enough people failing, and leaving, between one time and the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.club.cells import Known
from outcomes.club.rule import Rule

MOST_PARTS = 1.25  # parts per patient up to which a share of parts tells about patients
QUARTERS = 4  # to a year; times are whole quarters


@dataclass(frozen=True)
class Band:
    """A time that is told, in quarters since day 0, and how many people by then had the event, had left without it, or went on."""

    quarters: int
    had: int
    left: int
    still: int

    @property
    def years(self) -> float:
        return self.quarters / QUARTERS


def bands(event: np.ndarray, last: np.ndarray, wanted: list[float], rule: Rule, *, year: float = 365.25) -> list[Band]:
    """The times that may be told.

    event: (n,) day of each person's first event, inf for none; last: (n,) last day each was followed; wanted: years, most wanted
    first. A time is taken where at least ``rule.stop_at`` people are still followed and, between it and the times taken on either
    side (day 0 included), either nobody or at least ``rule.minimum`` people had their first event. Then quarters in their order fill
    what is left, if a wanted time was taken and the same holds of those who left without the event.
    """
    event, last = np.asarray(event, float), np.asarray(last, float)
    by = {at: _band(event, last, at, year) for at in dict.fromkeys([round(years * QUARTERS) for years in wanted] + list(range(1, int(last.max(initial=0.0) * QUARTERS / year) + 1))) if at >= 1}
    taken: dict[int, Band] = {}
    for number, (at, band) in enumerate(by.items()):
        if number >= len(wanted) and not taken:
            break
        before = max((one for one in taken if one < at), default=0)
        after = min((one for one in taken if one > at), default=None)
        sides = [(band, taken.get(before)), *([] if after is None else [(taken[after], band)])]
        apart = [(late.had - (early.had if early else 0), late.left - (early.left if early else 0)) for late, early in sides]
        if band.still >= rule.stop_at and not any(rule.few(had) or (number >= len(wanted) and rule.few(left)) for had, left in apart):
            taken[at] = band
    return [taken[at] for at in sorted(taken)]


def _band(event: np.ndarray, last: np.ndarray, quarters: int, year: float) -> Band:
    day = quarters * year / QUARTERS
    had, still = event <= day, (event > day) & (last >= day)
    return Band(quarters, int(had.sum()), int((~had & ~still).sum()), int(still.sum()))


@dataclass(frozen=True)
class Labels:
    """What the times told are called, one entry per time: had it by then, left without it by then, still followed; and had it since the time before."""

    had: tuple[str, ...]
    left: tuple[str, ...]
    still: tuple[str, ...]
    since: tuple[str, ...]


def labels_of(name: str, taken: list[Band], had: str) -> Labels:
    """The labels of an endpoint's times; ``had``: what those who had it by the last time are called."""
    at = [f"{band.years:g} year{'' if band.years == 1 else 's'}" for band in taken]
    own = tuple(had if band is taken[-1] else f"{name}: had it by {when}" for band, when in zip(taken, at))
    between = tuple(own[:1]) + tuple(f"{name}: had it between {before.years:g} and {when}" for before, when in zip(taken, at[1:]))
    return Labels(own, tuple(f"{name}: left without it by {when}" for when in at), tuple(f"{name}: still followed without it at {when}" for when in at), between)


def labelled(name: str, taken: list[Band], people: str, labels: tuple[str, str, str]) -> tuple[dict[str, int], list, dict[str, int]]:
    """(counts, sums, spare) of the times told; labels: had it, did not, not followed.

    What is counted at one time and between two times are cells like any other, so that nothing is given back by a curve.
    """
    had, rest, out = labels
    counts, sums, spare = {}, [], {}
    all_ = labels_of(name, taken, had)
    for k, band in enumerate(taken):
        own, left, still = all_.had[k], all_.left[k], all_.still[k]
        counts |= {own: band.had, left: band.left, still: band.still}
        sums.append((people, (out, own, left, still)))
        spare |= {left: 4, still: 2} | ({own: 1} if own != had else {})
        if k:
            went = left.replace(" by ", f" between {taken[k - 1].years:g} and ")
            counts |= {all_.since[k]: band.had - taken[k - 1].had, went: band.left - taken[k - 1].left}
            sums += [(own, (all_.had[k - 1], all_.since[k])), (left, (all_.left[k - 1], went))]
            spare |= {all_.since[k]: 5, went: 6}
    if taken:
        sums.append((rest, (all_.left[-1], all_.still[-1])))
    return counts, sums, spare


def said(name: str, taken: list[Band], shares: list[float], labels: tuple[str, str, str], *, parts: float, decimals: int, rule: Rule) -> list[Known]:
    """What shares told at these times say about the counts of people, to somebody who knows how they are chosen.

    Between two times told nobody or at least ``rule.minimum`` had the event. Where nearly every patient has one part followed from day
    0, no more of those followed at one time had it by the next than the share lost between them: a product-limit curve never loses
    less. parts: per patient, or inf where that cannot be said.
    """
    all_, hair = labels_of(name, taken, labels[0]), 10.0**-decimals / 2
    found, share = [], 1.0
    for k, band in enumerate(taken):
        came = band.had - (taken[k - 1].had if k else 0)
        if came:
            found.append(Known({all_.since[k]: 1.0}, low=float(rule.minimum)))
        if parts <= MOST_PARTS:
            lost = 1 - max(shares[k] - hair, 0.0) / min(share + (hair if k else 0.0), 1.0)
            weight = lost * (parts if parts == 1 else 1.1 * parts)
            at_risk = {all_.still[k - 1]: -weight} if k else {labels[0]: -weight, labels[1]: -weight}
            found.append(Known({**at_risk, all_.since[k]: 1.0 + at_risk.get(all_.since[k], 0.0)}, high=0.0))
        share = shares[k]
    return found
