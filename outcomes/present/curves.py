"""Curves of how many are still working: a step curve with its band, or a curve that shows what is not known as boxes."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from outcomes.present import counts as count_table
from outcomes.present.canvas import CannotDraw, Shape, Sheet
from outcomes.present.counts import Counts
from outcomes.present.palette import LIGHT, SERIES

MOST_LINES = 6
LEAST_HIGH = 0.5  # of a narrow sheet's width
WIDEST = 0.36  # share of a sheet that names beside what is drawn may take


@dataclass(frozen=True)
class Line:
    """One group's curve, times in years.

    ``steps``: years, share, low, high; each row holds from its time to the next row's (nan limits: none drawn).
    ``boxes``: start, end, above, below: between ``start`` and ``end`` the share went from ``above`` to ``below``, nobody knows when.
    ``band``: years, low, high, piece: limits along each stretch that is known, where there are boxes. ``stops``: patients
    still followed to the last year with so many. ``reaches``: (years, low, high), limits at single times where a line of several has no band.
    """

    label: str
    steps: pd.DataFrame
    counts: Counts
    stops: dict[int, float] = field(default_factory=dict)
    boxes: pd.DataFrame | None = None
    band: pd.DataFrame | None = None
    colour: str | None = None
    reaches: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class Frame:
    """What is said around a figure. ``title`` says what is shown, ``subtitle`` in whom; ``axis`` names the time axis."""

    title: str
    subtitle: str
    axis: str = "years since fitting"
    marks: tuple[tuple[float, float, str], ...] = ()  # (years, share, words): points of the curve said in words
    thin: pd.DataFrame | None = None  # another view of the same data, drawn thin: years, share
    thin_label: str = ""
    reaches: tuple[tuple[float, float, float], ...] = ()  # (years, low, high): limits at single times, where there is no band


def survival(lines: list[Line], frame: Frame, shape: Shape) -> Sheet:
    """Curves with bands and their counts. Each stops where fewer than the shape's number of patients are still followed.

    Raises CannotDraw for no line at all and for more groups than can be told apart.
    """
    lines = [_stopped(line, shape.stop_at) for line in lines]
    if not lines:
        raise CannotDraw("There is nobody to draw a curve for.")
    if len(lines) > MOST_LINES:
        raise CannotDraw(f"{len(lines)} groups cannot be told apart in one figure; the table gives them all. Choose at most {MOST_LINES}.")
    horizon = max(float(line.steps["years"].iloc[-1]) for line in lines)
    tables = _tables(lines, horizon, shape)
    sheet, axes, place, rows_end, below = _stage(lines, tables, frame, shape, max(horizon, 0.25))
    styles = [(line.colour or LIGHT[colour], dash) for line, (colour, dash) in zip(lines, SERIES)]
    _reaches(sheet, axes, frame.reaches, styles[0][0], float(lines[0].steps["years"].iloc[-1]))
    for place_of, (line, (colour, dash)) in enumerate(zip(lines, styles)):
        _reaches(sheet, axes, line.reaches, colour, float(line.steps["years"].iloc[-1]), 0.7 * sheet.text * (place_of - (len(lines) - 1) / 2))
        _band(axes, line, colour, 0.17 if len(lines) == 1 else 0.1)
        if line.boxes is None:
            axes.step(line.steps["years"], line.steps["share"], where="post", color=colour, linestyle=dash, linewidth=sheet.text * 0.2)
        else:
            _boxes(axes, line, colour, sheet.text)
    _thin(sheet, axes, frame, shape)
    _marks(sheet, axes, place, frame, styles[0][0], float(lines[0].steps["years"].iloc[-1]))
    if len(lines) > 1:
        _name_lines(sheet, axes, lines, styles)
    count_table.draw(sheet, [(line.label, colour, counts) for line, (colour, _), counts in zip(lines, styles, tables)], place, rows_end, below)
    return sheet


def _stopped(line: Line, stop_at: int) -> Line:
    """The line cut at the last year with enough patients."""
    until = line.stops.get(stop_at)
    if until is None:
        return line
    steps = line.steps[line.steps["years"] <= until]
    if steps.empty:
        steps = line.steps.iloc[:1]
    last = steps.iloc[[-1]].assign(years=until)
    boxes = None if line.boxes is None else line.boxes[line.boxes["end"] <= until]
    band = None if line.band is None else line.band[line.band["years"] <= until]
    return replace(line, steps=pd.concat([steps, last], ignore_index=True), stops={}, boxes=boxes, band=band)


def _tables(lines: list[Line], horizon: float, shape: Shape) -> list[Counts]:
    """Each line's counts at the times that fit under the axis."""
    shared = tuple(tick for tick in lines[0].counts.ticks if all(tick in line.counts.ticks for line in lines))
    ticks = count_table.fewer(tuple(t for t in shared if t <= horizon + 1e-9) or shared[:1], 5 if shape.narrow else 9)
    return [count_table.shown(line.counts.at(ticks), shape, line.label if len(lines) > 1 else "") for line in lines]


