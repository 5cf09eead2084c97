"""What is missing, in sentences and as a table."""

from __future__ import annotations

import math

import pandas as pd

from outcomes.analyses.standards import two_figures
from outcomes.present import words

# What the share's likely range costs when parts are only looked at so often: variance over that of parts whose day of failure is known, at
# three years with half of the parts failing by five (tests/analyses/plan_size_study.json).
GAPS_COST = {0.5: 1.081, 1.0: 1.125, 2.0: 3.957}


def sentences(found, speed) -> list[str]:
    """One for each question; the pace first, what the numbers leave out last."""
    said = [_pace(speed)]
    said += [f"{words.sentence(one.question)} (now {one.now}; asked {one.asked}): {_need(one, speed)}" for one in found]
    cost = words.listing([(f"{words.percent(factor - 1)} more" if factor < 2 else f"{words.number(factor)} times as many") + f" with looks every {words.span(gap)}" for gap, factor in GAPS_COST.items()])
    return [*said, "These are forecasts: they take coming patients to be like those in the log, and its shares and rates to be right. The numbers hold for this log's own habit of looking. "
            f"Where wear is only found at looks, a share at 3 years takes more patients than if the day were known: simulated, {cost}, since between two looks nobody knows."]


def _pace(speed) -> str:
    if speed.stopped:
        return f"The log holds {words.count(speed.patients, 'new patient')} in {words.number(speed.months)} months, none of them in its last 24: how long more would take cannot be said."
    if math.isnan(speed.per_month):
        return f"The log holds {words.count(speed.patients, 'new patient')} in {words.number(speed.months)} months: too few, or too short a time, to say how long more would take."
    return f"The log gains {words.number(speed.per_month, 1)} new patients a month ({speed.patients} in {words.number(speed.months)} months)."


def _need(one, speed) -> str:
    if one.needed is None:
        return f"cannot be told: {one.why}."
    if one.more == 0:
        return f"{words.count(one.patients, 'patient')} are enough."
    text = f"about {words.count(two_figures(one.more), 'more patient')} ({words.count(two_figures(one.needed), 'patient')} in all)"
    if not math.isnan(speed.per_month):
        text += f", {_months(speed.months_for(one.more))} of deliveries at this pace"
    if one.followed_years:
        text += f", each then followed for {words.span(one.followed_years)}"
    return text + (f". Basis: {one.basis}." if one.basis else ".")


def _months(months: float) -> str:
    if months > 240:
        return "more than 20 years"
    return words.count(math.ceil(months), "month") if months < 36 else words.span(months / 12)


def table(found, speed) -> pd.DataFrame:
    """One row per question, in full."""
    return pd.DataFrame([
        {"question": one.question, "now": one.now, "asked": one.asked, "patients_now": one.patients, "patients_needed": one.needed, "patients_more": one.more,
         "months_of_deliveries": speed.months_for(one.more), "followed_years": one.followed_years, "why_not": one.why, "basis": one.basis}
        for one in found])  # fmt: skip
