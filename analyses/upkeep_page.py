"""Upkeep from page 2 on: visits as they add up, visits and chair time by kind of work, where unplanned visits come from, and cost by the clinic's own prices."""

from __future__ import annotations

import datetime
import math

import pandas as pd

from outcomes.analyses import drawings
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.upkeep_kinds import Kinds, kinds
from outcomes.present import words
from outcomes.present.bars import Bar, bars
from outcomes.present.content import Facts, Notice, Prose, Section
from outcomes.present.curves import CannotDraw, Frame

MEANT = "An unplanned visit is one for which the patient came because something was wrong; two on one day count once. Planned visits are reviews, recalls, hygiene and the like."
SHARED = "A day counts once for each kind of work done on it, and its chair time is shared equally among them, so that minutes add up and visits need not."
ONLY_WHERE = "This shows where time goes, not what would prevent it."
SO_FAR = (("by_denture", "per denture in service"), ("so_far", "per patient in service"), ("of_all_started", "per patient started"))
STARTED = "“In service” speaks of those still coming with the denture; “per patient started” counts those who died or gave up their denture as needing no further visit."
FOUND = {"insert": "Insert", "clip": "Clip", "housing": "Housing", "abutment": "Abutment", "bar": "Bar", "denture": "Denture"}
MOST_FOUND = 8


def section(log, up, answer, folder) -> Section:
    """How much upkeep to expect."""
    blocks: list = [Prose((words.sentence(answer.whole), MEANT))]
    if len(up.patients):
        found = kinds(log, up)
        steps = drawings.upkeep_steps(up)
        numbers = {} if steps is None else {"unplanned_visits": steps}
        blocks.append(folder.picture("unplanned_visits", lambda shape: drawings.visits_so_far(steps, up, log.plan, shape), f"{words.sentence(answer.whole)} Likely range {answer.likely}." if answer.likely else words.sentence(answer.whole),
                                     "How many unplanned visits a patient has had on average since delivery: of those still coming, and (dashed) of all who started.", numbers))  # fmt: skip
        blocks += [*_so_far(up, log.plan, folder), *_totals(up, folder), *_by_kind(found, up, folder), *_unplanned(found, up, log.plan, folder), *_cost(found, up, log.plan, folder)]
    return Section("about-upkeep", "Upkeep", tuple(blocks))


def _table(folder, name: str, title: str, shown: pd.DataFrame, exact: pd.DataFrame) -> list:
    return [folder.grid(name, title, shown, exact)] if len(shown) else []


def _so_far(up, plan, folder) -> list:
    """Mean number of unplanned visits by each horizon, three ways of counting."""
    fresh = up.patients[up.patients["fresh"]]
    shown, exact = [], []
    for years in plan["report"]["horizons_years"]:
        followed = int((fresh["years"] >= years).sum())
        if followed < plan["report"]["minimum_patients"]:
            continue
        row = {"after": words.span(years)}
        for name, label in SO_FAR:
            curve = getattr(up, name)
            mean = float("nan") if curve is None else float(curve.mean_at(years * YEAR))
            low, high = (float("nan"), float("nan")) if curve is None or len(fresh) < plan["report"]["test_patients"] else (float(limit) for limit in curve.interval_at(years * YEAR))
            row[label] = words.rate(mean) + (f" ({words.rate_range(low, high)})" if not math.isnan(low) else "")
            exact.append({"years": years, "counted": label, "mean": mean, "low": low, "high": high, "patients_followed": followed})
        shown.append(row | {"patients followed": str(followed)})
    return [*_table(folder, "unplanned_visits_so_far", "Unplanned visits so far (likely range), of patients delivered while the log ran", pd.DataFrame(shown), pd.DataFrame(exact)), *([Prose((STARTED,))] if shown else [])]


