"""Where people go from column to column: blocks as high as their share, streams between them as wide as those who move."""

from __future__ import annotations

from dataclasses import dataclass, replace

from outcomes.present.areas import MOST_AREAS, text_colour, legend_entry, legend_rows
from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import WIDEST, CannotDraw, Frame, heading, spread
from outcomes.present.palette import LIGHT, contrast
from outcomes.present.words import percent

LEAST_WORDS = 0.045  # share of the height below which a block carries no words


@dataclass(frozen=True)
class Column:
    """One column: what stands under it, and the share of each state in it."""

    title: str
    below: str
    shares: dict[str, float]


@dataclass(frozen=True)
class Streams:
    """``flows``: between each column and the next, (state, state) to share. ``order``: states from the bottom up."""

    columns: tuple[Column, ...]
    flows: tuple[dict[tuple[str, str], float], ...]
    order: tuple[str, ...]
    colours: dict[str, str]
    people: tuple[int, ...] = ()  # counts are printed instead of shares where fewer than twenty are in a column
    fewest: int = 0  # no number is printed of fewer people than this

    def said(self, place: int, state: str) -> str:
        """The share of a state in a column, in words."""
        share = self.columns[place].shares.get(state, 0.0)
        people = self.people[place] if self.people else 0
        if self.fewest and people and share * people < self.fewest:
            return ""
        return f"{round(share * people)}" if 0 < people < 20 else percent(share)


def streams(what: Streams, frame: Frame, shape: Shape) -> Sheet:
    """Columns of blocks with streams between them; names at both ends, on a phone above.

    Raises CannotDraw where there are fewer than two columns, and for more states than can be told apart.
    """
    if shape.shown_outside and 0 < min(what.people, default=0) < shape.stop_at:
        what = _followed(what, shape.stop_at)
    if len(what.columns) < 2:
        raise CannotDraw("Too few patients were followed to draw who went where.")
    if shape.shown_outside:
        what = _shared(what, shape.stop_at)
    here = [state for state in what.order if any(column.shares.get(state, 0) > 0 for column in what.columns)]
    if len(here) > MOST_AREAS:
        raise CannotDraw(f"{len(here)} groups cannot be told apart in one figure; the table gives them all.")
    sheet = Sheet(shape)
    u = sheet.text
    legend = legend_rows(sheet, here) if shape.narrow else []
    top = heading(sheet, frame.title, frame.subtitle) + len(legend) * 1.5 * u
    names = [max((sheet.length(state + (f" {what.said(place, state)}" if what.columns[place].shares[state] < LEAST_WORDS else ""), 0.95, True) for state in here if what.columns[place].shares.get(state, 0) > 0), default=0) for place in (0, -1)]
    widest = [max(sheet.length(text, 0.95), sheet.length(below, 0.82)) / 2 for text, below in ((column.title, column.below) for column in what.columns)]
    left = max(widest[0], 0.6 * u if shape.narrow else min(names[0] + 2.6 * u, 0.75 * WIDEST * sheet.width))
    right = max(widest[-1], 0.6 * u if shape.narrow else min(names[1] + 2.6 * u, 0.75 * WIDEST * sheet.width))
    axes = sheet.axes(left, 4.4 * u, right, top + 0.8 * u)
    width = sheet.width - left - right
    block = 2.6 * u / width * (len(what.columns) - 1)
    axes.set_xlim(-block / 2, len(what.columns) - 1 + block / 2)
    axes.set_ylim(0, 1)
    axes.set_xticks([])
    axes.set_yticks([])
    edges = [_edges(column, here) for column in what.columns]
    for place, flow in enumerate(what.flows):
        _streams(axes, place, flow, edges, here, what.colours, block)
    _blocks(sheet, axes, what, edges, here, block)
    _words(sheet, axes, what, edges, here, legend, block)
    return sheet


def _followed(what: Streams, fewest: int) -> Streams:
    """The columns up to the last with enough people to be shown outside the clinic."""
    kept = next((place for place, people in enumerate(what.people) if people < fewest), len(what.columns))
    return replace(what, columns=what.columns[:kept], flows=what.flows[: max(kept - 1, 0)], people=what.people[:kept])


OTHER = "other"


def _shared(what: Streams, fewest: int) -> Streams:
    """States of few people in every column as one, and no number of few people on a block."""
    few = [state for state in what.order if what.people and all(column.shares.get(state, 0) * people < fewest for column, people in zip(what.columns, what.people))]
    if not few:
        return replace(what, fewest=fewest)
    named = lambda state: OTHER if state in few else state  # noqa: E731
    columns = tuple(replace(column, shares=_summed((named(state), share) for state, share in column.shares.items())) for column in what.columns)
    flows = tuple(_summed(((named(one), named(other)), share) for (one, other), share in flow.items()) for flow in what.flows)
    order = (*(state for state in what.order if state not in few), OTHER)
    return replace(what, columns=columns, flows=flows, order=order, fewest=fewest)


