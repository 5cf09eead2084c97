"""A smooth curve drawn over what was seen, so that anybody can judge whether its shape fits."""

from __future__ import annotations

import pandas as pd

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, Frame, Line, survival
from outcomes.present.palette import LIGHT


def fitted(line: Line, smooth: pd.DataFrame, frame: Frame, shape: Shape, others: dict[str, pd.DataFrame] | None = None) -> Sheet:
    """The curve of ``line`` with a smooth one over it. ``smooth``: years, share, low, high; ``others``: further shapes, drawn thin.

    The smooth curve stops where the other stops. Raises CannotDraw where either has no point.
    """
    if smooth.empty:
        raise CannotDraw("There is no smooth curve to draw.")
    plain = Line(line.label, line.steps.assign(low=float("nan"), high=float("nan")), line.counts, line.stops, line.boxes, None, line.colour)
    sheet = survival([plain], frame, shape)
    axes, u = sheet.figure.axes[0], sheet.text
    end = min(axes.get_xlim()[1], line.stops.get(shape.stop_at, float("inf")))
    here = smooth[smooth["years"] <= end + 1e-9]
    if len(here) < 2:
        raise CannotDraw("Too few patients were followed to draw a smooth curve.")
    bounded = here.dropna(subset=["low", "high"])
    axes.fill_between(bounded["years"], bounded["low"], bounded["high"], color=LIGHT["signal"], alpha=0.13, linewidth=0, zorder=2)
    for other in (others or {}).values():
        part = other[other["years"] <= end + 1e-9]
        axes.plot(part["years"], part["share"], color=LIGHT["slate"], linewidth=u * 0.09, linestyle=(0, (3, 1.5)), zorder=3)
    axes.plot(here["years"], here["share"], color=LIGHT["signal"], linewidth=u * 0.2, zorder=4)
    return sheet
