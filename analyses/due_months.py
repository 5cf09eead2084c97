"""How many patients fall due in each coming month, and what the clinic saw in a month of the year before: the list laid out ahead."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from outcomes.analyses.due import PARTS, RECALL, REVIEW, due, in_care
from outcomes.analyses.due_rules import intervals
from outcomes.present import words
from outcomes.present.sheet import Bar, Bars

MONTHS, MONTH = 12, 30.4375
PLANNED = ("recall", "review")
ENOUGH = 10  # visits with minutes, before a usual length is said


@dataclass(frozen=True, eq=False)
class Ahead:
    """``rows``: month (its first day; NaT for what is past its day), next (patients), again (the same patients coming round once more, but for those past their day);
    ``asked``: recalls a month that the plan's intervals ask for; ``seen``: recalls and reviews a month of the year before (nan: no whole year in the log);
    ``patients``: in care; ``minutes``: of chair time that one took (nan: not known)."""

    rows: pd.DataFrame
    patients: int
    asked: float
    seen: float
    minutes: float


def ahead(log) -> Ahead:
    """The next visit of each patient in care by month, and those that follow it if every one is kept to the day."""
    on = pd.Timestamp(log.closing)
    end = (on.to_period("M") + MONTHS).end_time.normalize()
    items = due(log, (end - on).days).items
    first = items[items["what"].isin((RECALL, REVIEW, PARTS))].groupby("patient_id")["due_on"].min()
    often = intervals(log, on).set_index("patient_id")["days"]
    months = pd.period_range(on.to_period("M"), periods=MONTHS + 1, freq="M")
    counts = pd.DataFrame(0, index=[pd.NaT, *(month.start_time for month in months)], columns=["next", "again"])
    for patient, day in first.items():
        late = day <= on
        counts.loc[pd.NaT if late else day.to_period("M").start_time, "next"] += 1
        step = pd.Timedelta(days=int(often[patient]))
        day += step
        while not late and day <= end:
            counts.loc[day.to_period("M").start_time, "again"] += 1
            day += step
    known = often.reindex(in_care(log)["patient_id"].unique())
    return Ahead(counts.rename_axis("month").reset_index(), len(known), float((MONTH / known).sum()), *_year_before(log, on))


def _year_before(log, on: pd.Timestamp) -> tuple[float, float]:
    """Recalls and reviews a month in the year up to ``on``, and the usual minutes of one."""
    visits = log.visits[log.visits["seen"] & log.visits["reason"].isin(PLANNED)]
    year = visits[visits["day"] > on - pd.Timedelta(days=365)]
    whole = len(log.visits) > 0 and log.visits["day"].min() <= on - pd.Timedelta(days=365)
    minutes = year.groupby(["patient_id", "day"])["minutes"].sum(min_count=1).dropna()
    return len(year.drop_duplicates(["patient_id", "day"])) / MONTHS if whole else float("nan"), float(minutes.median()) if len(minutes) >= ENOUGH else float("nan")


def sentences(found: Ahead) -> list[str]:
    """What the months say: how many wait, what the plan asks for, what was done."""
    late = int(found.rows.loc[found.rows["month"].isna(), "next"].sum())
    time = f", about {words.number(found.asked * found.minutes / 60)} hours in the chair" if found.asked * found.minutes >= 90 else ""
    pace = f" In the year before, the log holds {words.rate(found.seen)} recalls and reviews a month." if found.seen == found.seen else ""
    return [f"{words.count(late, 'patient')} {'is' if late == 1 else 'are'} past the day. For {words.count(found.patients, 'patient')} in care the plan's intervals ask for {words.rate(found.asked)} visits a month{time}.{pace}"]


def block(found: Ahead, on) -> Bars | None:
    """The months as bars; None where nobody is in care."""
    if not found.patients:
        return None
    rows = [Bar(_named(row.month, on), (float(row.next), float(row.again)), f"{row.next + row.again}") for row in found.rows.itertuples()]
    mark = (found.seen, "a month of the year before") if found.seen == found.seen else None
    note = "Each patient stands in the month of the next visit that is due (recall, first review, or parts to look at), and comes round again by the interval that fits; those past the day do so too, from whenever they are seen, which is not drawn. Whoever comes earlier for a problem and has the parts looked at moves."
    return Bars("How many fall due in each month", tuple(sentences(found)), tuple(rows), ("month", "visits", ""), ("next visit of a patient", "the same patient again, if every visit is kept"), mark, note)


def _named(month, on) -> str:
    if pd.isna(month):
        return "past the day"
    name = f"{words.MONTHS[month.month - 1]} {month.year}"
    return f"rest of {name}" if month.to_period("M") == pd.Timestamp(on).to_period("M") else name


def exact(found: Ahead) -> pd.DataFrame:
    """Every number of the figure, for spreadsheets."""
    months = ["" if pd.isna(month) else f"{month:%Y-%m}" for month in found.rows["month"]]
    return pd.DataFrame({"month": months, "past_its_day": found.rows["month"].isna(), "next_visits": found.rows["next"], "visits_again": found.rows["again"], "asked_per_month": found.asked, "seen_per_month_year_before": found.seen})
