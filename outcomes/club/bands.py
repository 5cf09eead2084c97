"""At which times a curve may be told: on a grid of quarters, with enough people failing, and leaving, between one time and the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.club.rule import Rule

QUARTERS = 4  # to a year; times are whole quarters


@dataclass(frozen=True)
class Band:
    """A time that is told: quarters since day 0, people still followed without the event, and whether their number may be told."""

    quarters: int
    at_risk: int
    counted: bool


def bands(event: np.ndarray, last: np.ndarray, wanted: list[float], rule: Rule, *, year: float = 365.25) -> list[Band]:
    """The times that may be told.

    event: (n,) day of each person's first event, inf for none; last: (n,) last day each was followed; wanted: years, most wanted
    first. A time is taken where at least ``rule.stop_at`` people are still followed and, between it and the times taken on either
    side (day 0 included), either nobody or at least ``rule.minimum`` people had their first event. The number still followed is told
    where the same holds of people who left without the event. Then quarters in their order fill what is left, if a wanted time was taken.
    """
    event, last = np.asarray(event, float), np.asarray(last, float)
    furthest = int(last.max(initial=0.0) // (year / QUARTERS))
    candidates = [round(years * QUARTERS) for years in wanted] + list(range(1, furthest + 1))
    day = lambda quarters: quarters * year / QUARTERS  # noqa: E731
    failed = lambda since, until: int(((event > day(since)) & (event <= day(until))).sum()) + (int((event <= 0).sum()) if since == 0 else 0)  # noqa: E731
    left = lambda since, until: int(((event > last) & (last >= day(since)) & (last < day(until))).sum())  # noqa: E731
    remaining = lambda at: int(((event > day(at)) & (last >= day(at))).sum())  # noqa: E731
    taken: list[int] = []
    for number, at in enumerate(candidates):
        if number >= len(wanted) and not taken:
            break
        if at < 1 or at in taken or remaining(at) < rule.stop_at:
            continue
        before, after = max([0, *(one for one in taken if one < at)]), min((one for one in taken if one > at), default=None)
        if rule.few(failed(before, at)) or (after is not None and rule.few(failed(at, after))):
            continue
        taken.append(at)
    found, since = [], 0
    for at in sorted(taken):
        counted = not rule.few(left(since, at))
        since = at if counted else since
        found.append(Band(at, remaining(at), counted))
    return found
