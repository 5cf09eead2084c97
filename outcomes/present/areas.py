"""Shares that add up: what became of the parts over time, and what people said at each look."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pandas as pd

from outcomes.present import counts as count_table
from outcomes.present.canvas import Shape, Sheet
from outcomes.present.counts import Counts
from outcomes.present.curves import WIDEST, CannotDraw, Frame, heading, share_axis, spread
from outcomes.present.palette import LIGHT, contrast
from outcomes.present.words import FEW, estimated, percent

MOST_AREAS = 10
OTHER = "other reasons"
LEAST_SHARE = 0.05  # smaller areas cannot be told apart from the back of a room


@dataclass(frozen=True)
class Endings:
    """What became of the parts. ``shares``: years and one column per ending, from the bottom up; what is missing to 1 is still in place.

    ``patients``: how many people each ending happened to, by its name, where known: what may leave the clinic shows none of few.
    ``main``: an ending that is shown by itself however small its share.
    """

    shares: pd.DataFrame
    colours: dict[str, str]
    counts: Counts
    stops: dict[int, float]
    rest: str = "still in place"
    patients: dict[str, set] = field(default_factory=dict)
    main: str = ""
    other: str = OTHER


def pooled(what: Endings, fewest: int) -> Endings:
    """Endings of few patients, and of a small share, taken together as "other reasons"; with those still in place where even together they are few."""
    names = [name for name in what.shares.columns if name != "years"] if what.patients else []
    small = [name for name in names if len(what.patients.get(name, ())) < fewest or (what.shares[name].iloc[-1] < LEAST_SHARE and name != what.main)]
    if not small:
        return what
    shares = what.shares.drop(columns=small)
    if len(set().union(*(what.patients.get(name, set()) for name in small))) < fewest:
        return replace(what, shares=shares, rest=f"{what.rest}, or {'gone' if what.other == OTHER else what.other}")
    return replace(what, shares=shares.assign(**{what.other: what.shares[small].sum(axis=1)}), colours={**what.colours, what.other: "slate"})


def endings(what: Endings, frame: Frame, shape: Shape) -> Sheet:
    """Stacked areas over time, each named at the right end with its share; the counts below.

    Raises CannotDraw where no part was followed, and for more endings than can be told apart.
    """
    if shape.shown_outside:
        what = pooled(what, shape.stop_at)
    until = what.stops.get(shape.stop_at, float(what.shares["years"].iloc[-1]) if len(what.shares) else 0.0)
    if what.shares.empty or until <= 0:
        raise CannotDraw("Too few patients were followed to draw what became of the parts.")
    shares = what.shares[what.shares["years"] < until]  # a change on the very last day has no width: it is neither drawn nor named
    shares = pd.concat([shares, shares.iloc[[-1]].assign(years=until)], ignore_index=True)
    names = [name for name in shares.columns if name != "years" and shares[name].iloc[-1] > 0]
    if len(names) > MOST_AREAS:
        raise CannotDraw(f"{len(names)} endings cannot be told apart in one figure; the table gives them all.")
    last = {**{name: float(shares[name].iloc[-1]) for name in names}, what.rest: 1 - float(shares[names].iloc[-1].sum())}
    probe = Sheet(shape)
    room = probe.width - 3.2 * probe.text if shape.narrow else WIDEST * probe.width - 1.4 * probe.text
    people = max(what.counts.rows.get("patients", (what.counts.total,)), default=0)
    said = {name: f" {estimated(share, people)}" for name, share in last.items()}
    labels = {name: probe.cut(name, room - probe.length(said[name], 0.95, True), 0.95, True) + said[name] for name in last}
    ticks = count_table.fewer(tuple(t for t in what.counts.ticks if t <= until + 1e-9), 5 if shape.narrow else 9)
    counts = count_table.shown(what.counts.at(ticks), shape)
    sheet, axes, place, rows_end, below = _stage(labels, counts, frame, shape, until)
    floor = pd.Series(0.0, index=shares.index)
    for name in [*names, what.rest]:
        ceiling = floor + (shares[name] if name in names else 1 - floor)
        colour = what.colours.get(name, "pale")
        axes.fill_between(shares["years"], floor, ceiling, step="post", facecolor=LIGHT.get(colour, colour), edgecolor=LIGHT["paper"], linewidth=sheet.text * 0.09)
        floor = ceiling
    _name_areas(sheet, axes, labels, last, what)
    count_table.draw(sheet, [("", "ink", counts)], place, rows_end, below)
    return sheet


def _stage(labels, counts, frame, shape, until):
    probe = Sheet(shape)
    u = probe.text
    rows = count_table.height(probe, [counts])
    extra = max(0.0, rows - shape.room * u * 1.32) / 72 + (len(labels) * 1.5 * u / 72 if shape.narrow else 0)
    sheet = Sheet(shape, shape.height + extra)
    first = count_table.first_width(sheet, [counts])
    left = max(count_table.row_width(sheet, [counts]) + first + 1.6 * u, sheet.length("100 %", 0.92) + 1.4 * u)
    right = 1.6 * u if shape.narrow else min(max(sheet.length(text, 0.95, True) for text in labels.values()) + 2 * u, WIDEST * sheet.width)
    top = heading(sheet, frame.title, frame.subtitle) + (len(labels) * 1.5 * u if shape.narrow else 0)
    below = rows + 2.2 * u
    axes = sheet.axes(left, below + 2.6 * u, right, top + 0.6 * u)
    share_axis(axes, sheet)
    axes.set_xlim(0, until)
    axes.set_xticks(list(counts.ticks), [f"{tick:g}" for tick in counts.ticks])
    width = sheet.width - left - right
    sheet.put(left + width / 2, below + 0.5 * u, frame.axis, size=0.92, colour="quiet", align="center")
    return sheet, axes, lambda years: left + width * years / until, left - first - 0.8 * u, below


def text_colour(colour: str) -> str:
    """The area's own colour where it can be read on paper as text, else the ink."""
    value = LIGHT.get(colour, colour)
    return value if contrast(value, LIGHT["paper"]) >= 4.5 else LIGHT["ink"]


