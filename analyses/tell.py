"""What to tell a patient: what happened to this clinic's past patients, per person, as counts of ten, and only as far as enough were followed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pandas as pd

from outcomes import longevity
from outcomes.analyses import tell_words
from outcomes.analyses.lifetimes import YEAR, Lifetime
from outcomes.analyses.people import satisfied, snap
from outcomes.analyses.retention import settling
from outcomes.analyses.upkeep import upkeep
from outcomes.errors import Misuse
from outcomes.present import words
from outcomes.present.sheet import Notice, Prose, Sheet, Ten

STAMP = "To read together at the chair. From this clinic's own records."
FOR_CLINICIAN = "Read this with the patient, not in place of a talk. It describes past patients and says nothing of how one insert or attachment compares with another."


@dataclass(frozen=True)
class Told:
    """One topic. ``sentences``: what may be said, or none; ``refused``: why nothing is said. share, low, high: of people, unrounded; ``years``:
    nan where the topic has none; ``people``: on whom it rests; ``filled``: of ten drawn people, with what the first sentence counts."""

    topic: str
    sentences: tuple[str, ...] = ()
    refused: str = ""
    years: float = float("nan")
    share: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    people: int = 0
    basis: str = ""
    note: str = ""

    @property
    def question(self) -> str:
        return tell_words.QUESTIONS[self.topic]


def settings(plan) -> dict:
    """The plan's [tell], checked."""
    tell = plan["tell"]
    if tell["followed"] < 5:
        raise Misuse("followed in [tell] of the plan must be at least 5: fewer people say nothing that may be told to another.")
    for years in (tell["years"], *tell["shorter"]):
        if isinstance(years, bool) or not isinstance(years, (int, float)) or not 0.25 <= years <= 20:
            raise Misuse("years and shorter in [tell] of the plan need years from 0.25 (three months) to 20.")
    return tell


def tell(log, years: float | None = None) -> list[Told]:
    """Every topic, said or refused. ``years``: so far ahead and no shorter; else the plan's, or the longest shorter that enough were followed for."""
    rules = settings(log.plan)
    wanted = [years] if years is not None else [rules["years"], *sorted((one for one in rules["shorter"] if one < rules["years"]), reverse=True)]
    return [_repair(log, wanted, rules), _level(log, wanted, rules), _visits(log, wanted, rules), _snap(log, rules), _glad(log, rules)]


def first_dentures(log) -> pd.Series:
    """Denture by patient: each patient's first one delivered while the log ran (of two on one day the lower)."""
    first = log.delivered.sort_values(["delivered_on", "arch", "denture_id"]).drop_duplicates("patient_id")
    return first.set_index("patient_id")["denture_id"]


def per_person(life: Lifetime, first: pd.Series) -> Lifetime:
    """The same endpoint with one unit a patient: the first denture."""
    rows = life.rows[life.rows["fresh"] & life.rows["denture_id"].isin(first)]
    return replace(life, rows=rows.drop_duplicates("patient_id").reset_index(drop=True))


def _horizon(wanted: list[float], followed, least: int) -> float | None:
    return next((years for years in wanted if followed(years) >= least), None)


def _short(topic: str, wanted: list[float], followed, least: int) -> Told:
    years = min(wanted)
    return Told(topic, refused=f"not said for {tell_words.span(years)}: {words.count(followed(years), 'patient')} {'was' if followed(years) == 1 else 'were'} followed so long, and it takes {least}")


def _noted(years: float, wanted: list[float]) -> str:
    return f"Said for {tell_words.span(years)}: too few were followed for {tell_words.span(wanted[0])}." if years != wanted[0] else ""


def _repair(log, wanted, rules) -> Told:
    topic = "first repair"
    life = log.lifetime(topic)
    if log.guard_of(life) or log.guard:
        return Told(topic, refused="not said: the log lists failures but not the visits where nothing was wrong")
    life = per_person(life, first_dentures(log))
    years = _horizon(wanted, life.followed, rules["followed"])
    if years is None:
        return _short(topic, wanted, life.followed, rules["followed"])
    if not life.speaks:
        return _few(topic, life.patients_with_events, life.patients, log)
    share = life.share_at(years)
    value, low, high = 1 - share.value, 1 - share.high, 1 - share.low
    return Told(topic, tell_words.repair(value, low, high, years), years=years, share=value, low=low, high=high, people=life.patients, basis=f"From {words.count(life.patients, 'person', 'people')} with their first denture on implants.", note=_noted(years, wanted))


def _few(topic: str, events: int, people: int, log) -> Told:
    return Told(topic, refused=f"not said: {events} of {words.count(people, 'patient')} had it so far, and it takes {log.plan['report']['minimum_patients']}", people=people)


def _level(log, wanted, rules) -> Told:
    topic = "level change"
    settled = settling(log)
    settled = replace(settled, rows=settled.rows[settled.rows["denture_id"].isin(first_dentures(log))].drop_duplicates("patient_id").reset_index(drop=True))
    years = _horizon(wanted, settled.followed, rules["followed"])
    if years is None:
        return _short(topic, wanted, settled.followed, rules["followed"])
    if settled.patients_with_steps() < log.plan["report"]["minimum_patients"]:
        return _few(topic, settled.patients_with_steps(), settled.patients, log)
    still, low, high = settled.still_at(years)
    return Told(topic, tell_words.level(1 - still, 1 - high, 1 - low, years), years=years, share=1 - still, low=1 - high, high=1 - low, people=settled.patients, basis=f"From {words.count(settled.patients, 'person', 'people')} whose first snap we know.", note=_noted(years, wanted))