def _totals(up, folder) -> list:
    """Visits and chair minutes per patient and year, planned and unplanned apart."""
    rows = []
    for column, label in (("unplanned", "unplanned visits"), ("planned", "planned visits")) + ((("minutes", "chair minutes"),) if up.timed else ()):
        rate, low, high, _ = up.rate(column)
        rows.append({"what": label, "per_patient_year": rate, "low": low, "high": high, "total": float(up.patients[column].sum())})
    shown = pd.DataFrame([{"what": row["what"], "per patient and year": words.rate(row["per_patient_year"]), "likely range": _likely(row["per_patient_year"], row["low"], row["high"]), "in all": words.number(row["total"])} for row in rows])
    facts = Facts((("Patients", str(len(up.patients))), ("Years followed, together", words.number(up.years)), ("Without any unplanned visit", words.share(float((up.patients["unplanned"] == 0).mean()), len(up.patients))), *minutes(up)))
    narrow = [Prose((f"Of fewer than {words.count(up.few, 'patient')} the likely ranges are made as if visits came independently of one another: they are too narrow.",))] if 0 < (up.patients["years"] > 0).sum() < up.few else []
    return [*_table(folder, "upkeep", "Visits and chair time per patient and year", shown, pd.DataFrame(rows)), facts, *narrow]


def minutes(up) -> tuple[tuple[str, str], ...]:
    """What the chair time rests on, where not every visit has its minutes."""
    if not up.timed:
        return (("Chair time", "not known: no visit has its minutes in the log"),)
    return (("Without minutes in the log, counted as long as the others on average", words.count(up.unwritten, "visit")),) if up.unwritten else ()


def _likely(rate: float, low: float, high: float) -> str:
    """A likely range in words; where nothing happened, what it can be at most."""
    if math.isnan(high):
        return "too few patients"
    return f"at most {words.rate(high)}" if rate == 0 else words.rate_range(low, high)


def _rate(rate: float, low: float, high: float) -> str:
    return f"{words.rate(rate)} ({_likely(rate, low, high)})" if not math.isnan(high) else words.rate(rate)


def _hundred(visits: int, rate: float, low: float, high: float) -> str:
    """A number of visits, and their rate per 100 patients and year."""
    return f"{visits}: {_rate(100 * rate, 100 * low, 100 * high)}"


def _by_kind(found: Kinds, up, folder) -> list:
    """Visits and minutes by kind of work; kinds that never occurred in one sentence with what they can be at most."""
    table = found.table()
    here, never = table[table["unplanned"] + table["planned"] > 0], table[table["unplanned"] + table["planned"] == 0]
    rows = []
    for row in here.itertuples():
        said = {"what was done": row.title, "unplanned visits": _hundred(row.unplanned, row.unplanned_per_year, row.unplanned_low, row.unplanned_high), "planned visits": _hundred(row.planned, row.planned_per_year, row.planned_low, row.planned_high)}
        if up.timed:
            said["chair minutes"] = _rate(row.minutes_per_year, row.minutes_low, row.minutes_high)
        rows.append(said | {"patients": str(row.patients)})
    shown = pd.DataFrame(rows)
    blocks: list = [Prose((SHARED,)), folder.picture("upkeep_by_kind", lambda shape: drawn(here, up, shape), finding(here, up), f"{ONLY_WHERE} Visits without minutes in the log count as long as the others on average." if up.unwritten and up.timed else ONLY_WHERE)]
    blocks += _table(folder, "upkeep_by_kind", f"By what was done: visits in all, then per 100 patients and year (likely range){'; chair minutes per patient and year' if up.timed else ''}", shown, table)
    if len(never) and up.years > 0:
        high = never["unplanned_high"].iloc[0]
        most = f" (each at most {words.rate(100 * high)} unplanned visits per 100 patients and year)" if not math.isnan(high) else ""
        blocks.append(Prose((f"Never in {words.number(up.years)} years of all patients together{most}: {words.listing([title[:1].lower() + title[1:] for title in never['title']])}.",)))
    return blocks


def finding(table: pd.DataFrame, up) -> str:
    """Where the time (or, without minutes, the visits) went, in one sentence."""
    amount = table["minutes"] if up.timed else table["unplanned"] + table["planned"]
    if not amount.sum() > 0:
        return "No visit since delivery yet."
    order = amount.sort_values(ascending=False, kind="stable").index[:3]
    parts = [f"{table.loc[place, 'title'][:1].lower()}{table.loc[place, 'title'][1:]} {words.percent(amount[place] / amount.sum())}" for place in order]
    return f"Of {'chair time' if up.timed else 'visits by kind'} since delivery: {words.listing(parts)}."


