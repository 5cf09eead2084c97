"""What packets say together: each clinic's figure, and their mean over clinics from three on."""

from __future__ import annotations

import math
from dataclasses import dataclass

from outcomes.longevity import random_effects
from outcomes.longevity.estimate import normal_quantile

FEWEST = 3  # clinics for a mean


@dataclass(frozen=True)
class Own:
    """One clinic's figure with its likely range (nan: no error)."""

    letter: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Together:
    """``own``: in the order of the letters; ``mean``: (value, low, high) or None; ``other``: where another clinic would lie (nan: fewer than five);
    ``without``: clinics in which nobody had it, and which the mean leaves out; ``home``: letters that kept this figure, with the reason."""

    own: tuple[Own, ...]
    mean: tuple[float, float, float] | None
    other: tuple[float, float]
    pooled: object | None
    without: int
    home: dict[str, str]


def _scaled(own: list[tuple[str, float, float | None]], home: dict[str, str], level: float, forth, back, without: int = 0) -> Together:
    """Pool on a scale: ``forth`` takes a value to it, ``back`` takes it back (which may turn the ends around)."""
    z = normal_quantile(level)
    said, values, errors = [], [], []
    for letter, value, error in own:
        if error is None or forth(value) is None:
            said.append(Own(letter, value, math.nan, math.nan))
            continue
        values.append(forth(value))
        errors.append(error)
        said.append(Own(letter, value, *sorted((back(values[-1] - z * error), back(values[-1] + z * error)))))
    nothing = (math.nan, math.nan)
    if len(values) < FEWEST:
        return Together(tuple(said), None, nothing, None, without, home)
    pooled = random_effects(values, errors, never_narrower=True, level=level)
    ends = sorted((back(pooled.mean.low), back(pooled.mean.high)))
    other = tuple(sorted(back(end) for end in pooled.prediction)) if math.isfinite(pooled.prediction[0]) else nothing
    return Together(tuple(said), (back(pooled.mean.value), *ends), other, pooled, without, home)


def share_at(packets: dict[str, dict], endpoint: str, years: float, level: float) -> Together:
    """Shares still free of an endpoint, on log(−log S); packets by letter."""
    own, home, without = [], {}, 0
    for letter, packet in packets.items():
        one = next((each for each in packet["endpoints"] if each["name"] == endpoint), None)
        point = next((each for each in one["curve"] if each["years"] == years), None) if one else None
        if point is None:
            home[letter] = (one["withheld"] if one else "") or "its packet has none for this time"
            continue
        without += point["share"] >= 1
        own.append((letter, float(point["share"]), point["error"]))
    forth = lambda share: math.log(-math.log(share)) if 0 < share < 1 else None  # noqa: E731
    back = lambda value: math.exp(-math.exp(min(value, 700.0)))  # noqa: E731
    return _scaled(own, home, level, forth, back, without)


def rates(packets: dict[str, dict], level: float) -> Together:
    """Unplanned visits per patient-year, on the log."""
    return _part(packets, "upkeep", "rate", level, lambda rate: math.log(rate) if rate > 0 else None, lambda value: math.exp(min(value, 700.0)))


def changes(packets: dict[str, dict], level: float) -> Together:
    """Change in satisfaction to a year, as it is."""
    return _part(packets, "satisfaction", "change", level, lambda value: value, lambda value: value)


def _part(packets, part: str, name: str, level: float, forth, back) -> Together:
    own = [(letter, float(packet[part][name]), packet[part]["error"]) for letter, packet in packets.items() if packet[part][name] is not None]
    home = {letter: packet[part]["withheld"] or "not told" for letter, packet in packets.items() if packet[part][name] is None}
    return _scaled(own, home, level, forth, back)


def times_told(packets: dict[str, dict], endpoint: str, horizons: list[float]) -> list[float]:
    """Horizons at which at least one clinic tells this endpoint, in order."""
    told = {point["years"] for packet in packets.values() for one in packet["endpoints"] if one["name"] == endpoint for point in one["curve"]}
    return [years for years in sorted(set(map(float, horizons))) if years in told]
