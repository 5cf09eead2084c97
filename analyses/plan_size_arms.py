"""What it takes to compare a light start with a firmer one: patients each way, visits, and worn inserts."""

from __future__ import annotations

import math

import numpy as np

from outcomes import longevity
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.strategy_outcomes import care
from outcomes.analyses.strategy_patients import LEVEL, arms, started
from outcomes.present import words

QUESTION = "light against firmer"


def comparison(log, connection, worn: dict | None, need) -> list:
    """Three questions: patients each way as the plan's rules ask, a worthwhile difference in visits, and one in wear."""
    rule, plan = log.plan["strategy"], log.plan
    rows, _ = arms(LEVEL, started(log, connection), plan)
    other = rows["other"].to_numpy(bool) if len(rows) else np.zeros(0, bool)
    one, two = int((~other).sum()), int(other.sum())
    now = f"{one} {LEVEL.short[0]}, {two} {LEVEL.short[1]}"
    total, fewest = one + two, min(one, two)
    if fewest == 0:
        why = f"{'the one patient' if total == 1 else f'all {total:,} patients'} in it started one way: how many more it takes cannot be told from a log in which nobody starts the other" if total else "no patient's first denture could be sorted one way or the other"
        return [need(f"{QUESTION}: {what}", now, asked, total, None, why) for what, asked in (("patients each way", f"{rule['patients_per_arm']} each way"), ("visits", "a worthwhile difference"), ("wear", f"a hazard ratio of {plan['planning']['hazard_ratio']:g}"))]
    arm = math.ceil(total * rule["patients_per_arm"] / fewest)
    found = [need(f"{QUESTION}: patients each way", now, f"{rule['patients_per_arm']} each way", total, arm, followed_years=0.0, basis="as patients are now started")]
    return [*found, _visits(log, connection, rows, other, now, need), _wear(log, worn, one, two, now, need)]


def _visits(log, connection, rows, other: np.ndarray, now: str, need):
    rule, plan = log.plan["strategy"], log.plan
    years, least = rule["years"][0], rule["worthwhile_visits"]
    question, asked, total = f"{QUESTION}: visits", f"a difference of {least:g} visits over {words.span(years)} seen with {words.percent(rule['power'])} chance", len(other)
    followed = care(log, connection, rows)
    long = followed.followed(years)
    if long.sum() < plan["report"]["test_patients"]:
        return need(question, now, asked, total, None, f"only {words.count(int(long.sum()), 'patient')} of these {'was' if long.sum() == 1 else 'were'} followed for {words.span(years)}: how visits vary is not known yet")
    counts = np.bincount(followed.who[followed.day <= years * YEAR], minlength=len(long))[long].astype(float)
    spread = float(counts.std(ddof=1))
    if not spread:
        return need(question, now, asked, total, None, "everybody had as many such visits: how they vary is not known yet")
    share = other.mean()
    # Two unequal groups are worth as many patients as two equal ones of 4 p (1 − p) the size.
    needed = math.ceil(2 * longevity.patients_needed(spread, least, level=plan["report"]["level"], power=rule["power"]) / (4 * share * (1 - share)) - 1e-9)
    return need(question, now, asked, total, needed, followed_years=float(years), basis=f"visits vary by {words.number(spread, 2)} from patient to patient; groups as unequal as now; weighting to make them alike takes more")


def _wear(log, worn: dict | None, one: int, two: int, now: str, need):
    rule, plan = log.plan["strategy"], log.plan
    ratio, share, total = plan["planning"]["hazard_ratio"], two / (one + two), one + two
    question, asked = f"{QUESTION}: wear", f"a hazard ratio of {ratio:g} seen with {words.percent(rule['power'])} chance"
    if worn is None:
        return need(question, now, asked, total, None, "too few patients had an insert worn to say how often they do")
    events = longevity.events_needed(ratio, share=share, level=plan["report"]["level"], power=rule["power"])
    effect = max(1.0, longevity.design_effect(worn["sizes"], worn["rho"]))
    kept = longevity.looking_efficiency(worn["rate"], worn["gap"])
    parts, years = float(worn["sizes"].mean()), plan["report"]["headline_years"]
    failing = -math.expm1(-worn["rate"] * years)
    needed = longevity.patients_for_events(events * effect / kept, failing, failing, share=share, parts=parts)
    basis = (f"{math.ceil(events)} worn inserts were they independent, {math.ceil(events * effect / kept)} as they are (Schoenfeld; design effect {words.number(effect, 2)} from a likeness of {words.number(worn['rho'], 2)} within a mouth; "
             f"{words.percent(1 - kept)} lost because looks are {words.days(worn['gap'] * YEAR)} apart); {words.number(parts, 1)} inserts a patient, {words.percent(failing)} worn in {words.span(years)}")  # fmt: skip
    return need(question, now, asked, total, needed, followed_years=float(years), basis=basis)
