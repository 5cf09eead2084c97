"""How scores went over the occasions: the mean with its likely range, everybody's own line faint behind, who answered below."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, Frame, heading
from outcomes.present.palette import LIGHT
from outcomes.present.people import off_the_line, room_at

MOST_LINES = 150


@dataclass(frozen=True)
class Course:
    """``means``: occasion, mean (nan: too few for one), low, high, answered, asked (nan where nobody can be said to have been asked).

    ``own``: one row per person, a column per occasion (nan: no answer). ``lowest``, ``highest``: the instrument's range.
    """

    own: pd.DataFrame
    means: pd.DataFrame
    lowest: float = 0.0
    highest: float = 100.0


def course(what: Course, frame: Frame, shape: Shape) -> Sheet:
    """Means over the occasions with the share that answered under each; occasions below 60 % answered are marked.

    Raises CannotDraw where no two occasions have a mean, and where the occasions have no room side by side.
    """
    means = what.means[what.means["answered"] > 0].reset_index(drop=True)
    if means["mean"].notna().sum() < 2:
        raise CannotDraw("No figure: it takes enough answers on two occasions to draw how satisfaction went.")
    sheet = Sheet(shape)
    u = sheet.text
    top = heading(sheet, frame.title, frame.subtitle)
    left, right, below = sheet.length(f"{what.highest:g}", 0.92) + 2 * u, 1.2 * u, 5.4 * u
    axes = sheet.axes(left, below, right, top + 0.8 * u)
    ticks = np.linspace(what.lowest, what.highest, 5)
    axes.set_ylim(what.lowest, what.highest)
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.grid(axis="y", color=LIGHT["grid"], linewidth=u * 0.08)
    axes.set_axisbelow(True)
    edge = 0.42
    axes.set_xlim(-edge, len(means) - 1 + edge)
    axes.set_xticks([])
    if not shape.shown_outside:  # nobody's own line leaves the clinic
        _own(axes, what.own[list(means["occasion"])].to_numpy(float), u)
    box = axes.get_position()
    if (step := box.width * sheet.width / (len(means) - 1 + 2 * edge)) < max(sheet.length(_said(row, shape)[0], 0.84) for row in means.itertuples()) + 0.4 * u:
        raise CannotDraw(f"{len(means)} occasions have no room side by side in one figure; the table gives them all.")
    places = np.arange(len(means))
    spoken = means["mean"].notna()
    axes.plot(places[spoken], means.loc[spoken, "mean"], color=LIGHT["accent"], linewidth=u * 0.26, zorder=4)
    known = means["low"].notna() & means["high"].notna()
    axes.vlines(places[known], means.loc[known, "low"], means.loc[known, "high"], color=LIGHT["accent"], linewidth=u * 0.3, zorder=4)
    axes.plot(places, means["mean"], linestyle="none", marker="o", markersize=u * 0.9, color=LIGHT["accent"], markeredgecolor=LIGHT["paper"], markeredgewidth=u * 0.14, zorder=5)
    for place, row in enumerate(means.itertuples()):
        x = (box.x0 + box.width * (place + edge) / (len(means) - 1 + 2 * edge)) * sheet.width
        y = (box.y0 + box.height * (row.mean - what.lowest) / (what.highest - what.lowest)) * sheet.height
        if row.mean == row.mean:
            after = means["mean"].iloc[place + 1] if place + 1 < len(means) else row.mean
            sheet.put(x + 0.75 * u, y + off_the_line(after - row.mean, what.highest - what.lowest, y - box.y0 * sheet.height, u), f"{row.mean:.0f}", bold=True, size=1.05, backed=True)
        sheet.put(x, 3.5 * u, sheet.cut(row.occasion, room_at(sheet, x, step), 0.95, True), size=0.95, align="center", bold=True)
        _answered(sheet, x, row)
    return sheet


def _answered(sheet: Sheet, x: float, row) -> None:
    """How many answered, of how many; fewer than six in ten stand out."""
    u, known = sheet.text, row.asked == row.asked
    low = known and row.answered < 0.6 * row.asked
    colour = "signal" if low else "quiet"
    lines = _said(row, sheet.shape)
    for k, text in enumerate(lines):
        last = k == len(lines) - 1 and known
        sheet.put(x, (2.2 - 1.2 * k) * u, text, size=0.84, colour=colour if last else "quiet", bold=low and last, align="center")


def _said(row, shape: Shape) -> list[str]:
    """How many answered, of how many where that is known: on a phone in one line."""
    known = row.asked == row.asked
    if shape.narrow:
        return [f"{int(row.answered)} of {int(row.asked)}" if known else f"{int(row.answered)}"]
    return [f"{int(row.answered)} answered", *([f"of {int(row.asked)}"] if known else [])]


def _own(axes, values: np.ndarray, u: float) -> None:
    from matplotlib.collections import LineCollection

    if len(values) > MOST_LINES:  # a fixed choice spread over everybody, so that a large clinic draws no blot
        values = values[np.linspace(0, len(values) - 1, MOST_LINES).astype(int)]
    lines = [np.column_stack([known, row[known]]) for row in values if len(known := np.flatnonzero(np.isfinite(row))) > 1]
    if lines:
        axes.add_collection(LineCollection(lines, colors=LIGHT["slate"], linewidths=u * 0.07, alpha=0.5))
