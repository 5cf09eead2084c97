"""Standards of the plan: met, not met, or cannot tell, and how many patients it would take."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pandas as pd

from outcomes import schemas
from outcomes.analyses import practice
from outcomes.analyses.between_looks import lower_limit
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.sentences import saying
from outcomes.present import words
from outcomes.present.content import Verdict

MET, NOT_MET, CANNOT_TELL = "met", "not met", "cannot tell"
MOST_NEEDED = 100_000
MOST_SAID = 2_000


@dataclass(frozen=True)
class Measured:
    """A share against a standard, unrounded. ``patients``: on which it rests; ``other``: the share by the other censoring rule."""

    name: str
    standard: float
    verdict: str
    share: float
    low: float
    high: float
    patients: int
    need: int | None
    why: str
    other: float = float("nan")
    years: float | None = None
    counted: str = ""
    worth: float = 0.0  # how many independent ones the share is worth
    unit: str = ""  # of a count: visit, recall, insert or patient
    done: int = 0
    of: int = 0


def verdict(low: float, high: float, standard: float) -> str:
    """Met where the whole range reaches the standard, not met where it stays below, else cannot tell.

    >>> verdict(0.91, 0.97, 0.90), verdict(0.70, 0.89, 0.90), verdict(0.85, 0.95, 0.90)
    ('met', 'not met', 'cannot tell')
    """
    if math.isnan(low) or math.isnan(high):
        return CANNOT_TELL
    return MET if low >= standard else NOT_MET if high < standard else CANNOT_TELL


def needed_without_failure(standard: float, level: float = 0.95) -> int:
    """Patients of whom none fails that it takes before the exact lower limit reaches the standard.

    >>> needed_without_failure(0.90), needed_without_failure(0.95)
    (36, 72)
    """
    return math.ceil(math.log((1 - level) / 2) / math.log(standard) - 1e-9)


def needed_at(share: float, standard: float, level: float = 0.95) -> int | None:
    """Independent patients whose exact limits leave the standard on one side at this share; None where it would take too many.

    >>> needed_at(1.0, 0.90), needed_at(0.95, 0.90), needed_at(0.80, 0.90)
    (36, 142, 50)
    """
    low, high = 0, 1
    while not _settled(share, high, standard, level):
        low, high = high, high * 2
        if high > MOST_NEEDED:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _settled(share, middle, standard, level) else (middle, high)
    return high


def _settled(share: float, people: int, standard: float, level: float) -> bool:
    from scipy import stats

    failures, alpha = share * people, 1 - level
    low = stats.beta.ppf(alpha / 2, failures, people - failures + 1) if failures > 0 else 0.0
    high = stats.beta.ppf(1 - alpha / 2, failures + 1, people - failures) if failures < people else 1.0
    return verdict(float(low), float(high), standard) != CANNOT_TELL


def measured(log) -> list[Measured]:
    """Every standard of the plan against the log."""
    return [of_endpoint(log.lifetime(one["endpoint"]), one, log.guard_of(log.lifetime(one["endpoint"]))) if "endpoint" in one else of_count(practice.rows(log, one["count"]), one, log.plan) for one in log.plan["standards"]]


def of_endpoint(life, one: dict, guard: str = "") -> Measured:
    """A standard on how long something lasts, read on the curve that its endpoint's way of being noticed asks for."""
    standard, years = one["at_least"], one["years"]
    nothing = Measured(one["name"], standard, CANNOT_TELL, *[float("nan")] * 3, life.patients, None, "", years=years)
    if guard:
        return replace(nothing, why="the log lists failures only")
    curve, followed = life.headline, life.followed(years)
    if curve is not None and not life.examined and 0 < years * YEAR <= life.starts_late:
        return replace(nothing, why=f"most were in place before the log began, and too few were watched in their first {words.span(years)}")
    if curve is None or followed == 0 or math.isnan(curve.survival_at(years * YEAR)):
        return replace(nothing, why=f"nobody was followed for {words.span(years)}")
    found = _limits(life, curve, years * YEAR)
    other_curve = life.between_looks_other if life.examined else life.day_found_other
    other = float(other_curve.survival_at(years * YEAR)) if other_curve is not None else float("nan")
    said, why = verdict(found.low, found.high, standard), ""
    if other_curve is not None and not math.isnan(other):
        second = _limits(life, other_curve, years * YEAR)
        if said != CANNOT_TELL and verdict(second.low, second.high, standard) != said:
            said, why = CANNOT_TELL, "it depends on who came back"
    counted = "" if life.speaks or not life.events else f"{life.patients_with_events} of {words.count(life.patients, 'patient')} {saying(life).happened} so far"
    worth = _worth(found, life.patients, life.parts)
    return Measured(one["name"], standard, said, found.value, found.low, found.high, life.patients, _need(found.value, standard, found.level, life.patients, worth), why, other, years, counted, worth=worth)


