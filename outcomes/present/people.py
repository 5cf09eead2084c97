"""People: how scores moved from before to after, with everybody's own line faint behind the mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, Frame, heading
from outcomes.present.palette import LIGHT

MOST_LINES = 150


@dataclass(frozen=True)
class Scores:
    """``own``: one row per person, one column per occasion (nan: not answered). ``means``: occasion, people, mean, low, high."""

    own: pd.DataFrame
    means: pd.DataFrame
    lowest: float = 0.0
    highest: float = 100.0


def scores(what: Scores, frame: Frame, shape: Shape) -> Sheet:
    """Means with their likely ranges over the occasions, everybody's own answers faint behind.

    Raises CannotDraw where nobody answered, and where the occasions have no room side by side.
    """
    means = what.means.dropna(subset=["mean"])
    if means.empty:
        raise CannotDraw("No questionnaire has been answered.")
    sheet = Sheet(shape)
    u = sheet.text
    own = not shape.shown_outside
    top = heading(sheet, frame.title, f"{frame.subtitle} Faint: each patient." if own else frame.subtitle)
    left, right, below = sheet.length(f"{what.highest:g}", 0.92) + 2 * u, (2.4 if shape.narrow else 4) * u, 4.6 * u
    axes = sheet.axes(left, below, right, top + 0.8 * u)
    axes.set_ylim(what.lowest, what.highest)
    ticks = np.linspace(what.lowest, what.highest, 5)
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.grid(axis="y", color=LIGHT["grid"], linewidth=u * 0.08)
    axes.set_axisbelow(True)
    occasions = list(what.means["occasion"])
    axes.set_xlim(-0.35, len(occasions) - 0.65)
    axes.set_xticks([])
    if own:
        _own_lines(axes, what, occasions, u)
    box = axes.get_position()
    step = box.width * sheet.width / (len(occasions) - 0.3)
    if step < sheet.length("8888", 0.95) + 0.4 * u:
        raise CannotDraw(f"{len(occasions)} occasions have no room side by side in one figure; the table gives them all.")
    crowded = step < max(sheet.length(f"{n} people", 0.86) for n in what.means["people"]) + 0.4 * u
    places = [occasions.index(name) for name in means["occasion"]]
    axes.plot(places, means["mean"], color=LIGHT["accent"], linewidth=u * 0.24, zorder=4)
    bounded = means.dropna(subset=["low", "high"])
    axes.vlines([occasions.index(name) for name in bounded["occasion"]], bounded["low"], bounded["high"], color=LIGHT["accent"], linewidth=u * 0.24, zorder=4)
    axes.plot(places, means["mean"], linestyle="none", marker="o", markersize=u * 0.85, color=LIGHT["accent"], markeredgecolor=LIGHT["paper"], markeredgewidth=u * 0.14, zorder=5)
    for k, (place, row) in enumerate(zip(places, means.itertuples())):
        x = (box.x0 + box.width * (place + 0.35) / (len(occasions) - 0.3)) * sheet.width
        y = (box.y0 + box.height * (row.mean - what.lowest) / (what.highest - what.lowest)) * sheet.height
        after = means["mean"].iloc[k + 1] if k + 1 < len(means) else row.mean
        sheet.put(x + 0.9 * u, y + off_the_line(after - row.mean, what.highest - what.lowest, y - box.y0 * sheet.height, u), f"{row.mean:.0f}", bold=True, size=1.05, backed=True)
    for place, row in enumerate(what.means.itertuples()):
        x = (box.x0 + box.width * (place + 0.35) / (len(occasions) - 0.3)) * sheet.width
        sheet.put(x, 2.6 * u, sheet.cut(row.occasion, room_at(sheet, x, step), 0.95), size=0.95, align="center")
        sheet.put(x, 1.45 * u if crowded else 1.2 * u, f"{row.people}" if crowded else f"{row.people} people", size=0.86, colour="quiet", align="center")
    if crowded:
        sheet.put(0.3 * u, 0.35 * u, "people", size=0.86, colour="quiet")
    return sheet


def off_the_line(rise: float, whole: float, room_below: float, u: float) -> float:
    """Points by which the number right of a dot stands above it, or below it where the line to the next one rises steeply."""
    return -1.45 * u if rise > 0.1 * whole and room_below > 1.6 * u else 0.55 * u


def room_at(sheet: Sheet, x: float, step: float) -> float:
    """Points for words centred at ``x`` that reach neither the next ones, ``step`` away, nor the sheet's edge."""
    return min(step - 0.4 * sheet.text, 2 * min(x, sheet.width - x) - 0.2 * sheet.text)


def _own_lines(axes, what: Scores, occasions: list[str], u: float) -> None:
    from matplotlib.collections import LineCollection

    values = what.own[occasions].to_numpy(dtype=float)
    if len(values) > MOST_LINES:  # a fixed choice spread over everybody, so that a large clinic draws no blot
        values = values[np.linspace(0, len(values) - 1, MOST_LINES).astype(int)]
    lines = []
    for row in values:
        known = np.flatnonzero(np.isfinite(row))
        if len(known) > 1:
            lines.append(np.column_stack([known, row[known]]))
    if lines:
        axes.add_collection(LineCollection(lines, colors=LIGHT["slate"], linewidths=u * 0.07, alpha=0.5))
