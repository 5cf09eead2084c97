"""How much upkeep: visits per patient and year, counted once per patient and day, planned and unplanned apart, and how they add up since delivery."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.cohort import gone_on
from outcomes.analyses.lifetimes import YEAR


@dataclass(frozen=True, eq=False)
class Upkeep:
    """``patients``: patient_id, begun, ended, years, unplanned, planned, minutes, fresh, over. ``days``: patient_id, day, problem, minutes.

    ``over``: service itself ended, because the patient died or has no overdenture any more; else only the watching did. ``served``:
    denture_id, patient_id, begun, ended of dentures delivered while the log ran; ``calls``: denture_id, day of every unplanned visit
    for it. ``unwritten``: visits whose minutes nobody wrote down; they count as long as the others on average. ``timed``: whether anybody wrote any.
    """

    patients: pd.DataFrame
    days: pd.DataFrame
    confidence: float
    few: int
    unwritten: int = 0
    timed: bool = True
    served: pd.DataFrame = field(default_factory=pd.DataFrame)
    calls: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def years(self) -> float:
        return float(self.patients["years"].sum())

    @property
    def unplanned(self) -> int:
        return int(self.patients["unplanned"].sum())

    def rate(self, column: str = "unplanned"):
        """(rate, low, high, note) per patient-year of a column of ``patients``: see ``per_year``."""
        return self.per_year(self.patients[column], counts=column != "minutes")

    def per_year(self, amount: pd.Series, *, counts: bool = True):
        """(rate, low, high, note) per patient-year of an amount per patient, in the order of ``patients``.

        Limits robust by patient (r·exp(±q·SE/r), q Student's t), exact where patients are few, an upper one only where nothing
        happened. Amounts that are no ``counts`` (minutes, money) have no limits where patients are few or nothing was spent.
        """
        here = (self.patients["years"] > 0).to_numpy()
        rows, amount = self.patients[here], np.asarray(amount, float)[here]
        if rows.empty:
            return float("nan"), float("nan"), float("nan"), "nobody was followed"
        years, few = rows["years"].to_numpy(float), len(rows) < self.few
        if not counts and (few or not amount.sum() > 0):
            return float(amount.sum() / years.sum()), float("nan"), float("nan"), "too few patients for a range"
        found = longevity.event_rate(amount, years, cluster=None if few else rows["patient_id"].to_numpy(), level=self.confidence, small_sample=not few)
        return found.value, found.low, found.high, "as if visits came independently: too narrow" if few and found.value else ""

    @cached_property
    def so_far(self):
        """Mean number of unplanned visits since delivery, of patients still in service; None where nobody was delivered while the log ran."""
        return self._by_patient(ended=False)

    @cached_property
    def of_all_started(self):
        """The same per patient started: whoever died or gave up the denture needs no further visit (Ghosh and Lin 2000)."""
        return self._by_patient(ended=True)

    @cached_property
    def by_denture(self):
        """The same per denture in service, errors by patient; None where none was delivered while the log ran."""
        if self.served.empty or not (self.served["ended"] > self.served["begun"]).any():
            return None
        rows = self.served[self.served["ended"] > self.served["begun"]]
        return _mean_so_far(rows["denture_id"], rows["begun"], rows["ended"], self.calls.rename(columns={"denture_id": "unit"}), self.confidence, cluster=rows["patient_id"])

    def _by_patient(self, ended: bool):
        rows = self.patients[self.patients["fresh"] & (self.patients["years"] > 0)]
        if rows.empty:
            return None
        calls = self.days[self.days["problem"]].rename(columns={"patient_id": "unit"})
        return _mean_so_far(rows["patient_id"], rows["begun"], rows["ended"], calls, self.confidence, over=rows["over"] if ended else None)


def _mean_so_far(unit: pd.Series, begun: pd.Series, ended: pd.Series, calls: pd.DataFrame, level: float, *, cluster=None, over=None):
    """Mean cumulative count of calls (unit, day) since ``begun``; ``over``: units whose service ended with their watching."""
    frame = pd.DataFrame({"unit": unit.to_numpy(), "begun": begun.to_numpy(), "last": (ended - begun).dt.days.to_numpy(float), "cluster": (unit if cluster is None else cluster).to_numpy(), "over": False if over is None else over.to_numpy(bool)})
    events = calls[["unit", "day"]].drop_duplicates().merge(frame, on="unit")
    events = events.assign(stop=(events["day"] - events["begun"]).dt.days.astype(float), event=1.0, over=False)
    events = events[(events["stop"] > 0) & (events["stop"] <= events["last"])]
    ends = frame.assign(stop=frame["last"], event=0.0)
    every = pd.concat([events[list(ends.columns.drop("begun"))], ends.drop(columns="begun")], ignore_index=True).sort_values(["unit", "stop", "event"], ascending=[True, True, False])
    every["start"] = every.groupby("unit")["stop"].shift().fillna(0.0)
    return longevity.mean_cumulative_function(*(every[name].to_numpy() for name in ("unit", "start", "stop", "event")), cluster=every["cluster"].to_numpy(), ended=None if over is None else every["over"].to_numpy(bool), level=level, small_sample=True)


def upkeep(log) -> Upkeep:
    """Visits per patient from the first denture (or the first visit in the log, for those who came with one) to the end of care, or of the last denture; nobody without an overdenture."""
    seen = log.visits[log.visits["seen"]]
    by_day = seen.groupby(["patient_id", "day"])
    days = pd.DataFrame({"problem": by_day["problem"].any(), "minutes": by_day["minutes"].sum(min_count=1)}).reset_index()
    first_visit = days.groupby("patient_id")["day"].min()
    delivered = log.dentures.groupby("patient_id")["delivered_on"].min()
    start = pd.concat([first_visit[first_visit.index.isin(log.dentures["patient_id"])], delivered], axis=1).dropna(subset=["day"])
    fresh = start["delivered_on"] >= start["day"]  # who came with a denture already worn has visits nobody here knows of
    begun = start.max(axis=1)
    dentures = in_service(log)
    cared = log.until().reindex(begun.index)
    ended = pd.concat([cared, dentures.groupby("patient_id")["ended"].max().reindex(begun.index)], axis=1).min(axis=1)
    died = log.patients.set_index("patient_id")["left_reason"].reindex(begun.index).isin(("died", "changed to fixed", "changed to plain denture")) & (cared < pd.Timestamp(log.closing))
    years = ((ended - begun).dt.days.clip(lower=0)) / YEAR
    frame = pd.DataFrame({"patient_id": begun.index, "begun": begun.to_numpy(), "ended": ended.to_numpy(), "years": years.to_numpy(), "fresh": fresh.to_numpy(), "over": (died | (ended < cared)).to_numpy()})
    inside = days[(days["day"] > days["patient_id"].map(begun)) & (days["day"] <= days["patient_id"].map(ended))]
    blank = inside["minutes"].isna()
    inside = inside.assign(minutes=inside["minutes"].astype(float).fillna(inside["minutes"].mean()))
    counted = inside.groupby("patient_id").agg(unplanned=("problem", "sum"), visits=("problem", "size"), minutes=("minutes", "sum"))
    frame = frame.merge(counted, how="left", on="patient_id").fillna({"unplanned": 0, "visits": 0, "minutes": 0})
    frame["planned"] = frame["visits"] - frame["unplanned"]
    return Upkeep(frame, inside, log.plan["report"]["level"], log.plan["report"]["test_patients"], int(blank.sum()), bool((~blank).any()), dentures[dentures["denture_id"].isin(log.delivered["denture_id"]) & (dentures["begun"] >= dentures["patient_id"].map(first_visit))].reset_index(drop=True), _calls(log, dentures))


def in_service(log) -> pd.DataFrame:
    """denture_id, patient_id, arch, begun, ended of every everyday denture: to its retirement, the next denture of that jaw, or the end of care."""
    rows = log.dentures.sort_values(["patient_id", "arch", "delivered_on", "denture_id"])
    until = rows["patient_id"].map(log.until())
    ended = pd.concat([gone_on(rows), until], axis=1).min(axis=1)
    return pd.DataFrame({"denture_id": rows["denture_id"], "patient_id": rows["patient_id"], "arch": rows["arch"], "begun": rows["delivered_on"], "ended": ended}).reset_index(drop=True)


def _calls(log, dentures: pd.DataFrame) -> pd.DataFrame:
    """denture_id, day: unplanned visits for a denture, those of its jaw and those that name none."""
    seen = log.visits[log.visits["seen"] & log.visits["problem"]][["patient_id", "day", "arch"]]
    pairs = dentures[["denture_id", "patient_id", "arch", "begun", "ended"]].merge(seen, on="patient_id", suffixes=("", "_seen"))
    pairs = pairs[(pairs["arch_seen"].isna() | (pairs["arch_seen"] == pairs["arch"])) & (pairs["day"] > pairs["begun"]) & (pairs["day"] <= pairs["ended"])]
    return pairs[["denture_id", "day"]].drop_duplicates().reset_index(drop=True)
