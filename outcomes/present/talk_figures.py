"""Figures for slides: wide and calm, no title of their own, and of counts only the patients still followed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from outcomes.present.areas import Endings
from outcomes.present.canvas import Shape, Sheet
from outcomes.present.counts import fewer
from outcomes.present.curves import CannotDraw, Line, share_axis, spread, wrapped
from outcomes.present.palette import LIGHT, contrast
from outcomes.present.words import number, percent, span

MOST_TICKS = 7


@dataclass(frozen=True)
class Axis:
    """``name``: of the time axis; ``patients``: still followed, as they may be shown, by the year of each tick."""

    name: str
    patients: dict[float, str]


def curve(line: Line, until: float, axis: Axis, mark: tuple[float, float, str] | None, shape: Shape) -> Sheet:
    """One curve with its band up to ``until`` years; boxes where it is not known when it fell. ``mark``: years, share, words."""
    if until <= 0:
        raise CannotDraw("Too few patients were followed to draw a curve.")
    steps = line.steps[line.steps["years"] <= until]
    steps = pd.concat([steps if len(steps) else line.steps.iloc[:1], (steps if len(steps) else line.steps).iloc[[-1]].assign(years=until)], ignore_index=True)
    sheet, axes, place = _stage(until, axis, shape, 1.6 * shape.text)
    u, colour = sheet.text, LIGHT["accent"]
    if line.boxes is None:
        known = steps.dropna(subset=["low", "high"])
        axes.fill_between(known["years"], known["low"], known["high"], step="post", color=colour, alpha=0.17, linewidth=0)
        axes.step(steps["years"], steps["share"], where="post", color=colour, linewidth=u * 0.2)
    else:
        _between_looks(axes, line, until, colour, u)
    if mark and mark[0] <= until + 1e-9:
        years, share, said = mark
        axes.plot([years], [share], marker="o", markersize=u * 0.62, color=colour, markeredgecolor=LIGHT["paper"], markeredgewidth=u * 0.12, clip_on=False, zorder=5)
        box = axes.get_position()
        y = (box.y0 + box.height * share) * sheet.height
        fits = place(years) + sheet.length(said, 1.1, True) + u < sheet.width
        sheet.put(place(years) + (0.5 if fits else -0.5) * u, y + (0.8 if share < 0.85 else -1.7) * u, said, size=1.1, bold=True, align="left" if fits else "right", backed=True)
    return sheet


def _between_looks(axes, line: Line, until: float, colour: str, u: float) -> None:
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    boxes = line.boxes[line.boxes["end"] <= until].sort_values("start")
    axes.add_collection(PatchCollection([Rectangle((row.start, row.below), row.end - row.start, row.above - row.below) for row in boxes.itertuples()], facecolor=colour, alpha=0.42, edgecolor="none"))
    if line.band is not None:
        for _, piece in line.band[line.band["years"] <= until].groupby("piece"):
            axes.fill_between(piece["years"], piece["low"], piece["high"], color=colour, alpha=0.17, linewidth=0)
    for start, end, share in zip([0.0, *boxes["end"]], [*boxes["start"], until], [1.0, *boxes["below"]]):
        if end > start:
            axes.plot([start, end], [share, share], color=colour, linewidth=u * 0.22, solid_capstyle="butt")


def areas(what: Endings, until: float, axis: Axis, shape: Shape, at: float | None = None) -> Sheet:
    """Stacked endings up to ``until`` years, each named at the right with its share there; a line at the year ``at`` that is spoken of."""
    shares = what.shares[what.shares["years"] < until]
    if shares.empty or until <= 0:
        raise CannotDraw("Too few patients were followed to draw what became of the parts.")
    shares = pd.concat([shares, shares.iloc[[-1]].assign(years=until)], ignore_index=True)
    names = [name for name in shares.columns if name != "years" and shares[name].iloc[-1] > 0]
    last = {**{name: float(shares[name].iloc[-1]) for name in names}, what.rest: 1 - float(shares[names].iloc[-1].sum())}
    labels = {name: f"{name} {percent(share)}" for name, share in last.items()}
    probe = Sheet(shape)
    sheet, axes, _ = _stage(until, axis, shape, max(probe.length(text, 0.92, True) for text in labels.values()) + 1.6 * shape.text, 1.4 if at and at < until else 0.7)
    floor = pd.Series(0.0, index=shares.index)
    for name in labels:
        ceiling = floor + (shares[name] if name in names else 1 - floor)
        colour = what.colours.get(name, "pale")
        axes.fill_between(shares["years"], floor, ceiling, step="post", facecolor=LIGHT.get(colour, colour), edgecolor=LIGHT["paper"], linewidth=sheet.text * 0.09)
        floor = ceiling
    u, box, height, wanted = sheet.text, axes.get_position(), 0.0, []
    if at and at < until:
        axes.axvline(at, color=LIGHT["paper"], linewidth=u * 0.3)
        axes.axvline(at, color=LIGHT["ink"], linewidth=u * 0.12)
        sheet.put((box.x0 + box.width * at / max(until, 0.25)) * sheet.width, box.y1 * sheet.height + 0.25 * u, f"at {span(at)}", size=0.86, align="center")
    for name in labels:
        wanted.append((box.y0 + box.height * (height + last[name] / 2)) * sheet.height)
        height += last[name]
    for (name, text), y in zip(labels.items(), spread(wanted, 1.3 * u, box.y0 * sheet.height + 0.5 * u, box.y1 * sheet.height)):
        colour = LIGHT.get(what.colours.get(name, "ink"), what.colours.get(name, "ink"))
        sheet.put(box.x1 * sheet.width + 0.7 * u, y, text, size=0.92, bold=True, colour=colour if contrast(colour, LIGHT["paper"]) >= 4.5 else "ink", middle=True)
    return sheet


def _stage(until: float, axis: Axis, shape: Shape, right: float, above: float = 0.7):
    """Sheet and axes, with the patients still followed under each time."""
    sheet = Sheet(shape)
    u, end = sheet.text, max(until, 0.25)
    ticks = fewer(tuple(tick for tick in axis.patients if tick <= end + 1e-9), MOST_TICKS)
    head = "patients followed"
    left = max(sheet.length("100 %", 0.92) + 1.2 * u, sheet.length(head, 0.86) + 0.9 * u + sheet.length(axis.patients[ticks[0]], 0.86) / 2 + 0.4 * u)
    axes = sheet.axes(left, 4.3 * u, right, above * u)
    share_axis(axes, sheet)
    axes.set_xlim(0, end)
    axes.set_xticks(list(ticks), [f"{tick:g}" for tick in ticks])
    width = sheet.width - left - right

    def place(years: float) -> float:
        return left + width * years / end

    sheet.put(0.1 * u, 1.65 * u, head, size=0.86, colour="quiet")
    for tick in ticks:
        sheet.put(place(tick), 1.65 * u, axis.patients[tick], size=0.86, align="center")
    sheet.put(left + width / 2, 0.35 * u, axis.name, size=0.9, colour="quiet", align="center")
    return sheet, axes, place


def steps(boxes: list[tuple[str, str, tuple[str, ...]]], shape: Shape) -> Sheet:
    """Boxes side by side from everybody to those followed: a number, what it counts, and below it who was left out after it."""
    sheet = Sheet(shape)
    u, gap = sheet.text, 1.9 * sheet.text
    wide = min(0.48 * sheet.width, (sheet.width - gap * (len(boxes) - 1)) / len(boxes))
    texts = [wrapped(sheet, text, wide - 1.2 * u, 0.92) for _, text, _ in boxes]
    tall = 3.5 * u + max(len(text) for text in texts) * 1.3 * u
    top = sheet.height - 0.3 * u
    for place, ((count, _, out), lines) in enumerate(zip(boxes, texts)):
        x = place * (wide + gap)
        sheet.box(x + 1, top - tall, wide - 2, tall, colour="accent")
        size = min(1.9, 1.9 * (wide - 1.2 * u) / max(sheet.length(count, 1.9), 1))
        sheet.put(x + 0.6 * u, top - 2.3 * u, count, size=max(size, 1.0), colour="accent")
        for row, line in enumerate(lines):
            sheet.put(x + 0.6 * u, top - (3.8 + 1.3 * row) * u, line, size=0.92)
        if place < len(boxes) - 1:
            sheet.line(x + wide + 1, top - tall / 2, x + wide + gap - 1, top - tall / 2, colour="quiet", arrow=True, width=1.4)
        y = top - tall - 1.5 * u
        for size, line in _reasons(sheet, out, wide + gap * 0.6, y):
            sheet.put(x + 2, y, line, size=size, colour="quiet")
            y -= 1.4 * size * u
    return sheet


def _reasons(sheet: Sheet, out: tuple[str, ...], room: float, top: float) -> list[tuple[float, str]]:
    """Why some were left out, line by line: whole where it fits below ``top``; else whole reasons, and that there are more."""
    size, fit = 0.86, int((top - 0.2 * sheet.text) // (1.2 * sheet.text)) + 1
    each = [wrapped(sheet, one, room, size) for one in out]
    if sum(map(len, each)) > fit:
        kept: list[list[str]] = []
        for lines in each:
            if sum(map(len, kept)) + len(lines) >= fit:
                break
            kept.append(lines)
        each = [*kept, ["and for other reasons"]]
    return [(size, line) for lines in each for line in lines]


def means_of(means: pd.DataFrame, lowest: float, highest: float, shape: Shape) -> Sheet:
    """Mean scores with their likely ranges by occasion. ``means``: occasion, people, mean, low, high."""
    sheet = Sheet(shape)
    u = sheet.text
    left, below, right, top = sheet.length(f"{highest:g}", 0.92) + 1.4 * u, 3.4 * u, 1.6 * u, 0.7 * u
    axes = sheet.axes(left, below, right, top)
    axes.set_ylim(lowest, highest)
    ticks = [lowest + (highest - lowest) * part / 4 for part in range(5)]
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.grid(axis="y", color=LIGHT["grid"], linewidth=u * 0.08)
    axes.set_axisbelow(True)
    axes.set_xlim(-0.4, len(means) - 0.6)
    axes.set_xticks([])
    axes.plot(range(len(means)), means["mean"], color=LIGHT["accent"], linewidth=u * 0.16, alpha=0.45)
    axes.vlines(range(len(means)), means["low"], means["high"], color=LIGHT["accent"], linewidth=u * 0.26)
    axes.plot(range(len(means)), means["mean"], linestyle="none", marker="o", markersize=u * 0.8, color=LIGHT["accent"], markeredgecolor=LIGHT["paper"], markeredgewidth=u * 0.14, zorder=5)
    tall = sheet.height - below - top
    for place, row in enumerate(means.itertuples()):
        x = left + (sheet.width - left - right) * (place + 0.4) / (len(means) - 0.2)
        reach = row.high if row.high == row.high else row.mean
        y = below + tall * (reach - lowest) / (highest - lowest) + 0.5 * u
        if y > sheet.height - 1.1 * u:
            y = below + tall * ((row.low if row.low == row.low else row.mean) - lowest) / (highest - lowest) - 1.3 * u
        sheet.put(x, y, number(row.mean), bold=True, size=1.1, align="center", backed=True)
        sheet.put(x, 1.9 * u, row.occasion, size=0.95, align="center")
        sheet.put(x, 0.5 * u, f"{row.people} people", size=0.86, colour="quiet", align="center")
    return sheet


def ranged(low: float, value: float, high: float, said: str, likely: str, shape: Shape, share: bool = True) -> Sheet:
    """One number on a line with its likely range: a share from none to all, anything else on a scale that holds nought.

    nan for ``value``: the range alone. ``said`` stands above, ``likely`` below.
    """
    sheet = Sheet(shape)
    u, y = sheet.text, sheet.height * 0.47
    left, width = 0.8 * u, sheet.width - 1.6 * u
    ticks = [0, 0.25, 0.5, 0.75, 1.0] if share else _scale(min(low, 0.0), max(high, 0.0))
    place = lambda at: left + width * (min(max(at, ticks[0]), ticks[-1]) - ticks[0]) / (ticks[-1] - ticks[0])  # noqa: E731
    within = lambda x, text, size: min(max(x, sheet.length(text, size) / 2 + 2), sheet.width - sheet.length(text, size) / 2 - 2)  # noqa: E731
    sheet.box(left, y - 0.3 * u, width, 0.6 * u, colour="grid", fill="grid")
    sheet.box(place(low), y - 0.75 * u, max(place(high) - place(low), 3.0), 1.5 * u, colour="accent", fill="pale")
    for at in ticks:
        name = ("100\u00a0%" if at == 1 else f"{100 * at:g}") if share else f"{at:g}".replace("-", "−")
        if at == ticks[-1] and not share and said.endswith((" years", " year")):
            name = span(at)
        sheet.line(place(at), y - 1.2 * u, place(at), y - 0.8 * u, colour="quiet", width=1.0)
        sheet.put(within(place(at), name, 0.95), y - 2.5 * u, name, size=0.95, colour="quiet", align="center")
    if math.isfinite(value):
        sheet.box(place(value) - 0.16 * u, y - 1.1 * u, 0.32 * u, 2.2 * u, colour="accent", fill="accent")
    sheet.put(within(place(value if math.isfinite(value) else (low + high) / 2), said, 2.4), y + 1.9 * u, said, size=2.4, colour="accent", align="center")
    sheet.put(within((place(low) + place(high)) / 2, likely, 1.0), y - 4.4 * u, likely, size=1.0, align="center")
    return sheet


def _scale(low: float, high: float) -> list[float]:
    """Round marks that hold both ends, at most six steps.

    >>> _scale(0.0, 0.49), _scale(-7.4, 12.0)
    ([0.0, 0.1, 0.2, 0.3, 0.4, 0.5], [-10.0, -5.0, 0.0, 5.0, 10.0, 15.0])
    """
    reach = high - low or 1.0
    power = 10.0 ** math.floor(math.log10(reach))
    step = next(power * part for part in (0.1, 0.2, 0.25, 0.5, 1, 2, 5) if reach / (power * part) <= 6)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(step * k, 10) for k in range(first, last + 1)]


def parted(label: str, one: tuple[str, float, str], other: tuple[str, float, str], shape: Shape) -> Sheet:
    """One bar in two parts that add up to all: (name, share, colour), the first from the left, the second to the right."""
    sheet = Sheet(shape)
    u, y, tall = sheet.text, sheet.height * 0.42, 3.4 * sheet.text
    sheet.put(0, y + tall + 1.1 * u, label, colour="quiet")
    edge = sheet.width * one[1]
    sheet.box(0, y, edge, tall, colour="paper", fill=one[2])
    sheet.box(edge, y, sheet.width - edge, tall, colour="paper", fill=other[2])
    for x, align, (name, share, colour) in ((0, "left", one), (sheet.width, "right", other)):
        sheet.put(x, y - 1.5 * u, f"{name} {percent(share)}", size=1.05, bold=True, colour=colour, align=align)
    return sheet
