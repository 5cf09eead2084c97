"""What only inserts have: three ways of counting wear, and first against later inserts at a site."""

from __future__ import annotations

import math

from outcomes.analyses import sections, wear_serial
from outcomes.analyses.drawings import lines_of
from outcomes.analyses.lifetimes import YEAR
from outcomes.present import words
from outcomes.present.content import Answer, Notice, Prose, Section
from outcomes.present.curves import CannotDraw, Frame, Line, survival

LABELS = {"insert worn": "seen", "insert worn or reported loose": "seen or reported", "insert worn, reported or unclear": "or unclear"}
DEFINED = dict(zip(LABELS, ("seen", "seen or reported", "seen, reported or unclear")))
METHODS = (
    "First and later inserts: sites that pile up changes contribute most stays, and the last stay is the long, cut one, so pooling all stays makes inserts look short-lived. Each site keeps its first max(m, 1) of m complete stays, "
    "each weighing 1/max(m, 1) (Wang and Chang 1999), with the cluster-robust jackknife by patient; this is valid for any change of an insert, in which every complete stay ends. Curves by serial number are conditional and are not tested against one another.",
)


def three_ways(log, folder) -> Section:
    """Curves of wear as seen, seen or reported, and with changes that cannot be told."""
    _, exact = sections.three_ways(log)
    if exact.empty:
        return Section("three-ways", "Three ways of counting wear", (Notice("Too few patients had an insert worn, however it is counted."),))
    first, last = (next((row["share"] for row in exact.to_dict("records") if row["endpoint"] == name and row["years"] == _horizon(log)), math.nan) for name in (list(LABELS)[0], list(LABELS)[-1]))
    patients = log.lifetime(list(LABELS)[0]).patients
    gap = f"Counting strictly or generously moves the share after {words.span(_horizon(log))} from {words.estimated(first, patients)} to {words.estimated(last, patients)}." if math.isfinite(first) and math.isfinite(last) else "The three ways differ little where the log reaches."
    texts = tuple(f"{words.sentence(label)}: {log.lifetime(name).endpoint['definition']}" for name, label in DEFINED.items())
    lines = [Line(label, line.steps, line.counts, line.stops, line.boxes) for name, label in LABELS.items() if log.lifetime(name).speaks for line in lines_of(log.lifetime(name), band=False)]
    picture = folder.picture("three_ways", lambda shape: _drawn(log, lines, shape), gap, "Boxes: it happened at some time between two looks.")
    return Section("three-ways", "Three ways of counting wear", (Prose(texts), picture, Prose(("The shares stand in a table under “Inserts: wear”.",))))


def _horizon(log) -> float:
    """The longest of the plan's horizons that enough patients reached."""
    life = log.lifetime(list(LABELS)[0])
    return max((years for years in life.plan["report"]["horizons_years"] if life.followed(years) >= life.plan["report"]["test_patients"]), default=life.plan["report"]["horizons_years"][0])


def _drawn(log, lines, shape):
    if not lines:
        raise CannotDraw("Too few patients had an insert worn, however it is counted.")
    life = log.lifetime(list(LABELS)[0])
    return survival(lines, Frame("First inserts not worn, counted in three ways", f"{words.people(life.patients, len(life.fresh), life.unit)}. Seen worn; or also reported loose; or also changed for a cause that cannot be told."), shape)


def later_answer(stays) -> Answer:
    """How long first inserts stay before any change, and later ones where a first was changed."""
    name, where = "first and later", "first-and-later"
    counts = words.people(stays.patients, len(stays.rows), "insert")
    curve = stays.curves.get(1)
    if curve is None:
        return Answer(name, "", "The log cannot say how long inserts stay before any change: too few were changed.", "", counts, where)
    half = curve.quantile(0.5)
    later = stays.curves.get(2)
    rest = f"; a second one, where the first was changed, half by {words.years(later.quantile(0.5))}" if later is not None and math.isfinite(later.quantile(0.5)) else ""
    if math.isinf(half):
        return Answer(name, "", f"More than half of first inserts have not been changed for any reason as long as they were followed{rest}.", "", counts, where)
    low, high = curve.quantile_interval(0.5)
    likely = f"{words.years(low)} or later" if math.isinf(high) else f"{words.number(low / YEAR, 1)} to {words.number(high / YEAR, 1)} years"
    return Answer(name, words.years(half), f"after fitting half of first inserts had been changed for any reason{rest}.", f"{likely} ({words.percent(stays.plan['report']['level'])})", counts, where, None, half / YEAR, *(() if math.isinf(high) else (low / YEAR, high / YEAR)))  # fmt: skip


def first_and_later(stays, folder) -> Section:
    """Curves by serial number, and all stays with each site counting once."""
    texts = ("A later insert is seen only where an earlier one was changed, and early changers change again: so a later curve speaks of such sites only, and the two are not compared by a test.",
             "All stays put together would count sites with many changes most and make inserts look short-lived; in the last row each site counts once.")  # fmt: skip
    shown, exact = wear_serial.table(stays)
    if shown.empty:
        return Section("first-and-later", "First and later inserts at a site", (Notice("Too few patients had an insert changed to say how long inserts stay."),))
    curves = [f"{wear_serial.TITLES[serial]}: {words.years(curve.quantile(0.5))}" for serial, curve in stays.curves.items()]
    finding = f"Half were changed, for whatever reason, by: {'; '.join(curves)}."
    blocks = (Prose(texts), folder.picture("first_and_later", lambda shape: wear_serial.drawn(stays, shape), finding, "Below: inserts in place, changed, and censored: no longer followed."),
              folder.grid("first_and_later", "Share not changed for any reason (likely range)", shown, exact))  # fmt: skip
    return Section("first-and-later", "First and later inserts at a site", blocks)
