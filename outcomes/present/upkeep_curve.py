"""How much upkeep so far: a mean count that rises over time, with its band and the people it rests on."""

from __future__ import annotations

import math

import pandas as pd

from outcomes.present import counts as count_table
from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, Frame, heading
from outcomes.present.palette import LIGHT


def mean_count(steps: pd.DataFrame, ticks: tuple[float, ...], followed: dict[str, tuple[int, ...]], stops: dict[int, float], frame: Frame, shape: Shape, thin: pd.DataFrame | None = None) -> Sheet:
    """A rising step curve. ``steps``: years, mean, low, high; ``followed``: rows of counts at ``ticks`` for information; ``thin``: years, mean of another way of counting, dashed.

    Raises CannotDraw where nobody was followed.
    """
    until = stops.get(shape.stop_at, 0.0)
    steps = steps[steps["years"] <= until]
    if until <= 0 or len(steps) < 2:
        raise CannotDraw("Too few patients were followed to draw how visits add up.")
    steps = pd.concat([steps, steps.iloc[[-1]].assign(years=until)], ignore_index=True)
    shown = count_table.fewer(tuple(t for t in ticks if t <= until + 1e-9), 5 if shape.narrow else 9)
    sheet = Sheet(shape)
    u = sheet.text
    if shape.shown_outside:
        followed = {row: tuple(f"<{shape.stop_at}" if 0 < number < shape.stop_at else number for number in values) for row, values in followed.items()}
    top = heading(sheet, frame.title, frame.subtitle)
    highest = _round_up(float(max(steps["mean"].iloc[-1] * 1.2, steps["high"].max() if steps["high"].notna().any() else 0)))
    labels = [f"{highest * part / 4:g}" for part in range(5)]
    left = max(max(sheet.length(text, 0.92) for text in labels), max(sheet.length(row, 0.86) for row in followed)) + 3.4 * u
    rows = (len(followed) + 0.4) * u * 1.32
    below = rows + 2.2 * u
    right = 1.6 * u
    axes = sheet.axes(left, below + 2.6 * u, right, top + 0.6 * u)
    axes.set_xlim(0, until)
    axes.set_ylim(0, highest)
    axes.set_xticks(list(shown), [f"{tick:g}" for tick in shown])
    axes.set_yticks([highest * part / 4 for part in range(5)], labels)
    axes.grid(axis="y", color=LIGHT["grid"], linewidth=u * 0.08)
    axes.set_axisbelow(True)
    axes.axhline(0, color=LIGHT["quiet"], linewidth=u * 0.1, clip_on=False)
    band = steps.dropna(subset=["low", "high"])
    axes.fill_between(band["years"], band["low"], band["high"], step="post", color=LIGHT["accent"], alpha=0.17, linewidth=0)
    axes.step(steps["years"], steps["mean"], where="post", color=LIGHT["accent"], linewidth=u * 0.2)
    if thin is not None:
        thin = thin[thin["years"] <= until]
        axes.step([*thin["years"], until], [*thin["mean"], thin["mean"].iloc[-1]], where="post", color=LIGHT["ink"], linewidth=u * 0.11, linestyle=(0, (4, 2)))
    width = sheet.width - left - right
    sheet.put(left + width / 2, below + 0.5 * u, frame.axis, size=0.92, colour="quiet", align="center")
    end = float(steps["mean"].iloc[-1])
    box = axes.get_position()
    sheet.put(left + width, (box.y0 + box.height * end / highest) * sheet.height + 0.7 * u, f"{end:.1f} by {until:.1f} years", bold=True, align="right", backed=True)
    y = below - u * 1.32
    for row, values in followed.items():
        sheet.put(left - 2.2 * u, y, row, size=0.86, colour="quiet", align="right")
        for tick in shown:
            sheet.put(left + width * tick / until, y, f"{values[ticks.index(tick)]}", size=0.86, align="center")
        y -= u * 1.32
    return sheet


def _round_up(value: float) -> float:
    """The next scale whose quarters are round.

    >>> _round_up(0.9), _round_up(3.1), _round_up(2.3)
    (1.0, 3.2, 2.4)
    """
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(round(step * power, 10) for step in (1, 1.2, 1.6, 2, 2.4, 3.2, 4, 6, 8, 10) if step * power >= value * (1 - 1e-9))
