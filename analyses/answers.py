"""The answers on the front page: each one sentence that begins with one number, one likely range, and counts of people first."""

from __future__ import annotations

import math

from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.sentences import saying
from outcomes.present import words
from outcomes.present.content import MOST_ANSWERS, Answer

FLAG = "depends on who came back"


def front(said: list[Answer]) -> tuple[Answer, ...]:
    """At most seven for the front page: the plan's first endpoints, then retention, upkeep, snap and satisfaction."""
    return tuple(said if len(said) <= MOST_ANSWERS else said[: MOST_ANSWERS - 4] + said[-4:])


def anchor(name: str) -> str:
    """The identifier of an endpoint's section."""
    return "about-" + "".join(letter if letter.isalnum() else "-" for letter in name.lower())


def range_words(low: float, high: float, level: float) -> str:
    """A likely range of shares with its level; nothing where it cannot be given."""
    if math.isnan(low) or math.isnan(high):
        return ""
    return f"{words.percent_range(low, high)} ({words.percent(level)})"


def of_lifetime(life, guard: str = "") -> Answer:
    """The headline of one endpoint: a share, a bracket, counts only, or what the log cannot say."""
    say = saying(life)
    counts = words.people(life.patients, life.parts, life.unit)
    if life.patients == 0:
        return _silent(life, f"The log cannot say how long {life.units} last: none was followed from a known day.", counts)
    if guard:
        return _silent(life, f"The log cannot say how long {life.units} last: it lists failures but not the visits where nothing was wrong.", counts)
    if not life.speaks:
        return _counts_only(life, say, counts)
    years = life.horizon
    share = life.share_at(years) if years else None
    if share is None and life.patients_with_events:
        too_few = f"too few were followed for {words.span(min(life.plan['report']['horizons_years']))} without it to give a share."
        return Answer(life.name, f"{life.patients_with_events} of {life.patients}", f"patients {say.happened} so far: {too_few}", "", counts, anchor(life.name))
    if share is None:
        return _silent(life, f"The log cannot say how long {life.units} last: nobody has been followed long enough.", counts)
    counts = f"{counts}; {words.count(life.patients_with_events, 'patient')} {say.happened}"
    caution = FLAG if life.depends_on_who_came_back else ""
    day = years * YEAR
    if life.unit == "insert" and life.bracket is not None and life.bracket.is_headline_at(day):
        low, high = (float(edge) for edge in life.bracket.bounds_at(day))
        least, most = (float(edge) for edge in life.bracket.limits_at(day))
        number = words.estimated_range(low, high, life.patients)
        text = f"{say.share} {words.span(years)} after {say.since}: a wide answer, since many were changed for other reasons before they wore out."
        return Answer(life.name, number, text, range_words(least, most, life.level), counts, anchor(life.name), (least, float("nan"), most), None, least, most, caution)
    text = f"{say.share} {words.span(years)} after {say.since}."
    if share.open:
        text = f"{say.share} {words.span(years)} after {say.since}: that day falls between two looks, and they leave it open where."
        bar = None if math.isnan(share.low) else (share.low, math.nan, share.high)
        return Answer(life.name, share.said(life.patients), text, range_words(share.low, share.high, life.level), counts, anchor(life.name), bar, share.value, share.low, share.high, caution)
    return Answer(life.name, words.estimated(share.value, life.patients), text, range_words(share.low, share.high, life.level), counts, anchor(life.name),
                  (share.low, share.value, share.high) if not math.isnan(share.low) else None, share.value, share.low, share.high, caution)  # fmt: skip


def _counts_only(life, say, counts: str) -> Answer:
    """Too few patients with the event for a share: how many had it, and for how long the others were followed."""
    typical = life.median_follow_up()
    followed = "" if math.isnan(typical) or math.isinf(typical) else f", watched for {words.years(typical)} as a rule"
    number = f"{life.patients_with_events} of {life.patients}"
    if life.patients_with_events:
        few = "too few" if life.patients_telling == life.patients_with_events else "too few of them were watched from the start"
        return Answer(life.name, number, f"patients {say.happened}: {few} to say how long the others last.", "", f"{counts}{followed}", anchor(life.name))
    share = life.share_at(life.horizon) if life.horizon else None
    likely = f"{range_words(share.low, share.high, life.level)} without it after {words.span(share.years)}" if share is not None and not math.isnan(share.low) else ""
    return Answer(life.name, number, f"patients {say.happened}: nothing has failed yet.", likely, f"{counts}{followed}", anchor(life.name))