def _stage(lines, tables, frame: Frame, shape: Shape, horizon: float):
    """Sheet and axes with room for title, row labels, line labels and counts."""
    probe = Sheet(shape)
    u = probe.text
    rows = count_table.height(probe, tables)
    extra = max(0.0, rows - shape.room * u * 1.32)
    if shape.narrow:  # the curves keep a height that can be read, however many counts stand below
        around = heading(probe, frame.title, frame.subtitle) + (len(lines) * 1.5 * u if len(lines) > 1 else 0) + rows + 6 * u
        extra = max(extra, around + LEAST_HIGH * probe.width - probe.height)
    sheet = Sheet(shape, shape.height + extra / 72)
    first = count_table.first_width(sheet, tables)
    left = max(count_table.row_width(sheet, tables) + first + 1.6 * u, sheet.length("100 %", 0.92) + 1.4 * u)
    right = 1.6 * u if len(lines) == 1 or shape.narrow else min(max(sheet.length(line.label, 0.95, True) for line in lines) + 1.4 * u, WIDEST * sheet.width)
    right = max(right, 1.6 * u)
    top = heading(sheet, frame.title, frame.subtitle) + (len(lines) * 1.5 * u + 0.6 * u if shape.narrow and len(lines) > 1 else 0)
    below = rows + 2.2 * u  # room under the axis title
    axes = sheet.axes(left, below + 2.6 * u, right, top + 0.6 * u)
    share_axis(axes, sheet)
    axes.set_xlim(0, horizon)
    axes.set_xticks(list(tables[0].ticks), [f"{tick:g}" for tick in tables[0].ticks])
    width = sheet.width - left - right

    def place(years: float) -> float:
        return left + width * years / horizon

    sheet.put(left + width / 2, below + 0.5 * u, frame.axis, size=0.92, colour="quiet", align="center")
    return sheet, axes, place, left - first - 0.8 * u, below


def heading(sheet: Sheet, title: str, subtitle: str) -> float:
    """Title and subtitle from the top left corner, wrapped to the sheet; returns the points they take."""
    u, y = sheet.text, sheet.height - 0.4 * sheet.text
    if sheet.shape.bare:
        return 0.6 * u
    for text, size, bold, colour in ((title, 1.08, True, "ink"), (subtitle, 0.9, False, "quiet")):
        for line in wrapped(sheet, text, sheet.width - 0.8 * u, size, bold):
            y -= 1.38 * u * size
            sheet.put(0.4 * u, y, line, size=size, bold=bold, colour=colour)
    return sheet.height - y + 0.8 * u


def wrapped(sheet: Sheet, text: str, width: float, size: float = 1.0, bold: bool = False) -> list[str]:
    """``text`` in lines no wider than ``width`` points; a word too long for a line is cut."""
    lines: list[str] = []
    for word in text.split(" "):
        while sheet.length(word, size, bold) > width and len(word) > 1:
            keep = len(word)
            while keep > 1 and sheet.length(word[:keep], size, bold) > width:
                keep -= 1
            lines.append(word[:keep])
            word = word[keep:]
        if lines and sheet.length(f"{lines[-1]} {word}", size, bold) <= width:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return [line for line in lines if line]


def share_axis(axes, sheet: Sheet) -> None:
    """0 to 100 %, never cut, with quiet rules."""
    axes.set_ylim(0, 1)
    axes.set_yticks([0, 0.25, 0.5, 0.75, 1], ["0", "25", "50", "75", "100 %"])
    axes.grid(axis="y", color=LIGHT["grid"], linewidth=sheet.text * 0.08)
    axes.set_axisbelow(True)
    axes.axhline(0, color=LIGHT["quiet"], linewidth=sheet.text * 0.1, clip_on=False)


def _band(axes, line: Line, colour: str, alpha: float) -> None:
    if line.boxes is None:
        steps = line.steps.dropna(subset=["low", "high"])
        if len(steps):
            axes.fill_between(steps["years"], steps["low"], steps["high"], step="post", color=colour, alpha=alpha, linewidth=0)
    elif line.band is not None:
        for _, piece in line.band.groupby("piece"):  # limits belong to the stretches that are known, never across a box
            axes.fill_between(piece["years"], piece["low"], piece["high"], color=colour, alpha=alpha, linewidth=0)


def _flats(line: Line) -> pd.DataFrame:
    """The stretches between boxes: start, end, share."""
    boxes = line.boxes.sort_values("start")
    end = float(line.steps["years"].iloc[-1])
    edges = pd.DataFrame({"start": [0.0, *boxes["end"]], "end": [*boxes["start"], end], "share": [1.0, *boxes["below"]]})
    return edges[edges["end"] > edges["start"]]


def _boxes(axes, line: Line, colour: str, text: float) -> None:
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    shapes = [Rectangle((row.start, row.below), row.end - row.start, row.above - row.below) for row in line.boxes.itertuples()]
    axes.add_collection(PatchCollection(shapes, facecolor=colour, alpha=0.42, edgecolor="none"))
    for row in _flats(line).itertuples():
        axes.plot([row.start, row.end], [row.share, row.share], color=colour, linewidth=text * 0.22, solid_capstyle="butt")


