"""Results into the figures of a slide: nothing drawn of fewer people than may be shown outside the clinic."""

from __future__ import annotations

from dataclasses import replace

from outcomes.analyses import drawings
from outcomes.analyses.people import RIGHT
from outcomes.analyses.sentences import saying
from outcomes.present import words
from outcomes.present.areas import pooled
from outcomes.present.canvas import Shape
from outcomes.present.hiding import few, hidden
from outcomes.present.talk_figures import Axis, areas, curve, means_of, parted, steps

LEAST_FOLLOWED = 10  # a curve on a slide stops here, or at the sharing rule where that is larger
FITTED = ("starts_late", "day_found", "day_found_other", "between_looks", "between_looks_other", "endings", "bracket")


def stricter(life, fewest: int):
    """The same rows as they may be told outside: no share and no curve where fewer patients are followed or had the event."""
    report = life.plan["report"]
    most = max(LEAST_FOLLOWED, fewest)
    plan = {**life.plan, "report": {**report, "stop_curves_at": most, "minimum_patients": max(report["minimum_patients"], fewest)}}
    held = replace(life, plan=plan)
    held.__dict__.update({name: getattr(life, name) for name in FITTED})  # the page's own curves: the same number on page and slide
    return held


def of_lifetime(life, answer, fewest: int, shape: Shape):
    """The endpoint's curve; where the answer is a bracket, what became of the parts, which shows both its ends."""
    stop = max(LEAST_FOLLOWED, fewest)
    until = life.stops().get(stop, 0.0)
    since = f"years since {saying(life).since}"
    if answer.value is None:
        what = drawings.became_of(life)
        return None if what is None else areas(pooled(what, fewest), until, _axis(what.counts, since, fewest), shape, life.horizon)
    lines = drawings.lines_of(life)
    if not lines:
        return None
    share = life.share_at(life.horizon)
    mark = (share.years, share.value, f"{answer.number} at {words.span(share.years)}")
    return curve(lines[0], until, _axis(life.counts(), since, fewest), mark, shape)


def _axis(counts, name: str, fewest: int) -> Axis:
    shown = [str(number) if number == 0 or number >= fewest else f"<{fewest}" for number in counts.rows["patients"]]
    return Axis(name, dict(zip(counts.ticks, shown)))


def settled(settling, plan, fewest: int, shape: Shape):
    """Dentures still at the level they started at, and what ended that."""
    stop = max(LEAST_FOLLOWED, fewest)
    what = drawings.settled_of(settling, {**plan, "report": {**plan["report"], "stop_curves_at": stop}})
    if what is None:
        return None
    return areas(pooled(what, fewest), what.stops[stop], _axis(what.counts, "years since the first inserts", fewest), shape, 1.0)


def satisfied(scored, fewest: int, shape: Shape):
    """Mean scores of the occasions on which enough people answered; None with fewer than two of them."""
    means = scored.means[scored.means["people"] >= max(fewest, 1)].reset_index(drop=True)
    if len(means) < 2:
        return None
    return means_of(means, scored.instrument.lowest, scored.instrument.highest, shape)


def snap(felt, fewest: int, shape: Shape):
    """Just right or not, in the patient's last word; None where one of the two is few."""
    if min(felt.right, felt.asked - felt.right) < fewest:
        return None
    share = felt.right / felt.asked
    return parted("How the snap felt when last asked", (RIGHT, share, "accent"), ("too loose or too firm", 1 - share, "signal"), shape)


def who(stages, fewest: int, shape: Shape):
    """Who is in it, as boxes around those with an overdenture; None where only they may be shown.

    A box from which few people could be worked out by subtraction is left out, and so is what was left out beside it.
    """
    first = [int(stage.text.partition(" ")[0].replace(words.SPACE, "")) for stage in stages]
    kept = [len(stages) - 2]  # those with an overdenture, whom the title names
    for place in (*range(kept[0] - 1, -1, -1), len(stages) - 1):
        beside = min(kept, key=lambda one: abs(one - place))
        if first[place] != first[beside] and not abs(first[place] - first[beside]) < fewest:
            kept.append(place)
    kept.sort()
    if len(kept) < 2:
        return None
    boxes = []
    for place in kept:
        out = tuple(hidden(f"{amount}: {reason}", fewest) for reason, amount in stages[place].left_out) if place + 1 in kept else ()
        boxes.append((few(first[place], fewest), hidden(stages[place].text.partition(" ")[2], fewest), out))
    return steps(boxes, shape)