def _silent(life, sentence: str, counts: str) -> Answer:
    return Answer(life.name, "", sentence, "", counts, anchor(life.name))


def of_settling(settling, plan) -> Answer:
    """Share of dentures still at the level they started at after one year."""
    name, where = "starting level", "about-starting-level"
    counts = words.people(settling.patients, len(settling.rows), "denture")
    if settling.rows.empty:
        return Answer(name, "", "The log cannot say where people settle in retention: no denture started in it with a known level.", "", counts, where)
    changed = settling.patients_with_steps()
    if changed < plan["report"]["minimum_patients"]:
        return Answer(name, f"{changed} of {settling.patients}", "patients changed their level so far: too few to say how many stay at the level they started at.", "", counts, where)
    found = settling.still_at(1)
    if found is None:
        return Answer(name, "", "The log cannot say how many stay at their starting level for a year: nobody was followed so long.", "", counts, where)
    value, low, high = found
    return Answer(name, words.estimated(value, settling.patients), "of dentures were still at the level they started at after 1 year.", range_words(low, high, settling.confidence),
                  f"{counts}; {words.count(changed, 'patient')} changed the level", where, (low, value, high), value, low, high)  # fmt: skip


def of_upkeep(upkeep, level: float) -> Answer:
    """Visits that nobody planned, per patient and year."""
    rate, low, high, note = upkeep.rate()
    people = len(upkeep.patients)
    counts = f"{words.people(people)} over {words.count(round(upkeep.years), 'year')} together; {words.count(upkeep.unplanned, 'such visit')}"
    if math.isnan(rate):
        return Answer("unplanned visits", "", "The log cannot say how many unplanned visits to expect: nobody was followed.", "", words.people(people), "about-upkeep")
    return Answer("unplanned visits", words.rate(rate), "unplanned visits per patient and year.", f"{words.rate_range(low, high)} ({words.percent(level)})", counts, "about-upkeep", None, rate, low, high, note)


def of_snap(snap) -> Answer:
    """Share of patients who called the snap just right when last asked."""
    if snap.asked == 0:
        return Answer("snap", "", "The log cannot say how the snap feels: nobody was asked.", "", words.people(0), "about-people")
    share = snap.share
    return Answer("snap", words.share(share.value, snap.asked), "of patients called the snap just right when last asked.", range_words(share.low, share.high, snap.confidence),
                  f"{words.count(snap.asked, 'patient')} asked", "about-people", (share.low, share.value, share.high), share.value, share.low, share.high)  # fmt: skip


def of_satisfied(scores, level: float) -> Answer:
    """How much satisfaction rose from before delivery to a year after."""
    if scores is None or scores.change is None:
        answered = "no questionnaire was answered" if scores is None else f"only {words.count(scores.pairs, 'patient')} answered both before and a year after"
        return Answer("satisfaction", "", f"The log cannot say how satisfaction changed: {answered}.", "", "" if scores is None else f"{words.count(scores.started, 'patient')} answered before", "about-people")
    low, high = scores.change.improvement_interval
    rise = scores.change.improvement
    width = scores.instrument.highest - scores.instrument.lowest
    text = f"points of {width:g} on the {scores.instrument.title.lower()}, from before delivery to a year after: patients were {'more' if rise >= 0 else 'less'} satisfied."
    likely = f"{words.number(low)} to {words.number(high)} points ({words.percent(level)})" if not math.isnan(low) else ""
    return Answer("satisfaction", ("+" if rise > 0 else "") + words.number(rise), text, likely, f"{words.count(scores.pairs, 'patient')} answered both times, of {scores.started} who answered before", "about-people", None, rise, low, high)
