"""The plan's standards year by year, side by side: each year judged alone, none tested against another."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pandas as pd

from outcomes.analyses import practice
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.standards import CANNOT_TELL, of_count, of_endpoint
from outcomes.present import words
from outcomes.present.content import Prose
from outcomes.present.curves import CannotDraw
from outcomes.present.years import Panel, years

TOO_EARLY, TOO_FEW = "too early to tell", "too few to tell"
MOST_YEARS = 8
HOW = ("Each year is judged alone, by the same standard. Of how long parts last, a year is all parts fitted (dentures delivered) in it, followed to the same age as those of every other year; a year of which too few patients were fitted long enough ago is too early to tell. "
       "Of what the clinic did, a year is the calendar year.")  # fmt: skip
CHANCE = "A year holds few patients. Where two likely ranges overlap, chance alone could have moved the share from one to the other, and years next to each other are not tested against one another: a change is worth a look when it goes on."


@dataclass(frozen=True)
class Year:
    """One standard in one year. ``reached``: patients fitted long enough ago; ``until``: the day up to which a year not yet over is counted."""

    standard: str
    year: int
    at_least: float
    years: float | None
    verdict: str
    share: float
    low: float
    high: float
    patients: int
    reached: int
    worth: float = 0.0
    until: str = ""


def by_year(log) -> list[Year]:
    """Every standard of the plan in every year of the log in which anything was fitted or done, in the plan's order."""
    found: list[Year] = []
    for one in log.plan["standards"]:
        found += _cohorts(log, one) if "endpoint" in one else _calendar(log, one)
    return found


def fitted_in(log, life) -> pd.Series:
    """The day on which each row of a lifetime began: delivery of a denture, fitting of a part, of an implant its first abutment."""
    delivered = life.rows["denture_id"].map(log.dentures.drop_duplicates("denture_id").set_index("denture_id")["delivered_on"])
    if life.unit == "denture" or log.episodes.empty:
        return delivered
    if life.unit == "implant":
        first = log.episodes[log.episodes["part"] == "abutment"].groupby(["patient_id", "position"])["fitted_on"].min()
        return pd.Series([first.get((row.patient_id, row.position), pd.NaT) for row in life.rows.itertuples()], index=life.rows.index, dtype="datetime64[ns]")
    fitted = log.episodes.drop_duplicates("episode_id").set_index("episode_id")["fitted_on"]
    return life.rows["unit_id"].str.replace(r"/bond/1$", "/housing/1", regex=True).map(fitted).fillna(delivered)


def _cohorts(log, one: dict) -> list[Year]:
    life = log.lifetime(one["endpoint"])
    if log.guard_of(life):
        return []
    begun, fresh = fitted_in(log, life), life.rows["fresh"]
    fewest, closing = log.plan["report"]["minimum_patients"], pd.Timestamp(log.closing)
    plan, found = {**log.plan, "report": {**log.plan["report"], "draws": log.plan["wear"]["group_draws"]}}, []
    for year in sorted(begun[fresh].dt.year.dropna().astype(int).unique()):
        own = fresh & (begun.dt.year == year)
        cohort = replace(life, rows=life.rows[own].reset_index(drop=True), plan=plan)
        old = begun[own] + pd.Timedelta(days=math.ceil(one["years"] * YEAR)) <= closing
        reached = int(life.rows.loc[own, "patient_id"][old].nunique())
        empty = Year(one["name"], int(year), one["at_least"], one["years"], TOO_FEW, *[math.nan] * 3, cohort.patients, reached)
        if reached < min(fewest, cohort.patients):
            found.append(replace(empty, verdict=TOO_EARLY))
        elif cohort.patients < fewest:
            found.append(empty)
        else:
            said = of_endpoint(cohort, one)
            found.append(replace(empty, verdict=said.verdict, share=said.share, low=said.low, high=said.high, worth=said.worth))
    return found


def _calendar(log, one: dict) -> list[Year]:
    closing, fewest, found = pd.Timestamp(log.closing), log.plan["report"]["minimum_patients"], []
    if log.visits.empty:
        return []
    for year in range(log.visits["day"].min().year, closing.year + 1):
        last = pd.Timestamp(year, 12, 31)
        rows = practice.rows(log, one["count"], pd.Timestamp(year, 1, 1), min(last, closing))
        if rows.empty:
            continue
        said, until = of_count(rows, one, log.plan), words.day(closing) if closing < last else ""
        year_of = Year(one["name"], year, one["at_least"], None, said.verdict, said.share, said.low, said.high, said.patients, said.patients, said.worth, until)
        found.append(year_of if said.patients >= fewest else replace(year_of, verdict=TOO_FEW, share=math.nan, low=math.nan, high=math.nan))
    return found


