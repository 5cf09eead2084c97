"""The log itself: how many visits of which kind in each month, when nobody was seen, when nothing was looked at."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from outcomes import schemas
from outcomes.present import words
from outcomes.present.calendar import Calendar, calendar
from outcomes.present.content import Notice, Prose, Section
from outcomes.present.curves import Frame

FIRST = ("problem", "delivery", "conversion")  # what a patient's day counts as, where its lines differ
UNLOOKED = "nothing looked at"


@dataclass(frozen=True, eq=False)
class Recorded:
    """``days``: one row per patient and day with reason, seen, looked; ``by_year_only``: such days left out, their month unknown."""

    days: pd.DataFrame
    calendar: Calendar
    by_year_only: int

    @property
    def months(self) -> int:
        return len(self.calendar.visits)

    @property
    def silent(self) -> int:
        """Months between the first visit and the closing day in which nobody was seen."""
        return int((self.calendar.seen == 0).sum())

    @property
    def unlooked(self) -> int:
        return int(self.calendar.gaps[UNLOOKED].sum())


def recorded(log) -> Recorded | None:
    """Every patient's day counted once, month by month up to the closing day; None for an empty log."""
    visits = log.visits
    by_year = visits["precision"].isin(("year", "not known")) if "precision" in visits else pd.Series(False, index=visits.index)
    left_out = len(visits[by_year].drop_duplicates(["patient_id", "day"]))
    visits = visits[~by_year]
    if visits.empty:
        return None
    order = {reason: place for place, reason in enumerate(dict.fromkeys([*FIRST, *schemas.codebook()["reason"]["codes"]]))}
    visits = visits.assign(place=visits["reason"].map(order).fillna(len(order))).sort_values(["patient_id", "day", "place"], kind="stable")
    days = visits.groupby(["patient_id", "day"], as_index=False).agg(reason=("reason", "first"), seen=("seen", "any"), looked=("looked", "any"))
    month = days["day"].dt.to_period("M")
    every = pd.period_range(month.min(), max(month.max(), pd.Period(log.closing, "M")), freq="M")
    visited = pd.crosstab(month, days["reason"]).reindex(every, fill_value=0)
    visited = visited[[reason for reason in schemas.codebook()["reason"]["codes"] if reason in visited]]
    seen = days["seen"].groupby(month).sum().reindex(every, fill_value=0).astype(int)
    unlooked = (days["seen"] & ~days["looked"]).groupby(month).sum().reindex(every, fill_value=0).astype(int)
    visited.index = seen.index = unlooked.index = every.to_timestamp()
    return Recorded(days, Calendar(visited, pd.DataFrame({UNLOOKED: unlooked}), seen), left_out)


def finding(found: Recorded) -> str:
    """What the calendar shows, in one sentence."""
    seen = int(found.days["seen"].sum())
    silence = "there was no month in which nobody was seen" if found.silent == 0 else f"nobody was seen in {words.count(found.silent, 'of them', 'of them')}"
    return f"{words.count(len(found.days), 'visit')} in {words.count(found.months, 'month')}: {silence}, and at {found.unlooked} of {words.count(seen, 'visit')} with the patient no part was looked at."


def by_year(found: Recorded) -> pd.DataFrame:
    """Year by year: visits by reason, all visits, months in which nobody was seen, visits at which nothing was looked at."""
    year = found.calendar.visits.index.year
    table = found.calendar.visits.groupby(year).sum()
    table["all"] = table.sum(axis=1)
    table["months with nobody seen"] = (found.calendar.seen == 0).groupby(year).sum()
    table[UNLOOKED] = found.calendar.gaps[UNLOOKED].groupby(year).sum()
    return table.rename_axis("year").reset_index()


def section(log, folder) -> Section:
    """The log itself, on the audit's page."""
    found = recorded(log)
    if found is None:
        return Section("about-log", "The log itself", (Notice("The log holds no visit with a month, so there is no calendar to draw."),))
    first, last = words.day(found.days["day"].min()), words.day(found.days["day"].max())
    frame = Frame("The log, month by month", f"{words.count(len(found.days), 'visit')} of {words.count(found.days['patient_id'].nunique(), 'patient')}, {first} to {last}")
    table = by_year(found)
    text = "A month in which nobody was seen, or visits at which nothing was looked at, are gaps: what failed then was found later, or not at all. A day of a patient counts once, whatever the number of its lines."
    more = (f"{words.count(found.by_year_only, 'visit')} of which only the year is known {'is' if found.by_year_only == 1 else 'are'} not in the calendar.",) if found.by_year_only else ()
    months = found.calendar.visits.assign(**{UNLOOKED: found.calendar.gaps[UNLOOKED], "seen": found.calendar.seen}).rename_axis("month").reset_index()
    return Section("about-log", "The log itself", (
        Prose((text, *more)),
        folder.picture("visits_calendar", lambda shape: calendar(found.calendar, frame, shape), finding(found), "Higher and darker: more visits. Below: what the log lacks.", {"visits_by_month": months}),
        folder.grid("visits_by_year", "Visits by year, and what is missing", table.astype(str), table),
    ))  # fmt: skip
