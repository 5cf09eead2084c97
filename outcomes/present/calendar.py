"""The log itself, month by month: visits by what they were for, months in which nobody was seen, visits at which nothing was looked at."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from outcomes.present import words
from outcomes.present.canvas import POINTS, Shape, Sheet
from outcomes.present.curves import WIDEST, CannotDraw, Frame, heading
from outcomes.present.palette import LIGHT

PALEST, LOWEST = 0.7, 0.34  # of the colour and of the height, where there are fewest: told by height as well as by shade
LEAST = 2.6  # points of width below which months go together
TOGETHER = ((1, "month"), (3, "quarter"), (12, "year"), (60, "5 years"))


@dataclass(frozen=True)
class Calendar:
    """``visits``: one row per month without a gap (index: first day of the month), one column of counts per reason, in order.

    ``gaps``: the same months, one column of counts per thing that is missing, drawn below in another colour; ``silent``: name
    of the row that marks months in which nobody was seen (``seen`` is 0 there).
    """

    visits: pd.DataFrame
    gaps: pd.DataFrame
    seen: pd.Series
    silent: str = "nobody seen"


def calendar(what: Calendar, frame: Frame, shape: Shape) -> Sheet:
    """A strip of months: a row per reason, higher and darker where there were more visits; below it what the log lacks.

    Where months would be too narrow, quarters or years stand for them. On a talk reasons with fewer than ten visits go together
    with the next larger ones, and a gap of fewer than ten is left out. Raises CannotDraw for a log without a visit, and for a
    talk on fewer than ten.
    """
    if what.visits.empty or int(what.visits.to_numpy().sum()) == 0:
        raise CannotDraw("There is no visit to draw: the log is empty.")
    least = 10 if shape.shown_outside else 1
    if int(what.visits.to_numpy().sum()) < least:
        raise CannotDraw(f"The log holds fewer than {least} visits: too few to be shown outside the clinic.")
    visits = _folded(what.visits[[name for name in what.visits if what.visits[name].sum() > 0]], least)
    rows = [(name, visits[name], "accent") for name in visits]
    rows += [(name, what.gaps[name], "signal") for name in what.gaps if not 0 < what.gaps[name].sum() < least]
    probe = Sheet(shape)
    u = probe.text
    left = min(max(probe.length(text, 0.92) for text in [*(name for name, _, _ in rows), what.silent]) + 1.8 * u, WIDEST * probe.width)
    totals = [_total(int(values.sum())) for _, values, _ in rows]
    right = max(probe.length(text, 0.86) for text in [*totals, "in all", "888 months"]) + 1.6 * u
    width = probe.width - left - right
    months, unit = next(((months, unit) for months, unit in TOGETHER if len(what.visits) / months * LEAST <= width), TOGETHER[-1])
    rows = [(name, _together(values, months), colour) for name, values, colour in rows]
    silent = (what.seen == 0).astype(int)
    silences = words.count(int(silent.sum()), "month")
    silent = _together(silent, months)
    edges = _classes(max(int(values.max()) for _, values, _ in rows), least)
    top = heading(probe, frame.title, frame.subtitle) + 1.9 * u
    step, below = 2.1 * u, 6.2 * u
    split = sum(colour == "accent" for _, _, colour in rows)
    if shape.name == "talk":  # a slide keeps its form: rows share its height
        below = 4.9 * u
        step = min(max((shape.height * POINTS - top - below - 1.2 * u) / (len(rows) + 1), 1.35 * u), 3 * u)
    need = (top + (len(rows) + 1) * step + 1.2 * u + below) / POINTS
    sheet = Sheet(shape, max(shape.height, need) if shape.name == "talk" else need)
    heading(sheet, frame.title, frame.subtitle)
    sheet.put(sheet.width - 0.6 * u, sheet.height - top + 0.5 * u, "in all", size=0.86, colour="quiet", align="right")
    cell, y = width / len(silent), sheet.height - top

    def quiet_months(y: float) -> None:
        _row(sheet, y, left, width, step, what.silent, silences)
        for place in (place for place, months_silent in enumerate(silent) if months_silent > 0):
            _cell(sheet, left + place * cell, y + 0.12 * step, cell, 0.3 * step, "ink", 1.0)

    for k, ((name, values, colour), total) in enumerate(zip(rows, totals)):
        if k == split:
            quiet_months(y := y - step)
            y -= 1.2 * u
        y -= step
        _row(sheet, y, left, width, step, name, total)
        for place, value in enumerate(values):
            if value > 0:
                height, shade = _look(int(value), edges)
                _cell(sheet, left + place * cell, y + 0.12 * step, cell, 0.76 * step * height, colour, shade)
    if split == len(rows):
        quiet_months(y := y - step)
    _years(sheet, left, y, cell, silent.index)
    _legend(sheet, edges, unit)
    return sheet


def _folded(visits: pd.DataFrame, least: int) -> pd.DataFrame:
    """Reasons with fewer than ``least`` visits in one column "other", with the next larger ones until nobody can tell them apart.

    >>> _folded(pd.DataFrame({"recall": [40], "lost part": [3], "hygiene": [12], "laboratory": [2]}), 10).iloc[0].to_dict()
    {'recall': 40, 'other': 17}
    """
    totals = visits.sum().sort_values(kind="stable")
    few = int((totals < least).sum())
    if few == 0:
        return visits
    while few < len(totals) and (few == 1 or totals.iloc[:few].sum() < least):
        few += 1
    names = list(dict.fromkeys([*totals.index[:few], *(name for name in visits if name == "other")]))
    return visits.drop(columns=names).assign(other=visits[names].sum(axis=1))


def _together(values: pd.Series, months: int) -> pd.Series:
    """Counts of so many months summed, each group under its first month; groups begin with a January where they can."""
    if months == 1:
        return values
    first = values.index[0]
    shift = (first.month - 1) % min(months, 12)
    group = [(i + shift) // months for i in range(len(values))]
    return values.groupby(group).sum().set_axis([values.index[group.index(one)] for one in sorted(set(group))])


def _classes(most: int, least: int) -> tuple[int, ...]:
    """Lower edges of the shades above the first, round numbers; the first holds everything from 1.

    >>> _classes(3, 1), _classes(24, 1), _classes(900, 10)
    ((2, 3), (2, 5, 10), (100, 200, 500))
    """
    round_numbers = range(2, most + 1) if most <= 4 else (part * 10**power for power in range(9) for part in (1, 2, 5) if 1 < part * 10**power <= 0.8 * most)
    return tuple(edge for edge in tuple(round_numbers)[-3:] if edge >= least)


def _look(value: int, edges: tuple[int, ...]) -> tuple[float, float]:
    """(height, shade) of a count: from the lowest and palest to the full cell."""
    part = (sum(value >= edge for edge in edges)) / len(edges) if edges else 1.0
    return LOWEST + (1 - LOWEST) * part, PALEST + (1 - PALEST) * part


def _total(value: int) -> str:
    return words.count(value, "", "-").removesuffix("-").strip()


def _row(sheet: Sheet, y: float, left: float, width: float, step: float, name: str, total: str) -> None:
    sheet.put(left - 0.9 * sheet.text, y + 0.36 * step, sheet.cut(name, left - 1.2 * sheet.text, 0.92), size=0.92, align="right")
    sheet.put(sheet.width - 0.6 * sheet.text, y + 0.36 * step, total, size=0.86, bold=True, align="right")
    sheet.line(left, y, left + width, y, colour="grid", width=0.6)


def _cell(sheet: Sheet, x: float, y: float, width: float, height: float, colour: str, shade: float) -> None:
    from matplotlib.patches import Rectangle

    gap = 0.6 if width > 4 else 0.0  # a seam between months wide enough to be told apart
    sheet.figure.add_artist(Rectangle((x, y), width - gap, height, transform=sheet.points, facecolor=LIGHT[colour], alpha=shade, linewidth=0))


def _years(sheet: Sheet, left: float, y: float, cell: float, months: pd.DatetimeIndex) -> None:
    """Januaries along the foot, as many as fit."""
    u = sheet.text
    places = [(place, month.year) for place, month in enumerate(months) if month.month == 1 or place == 0 or months[place - 1].year != month.year]
    free = -1e9
    for place, year in places:
        x = left + place * cell
        sheet.line(x, y - 0.5 * u, x, y, colour="quiet", width=0.7)
        if x >= free and x + sheet.length(f"{year}", 0.86) <= sheet.width - 0.3 * u:
            sheet.put(x, y - 1.5 * u, f"{year}", size=0.86, colour="quiet")
            free = x + sheet.length(f"{year}", 0.86) + 0.8 * u


def _legend(sheet: Sheet, edges: tuple[int, ...], unit: str) -> None:
    u = sheet.text
    starts = (1, *edges)
    names = [f"{start}" if stop == start + 1 else f"{start} to {stop - 1}" for start, stop in zip(starts, edges)]
    names.append(f"{starts[-1]} or more" if edges else "1 or more")
    x, y = 0.6 * u, 2.0 * u if sheet.shape.narrow else 0.9 * u
    title = f"in a {unit}:" if unit != "5 years" else "in 5 years:"
    sheet.put(x, y, title, size=0.86, colour="quiet")
    x += sheet.length(title, 0.86) + 0.9 * u
    for start, name in zip(starts, names):
        if x + 3.6 * u + sheet.length(name, 0.86) > sheet.width:
            x, y = 0.6 * u, y - 1.4 * u
        height, shade = _look(start, edges)
        for place, colour in enumerate(("accent", "signal")):
            _cell(sheet, x + 1.2 * place * u, y - 0.1 * u, 1.1 * u, 1.1 * u * height, colour, shade)
        sheet.put(x + 2.8 * u, y, name, size=0.86)
        x += 4.2 * u + sheet.length(name, 0.86)
