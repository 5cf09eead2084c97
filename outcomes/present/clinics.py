"""Clinics by letter on one axis, in an order that says nothing, with their mean and where another clinic would lie: nobody is ranked."""

from __future__ import annotations

import math
from dataclasses import dataclass

from outcomes.present import words
from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, Frame, heading
from outcomes.present.palette import LIGHT

MOST_NAMED = 40  # more clinics are drawn as thin lines without letters; the table beside the figure has them all


@dataclass(frozen=True)
class Row:
    """One clinic: its letter, value, likely range, and the value in words."""

    letter: str
    value: float
    low: float
    high: float
    said: str


@dataclass(frozen=True)
class Mean:
    """The mean of the clinics with its range, and the range in which another clinic would lie (nan: too few clinics to say)."""

    value: float
    low: float
    high: float
    said: str
    other_low: float = float("nan")
    other_high: float = float("nan")


def clinics(rows: list[Row], mean: Mean | None, kind: str, frame: Frame, shape: Shape) -> Sheet:
    """kind: "share" (0 to 100 %), "rate" (from 0) or "points". Raises CannotDraw where no clinic has a value."""
    if not any(math.isfinite(row.value) for row in rows):
        raise CannotDraw("No clinic has a value to draw.")
    named = len(rows) <= MOST_NAMED
    probe = Sheet(shape)
    u = probe.text
    lines = (2 if mean is not None and math.isfinite(mean.other_low) else 1) if mean is not None else 0
    below, foot = 1.9 * u * lines + 0.9 * u, 3.4 * u
    top = heading(probe, frame.title, frame.subtitle)
    step = 1.5 * u if named else max(0.16 * u, 40 * u / len(rows))
    if shape.name == "talk":
        step = min(step, (shape.height * 72 - top - foot - below - u) / len(rows))
    small = step < 1.15 * u
    sheet = Sheet(shape, max(shape.height if shape.name == "talk" else 0, (top + foot + below + len(rows) * step + 0.6 * u) / 72))
    heading(sheet, frame.title, frame.subtitle)
    last = ["all clinics", "another clinic"][:lines]
    left = max([sheet.length(text, 0.9, True) for text in last] + [sheet.length(row.letter, 0.9) for row in rows]) + 1.4 * u
    beside = [] if shape.narrow or not named or small else [row.said for row in rows]
    said = [*beside, *([mean.said] if mean is not None and not shape.narrow else [])]
    right = max([sheet.length(text, 0.85, True) for text in said], default=0) + 1.4 * u
    body = sheet.height - top - foot
    axes = sheet.axes(left, foot, right, top)
    low, high, ticks = _axis(rows, mean, kind)
    axes.set_xlim(low, high)
    axes.set_ylim(0, body)
    axes.set_yticks([])
    axes.set_xticks([at for at, _ in ticks], [text for _, text in ticks])
    for at, _ in ticks:
        axes.axvline(at, color=LIGHT["grid"], linewidth=u * 0.08, zorder=0)
    slack = (body - below - len(rows) * step) / len(rows) if shape.name == "talk" and named else 0.0
    places = [body - (k + 0.5) * (step + slack) for k in range(len(rows))]
    _marks(axes, rows, places, (low, high), u, thin=not named)
    for row, at in zip(rows, places):
        if named and not small:
            sheet.put(left - 0.8 * u, foot + at - 0.32 * u, row.letter, size=0.9, align="right", colour="quiet")
            if beside:
                sheet.put(sheet.width - 0.5 * u, foot + at - 0.32 * u, row.said, size=0.85, align="right", colour="quiet")
    if mean is not None:
        _mean(sheet, axes, mean, left, foot, below, lines, (low, high), shape)
    sheet.put(left, 0.7 * u, sheet.cut(frame.axis, sheet.width - left - 0.4 * u, 0.9), size=0.9, colour="quiet")
    return sheet


def _axis(rows: list[Row], mean: Mean | None, kind: str):
    if kind == "share":
        return -0.01, 1.01, [(part / 100, f"{part} %") for part in (0, 25, 50, 75, 100)]
    ends = [end for row in rows for end in (row.value, row.low, row.high) if math.isfinite(end)]
    ends += [end for end in (mean.low, mean.high, mean.other_low, mean.other_high) if math.isfinite(end)] if mean is not None else []
    low, high = min(0.0, *ends), max(0.0, *ends)
    if kind == "rate":  # one clinic's wide range must not press all others together
        high = min(high, 3 * max(row.value for row in rows if math.isfinite(row.value)))
    width = (high - low) or 1.0
    size = 10.0 ** math.floor(math.log10(width / 4))
    size = next(size * by for by in (1, 2, 5, 10) if width / (size * by) <= 5)
    digits = max(0, -math.floor(math.log10(size)))
    ticks = [(k * size, words.number(k * size, digits)) for k in range(math.ceil(low / size - 1e-9), math.floor(high / size + 1e-9) + 1)]
    return low - 0.03 * width, high + 0.03 * width, ticks


def _marks(axes, rows: list[Row], places: list[float], reach, u: float, thin: bool) -> None:
    """Every clinic's range and dot, each kind as one drawing."""
    ranged = [(at, max(row.low, reach[0]), min(row.high, reach[1])) for row, at in zip(rows, places) if math.isfinite(row.low)]
    if ranged:
        axes.hlines(*zip(*ranged), color=LIGHT["slate"], linewidth=u * (0.05 if thin else 0.14), zorder=3)
    dots = [(row.value, at) for row, at in zip(rows, places) if math.isfinite(row.value)]
    axes.plot(*zip(*dots), marker="o", linestyle="", markersize=u * (0.16 if thin else 0.55), color=LIGHT["accent"], markeredgewidth=0, zorder=4)


def _mean(sheet: Sheet, axes, mean: Mean, left: float, foot: float, below: float, lines: int, reach, shape: Shape) -> None:
    u = sheet.text
    y = below - 1.6 * u
    axes.axhline(below - 0.35 * u, color=LIGHT["grid"], linewidth=u * 0.08, zorder=1)
    axes.axvline(mean.value, ymin=0, ymax=1, color=LIGHT["signal"], linewidth=u * 0.08, linestyle=(0, (4, 2)), zorder=1)
    axes.plot([max(mean.low, reach[0]), min(mean.high, reach[1])], [y, y], color=LIGHT["signal"], linewidth=u * 0.5, solid_capstyle="butt", zorder=3)
    axes.plot([mean.value], [y], marker="D", markersize=u * 0.6, color=LIGHT["paper"], markeredgecolor=LIGHT["signal"], markeredgewidth=u * 0.13, zorder=5)
    sheet.put(left - 0.8 * u, foot + y - 0.32 * u, "all clinics", size=0.9, bold=True, align="right")
    if not shape.narrow:
        sheet.put(sheet.width - 0.5 * u, foot + y - 0.32 * u, mean.said, size=0.85, bold=True, align="right")
    if lines == 2:
        y -= 1.9 * u
        axes.plot([max(mean.other_low, reach[0]), min(mean.other_high, reach[1])], [y, y], color=LIGHT["signal"], linewidth=u * 0.14, linestyle=(0, (3, 1)), zorder=3)
        sheet.put(left - 0.8 * u, foot + y - 0.32 * u, "another clinic", size=0.9, align="right", colour="quiet")