def _thin(sheet: Sheet, axes, frame: Frame, shape: Shape) -> None:
    if frame.thin is None or frame.thin.empty:
        return
    end = axes.get_xlim()[1]
    thin = frame.thin[frame.thin["years"] <= end]
    axes.step([*thin["years"], end], [*thin["share"], thin["share"].iloc[-1]], where="post", color=LIGHT["quiet"], linewidth=sheet.text * 0.1, linestyle=(0, (4, 2)))


def _reaches(sheet: Sheet, axes, reaches, colour: str, end: float, aside: float = 0.0) -> None:
    """Limits at single times, as upright bars behind the curve; ``aside``: points by which bars of several curves keep apart."""
    box = axes.get_position()
    step = aside / (box.width * sheet.width) * axes.get_xlim()[1]
    for years, low, high in reaches:
        if years <= end + 1e-9:
            axes.plot([years + step] * 2, [low, high], color=colour, alpha=0.35, linewidth=sheet.text * 0.55, solid_capstyle="butt", clip_on=False, zorder=1)


def _marks(sheet: Sheet, axes, place, frame: Frame, colour: str, end: float) -> None:
    """A dot on the curve with its words, where a falling curve leaves room: above to the right, or below to the left."""
    box = axes.get_position()
    for years, share, words in frame.marks:
        if years > end + 1e-9:
            continue
        axes.plot([years], [share], marker="o", markersize=sheet.text * 0.62, color=colour, markeredgecolor=LIGHT["paper"], markeredgewidth=sheet.text * 0.12, clip_on=False, zorder=5)
        x = place(years)
        room = sheet.width - x - sheet.text * 0.5
        align = "left" if sheet.length(words, 1, True) < room else "right"
        y = (box.y0 + box.height * share) * sheet.height
        sheet.put(x + (0.5 if align == "left" else -0.5) * sheet.text, y + (0.75 if align == "left" else -1.5) * sheet.text, words, bold=True, align=align, backed=True)


def _name_lines(sheet: Sheet, axes, lines: list[Line], styles) -> None:
    """Each line's name at its end, pushed apart; on a narrow sheet in a row of samples above the axes."""
    u, box = sheet.text, axes.get_position()
    if sheet.shape.narrow:
        y = box.y1 * sheet.height + 1.2 * u + (len(lines) - 1) * 1.5 * u
        for line, (colour, dash) in zip(lines, styles):
            sheet.line(0.6 * u, y + 0.3 * u, 3.2 * u, y + 0.3 * u, colour=colour, width=u * 0.2, dash=dash if line.boxes is None else "-")  # stretches between boxes are drawn whole
            sheet.put(3.8 * u, y, sheet.cut(line.label, sheet.width - 4.2 * u, 0.95, True), size=0.95, colour=colour, bold=True)
            y -= 1.5 * u
        return
    wanted = [(box.y0 + box.height * float(line.steps["share"].iloc[-1])) * sheet.height for line in lines]
    for line, (colour, _), y in zip(lines, styles, spread(wanted, 1.3 * u, box.y0 * sheet.height, box.y1 * sheet.height)):
        _lead(sheet, axes, line, colour, y)
        sheet.put(box.x1 * sheet.width + 0.7 * u, y, sheet.cut(line.label, (1 - box.x1) * sheet.width - u, 0.95, True), size=0.95, colour=colour, bold=True, middle=True)


def _lead(sheet: Sheet, axes, line: Line, colour: str, y: float) -> None:
    """Dots from the end of a curve that stops early to its name at the edge."""
    u, box = sheet.text, axes.get_position()
    end, share = (float(line.steps[name].iloc[-1]) for name in ("years", "share"))
    x = (box.x0 + box.width * end / axes.get_xlim()[1]) * sheet.width
    if x < box.x1 * sheet.width - 2 * u:
        sheet.line(x + 0.3 * u, (box.y0 + box.height * share) * sheet.height, box.x1 * sheet.width + 0.4 * u, y, colour=colour, width=u * 0.09, dash=(0, (1, 2.5)))


def spread(wanted: list[float], gap: float, low: float, high: float) -> list[float]:
    """The nearest heights to ``wanted`` that are ``gap`` apart and within ``low`` to ``high`` where that can be.

    >>> spread([10, 10], 4, 0, 20)
    [8.0, 12.0]
    """
    order = np.argsort(wanted, kind="stable")
    heights = np.asarray(wanted, float)[order]
    offsets = np.arange(len(heights)) * gap
    level = heights - offsets  # isotonic least squares on what is left after taking the gaps out
    blocks: list[list[float]] = []
    for value in level:
        blocks.append([value, 1])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            last, weight = blocks.pop()
            first, count = blocks.pop()
            blocks.append([(first * count + last * weight) / (count + weight), count + weight])
    fitted = np.repeat([b[0] for b in blocks], [int(b[1]) for b in blocks]) + offsets
    fitted += max(0.0, low - fitted[0])
    fitted -= max(0.0, fitted[-1] - high)
    out = np.empty(len(fitted))
    out[order] = fitted
    return out.tolist()