def drawn(table: pd.DataFrame, up, shape, fewest: int = 0, most: int | None = None):
    """Chair minutes per patient and year by kind of work, unplanned and planned; visits where no minutes were written down.

    ``most``: on a slide, which has its own title, only so many kinds.
    """
    if shape.shown_outside:  # what few patients had is not shown outside the clinic
        table = table[table["patients"] >= max(10, fewest)]
    if table.empty or not up.years > 0:
        raise CannotDraw("No figure: nothing was done yet.")
    columns = ("unplanned_minutes", "planned_minutes") if up.timed else ("unplanned", "planned")
    order = table[list(columns)].sum(axis=1).sort_values(ascending=False, kind="stable").index
    rows = [Bar(row.title, tuple(getattr(row, name) / up.years for name in columns), words.rate(sum(getattr(row, name) for name in columns) / up.years)) for row in table.loc[order[:most]].itertuples()]
    about = "" if most is not None else f"By what was done. {words.people(len(up.patients))}, {words.number(up.years)} years followed together."
    return bars(rows, ("unplanned visits", "planned visits"), Frame("Chair minutes per patient and year" if up.timed else "Visits per patient and year", about), shape)


def _unplanned(found: Kinds, up, plan, folder) -> list:
    """Where the unplanned visits come from: what was found, and of how many patients."""
    if not up.unplanned:
        return [Prose((f"No unplanned visit in {words.number(up.years)} years of all patients together.",))]
    some, chance = found.half_from(plan["report"]["seed"])
    people = len(up.patients)
    half = f"Half of {words.count(up.unplanned, 'unplanned visit')} came from {some} of {words.count(people, 'patient')}; if all patients came equally often for their time, chance alone would make it about {chance}. " if people >= up.few else ""
    amiss = found.amiss()
    if amiss.empty:
        return [Notice(f"{half}{ONLY_WHERE} The log does not say what was found at them.")]
    shown = pd.DataFrame([{"found at unplanned visits": f"{FOUND[row.part]}: {row.finding}", "visits": str(row.visits), "of all unplanned": words.share(row.visits / up.unplanned, up.unplanned, people), "patients": str(row.patients)} for row in amiss.head(MOST_FOUND).itertuples()])
    rest = f" The {words.count(len(amiss) - MOST_FOUND, 'rarer finding')} {'stands' if len(amiss) == MOST_FOUND + 1 else 'stand'} in the CSV." if len(amiss) > MOST_FOUND else ""
    return [*_table(folder, "unplanned_visits_found", "Where the unplanned visits come from", shown, amiss.assign(share_of_all_unplanned=amiss["visits"] / up.unplanned)), Prose((f"{half}A visit with two findings counts in both lines.{rest} {ONLY_WHERE}",))]


def _cost(found: Kinds, up, plan, folder) -> list:
    """Cost per patient and year by the clinic's own prices; nothing without them."""
    prices = plan["prices"]
    table = found.cost(prices)
    if table.empty or not table["cost"].iloc[-1] > 0:
        return []
    date = words.day(datetime.date.fromisoformat(prices["date"]))
    here = table[table["cost"] > 0]
    shown = pd.DataFrame([{"what was done": words.sentence(row.title), f"{prices['currency']} per patient and year": words.number(row.per_year, 2), "likely range": "too few patients" if math.isnan(row.low) else f"{words.number(row.low, 2)} to {words.number(row.high, 2)}",
                           "chair": words.number(row.chair, 2), "material and laboratory": words.number(row.things, 2)} for row in here.itertuples()])  # fmt: skip
    done = found.rows.groupby("kind")["handled"].sum()
    silent = [row.title[:1].lower() + row.title[1:] for row in found.table().itertuples() if done.get(row.kind, 0) and row.kind not in prices["each"]]
    text = [f"By the clinic's own prices of {date}; none are shipped. An hour at the chair: {words.number(prices['chair_hour'], 2)} {prices['currency']}." if prices["chair_hour"] else f"By the clinic's own prices of {date}; none are shipped. No price of chair time was given, so this is material and laboratory only."]
    if not up.timed and prices["chair_hour"]:
        text.append("No visit has its minutes in the log, so chair time is not in it.")
    if silent:
        text.append(f"No price was given for: {words.listing(silent)}.")
    return [*_table(folder, "upkeep_cost", f"Cost of upkeep, by the clinic's own prices of {date}", shown, table.assign(currency=prices["currency"], prices_of=prices["date"])), Prose((" ".join([*text, ONLY_WHERE]),))]