def _name_areas(sheet: Sheet, axes, labels, last, what: Endings) -> None:
    u, box = sheet.text, axes.get_position()
    if sheet.shape.narrow:
        y = box.y1 * sheet.height + 1.2 * u
        for name, text in labels.items():
            colour = what.colours.get(name, "pale")
            sheet.box(0.6 * u, y, 1.4 * u, 0.8 * u, colour=colour, fill=colour)
            sheet.put(2.6 * u, y, text, size=0.95)
            y += 1.5 * u
        return
    floor, wanted = 0.0, []
    for name in labels:
        wanted.append((box.y0 + box.height * (floor + last[name] / 2)) * sheet.height)
        floor += last[name]
    for (name, text), y in zip(labels.items(), spread(wanted, 1.35 * u, box.y0 * sheet.height + 0.5 * u, box.y1 * sheet.height)):
        sheet.put(box.x1 * sheet.width + 0.7 * u, y, text, size=0.95, bold=True, colour=text_colour(what.colours.get(name, "ink")), middle=True)


def answers_over_time(table: pd.DataFrame, colours: dict[str, str], frame: Frame, shape: Shape) -> Sheet:
    """One bar per occasion, cut by answer. ``table``: occasion, people, then one column of counts per answer, in order.

    Raises CannotDraw where nobody answered.
    """
    table = table[table["people"] >= (FEW if shape.shown_outside else 1)]
    names = [name for name in table.columns if name not in ("occasion", "people")]
    if table.empty:
        raise CannotDraw("Nobody was asked.")
    probe = Sheet(shape)
    u = probe.text
    legend = legend_rows(probe, names)
    row = (1.7 if shape.bare else 2.7) * u
    top = heading(probe, frame.title, frame.subtitle) + len(legend) * 1.5 * u + 0.6 * u
    sheet = Sheet(shape, (top + row * len(table) + 1.2 * u) / 72)
    heading(sheet, frame.title, frame.subtitle)
    y = sheet.height - top + 0.8 * u + (len(legend) - 1) * 1.5 * u
    for line in legend:
        x = 0.4 * u
        for name in line:
            x = legend_entry(sheet, x, y, name, colours[name])
        y -= 1.5 * u
    if shape.bare:  # one line for each
        table = table.assign(occasion=[f"{one}, {people} people" for one, people in zip(table["occasion"], table["people"])])
    left = max(max(min(sheet.length(text, 0.95), WIDEST * sheet.width) for text in table["occasion"]), max(sheet.length(f"{n} people", 0.86) for n in table["people"])) + 1.6 * u
    tall = (1.35 if shape.bare else 1.7) * u
    width = sheet.width - left - 0.8 * u
    for i, (_, one) in enumerate(table.iterrows()):
        y = sheet.height - top - row * (i + 1) + 0.4 * u
        if shape.bare:
            sheet.put(left - 0.8 * u, y + tall / 2, sheet.cut(one["occasion"], left - 1.2 * u, 0.9), size=0.9, align="right", middle=True)
        else:
            sheet.put(left - 1 * u, y + 1.15 * u, sheet.cut(one["occasion"], left - 1.4 * u, 0.95), size=0.95, align="right")
            sheet.put(left - 1 * u, y + 0.02 * u, f"{one['people']} people", size=0.86, colour="quiet", align="right")
        x = left
        for name in names:
            part = width * one[name] / one["people"]
            if part > 0:
                sheet.box(x, y, part, tall, colour="paper", fill=colours[name])
                words = percent(one[name] / one["people"]) if one["people"] >= FEW else f"{one[name]}"
                if shape.shown_outside and one[name] < shape.stop_at:
                    words = ""
                if sheet.length(words, 0.86, True) + 0.5 * u < part:
                    sheet.put(x + part / 2, y + tall / 2, words, size=0.86, bold=True, colour=LIGHT["paper"], align="center", middle=True)
            x += part
    return sheet


def legend_entry(sheet: Sheet, x: float, y: float, name: str, colour: str) -> float:
    """One sample with its name; where the next one begins."""
    u, said = sheet.text, _entry(sheet, name)
    sheet.box(x, y, 1.2 * u, 0.8 * u, colour=colour, fill=colour)
    sheet.put(x + 1.6 * u, y, said, size=0.92)
    return x + sheet.length(said, 0.92) + 3.2 * u


def _entry(sheet: Sheet, name: str) -> str:
    return sheet.cut(name, sheet.width - 3.2 * sheet.text, 0.92)


def legend_rows(sheet: Sheet, names: list[str]) -> list[list[str]]:
    """Names in rows that fit the sheet."""
    rows: list[list[str]] = [[]]
    used = 0.0
    for name in names:
        need = sheet.length(_entry(sheet, name), 0.92) + 3.2 * sheet.text
        if rows[-1] and used + need > sheet.width - 0.4 * sheet.text:
            rows.append([])
            used = 0.0
        rows[-1].append(name)
        used += need
    return rows