def _visits(log, wanted, rules) -> Told:
    topic = "extra visits"
    up = upkeep(log)
    rows = up.patients[up.patients["fresh"] & (up.patients["years"] > 0)].set_index("patient_id")
    begun, last = rows["begun"], (rows["years"] * YEAR).round()
    came = up.days[up.days["problem"] & up.days["patient_id"].isin(rows.index)]
    first = ((came["day"] - came["patient_id"].map(begun)).dt.days).groupby(came["patient_id"]).min().reindex(rows.index)
    observed = (first <= last).fillna(False)
    time = first.where(observed, last)
    followed = lambda years: int((last >= years * YEAR).sum())  # noqa: E731
    years = _horizon(wanted, followed, rules["followed"])
    if years is None:
        return _short(topic, wanted, followed, rules["followed"])
    if observed.sum() < log.plan["report"]["minimum_patients"]:
        return _few(topic, int(observed.sum()), len(rows), log)
    level = log.plan["report"]["level"]
    curve = longevity.kaplan_meier(time.to_numpy(float), observed.to_numpy(bool), cluster=rows.index.to_numpy(), level=level, small_sample=True)
    value, (low, high) = 1 - float(curve.survival_at(years * YEAR)), (1 - float(edge) for edge in reversed(curve.interval_at(years * YEAR)))
    few = int(observed.sum()) < log.plan["report"]["test_patients"]
    if few:
        found = curve.share_interval(years * YEAR)
        low, high = 1 - found.high, 1 - found.low
    rate, least, most, _ = up.rate()
    return Told(topic, tell_words.visits(value, low, high, years, rate, least, most), years=years, share=value, low=low, high=high, people=len(rows), basis=f"From {words.count(len(rows), 'person', 'people')}, from the day they got their denture.", note=_noted(years, wanted))


def _snap(log, rules) -> Told:
    topic, felt = "snap right", snap(log)
    if felt.asked < rules["followed"]:
        return Told(topic, refused=f"not said: {words.count(felt.asked, 'patient')} {'was' if felt.asked == 1 else 'were'} asked, and it takes {rules['followed']}")
    share = felt.share
    return Told(topic, tell_words.snap(share.value, share.low, share.high), share=share.value, low=share.low, high=share.high, people=felt.asked, basis=f"From {words.count(felt.asked, 'person', 'people')} whom we asked.")


def _glad(log, rules) -> Told:
    topic, name = "satisfaction", next(iter(log.plan["instruments"]), None)
    scored = satisfied(log, name) if name else None
    pairs = None if scored is None else scored.own[["before", "1 year"]].dropna()
    people = 0 if pairs is None else len(pairs)
    if people < rules["followed"]:
        return Told(topic, refused=f"not said: {words.count(people, 'patient')} answered both before and a year after, and it takes {rules['followed']}")
    sign = 1 if scored.better == "higher" else -1
    gain = sign * (pairs["1 year"] - pairs["before"])
    improved = int((gain >= (scored.minimal or 1e-9) - 1e-9).sum())
    share = longevity.wilson_interval(improved, people, level=log.plan["report"]["level"])
    return Told(topic, tell_words.glad(share.value, share.low, share.high), years=1.0, share=share.value, low=share.low, high=share.high, people=people, basis=f"From {words.count(people, 'person', 'people')} who told us both before and 1 year on.")


def lines(told: list[Told]) -> list[str]:
    """Everything for a terminal: what may be told, then what may not and why."""
    out: list[str] = []
    for one in told:
        if one.sentences:
            out += [one.question, *(f"  {sentence}" for sentence in one.sentences), f"  {one.basis}" + (f" ({one.note})" if one.note else "")]
    out += [" ".join(tell_words.CLOSING)] if out else []
    refused = [one for one in told if one.refused]
    return out + (["For you, not for the patient:", *(f"  {words.sentence(one.topic)}: {one.refused}." for one in refused)] if refused else [])


def table(told: list[Told]) -> pd.DataFrame:
    """The numbers behind the sentences, unrounded, and what was refused."""
    return pd.DataFrame([{"topic": one.topic, "years": one.years, "share_of_people": one.share, "low": one.low, "high": one.high, "people": one.people, "said": " ".join(one.sentences), "refused": one.refused} for one in told])


def sheet(told: list[Told]) -> Sheet:
    """The leaflet: one side to read together. What may not be said is left out."""
    blocks: list = [Ten(one.question, one.sentences, None if math.isnan(one.share) else tell_words.tens(one.share), basis=one.basis) for one in told if one.sentences]
    if not blocks:
        blocks.append(Notice("We do not know enough of our past patients yet to say."))
    blocks.append(Prose((" ".join(tell_words.CLOSING),)))
    return Sheet("What our past patients tell us", STAMP, "Each row of ten stands for ten people like those we have treated here. The full ones are the people that the first line counts.", tuple(blocks), (FOR_CLINICIAN,), large=True)