def _summed(pairs) -> dict:
    found: dict = {}
    for key, share in pairs:
        found[key] = found.get(key, 0.0) + share
    return found


def _edges(column: Column, order) -> dict[str, tuple[float, float]]:
    floor, out = 0.0, {}
    for state in order:
        share = column.shares.get(state, 0.0)
        out[state] = (floor, floor + share)
        floor += share
    return out


def _streams(axes, place: int, flow, edges, order, colours, block) -> None:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    start, stop, middle = place + block / 2, place + 1 - block / 2, place + 0.5
    from_floor = {state: edges[place][state][0] for state in order}
    to_floor = {state: edges[place + 1][state][0] for state in order}
    for one in order:
        for other in order:
            share = flow.get((one, other), 0.0)
            if share <= 0:
                continue
            low, low_to = from_floor[one], to_floor[other]
            from_floor[one] += share
            to_floor[other] += share
            corners = [(start, low), (middle, low), (middle, low_to), (stop, low_to), (stop, low_to + share), (middle, low_to + share), (middle, low + share), (start, low + share), (start, low)]
            codes = [Path.MOVETO, *[Path.CURVE4] * 3, Path.LINETO, *[Path.CURVE4] * 3, Path.CLOSEPOLY]
            # a stream takes the colour of where it goes, so that a change is seen
            axes.add_patch(PathPatch(Path(corners, codes), facecolor=_colour(colours, other), alpha=0.28 if one == other else 0.62, linewidth=0))


def _blocks(sheet: Sheet, axes, what: Streams, edges, order, block) -> None:
    from matplotlib.patches import Rectangle

    box, u = axes.get_position(), sheet.text
    for place in range(len(what.columns)):
        x = (box.x0 + box.width * (place + block / 2) / (len(what.columns) - 1 + block)) * sheet.width
        for state in order:
            floor, ceiling = edges[place][state]
            if ceiling <= floor:
                continue
            colour = _colour(what.colours, state)
            axes.add_patch(Rectangle((place - block / 2, floor), block, ceiling - floor, facecolor=colour, edgecolor=LIGHT["paper"], linewidth=u * 0.1))
            if ceiling - floor >= LEAST_WORDS:
                ink = LIGHT["paper"] if contrast(colour, LIGHT["paper"]) >= 3 else LIGHT["ink"]
                sheet.put(x, (box.y0 + box.height * (floor + ceiling) / 2) * sheet.height, what.said(place, state).replace("\u00a0%", "\u2009%"), size=0.74, bold=True, colour=ink, align="center", middle=True)


def _words(sheet: Sheet, axes, what: Streams, edges, order, legend, block) -> None:
    box, u = axes.get_position(), sheet.text
    span = len(what.columns) - 1 + block
    crowded = max(sheet.length(column.below, 0.82) for column in what.columns) + u > box.width * sheet.width / span
    for place, column in enumerate(what.columns):
        x = (box.x0 + box.width * (place + block / 2) / span) * sheet.width
        sheet.put(x, 2.7 * u, column.title, size=0.95, align="center")
        below = column.below.split(" ")[0] if crowded and place else column.below  # the first says of what, the others how many
        sheet.put(x, 1.3 * u, below, size=0.82, colour="quiet", align="center")
    if legend:
        y = box.y1 * sheet.height + 0.9 * u + (len(legend) - 1) * 1.5 * u
        for line in legend:
            x = 0.4 * u
            for state in line:
                x = legend_entry(sheet, x, y, state, _colour(what.colours, state))
            y -= 1.5 * u
        return
    for place, align, x in ((0, "right", box.x0 * sheet.width - 0.7 * u), (-1, "left", box.x1 * sheet.width + 0.7 * u)):
        shown = [state for state in order if edges[place][state][1] > edges[place][state][0]]
        wanted = [(box.y0 + box.height * sum(edges[place][state]) / 2) * sheet.height for state in shown]
        for state, y in zip(shown, spread(wanted, 1.3 * u, box.y0 * sheet.height + 0.4 * u, box.y1 * sheet.height)):
            small = edges[place][state][1] - edges[place][state][0] < LEAST_WORDS
            said = f" {what.said(place, state)}" if small else ""
            room = (box.x0 if place == 0 else 1 - box.x1) * sheet.width - 1.2 * u
            sheet.put(x, y, sheet.cut(state, room - sheet.length(said, 0.95, True), 0.95, True) + said, size=0.95, bold=True, colour=text_colour(what.colours.get(state, "ink")), align=align, middle=True)


def _colour(colours, state: str) -> str:
    name = colours.get(state, "slate")
    return LIGHT.get(name, name)
