"""How alike two groups are: each thing known on day 0, before and after weighting, against what still counts as alike."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes.present.canvas import POINTS, TALK, Shape, Sheet
from outcomes.present.curves import WIDEST, CannotDraw, Frame, heading
from outcomes.present.palette import LIGHT

MOST = 3.0  # SDs; a larger difference is drawn here and said beside its name


def alike(table: pd.DataFrame, limit: float, frame: Frame, shape: Shape) -> Sheet:
    """One row per covariate, largest difference first, on a slide as many as fit. ``table``: covariate, crude, weighted (nan: none), in SDs.

    Raises CannotDraw where there is nothing to compare.
    """
    table = table[table["crude"].notna()]
    if table.empty:
        raise CannotDraw("There is nothing known on the day of delivery by which the groups could differ.")
    far = table["crude"].abs() > MOST  # also where a trait belongs to one group wholly, which has no finite difference
    table = table.assign(covariate=table["covariate"].where(~far, table["covariate"] + f" (over {MOST:g})"), crude=table["crude"].clip(-MOST, MOST))
    table = table.assign(size=table["crude"].abs()).sort_values("size", ascending=False, kind="stable")
    weighted = table["weighted"].notna().any()
    probe = Sheet(shape)
    u = probe.text
    row = 3.1 * u if shape.narrow else 1.9 * u
    top = heading(probe, frame.title, frame.subtitle) + 1.9 * u
    below = 3.6 * u
    if shape is TALK:  # a slide has one height: the largest differences that fit on it
        room = shape.height * POINTS - top - below
        table = table.head(int(room / (1.25 * u)))
        row = min(2.4 * u, room / len(table))
        below += room - row * len(table)
    sheet = Sheet(shape, (top + row * len(table) + below) / POINTS)
    heading(sheet, frame.title, frame.subtitle)
    left = 1.2 * u if shape.narrow else min(max(sheet.length(name, 0.95) for name in table["covariate"]) + 2 * u, (WIDEST + 0.1) * sheet.width)
    right = 2 * u
    most = max(float(table["size"].max()), float(table["weighted"].abs().max()) if weighted else 0.0, 2.5 * limit) * 1.06
    width, foot = sheet.width - left - right, below
    place = lambda value: left + width * min(abs(value), most) / most  # noqa: E731
    head = foot + row * len(table)
    sheet.box(left, foot, place(limit) - left, head - foot, colour="pale", fill="pale")
    sheet.put(left + 0.3 * u, head + 0.5 * u, "alike enough", size=0.86, colour="accent")
    x = sheet.width - right
    for word, colour, full in ((("after weighting", "accent", True),) if weighted else ()) + (("as they were", "signal", False),):
        x -= sheet.length(word, 0.86)
        sheet.put(x, head + 0.5 * u, word, size=0.86, colour=colour)
        _dot(sheet, x - 0.8 * u, head + 0.8 * u, colour, full)
        x -= 2.4 * u
    step = next(step for step in (0.1, 0.2, 0.5, 1, 2, 5, 10) if most / step <= (5 if shape.narrow else 8))
    for tick in np.arange(0, most, step):
        sheet.line(place(tick), foot, place(tick), head, colour="grid", width=0.6)
        sheet.put(place(tick), foot - 1.3 * u, f"{tick:g}", size=0.86, colour="quiet", align="center")
    sheet.put(left + width / 2, foot - 2.8 * u, frame.axis, size=0.92, colour="quiet", align="center")
    y = head
    for one in table.itertuples():
        y -= row
        dots = y + (0.75 * u if shape.narrow else row / 2)
        if shape.narrow:
            sheet.put(left, y + 1.7 * u, sheet.cut(one.covariate, sheet.width - left - 0.4 * u, 0.92), size=0.92)
        else:
            sheet.put(left - 1 * u, dots, sheet.cut(one.covariate, left - 1.4 * u, 0.95), size=0.95, align="right", middle=True)
        if weighted:
            sheet.line(place(one.crude), dots, place(one.weighted), dots, colour="slate", width=0.8)
        _dot(sheet, place(one.crude), dots, "signal", False)
        if weighted:
            _dot(sheet, place(one.weighted), dots, "accent", True)
    return sheet


def _dot(sheet: Sheet, x: float, y: float, colour: str, full: bool) -> None:
    from matplotlib.patches import Circle

    sheet.figure.add_artist(Circle((x, y), sheet.text * 0.42, transform=sheet.points, edgecolor=LIGHT[colour], facecolor=LIGHT[colour] if full else LIGHT["paper"], linewidth=sheet.text * 0.16, zorder=5))
