"""Two slides of the talk: the plan's standards and their verdicts, and how much upkeep, with nothing that may not leave the clinic."""

from __future__ import annotations

import math

from outcomes.analyses import practice, upkeep_page
from outcomes.analyses.standards import CANNOT_TELL, MET, NOT_MET, Measured, measured
from outcomes.analyses.upkeep import upkeep
from outcomes.analyses.upkeep_kinds import kinds
from outcomes.present import words
from outcomes.present.curves import CannotDraw
from outcomes.present.hiding import few, hidden
from outcomes.present.talk import FIGURE, Figure, Slide

MOST_STANDARDS, MOST_KINDS = 5, 4
SIGNS = {MET: "✓", NOT_MET: "✗", CANNOT_TELL: "?"}


def slides(log, fewest: int, methods) -> list[Slide]:
    """The slides that have something to say."""
    return [slide for slide in (_standards(log, fewest, methods), _upkeep(log, fewest, methods)) if slide is not None]


def _notes(methods, *starts: str) -> tuple[str, ...]:
    return tuple(text for text in methods.blocks[0].paragraphs if text.startswith(starts))


def _standards(log, fewest: int, methods) -> Slide | None:
    found = measured(log)[:MOST_STANDARDS]
    if not found:
        return None
    told = [(one, _may_tell(log, one, plan, fewest)) for one, plan in zip(found, log.plan["standards"])]
    verdicts = [one.verdict for one, _ in told]
    parts = [f"{verdicts.count(verdict)} {verdict}" for verdict in (MET, NOT_MET) if verdict in verdicts]
    parts += [f"{verdicts.count(CANNOT_TELL)} that the log cannot tell"] if CANNOT_TELL in verdicts else []
    title = f"{words.count(len(found), 'standard')} of the clinic's own: {words.listing(parts)}."
    counted = tuple((SIGNS[one.verdict], _said(one, tell)) for one, tell in told)
    return Slide("Standards", title, counted=counted, notes=("Met: the whole likely range reaches the standard. Not met: the whole range stays below it.", *_notes(methods, "Standards", "Counts of what")))


def _said(one: Measured, tell: bool) -> str:
    asked = f"at least {words.percent(one.standard)}" + (f" at {words.span(one.years)}" if one.years else "")
    share = f"{words.percent(one.share)} ({words.percent_range(one.low, one.high)})" if tell else "too few patients to show the share"
    return f"{words.sentence(one.verdict)}: {one.name[:1].lower()}{one.name[1:]}, {asked}: {share}"


def _may_tell(log, one: Measured, plan: dict, fewest: int) -> bool:
    """Whether the share rests on enough patients: in all, those for whom it was so, and those for whom it was not."""
    if math.isnan(one.share) or math.isnan(one.low) or one.patients < max(fewest, 1):
        return False
    if "endpoint" in plan:
        events = log.lifetime(plan["endpoint"]).patients_with_events
        return not (0 < events < fewest or 0 < one.patients - events < fewest)
    rows = practice.rows(log, plan["count"])
    missed, done = (rows.loc[rows["done"] == flag, "patient_id"].nunique() for flag in (False, True))
    return not (0 < missed < fewest or 0 < done < fewest)


def _upkeep(log, fewest: int, methods) -> Slide | None:
    up = upkeep(log)
    rate, low, high, _ = up.rate()
    people, came = len(up.patients), int((up.patients["unplanned"] > 0).sum())
    if math.isnan(rate) or people < max(fewest, 1) or 0 < came < fewest or 0 < people - came < fewest:
        return None
    table = kinds(log, up).table()
    table = table[table["unplanned"] + table["planned"] > 0]
    try:
        upkeep_page.drawn(table, up, FIGURE, fewest, MOST_KINDS)
        figure = Figure(lambda shape: upkeep_page.drawn(table, up, shape, fewest, MOST_KINDS), upkeep_page.finding(table[table["patients"] >= max(10, fewest)], up))
    except CannotDraw:
        figure = None
    time = f" {words.number(up.rate('minutes')[0])} chair minutes per patient and year, planned and unplanned." if up.timed else ""
    counts = f"Likely range {words.rate_range(low, high)}. {words.count(people, 'patient')}, {words.number(up.years)} years together; {few(came, fewest)} patients came unplanned."
    return Slide("Upkeep", f"{words.rate(rate)} unplanned visits per patient and year.", figure, hidden(counts, fewest), f"{upkeep_page.ONLY_WHERE}{time}", notes=(upkeep_page.MEANT, upkeep_page.SHARED, *_notes(methods, "Unplanned visits per")))
