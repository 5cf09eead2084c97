"""Units inside the limits that chance alone draws: failures seen against expected, or shares of what was counted. Nobody is ranked."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, Frame, heading, wrapped
from outcomes.present.palette import LIGHT
from outcomes.present.words import percent, shortened

CURVE_POINTS = 120


@dataclass(frozen=True)
class Units:
    """``points``: unit, expected, ratio, outside (beyond the wider limits); units with too few patients are left out before.

    ``dispersion``: how much more the counts vary than independent parts would. ``limits``: from inner to outer, (z, its name);
    ``sides``: what lies above and below the line. Of shares ``target`` is the share of all, ``expected`` the rows behind each share,
    ``ratio`` the share, and ``chance`` gives (low, high) for rows and z; without it the limits are 1 ± z √(dispersion ÷ expected).
    """

    points: pd.DataFrame
    dispersion: float
    limits: tuple[tuple[float, str], ...] = ((1.959964, "95 %"), (3.090232, "99.8 %"))
    sides: tuple[str, str] = ("more than expected", "fewer than expected")
    target: float = 1.0
    chance: Callable | None = None

    def reach(self, expected, z: float) -> tuple[np.ndarray, np.ndarray]:
        """(low, high) of the limits at ``z``, never below 0."""
        if self.chance is not None:
            return self.chance(expected, z)
        reach = z * np.sqrt(self.dispersion / np.asarray(expected, float))
        return np.maximum(self.target - reach, 0), self.target + reach

    def said(self, tick: float) -> str:
        return f"{tick:g}" if self.chance is None else percent(tick)


def funnel(what: Units, frame: Frame, shape: Shape) -> Sheet:
    """Dots between limits that narrow as more is expected; those beyond the wider limits carry "look into".

    Names stand beside their dots where there is room (the table names all); on a talk nobody is named. Raises CannotDraw
    where no unit is shown.
    """
    points = what.points.sort_values("unit", kind="stable")
    if points.empty:
        raise CannotDraw("There is no one to draw: a funnel shows those with enough patients and enough expected failures only.")
    sheet = Sheet(shape)
    u = sheet.text
    least, most = float(points["expected"].min()), float(points["expected"].max())
    start, stop = max(least * 0.75, 1e-9), most * 1.08 + 1e-9
    highest = _top(points, what, least)
    ticks = _even(highest)
    top = heading(sheet, frame.title, frame.subtitle) + 1.4 * u
    left = max(sheet.length(what.said(tick), 0.92) for tick in ticks) + 2.2 * u
    right = max(sheet.length(name, 0.86) for _, name in what.limits) + 1.8 * u
    lines = wrapped(sheet, frame.axis, sheet.width - 0.8 * u, 0.92)
    below = (3.6 + 1.3 * len(lines)) * u
    axes = sheet.axes(left, below, right, top)
    axes.set_xlim(start, stop)
    axes.set_ylim(0, highest)
    axes.set_yticks(ticks, [what.said(tick) for tick in ticks])
    marks = [tick for tick in _even(stop, 4 if shape.narrow else 7) if start <= tick <= stop]
    axes.set_xticks(marks, [f"{tick:g}" for tick in marks])
    _limits(sheet, axes, what, start, stop, highest)
    inside, outside = points[~points["outside"]], points[points["outside"]]
    size = u * (0.75 if len(points) <= 12 else 0.6)
    axes.plot(inside["expected"], inside["ratio"], linestyle="none", marker="o", markersize=size, color=LIGHT["accent"], markeredgecolor=LIGHT["paper"], markeredgewidth=u * 0.1, zorder=5, clip_on=False)
    axes.plot(outside["expected"], outside["ratio"], linestyle="none", marker="D", markersize=size * 1.05, color=LIGHT["signal"], markeredgecolor=LIGHT["paper"], markeredgewidth=u * 0.1, zorder=6, clip_on=False)
    _names(sheet, axes, points, (start, stop, highest), what.target)
    for k, line in enumerate(lines):
        sheet.put(sheet.width / 2, (0.6 + 1.3 * (len(lines) - 1 - k)) * u, line, size=0.92, colour="quiet", align="center")
    return sheet


def _top(points: pd.DataFrame, what: Units, least: float) -> float:
    """The axis ends above every dot and above the wider limit at the smallest unit."""
    if what.chance is not None:
        return 1.0
    reach = 1 + what.limits[-1][0] * math.sqrt(what.dispersion / least)
    return max(float(points["ratio"].max()) * 1.08, min(reach, 4.0), 1.6)


def _even(highest: float, most: int = 6) -> list[float]:
    power = 10.0 ** math.floor(math.log10(highest))
    step = next(power * part for part in (0.1, 0.2, 0.25, 0.5, 1, 2, 5) if highest / (power * part) <= most)
    return [round(step * k, 10) for k in range(int(highest / step + 1e-9) + 1)]


def _limits(sheet: Sheet, axes, what: Units, start: float, stop: float, highest: float) -> None:
    """The area where chance alone would put a unit, lighter to the outside, its edges named at the right end."""
    u, box = sheet.text, axes.get_position()
    expected = np.linspace(start, stop, CURVE_POINTS)
    for (z, name), dash in zip(reversed(what.limits), ("-", (0, (4, 2)))):
        low, high = what.reach(expected, z)
        axes.fill_between(expected, low, np.minimum(high, highest), color=LIGHT["accent"], alpha=0.08, linewidth=0)
        for edge in (low, high):
            axes.plot(expected, np.where((edge > 0) & (edge <= highest), edge, np.nan), color=LIGHT["quiet"], linewidth=u * 0.1, linestyle=dash)
    axes.axhline(what.target, color=LIGHT["ink"], linewidth=u * 0.12)
    place = lambda ratio: (box.y0 + box.height * ratio / highest) * sheet.height  # noqa: E731
    ends = [(float(end[-1]), name) for z, name in what.limits for end in what.reach(np.array([stop]), z)[::-1]]
    taken: list[float] = []
    for ratio, name in sorted(ends, key=lambda one: abs(one[0] - what.target), reverse=True):  # the wider limits first
        if 0 < ratio <= highest and all(abs(place(ratio) - other) > 1.2 * u for other in taken):
            sheet.put(box.x1 * sheet.width + 0.6 * u, place(ratio), name, size=0.86, colour="quiet", middle=True)
            taken.append(place(ratio))
    x = box.x0 * sheet.width
    sheet.put(x + 0.3 * u, box.y1 * sheet.height + 0.5 * u, f"↑ {what.sides[0]}", size=0.86, colour="quiet")
    sheet.put(x + 0.3 * u, box.y0 * sheet.height - 2.9 * u, f"↓ {what.sides[1]}", size=0.86, colour="quiet")


def _names(sheet: Sheet, axes, points: pd.DataFrame, reach: tuple[float, float, float], target: float) -> None:
    """Names beside their dots wherever they cover neither a dot nor one another; those to be looked into first."""
    u, box, named = sheet.text, axes.get_position(), not sheet.shape.shown_outside
    start, stop, highest = reach
    at = [((box.x0 + box.width * (row.expected - start) / (stop - start)) * sheet.width, (box.y0 + box.height * row.ratio / highest) * sheet.height, row) for row in points.itertuples()]
    area = (box.x0 * sheet.width, box.y0 * sheet.height, box.x1 * sheet.width, box.y1 * sheet.height)
    taken = [(x - 0.45 * u, y - 0.45 * u, x + 0.45 * u, y + 0.45 * u) for x, y, _ in at]
    line = (box.y0 + box.height * target / highest) * sheet.height
    taken.append((area[0], line - 0.1 * u, area[2], line + 0.1 * u))
    for x, y, row in sorted(at, key=lambda one: not one[2].outside):
        parts = ([shortened(row.unit, 18)] if named else []) + (["look into"] if row.outside else [])
        said = [": ".join(parts), *(["look into"] if row.outside else [])] if parts else []
        for text in said:  # where a long name finds no room, "look into" alone may
            corner = _free(sheet, x, y, text, bool(row.outside), area, taken)
            if corner is not None:
                sheet.put(corner[0], (corner[1] + corner[3]) / 2, text, size=0.9, bold=bool(row.outside), colour="signal" if row.outside else "ink", middle=True)
                taken.append(corner)
                break


def _free(sheet: Sheet, x: float, y: float, text: str, bold: bool, area, taken):
    """The first place around (x, y) where ``text`` covers nothing: left, floor, right, ceiling; None where there is none."""
    u, length = sheet.text, sheet.length(text, 0.9, bold)
    tall = 1.1 * u
    spots = [(x + 0.8 * u, y - tall / 2), (x - 0.8 * u - length, y - tall / 2), (x - length / 2, y + 0.7 * u), (x - length / 2, y - 0.7 * u - tall)]
    spots += [(x + side * 0.6 * u - (length if side < 0 else 0), y + up * 1.5 * u - tall / 2) for side in (1, -1) for up in (1, -1)]
    for left, floor in spots:
        corner = (left, floor, left + length, floor + tall)
        inside = corner[0] >= area[0] + 0.2 * u and corner[2] <= area[2] and corner[1] >= area[1] and corner[3] <= area[3]
        if inside and not any(_covers(corner, other) for other in taken):
            return corner
    return None


def _covers(one, other) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
