"""The table of counts under a curve: at every time its rows add up to everybody who came in."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from outcomes.present.words import shortened

ENTERED = "entered"
FOLLOWED = "patients followed"


@dataclass(frozen=True)
class Counts:
    """Counts at the times of an axis, "before" each time: whoever failed or left on that very day is still at risk.

    ``ticks``: times in years. ``rows``: label to one count per tick; all but "entered" and those in ``beside`` add up to the
    entered (or to ``total`` where all entered at 0). ``unit``: what is counted ("housings"). ``beside``: rows printed for
    information that are no part of the sum, such as patients.
    """

    unit: str
    total: int
    ticks: tuple[float, ...]
    rows: dict[str, tuple[int, ...]]
    beside: tuple[str, ...] = ()

    def expected(self) -> tuple[int, ...]:
        """What the rows must add up to at each tick."""
        return self.rows.get(ENTERED, (self.total,) * len(self.ticks))

    def sums(self) -> tuple[int, ...]:
        """What the rows do add up to at each tick."""
        parts = [values for label, values in self.rows.items() if label != ENTERED and label not in self.beside]
        return tuple(sum(column) for column in zip(*parts)) if parts else (0,) * len(self.ticks)

    def __post_init__(self):
        wrong = [label for label, values in self.rows.items() if len(values) != len(self.ticks)]
        if wrong:
            raise ValueError(f"row {wrong[0]} has {len(self.rows[wrong[0]])} counts for {len(self.ticks)} times")
        if self.sums() != self.expected():
            raise ValueError(f"the counts of {self.unit} do not add up: {self.sums()} against {self.expected()}")

    def at(self, ticks) -> Counts:
        """The same counts at fewer times."""
        places = [self.ticks.index(tick) for tick in ticks]
        return Counts(self.unit, self.total, tuple(ticks), {label: tuple(values[i] for i in places) for label, values in self.rows.items()}, self.beside)

    def table(self) -> pd.DataFrame:
        """One row per label, one column per time."""
        frame = pd.DataFrame.from_dict(self.rows, orient="index", columns=[_tick(tick) for tick in self.ticks])
        return frame.rename_axis("years").reset_index()


def _tick(value: float) -> str:
    return f"{value:g}"


def ticks_for(horizon: float, most: int = 8) -> tuple[float, ...]:
    """Even times from 0 to ``horizon`` years: quarters, halves, years, twos or fives, at most ``most`` of them.

    >>> ticks_for(5), ticks_for(0.8)
    ((0.0, 1.0, 2.0, 3.0, 4.0, 5.0), (0.0, 0.25, 0.5, 0.75))
    """
    for step in (0.25, 0.5, 1, 2, 5, 10, 20):
        if horizon / step <= most - 1 + 1e-9:
            break
    return tuple(round(float(i * step), 2) for i in range(int(horizon / step + 1e-9) + 1))


def fewer(ticks: tuple[float, ...], most: int) -> tuple[float, ...]:
    """Every second, third … of the ticks, from the first, so that at most ``most`` are left.

    >>> fewer((0.0, 1.0, 2.0, 3.0, 4.0, 5.0), 3)
    (0.0, 2.0, 4.0)
    """
    every = -(-len(ticks) // most)
    return ticks[::every]


def shown(counts: Counts, shape, label: str = "") -> Counts:
    """The counts as a sheet of that shape shows them: what may leave the clinic counts patients only, and hides few of them.

    ``label``: the group, where there is more than one.
    """
    if not shape.shown_outside:
        return counts
    patients = counts.rows.get("patients", counts.rows.get("at risk") if counts.unit == "patients" else None)
    rows = {} if patients is None else {shortened(label, 20) or FOLLOWED: tuple(f"<{shape.stop_at}" if 0 < number < shape.stop_at else number for number in patients)}
    return Counts(FOLLOWED if label and rows else "" if rows else counts.unit, 0, counts.ticks, rows, tuple(rows))


def height(sheet, tables: list[Counts]) -> float:
    """Points that ``draw`` needs for these tables, one below the other."""
    lines = sum(len(counts.rows) + (1 if len(tables) > 1 and counts.total else 0) for counts in tables) + (1 if tables[0].unit else 0)
    return lines * sheet.text * 1.32


def row_width(sheet, tables: list[Counts]) -> float:
    """Points that the row labels need."""
    labels = [(label, False) for counts in tables for label in counts.rows] + [(counts.unit, True) for counts in tables]
    return max((sheet.length(label, 0.86, bold) for label, bold in labels), default=0)


def first_width(sheet, tables: list[Counts]) -> float:
    """Half the width of the widest count in the first column, which reaches left of the axis."""
    return max((sheet.length(f"{values[0]}", 0.86) / 2 for counts in tables for values in counts.rows.values()), default=0)


def draw(sheet, tables: list[tuple[str, str, Counts]], place, left: float, top: float) -> None:
    """Draw (label, colour, counts) tables under an axis.

    ``place`` turns a time into points across, ``left`` is where row labels end, ``top`` where the first row starts.
    """
    step, y = sheet.text * 1.32, top
    unit = tables[0][2].unit
    if unit:
        y -= step
        sheet.put(left, y, unit, size=0.86, bold=True, colour="quiet", align="right")
    for label, colour, counts in tables:
        if len(tables) > 1 and counts.total:
            y -= step
            sheet.put(left + sheet.text * 0.6, y, sheet.cut(label, sheet.width - left - sheet.text, 0.86, True), size=0.86, bold=True, colour=colour)
        for row, values in counts.rows.items():
            y -= step
            sheet.put(left, y, row, size=0.86, colour="quiet", align="right")
            for tick, value in zip(counts.ticks, values):
                sheet.put(place(tick), y, f"{value}", size=0.86, colour="ink" if row not in counts.beside else "quiet", align="center")
