"""Where people settle in retention: until when a denture stays at the level its inserts started at."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.cohort import gone_by_denture
from outcomes.analyses.lifetimes import YEAR

DIED = "died"
GONE = "denture retired"


@dataclass(frozen=True, eq=False)
class Settling:
    """One row per denture whose first inserts were fitted in the log: patient, days to the first change of level or to the end.

    ``rows``: patient_id, denture_id, start (N), level, days, cause ("" while still at the start, else step up, step down,
    changed, died, denture retired). ``unknown``: dentures whose starting level nobody knows.
    """

    rows: pd.DataFrame
    unknown: int
    confidence: float

    @property
    def patients(self) -> int:
        return int(self.rows["patient_id"].nunique())

    @cached_property
    def incidence(self):
        """What ended the time at the starting level, by cause; None where nobody started or nothing has ended it yet."""
        if not (self.rows["cause"] != "").any():
            return None
        return longevity.cumulative_incidence(self.rows["days"].to_numpy(float), self.rows["cause"].to_numpy(object), cluster=self.rows["patient_id"].to_numpy(), level=self.confidence, small_sample=True)

    @cached_property
    def steps(self):
        """The same with every change of level as one cause."""
        if not (self.rows["cause"] != "").any():
            return None
        cause = self.rows["cause"].where(~self.rows["cause"].isin(("step up", "step down", "changed")), "step")
        return longevity.cumulative_incidence(self.rows["days"].to_numpy(float), cause.to_numpy(object), cluster=self.rows["patient_id"].to_numpy(), level=self.confidence, small_sample=True)

    def patients_with_steps(self) -> int:
        return int(self.rows.loc[self.rows["cause"].isin(("step up", "step down", "changed")), "patient_id"].nunique())

    def followed(self, years: float) -> int:
        return int(self.rows.loc[self.rows["days"] >= years * YEAR, "patient_id"].nunique())

    def still_at(self, years: float) -> tuple[float, float, float] | None:
        """(share, low, high) still at the starting level, over all who started; None where nobody was followed so long."""
        if self.steps is None or self.followed(years) == 0 or not (self.rows["cause"] != "").any():
            return None
        if not self.patients_with_steps():
            return None
        day = years * YEAR
        value = float(self.steps.incidence_at(day, "step"))
        if np.isnan(value):
            return None
        low, high = (float(limit) for limit in self.steps.interval_at(day, "step"))
        return 1 - value, 1 - high, 1 - low


def settling(log) -> Settling:
    """Follow every denture whose first inserts were fitted while the log ran, from that day to the first change of level.

    A change is exact: it happens at a visit. A new insert of unknown level ends the observation there, unsaid which way.
    """
    inserts = log.episodes[(log.episodes["part"] == "insert")].copy()
    for name in ("fitted_on", "ended_on"):
        inserts[name] = pd.to_datetime(inserts[name])
    inserts = inserts.sort_values(["denture_id", "position", "serial"])
    inserts["next_level"] = inserts.groupby(["denture_id", "position"])["level"].shift(-1)
    inserts["next_force"] = inserts.groupby(["denture_id", "position"])["retention_n"].shift(-1)
    inserts["followed_on"] = inserts.groupby(["denture_id", "position"])["fitted_on"].shift(-1)
    first = inserts[inserts["first_insert"].fillna(False).astype(bool)]
    start = first.groupby("denture_id").agg(patient_id=("patient_id", "first"), begun=("fitted_on", "min"), start=("retention_n", "max"), known=("level", lambda level: level.notna().all()))
    known = start[start["known"] & start["begun"].notna()]
    changes = inserts[inserts["followed_on"].notna() & (inserts["next_level"].fillna("") != inserts["level"].fillna("")) & inserts["denture_id"].isin(known.index)]
    changes = changes.sort_values(["followed_on", "position"]).drop_duplicates("denture_id").set_index("denture_id")
    patients = log.patients.set_index("patient_id")
    end = known["patient_id"].map(log.until())
    cause = known["patient_id"].map(patients["left_reason"]).eq("died").map({True: DIED, False: ""})
    for day, why in ((gone_by_denture(log.dentures).reindex(known.index), GONE), (changes["followed_on"].reindex(known.index), _direction(changes).reindex(known.index))):
        first = day.notna() & (day <= end)
        end, cause = end.where(~first, day), cause.where(~first, why)
    frame = pd.DataFrame({"patient_id": known["patient_id"], "denture_id": known.index, "start": known["start"], "days": (end - known["begun"]).dt.days, "cause": cause})
    return Settling(frame[frame["days"] > 0].reset_index(drop=True), int((~start["known"]).sum()), log.plan["report"]["level"])


def _direction(changes: pd.DataFrame) -> pd.Series:
    """Which way each change went; "" where the new level is unknown, "changed" where the forces do not tell."""
    step = np.sign(changes["next_force"].astype(float) - changes["retention_n"].astype(float))
    return step.map({1.0: "step up", -1.0: "step down"}).fillna("changed").where(changes["next_level"].notna(), "")