def _limits(life, curve, day: float):
    """The share with its exact limits, the lower one at the lower edge where the day falls between two looks."""
    found = curve.share_interval(day)
    return replace(found, low=lower_limit(curve, day, lambda at: curve.share_interval(at).low)) if life.examined else found


def of_count(rows: pd.DataFrame, one: dict, plan) -> Measured:
    """A standard on what the clinic did: a share of visits, recalls, inserts or patients."""
    level, standard = plan["report"]["level"], one["at_least"]
    share, low, high, people, worth = practice.share(rows, level)
    if not people:
        declared = schemas.practice()[one["count"]]
        return Measured(one["name"], standard, CANNOT_TELL, *[float("nan")] * 3, 0, None, f"no such {declared['unit']} is in the log", unit=declared["unit"])
    need = None if math.isnan(low) else _need(share, standard, level, people, worth)
    return Measured(one["name"], standard, verdict(low, high, standard), share, low, high, people, need, "", worth=worth, unit=schemas.practice()[one["count"]]["unit"], done=int(rows["done"].sum()), of=len(rows))


def _worth(found, patients: int, parts: int) -> float:
    """How many independent ones the estimate is worth; where it is 0 or 1, its patients."""
    if not found.se or found.value in (0.0, 1.0):
        return float(patients)
    return min(found.value * (1 - found.value) / found.se**2, parts)


def _need(share: float, standard: float, level: float, patients: int, worth: float) -> int | None:
    """Patients like these that it would take at this share: what independent ones would, times how little each of these adds."""
    wanted = needed_at(share, standard, level)
    return wanted if wanted is None or not worth else math.ceil(wanted * patients / worth)


def said(one: Measured, level: float) -> Verdict:
    """The standard in words for the front page."""
    asked = f"at least {words.percent(one.standard)}" + (f" at {words.span(one.years)}" if one.years else "")
    if math.isnan(one.share):
        return Verdict(one.name, asked, "not known", "", one.verdict, words.sentence(one.why) + "." if one.why else "", "standards-detail")
    likely = f"likely range {words.percent_range(one.low, one.high) if one.unit else words.estimated_range(one.low, one.high, one.patients)}" if not math.isnan(one.low) else "one patient gives no range"
    need = ""
    if one.verdict == CANNOT_TELL:
        need = f"{words.sentence(one.why)}." if one.why else _needed(one, level)
    return Verdict(one.name, asked, _found(one), likely, one.verdict, need, "standards-detail")


def _found(one: Measured) -> str:
    """The share in words; of few people the counts themselves."""
    if one.unit and one.patients < words.FEW:
        return f"{one.done} of {words.count(one.of, one.unit)}"
    return one.counted or words.estimated(one.share, one.patients)


def _needed(one: Measured, level: float) -> str:
    if one.share >= 1:
        return f"It takes {words.count(needed_without_failure(one.standard, level), 'patient')} {'without a failure' if one.years else 'and never a miss'}."
    if one.need is None or one.need > MOST_SAID:
        return "At this share no clinic of ordinary size could settle it."
    if one.need <= one.patients:  # what they are worth falls just short, since parts in one mouth fail together
        return "At this share a few more patients would settle it."
    return f"At this share about {words.count(two_figures(one.need), 'patient')} would settle it."


def two_figures(need: int) -> int:
    """Two figures are enough for a forecast.

    >>> two_figures(568), two_figures(43), two_figures(1234)
    (570, 43, 1300)
    """
    step = 10 ** max(0, len(str(need)) - 2)
    return -(-need // step) * step
