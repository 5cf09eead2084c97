"""How much upkeep: visits that nobody planned, per patient and year, counted once per patient and day."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from outcomes import longevity
from outcomes.analyses.lifetimes import YEAR


@dataclass(frozen=True, eq=False)
class Upkeep:
    """``patients``: patient_id, begun, ended, years, unplanned, planned, minutes. ``days``: patient_id, day, problem.

    ``unwritten``: visits whose minutes nobody wrote down; they count as long as the others on average. ``timed``: whether anybody wrote any.
    """

    patients: pd.DataFrame
    days: pd.DataFrame
    confidence: float
    few: int
    unwritten: int = 0
    timed: bool = True

    @property
    def years(self) -> float:
        return float(self.patients["years"].sum())

    @property
    def unplanned(self) -> int:
        return int(self.patients["unplanned"].sum())

    def rate(self, column: str = "unplanned"):
        """(rate, low, high, note) per patient-year: limits robust by patient, exact where patients are few or nothing happened."""
        rows = self.patients[self.patients["years"] > 0]
        if rows.empty:
            return float("nan"), float("nan"), float("nan"), "nobody was followed"
        few = len(rows) < self.few
        found = longevity.event_rate(rows[column].to_numpy(float), rows["years"].to_numpy(float), cluster=None if few else rows["patient_id"].to_numpy(), level=self.confidence, small_sample=not few)
        return found.value, found.low, found.high, "as if visits came independently: too narrow" if few and found.value else ""

    @cached_property
    def so_far(self):
        """Mean number of unplanned visits since delivery, of patients delivered while the log ran; None where there are none."""
        rows = self.patients[self.patients["fresh"] & (self.patients["years"] > 0)]
        if rows.empty:
            return None
        begun = rows.set_index("patient_id")["begun"]
        events = self.days[self.days["problem"] & self.days["patient_id"].isin(begun.index)]
        since = (events["day"] - events["patient_id"].map(begun)).dt.days
        events = pd.DataFrame({"subject": events["patient_id"], "stop": since.astype(float)})[lambda frame: frame["stop"] > 0]
        last = (rows["years"] * YEAR).round()
        events = events[events["stop"] <= events["subject"].map(last.set_axis(rows["patient_id"]))]
        ends = pd.DataFrame({"subject": rows["patient_id"], "stop": last, "event": 0.0})
        every = pd.concat([events.assign(event=1.0), ends], ignore_index=True).sort_values(["subject", "stop", "event"], ascending=[True, True, False])
        every["start"] = every.groupby("subject")["stop"].shift().fillna(0.0)
        return longevity.mean_cumulative_function(*(every[name].to_numpy() for name in ("subject", "start", "stop", "event")), level=self.confidence)


def upkeep(log) -> Upkeep:
    """Visits per patient from the first denture (or the first visit in the log, for those who came with one) to the end of care."""
    seen = log.visits[log.visits["seen"]]
    by_day = seen.groupby(["patient_id", "day"])
    days = pd.DataFrame({"problem": by_day["problem"].any(), "minutes": by_day["minutes"].sum(min_count=1)}).reset_index()
    first_visit = days.groupby("patient_id")["day"].min()
    delivered = log.dentures.groupby("patient_id")["delivered_on"].min()
    start = pd.concat([first_visit, delivered], axis=1).dropna(subset=["day"])
    fresh = start["delivered_on"] >= start["day"].min()
    begun = start.max(axis=1)
    ended = log.until().reindex(begun.index)
    years = ((ended - begun).dt.days.clip(lower=0)) / YEAR
    frame = pd.DataFrame({"patient_id": begun.index, "begun": begun.to_numpy(), "ended": ended.to_numpy(), "years": years.to_numpy(), "fresh": fresh.to_numpy()})
    inside = days[(days["day"] > days["patient_id"].map(begun)) & (days["day"] <= days["patient_id"].map(ended))]
    blank = inside["minutes"].isna()
    inside = inside.assign(minutes=inside["minutes"].astype(float).fillna(inside["minutes"].mean()))
    counted = inside.groupby("patient_id").agg(unplanned=("problem", "sum"), visits=("problem", "size"), minutes=("minutes", "sum"))
    frame = frame.merge(counted, how="left", on="patient_id").fillna({"unplanned": 0, "visits": 0, "minutes": 0})
    frame["planned"] = frame["visits"] - frame["unplanned"]
    return Upkeep(frame, inside, log.plan["report"]["level"], log.plan["report"]["test_patients"], int(blank.sum()), bool((~blank).any()))
