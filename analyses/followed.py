"""One endpoint's units as they were followed: who they are, from when to when, what the log lacks of them, and their counts under an axis."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.present.counts import ENTERED, Counts, ticks_for

YEAR = 365.25
UNITS = {"insert": "inserts", "clip": "clips", "housing": "housings", "abutment": "abutments", "bar": "bars", "denture": "dentures", "implant": "implants"}


@dataclass(frozen=True, eq=False)
class Followed:
    """One endpoint in the units that count for it.

    ``rows``: the included rows of endpoint_times; ``left_out``: reason to number of units. ``endpoint``: its declaration.
    """

    endpoint: dict
    rows: pd.DataFrame
    left_out: dict[str, int]
    plan: dict

    # ------------------------------------------------------------------ who

    @property
    def name(self) -> str:
        return self.endpoint["name"]

    @property
    def unit(self) -> str:
        return self.endpoint["unit"]

    @property
    def units(self) -> str:
        return UNITS[self.unit]

    @property
    def patients(self) -> int:
        return int(self.rows["patient_id"].nunique())

    @property
    def parts(self) -> int:
        return len(self.rows)

    @property
    def events(self) -> int:
        return int(self.rows["observed"].sum())

    @property
    def patients_with_events(self) -> int:
        return int(self.rows.loc[self.rows["observed"], "patient_id"].nunique())

    @cached_property
    def fresh(self) -> pd.DataFrame:
        """Rows watched from day 0."""
        return self.rows[self.rows["fresh"]]

    @property
    def examined(self) -> bool:
        """Whether failures are found by looking, so that the curve is read between looks."""
        return self.endpoint["noticed_by"] == "examination"

    @property
    def behind(self) -> pd.DataFrame:
        """The rows on which the headline curve rests: between looks those watched from day 0, by the day found all."""
        return self.fresh if self.examined else self.rows

    @property
    def patients_telling(self) -> int:
        """Patients with the event among the rows behind the headline curve."""
        return int(self.behind.loc[self.behind["observed"], "patient_id"].nunique())

    @property
    def level(self) -> float:
        return self.plan["report"]["level"]

    # ------------------------------------------------------------------ from when to when

    def by_day_found(self, column: str):
        """(time, observed, entry, cluster) by the day found, from the first day on which enough patients are at risk."""
        rows = self.rows.assign(entry=self.rows["entry_day"].fillna(0).astype(float))
        rows = rows[rows[column] > rows["entry"]]
        if self.starts_late > 0:
            rows = rows[rows[column] > self.starts_late].assign(entry=lambda frame: frame["entry"].clip(lower=self.starts_late))
        return rows[column].to_numpy(float), rows["observed"].to_numpy(bool), rows["entry"].to_numpy(float), rows["patient_id"].to_numpy()

    @cached_property
    def starts_late(self) -> float:
        """Day from which curves by the day found start: the first after which enough patients are under observation; 0, at fitting, unless most entered late."""
        rows = self.rows.assign(entry=self.rows["entry_day"].fillna(0).astype(float))
        rows = rows[rows["found_day"] > rows["entry"]]
        enough = min(self.plan["report"]["test_patients"], rows["patient_id"].nunique())
        if rows.loc[rows["entry"] == 0, "patient_id"].nunique() >= enough or rows.empty:
            return 0.0
        for day in np.sort(rows["entry"].unique()):
            if rows.loc[(rows["entry"] <= day) & (rows["found_day"] > day), "patient_id"].nunique() >= enough:
                return float(day)
        return 0.0

    def followed(self, years: float) -> int:
        """Patients with a unit still under observation so long after its day 0, of those behind the headline curve; none before that curve starts."""
        day, rows = years * YEAR, self.behind
        if not self.examined and 0 < day <= self.starts_late:
            return 0
        return int(rows.loc[(rows["found_day"] >= day) & (rows["entry_day"].fillna(0) < max(day, 1)), "patient_id"].nunique())

    def median_follow_up(self) -> float:
        """Days by which half would have been followed, had nothing failed (inf: not reached)."""
        time, observed, entry, _ = self.by_day_found("found_day")
        if len(time) == 0:
            return float("nan")
        return float(longevity.follow_up(time, observed, entry=entry if entry.any() else None).quantile(0.5))

    # ------------------------------------------------------------------ what the log lacks

    @cached_property
    def gaps(self) -> np.ndarray:
        """Days between the last look without the finding and the look that found it, one per failure."""
        failed = self.fresh[self.fresh["observed"] & self.fresh["right_look"].notna()]
        return (failed["right_look"] - failed["left_look"]).to_numpy(float)

    @property
    def found_at_problem_visits(self) -> float:
        """Share of failures that were found because the patient came with a problem."""
        failed = self.rows[self.rows["observed"]]
        return float((failed["found_at"] == "problem").mean()) if len(failed) else float("nan")

    @property
    def not_looked_at(self) -> tuple[float, int]:
        """(share, of how many): un-failed units still watched that nobody looked at for longer than the plan's under_care_days before their end."""
        rules = self.plan["rules"]
        rest = self.rows[~self.rows["observed"] & (self.rows["cause"] == "")]
        silent = np.where(rest["left_care"] > rest["left_look"], rest["left_care"] + rules["notice_days"] - rest["left_look"], 0)
        return (float((silent > rules["under_care_days"]).mean()) if len(rest) else float("nan")), len(rest)

    # ------------------------------------------------------------------ counts and drawing

    def stops(self) -> dict[int, float]:
        """Patients to the year up to which so many were still followed: under observation, not merely to come later."""
        rows = self.fresh if self.examined else self.rows
        rows = rows.assign(entry_day=rows["entry_day"].fillna(0))[lambda frame: frame["found_day"] > frame["entry_day"]]
        patients = rows.groupby("patient_id").agg(came=("entry_day", "min"), went=("found_day", "max"))
        days = np.unique(rows["found_day"].to_numpy(float))
        here = np.searchsorted(np.sort(patients["came"]), days, side="left") - np.searchsorted(np.sort(patients["went"]), days, side="left")
        stops = {}
        for people in (self.plan["report"]["stop_curves_at"], 10):
            enough = np.flatnonzero(here >= min(people, here.max(initial=0)))
            if len(enough):
                fewer = np.flatnonzero(here[enough[0] :] < min(people, here.max()))
                stops[people] = float(days[enough[0] + fewer[0] - 1 if len(fewer) else -1]) / YEAR
        return stops

    def ticks(self) -> tuple[float, ...]:
        return ticks_for(max([*self.stops().values(), 0.25])) if len(self.rows) else (0.0,)

    def counts(self) -> Counts:
        """Patients, at risk, failed, censored (and entered, with late entry) before each tick, by the day found."""
        time, observed, entry, patient = self.by_day_found("found_day")
        ticks = self.ticks()
        if len(time) == 0:
            return Counts(self.units, 0, ticks, {"patients": (0,) * len(ticks), "at risk": (0,) * len(ticks)}, ("patients",))
        table = longevity.risk_table(time, observed, [tick * YEAR for tick in ticks], entry=entry if entry.any() else None, cluster=patient)
        names = {"clusters_at_risk": "patients", "at_risk": "at risk", "failed": "failed", "censored": "censored"} | ({"entered": ENTERED} if entry.any() else {})
        return Counts(self.units, len(time), ticks, {label: tuple(int(n) for n in table[name]) for name, label in names.items()}, ("patients",))

    def looks(self) -> Counts:
        """Known sound, failed, not known and no longer looked at on each tick: what the interval-censored curve rests on."""
        left, right = self.fresh["left_day"].to_numpy(float), self.fresh["right_day"].fillna(np.inf).to_numpy(float)
        ticks = self.ticks()
        days = [tick * YEAR for tick in ticks]
        found, patient = self.fresh["found_day"].to_numpy(float), self.fresh["patient_id"]
        rows = {"patients": tuple(int(patient[found >= day].nunique()) for day in days),
                "known sound": tuple(int((left >= day).sum()) for day in days), "failed": tuple(int(((right <= day) & (left < day)).sum()) for day in days),
                "not known": tuple(int(((left < day) & (right > day) & np.isfinite(right)).sum()) for day in days),
                "no longer seen": tuple(int(((left < day) & np.isinf(right)).sum()) for day in days)}  # fmt: skip
        return Counts(self.units, len(left), ticks, rows, ("patients",))
