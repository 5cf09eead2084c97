"""Standards year by year: a panel for each, its years side by side with their likely ranges, the standard as a line across."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, heading
from outcomes.present.palette import LIGHT
from outcomes.present.words import percent

MOST_ON_A_SLIDE = 5  # years; a slide shows the last ones only
MARKS = {"met": ("o", "accent", True), "not met": ("D", "signal", True), "cannot tell": ("o", "slate", False)}
SILENT = {"too early to tell": "…", "too few to tell": "–"}


@dataclass(frozen=True)
class Panel:
    """One standard. ``points``: year, share, low, high (nan: none), patients, verdict; ``asked``: "at least 90 % at 2 years"."""

    name: str
    asked: str
    standard: float
    points: pd.DataFrame


def years(panels: tuple[Panel, ...], shown: tuple[int, ...], shape: Shape) -> Sheet:
    """Panels in rows of two (one on a phone, three on a slide), each year a mark with its range, and its patients below.

    On a slide no year of fewer than ten patients is drawn. Raises CannotDraw where there is nothing to draw.
    """
    if shape.shown_outside:
        shown = shown[-MOST_ON_A_SLIDE:]
        panels = tuple(Panel(one.name, one.asked, one.standard, _outside(one.points, shown)) for one in panels)
    panels = tuple(one for one in panels if one.points["share"].notna().any() or not shape.shown_outside)
    if not panels:
        raise CannotDraw("No year has people enough to be shown.")
    across = 1 if shape.narrow else min(len(panels), 3 if shape.shown_outside and len(panels) > 4 else 2)
    down = math.ceil(len(panels) / across)
    probe = Sheet(shape)
    u = probe.text
    top, foot, tall = heading(probe, "The standards, year by year", "Each year judged alone. Bars: likely range."), 2.4 * u, 12.4 * u
    sheet = Sheet(shape, max(shape.height if shape.name == "talk" else 0.0, (top + foot + down * tall) / 72))
    heading(sheet, "The standards, year by year", "Each year judged alone. Bars: likely range.")
    tall = (sheet.height - top - foot) / down
    wide = sheet.width / across
    for place, one in enumerate(panels):
        _panel(sheet, one, shown, (place % across) * wide, sheet.height - top - (place // across + 1) * tall, wide, tall)
    _legend(sheet, panels)
    return sheet


def _outside(points: pd.DataFrame, shown: tuple[int, ...]) -> pd.DataFrame:
    """The last years, those of few people without their share and their count."""
    points = points[points["year"].isin(shown)].copy()
    few = (points["patients"] > 0) & (points["patients"] < 10)
    points.loc[few, ["share", "low", "high"]] = float("nan")
    points.loc[few, "verdict"] = "too few to tell"
    return points


def _panel(sheet: Sheet, one: Panel, shown: tuple[int, ...], left: float, bottom: float, wide: float, tall: float) -> None:
    u = sheet.text
    edge, floor, head = 3.4 * u, 2.9 * u, 3.6 * u
    sheet.put(left + 0.5 * u, bottom + tall - 1.2 * u, sheet.cut(one.name, wide - 1.2 * u, 0.95, True), bold=True, size=0.95)
    sheet.put(left + 0.5 * u, bottom + tall - 2.4 * u, sheet.cut(one.asked, wide - 1.2 * u, 0.85), size=0.85, colour="quiet")
    axes = sheet.axes(left + edge, bottom + floor, sheet.width - left - wide + 0.8 * u, sheet.height - bottom - tall + head)
    axes.set_xlim(-0.5, len(shown) - 0.5)
    axes.set_ylim(0, 1)
    axes.set_yticks([0, 0.5, 1], [percent(0.0), percent(0.5), percent(1.0)], fontsize=u * 0.85)
    axes.set_xticks([])
    axes.grid(axis="y", color=LIGHT["grid"], linewidth=u * 0.08)
    axes.set_axisbelow(True)
    axes.axhline(one.standard, color=LIGHT["ink"], linewidth=u * 0.11, linestyle=(0, (4, 2)))
    slot = (wide - edge - 0.8 * u) / len(shown)
    step = max(1, math.ceil(max(sheet.length("2024", 0.8), sheet.length("999", 0.8)) * 1.15 / slot))
    points = {int(row.year): row for row in one.points.itertuples()}
    for place, year in enumerate(shown):
        x, row = left + edge + slot * (place + 0.5), points.get(year)
        if (len(shown) - 1 - place) % step == 0:
            sheet.put(x, bottom + 1.75 * u, str(year), size=0.8, colour="ink", align="center")
            if row is not None:
                few = sheet.shape.shown_outside and 0 < row.patients < 10
                sheet.put(x, bottom + 0.65 * u, "<10" if few else str(int(row.patients)), size=0.8, colour="quiet", align="center")
        if row is None:
            continue
        if math.isnan(row.share):
            sheet.put(x, bottom + floor + (tall - floor - head) * 0.5, SILENT.get(row.verdict, "–"), size=0.95, colour="quiet", align="center", middle=True)
            continue
        mark, colour, full = MARKS[row.verdict]
        if not math.isnan(row.low):
            axes.plot([place, place], [row.low, row.high], color=LIGHT[colour], linewidth=u * 0.3, solid_capstyle="butt", zorder=3)
        axes.plot([place], [row.share], marker=mark, markersize=u * (0.5 if mark == "D" else 0.56), markerfacecolor=LIGHT[colour] if full else LIGHT["paper"], markeredgecolor=LIGHT["paper"] if full else LIGHT[colour],
                  markeredgewidth=u * (0.1 if full else 0.15), zorder=4, clip_on=False)  # fmt: skip


def _legend(sheet: Sheet, panels: tuple[Panel, ...]) -> None:
    """What the marks mean, those that occur."""
    u, x, y = sheet.text, 0.5 * sheet.text, 0.9 * sheet.text
    here = set().union(*(set(one.points["verdict"]) for one in panels))
    for verdict, (mark, colour, full) in MARKS.items():
        if verdict in here:
            axes = sheet.axes(x, y - 0.1 * u, sheet.width - x - 0.9 * u, sheet.height - y - 0.8 * u)
            axes.set_axis_off()
            axes.plot([0], [0], marker=mark, markersize=u * 0.72, markerfacecolor=LIGHT[colour] if full else LIGHT["paper"], markeredgecolor=LIGHT[colour], markeredgewidth=u * 0.16, clip_on=False)
            x = _say(sheet, x + 1.3 * u, y, verdict)
    for verdict, sign in SILENT.items():
        if verdict in here:
            x = _say(sheet, x, y, f"{sign} {verdict.removesuffix(' to tell') if sheet.shape.narrow else verdict}")


def _say(sheet: Sheet, x: float, y: float, text: str) -> float:
    sheet.put(x, y, text, size=0.8, colour="quiet")
    return x + sheet.length(text, 0.8) + 1.3 * sheet.text
