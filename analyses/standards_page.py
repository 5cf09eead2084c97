"""The standards from page 2 on: every one with its numbers, what was counted and how, and the years side by side."""

from __future__ import annotations

import pandas as pd

from outcomes import schemas
from outcomes.analyses import standards_years
from outcomes.analyses.lifetimes import FIRST_ONLY
from outcomes.analyses.sentences import saying
from outcomes.analyses.standards import needed_without_failure
from outcomes.present import words
from outcomes.present.content import Notice, Prose, Section

VERDICTS = ("Met: the whole likely range reaches the standard. Not met: the whole range stays below it. Otherwise the log cannot tell. The range is a cautious one, and a standard counts only if the plan named it before the answers were seen. "
            "Last column: how many patients it takes at the least, if nothing fails.")  # fmt: skip


def section(log, found, said, folder) -> Section:
    """Standards, in detail."""
    if not found:
        return Section("standards-detail", "Standards, in detail", (Notice("The plan sets no standard."),))
    level = log.plan["report"]["level"]
    shown = pd.DataFrame([{"standard": one.name, "asked": one.asked, "found": one.found, "likely range": one.likely.removeprefix("likely range ") or "not known", "verdict": one.verdict, "what it would take": one.need or "–",
                           "without any failure": str(needed_without_failure(measured.standard, level))} for one, measured in zip(said, found)])  # fmt: skip
    exact = pd.DataFrame([{"standard": one.name, "at_least": one.standard, "years": one.years, "share": one.share, "low": one.low, "high": one.high, "share_by_the_other_rule": one.other, "patients": one.patients,
                           "counted": one.unit, "done": one.done if one.unit else None, "of": one.of if one.unit else None, "worth_independent": one.worth, "verdict": one.verdict, "patients_needed_at_this_share": one.need} for one in found])  # fmt: skip
    exact = exact.assign(what_it_would_take=[one.need for one in said], without_any_failure=[needed_without_failure(one.standard, level) for one in found])
    known = meant(log, found)
    exact = exact.assign(**{name: [row[name] for row in known] for name in ("counts_if", "of_what", "source")})
    return Section("standards-detail", "Standards, in detail", (Prose((VERDICTS,)), folder.grid("standards", "Standards of the plan", shown, exact), Prose(tuple(_sentence(row) for row in known)), *standards_years.blocks(log, folder)))


def _sentence(row: dict) -> str:
    """What a standard counts, in words."""
    source = f" The standard is {row['source']}." if row["source"] else " The plan does not say where the standard comes from."
    return f"{row['standard']}. Counted: {row['of_what']}; here {row['here']}. It counts if {row['counts_if']}.{source}"


def meant(log, found) -> list[dict]:
    """Each standard's name, what counts, of what, how many there are here, and whose choice it is."""
    rows = []
    for one, measured in zip(log.plan["standards"], found):
        if "count" in one:
            declared = schemas.practice()[one["count"]]
            counts, of, here = declared["done"], f"{declared['of']} ({declared['over']})", f"{measured.done} of {words.count(measured.of, measured.unit)}, {words.count(measured.patients, 'patient')}"
        else:
            life = log.lifetime(one["endpoint"])
            say = saying(life)
            counts = f"{words.span(one['years'])} after {say.since} it had not happened; what counts as happened: {life.endpoint['definition'][:1].lower()}{life.endpoint['definition'][1:].rstrip('.')}"
            of, here = f"{'first ' if life.unit in FIRST_ONLY else ''}{life.units} followed", words.people(life.patients, life.parts, life.unit)
        rows.append({"standard": one["name"], "counts_if": counts, "of_what": of, "here": here, "source": one.get("source", "")})
    return rows
