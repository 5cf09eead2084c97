"""Estimates one below the other on one axis, each with its likely range, its people and its words: ratios or points."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, Frame, heading, wrapped
from outcomes.present.palette import LIGHT

RATIOS = ((1 / 16, "1/16"), (1 / 8, "1/8"), (1 / 4, "1/4"), (1 / 2, "1/2"), (1, "1"), (2, "2"), (4, "4"), (8, "8"), (16, "16"))
FURTHEST = 16.0


@dataclass(frozen=True)
class Row:
    """One estimate. ``counts``: its people; ``words``: the estimate as it is said; nan limits: none drawn.

    ``heading``: set in bold above the first row that carries it. ``reference``: what the others are compared with, drawn as a
    ring on the line. ``other``: (value, low, high) of a second estimate of the same thing, drawn thin and hollow.
    """

    label: str
    counts: str
    value: float
    low: float
    high: float
    words: str
    heading: str = ""
    reference: bool = False
    other: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Axis:
    """The axis: ``ratio`` draws logarithms around 1, else points around 0. ``sides``: what lies left and right of no difference.

    ``small``: differences up to this size are shaded as too small to matter (points only). ``legend``: names of the filled
    and the hollow mark, where both are drawn.
    """

    ratio: bool
    sides: tuple[str, str]
    small: float = 0.0
    legend: tuple[str, str] | None = None


def forest(rows: list[Row], axis: Axis, frame: Frame, shape: Shape) -> Sheet:
    """Rows of estimates with their ranges; an arrow where a range leaves the axis.

    Raises CannotDraw where there is no estimate.
    """
    if not any(math.isfinite(row.value) and not row.reference for row in rows):
        raise CannotDraw("There is no estimate to draw.")
    if shape.bare:  # one line each: what is compared with stands in the title or the notes
        rows = [replace(row, label=f"{row.heading}: {row.label}" if row.heading else row.label, heading="") for row in rows if not row.reference]
    probe = Sheet(shape)
    u = probe.text
    foot = (5.2 if axis.legend is None else 6.9) * u
    lines = 2.5 if foot + (2.5 * len(rows) + 1.3) * u <= shape.height * 72 else 1.7  # on a slide two lines of words a row where there is room
    step, head = (3.5 if shape.narrow else lines if shape.bare else 2.75) * u, 1.9 * u
    heads = len({row.heading for row in rows if row.heading})
    top = heading(probe, frame.title, frame.subtitle)
    sheet = Sheet(shape, max(shape.height if shape.name == "talk" else 0, (top + heads * head + len(rows) * step + foot + 0.6 * u) / 72))
    heading(sheet, frame.title, frame.subtitle)
    left, right = _margins(sheet, rows, shape)
    body = sheet.height - top - foot
    slack = max(0.0, body - heads * head - len(rows) * step) / max(len(rows), 1)
    axes = sheet.axes(left, foot, right, top)
    low, high = _reach(rows, axis)
    axes.set_xlim(low, high)
    axes.set_ylim(0, body)
    axes.set_yticks([])
    _rule(axes, axis, low, high, u)
    y, said = body, ""
    for row in rows:
        if row.heading and row.heading != said:
            said = row.heading
            y -= head
            sheet.put(0.4 * u, foot + y + 0.35 * u, sheet.cut(said, sheet.width - 0.8 * u, 0.95, True), bold=True, size=0.95)
        y -= step + slack
        _row(sheet, axes, row, axis, (low, high), foot, y + (step + slack) / 2, left, shape, step > 2 * u)
    _below(sheet, axes, axis, foot, left, right, (low, high))
    return sheet


def _margins(sheet: Sheet, rows: list[Row], shape: Shape) -> tuple[float, float]:
    u = sheet.text
    if shape.narrow:
        return 1.2 * u, 1.2 * u
    label = max(max(sheet.length(row.label, 0.95), 0 if shape.bare else sheet.length(row.counts, 0.8)) for row in rows)
    words = max(max(sheet.length(part, 0.9, True) for part in _two(sheet, row.words)) for row in rows)
    return min(label + 2.2 * u, 0.4 * sheet.width), min(words + 1.6 * u, 0.32 * sheet.width)


def _two(sheet: Sheet, text: str) -> list[str]:
    """Words beside a row in at most two lines."""
    return wrapped(sheet, text, 15 * sheet.text, 0.9, True)[:2] or [""]


def _place(value: float, axis: Axis) -> float:
    return math.log(value) if axis.ratio else value


def _reach(rows: list[Row], axis: Axis) -> tuple[float, float]:
    """Both ends of the axis: every range inside it, as far as an eye can compare; no difference always inside."""
    ends = [end for row in rows for end in (row.value, row.low, row.high, *(row.other or ())) if math.isfinite(end) and (end > 0 or not axis.ratio)]
    if axis.ratio:
        low = min([0.5, *(max(end, 1 / FURTHEST) for end in ends)])
        high = max([2.0, *(min(end, FURTHEST) for end in ends)])
        return math.log(low) - 0.12, math.log(high) + 0.12
    least, most = min([0.0, -axis.small, *ends]), max([0.0, axis.small, *ends])
    room = 0.06 * (most - least or 1.0)
    return least - room, most + room


def _rule(axes, axis: Axis, low: float, high: float, u: float) -> None:
    if axis.ratio:
        marks = [(math.log(value), text) for value, text in RATIOS if low <= math.log(value) <= high]
    else:
        width = high - low
        step = next(size for size in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1e9) if width / size <= 6)
        marks = [(k * step, f"{k * step:+g}".replace("-", "−").replace("+0", "0")) for k in range(math.ceil(low / step), math.floor(high / step) + 1)]
    axes.set_xticks([place for place, _ in marks], [text for _, text in marks])
    for place, _ in marks:
        axes.axvline(place, color=LIGHT["grid"], linewidth=u * 0.08, zorder=0)
    if axis.small:
        axes.axvspan(-axis.small, axis.small, color=LIGHT["pale"], linewidth=0, zorder=0)
    axes.axvline(0, color=LIGHT["ink"], linewidth=u * 0.12, zorder=1)


def _row(sheet: Sheet, axes, row: Row, axis: Axis, reach, foot: float, y: float, left: float, shape: Shape, roomy: bool = False) -> None:
    u = sheet.text
    if shape.narrow:
        sheet.put(0.6 * u, foot + y + 0.6 * u, sheet.cut(row.label, sheet.width - 1.2 * u, 0.95), size=0.95)
        sheet.put(sheet.width - 0.6 * u, foot + y + 0.6 * u, row.words if sheet.length(row.words, 0.88, True) < sheet.width - sheet.length(row.label, 0.95) - 3 * u else "", size=0.88, bold=True, align="right")
        at = y - 0.6 * u
    else:
        if shape.bare:
            parts = wrapped(sheet, row.label, left - 1.4 * u, 0.9) if roomy else [sheet.cut(row.label, left - 1.4 * u, 0.9)]
            parts = [parts[0], sheet.cut(" ".join(parts[1:]), left - 1.4 * u, 0.9)] if len(parts) > 1 else parts
            for k, part in enumerate(parts):
                sheet.put(left - 1 * u, foot + y + (0.6 * (len(parts) - 1) - 0.35 - 1.2 * k) * u, part, size=0.9, align="right")
        else:
            sheet.put(left - 1 * u, foot + y + 0.2 * u, sheet.cut(row.label, left - 1.4 * u, 0.95), size=0.95, align="right")
            sheet.put(left - 1 * u, foot + y - 0.95 * u, sheet.cut(row.counts, left - 1.4 * u, 0.8), size=0.8, colour="quiet", align="right")
        lines = _two(sheet, row.words)[: 1 if shape.bare else 2]
        for k, line in enumerate(lines):
            sheet.put(sheet.width - 0.6 * u, foot + y + (0.62 * (len(lines) - 1) - 0.35 - 1.2 * k) * u, line, size=0.9, bold=True, align="right")
        at = y
    if row.reference:
        axes.plot([0], [at], marker="o", markersize=u * 0.62, markerfacecolor=LIGHT["paper"], markeredgecolor=LIGHT["ink"], markeredgewidth=u * 0.13, zorder=4)
        return
    if row.other is not None:
        _mark(axes, row.other, axis, reach, at - 0.62 * u, u, thin=True)
    _mark(axes, (row.value, row.low, row.high), axis, reach, at, u, thin=False)


def _mark(axes, estimate, axis: Axis, reach, y: float, u: float, thin: bool) -> None:
    value, low, high = estimate
    if not math.isfinite(value) or axis.ratio and value <= 0:
        return
    colour = LIGHT["slate"] if thin else LIGHT["accent"]
    edge = (reach[0] + 0.02 * (reach[1] - reach[0]), reach[1] - 0.02 * (reach[1] - reach[0]))
    if math.isfinite(low) or math.isfinite(high):
        ends = [_place(low, axis) if low > 0 or not axis.ratio and math.isfinite(low) else -math.inf, _place(high, axis) if math.isfinite(high) else math.inf]
        shown = [max(ends[0], edge[0]), min(ends[1], edge[1])]
        axes.plot(shown, [y, y], color=colour, linewidth=u * (0.1 if thin else 0.24), solid_capstyle="butt", zorder=3)
        for end, bound, sign in ((ends[0], edge[0], "<"), (ends[1], edge[1], ">")):
            if end < edge[0] or end > edge[1]:
                axes.plot([bound], [y], marker=sign, markersize=u * 0.55, color=colour, zorder=3)
    at = min(max(_place(value, axis), edge[0]), edge[1])
    axes.plot([at], [y], marker="o", markersize=u * (0.5 if thin else 0.8), markerfacecolor=LIGHT["paper"] if thin else colour, markeredgecolor=colour if thin else LIGHT["paper"], markeredgewidth=u * 0.12, zorder=5)


def _below(sheet: Sheet, axes, axis: Axis, foot: float, left: float, right: float, reach) -> None:
    """What lies on either side, under the axis; the legend of the marks under that."""
    u = sheet.text
    width = sheet.width - left - right
    zero = left + width * (0 - reach[0]) / (reach[1] - reach[0])
    y = foot - 2.9 * u
    for text, x, align in ((f"← {axis.sides[0]}", zero - 0.5 * u, "right"), (f"{axis.sides[1]} →", zero + 0.5 * u, "left")):
        length = sheet.length(text, 0.9)
        start = x - length if align == "right" else x
        start = min(max(start, 0.4 * u), sheet.width - length - 0.4 * u)
        fits = start + length <= zero + 0.1 * u if align == "right" else start >= zero - 0.1 * u
        if fits:
            sheet.put(start, y, text, size=0.9, colour="quiet")
        else:  # no room beside the line: below it
            sheet.put(start, y - 1.4 * u, text, size=0.9, colour="quiet")
    if axis.legend is None:
        return
    x = 0.6 * u if sheet.shape.narrow else left
    for text, thin in zip(axis.legend, (False, True)):
        sheet.line(x, 0.9 * u, x + 1.8 * u, 0.9 * u, colour="slate" if thin else "accent", width=u * (0.1 if thin else 0.24))
        sheet.put(x + 2.3 * u, 0.6 * u, text, size=0.85, colour="quiet")
        x += sheet.length(text, 0.85) + 4.4 * u