def by_chance(rows: list[Year]) -> float:
    """How far chance alone takes the share of one year from that of another, 19 times in 20: for two years of usual size at the usual share.

    The difference of two shares of as many independent ones as a middling year is worth, one success and one failure added to
    each (Agresti and Caffo 2000, Am Stat 54:280). nan where fewer than two years have a share.
    """
    known = sorted(row.worth for row in rows if not math.isnan(row.share) and row.worth > 0)
    if len(known) < 2:
        return math.nan
    worth = known[len(known) // 2]
    share = sum(row.share * row.worth for row in rows if not math.isnan(row.share)) / sum(known)
    share = (share * worth + 1) / (worth + 2)
    return 1.959964 * math.sqrt(2 * share * (1 - share) / (worth + 2))


def blocks(log, folder) -> list:
    """The years on the page: prose, figure and table; nothing where the log holds no year with a standard."""
    found = by_year(log)
    if not found:
        return []
    said = _chances(found)
    exact = pd.DataFrame([{"standard": row.standard, "year": row.year, "at_least": row.at_least, "years": row.years, "verdict": row.verdict, "share": row.share, "low": row.low, "high": row.high,
                           "patients": row.patients, "patients_fitted_long_enough_ago": row.reached if row.years else None, "up_to": row.until.replace(words.SPACE, " ")} for row in found])  # fmt: skip
    return [Prose((HOW, CHANCE, *said)), folder.picture("standards_by_year", lambda shape: drawn(found, shape), finding(found), "Bars: likely range. Dashed: the standard. Below each year: patients."),
            folder.grid("standards_by_year", f"Standards, year by year{_until(found)}", table(found), exact)]  # fmt: skip


def _chances(found: list[Year]) -> tuple[str, ...]:
    """How far chance alone goes, in points, for every standard with two years or more."""
    parts = []
    for name in dict.fromkeys(row.standard for row in found):
        points = by_chance([row for row in found if row.standard == name])
        if not math.isnan(points):
            parts.append(f"{name}: up to about {words.number(100 * points)}")
    return (f"By chance alone a share may differ from one year to the next by so many points, at the usual size of a year here. {'; '.join(parts)}.",) if parts else ()


def finding(found: list[Year]) -> str:
    """What the years show in one sentence, without comparing any two."""
    judged = [row for row in found if row.verdict in ("met", "not met", CANNOT_TELL)]
    early = sum(row.verdict == TOO_EARLY for row in found)
    counts = [f"{verdict} {sum(row.verdict == verdict for row in judged)}" for verdict in ("met", "not met", CANNOT_TELL)]
    start = f"A standard was judged in a year {words.count(len(judged), 'time')}: {', '.join(counts)}." if judged else "No year can be judged yet."
    return start + (f" {words.sentence(TOO_EARLY)}: {early}." if early else "")


def _until(found: list[Year]) -> str:
    partial = [row for row in found if row.until]
    return f" (of the last year up to {partial[0].until})" if partial else ""


def table(found: list[Year]) -> pd.DataFrame:
    """One row per standard, one column per year (the last ones), each cell the share, its range and the verdict."""
    shown = sorted({row.year for row in found})[-MOST_YEARS:]
    rows = []
    for name in dict.fromkeys(row.standard for row in found):
        own = {row.year: row for row in found if row.standard == name}
        rows.append({"standard": name, "asked": _asked(next(iter(own.values())))} | {str(year): _cell(own[year]) if year in own else "–" for year in shown})
    return pd.DataFrame(rows)


def _asked(row: Year) -> str:
    return f"at least {words.percent(row.at_least)}" + (f" at {words.span(row.years)}" if row.years else "")


def _cell(row: Year) -> str:
    if row.verdict in (TOO_EARLY, TOO_FEW):
        return row.verdict
    likely = f" ({words.estimated_range(row.low, row.high, row.patients)})" if not math.isnan(row.low) else ""
    return f"{row.verdict}: {words.estimated(row.share, row.patients)}{likely}"


def drawn(found: list[Year], shape):
    """The figure: one panel a standard. What may leave the clinic shows no year of fewer people than its shape asks for."""
    panels = []
    shown = sorted({row.year for row in found})[-MOST_YEARS:]
    for name in dict.fromkeys(row.standard for row in found):
        own = [row for row in found if row.standard == name and row.year in shown]
        points = pd.DataFrame([{"year": row.year, "share": row.share, "low": row.low, "high": row.high, "patients": row.patients, "verdict": row.verdict} for row in own])
        if len(points):
            panels.append(Panel(name, _asked(own[0]), own[0].at_least, points))
    if not any(panel.points["share"].notna().any() for panel in panels):
        raise CannotDraw("No figure: no year of the log can be judged yet.")
    return years(tuple(panels), tuple(shown), shape)
