"""At which level each denture's inserts are, day by day: from the first inserts to the end of care."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.cohort import gone_by_denture
from outcomes.present import words

LIGHT, BETWEEN, MEDIUM, FIRM = "light", "between", "medium", "firm"
UNKNOWN, WITHOUT, RETIRED, DIED = "level not known", "without insert", "denture gone", "patient died"
STATES = (LIGHT, BETWEEN, MEDIUM, FIRM, UNKNOWN, WITHOUT, RETIRED, DIED)  # bottom to top in every figure
GONE = (RETIRED, DIED)


@dataclass(frozen=True, eq=False)
class Paths:
    """``rows``: patient_id, denture_id, start, stop (days since the first inserts), state, became ("" where nothing changed), room (days to
    the closing day of the log).
    ``unknown``: dentures whose starting level nobody wrote down; ``late``: dentures in place before the log, not followed here."""

    rows: pd.DataFrame
    unknown: int
    late: int
    confidence: float

    @cached_property
    def dentures(self) -> pd.DataFrame:
        """One row per denture: patient_id, denture_id, first (state on day 0), end (day), last (the state it ended in)."""
        if self.rows.empty:
            return pd.DataFrame(columns=["patient_id", "denture_id", "first", "end", "last", "room"])
        one = self.rows.groupby("denture_id", as_index=False).agg(patient_id=("patient_id", "first"), first=("state", "first"), end=("stop", "max"), state=("state", "last"), became=("became", "last"), room=("room", "first"))
        return one.assign(last=one["became"].where(one["became"] != "", one["state"]))

    @property
    def patients(self) -> int:
        return int(self.rows["patient_id"].nunique())

    @cached_property
    def occupancy(self):
        """Share of dentures at each level over time; None where none started."""
        if self.rows.empty:
            return None
        rows = self.rows
        return longevity.state_occupancy(rows["denture_id"].to_numpy(), rows["start"].to_numpy(float), rows["stop"].to_numpy(float), rows["state"].to_numpy(object), rows["became"].to_numpy(object),
                                         cluster=rows["patient_id"].to_numpy(), level=self.confidence, small_sample=True)  # fmt: skip

    def followed(self, day: float) -> pd.DataFrame:
        """Dentures whose state on ``day`` is known: still followed, or gone before. Begun too late to reach ``day``, the gone do not count
        either: else those who died would stand for those who could not be followed so long."""
        known = self.dentures
        return known[(known["room"] >= day) & ((known["end"] >= day) | known["last"].isin(GONE))]

    def state_on(self, day: float) -> pd.Series:
        """State at the end of ``day`` by denture, of those known on it."""
        known = self.followed(day)
        rows = self.rows[self.rows["denture_id"].isin(known["denture_id"])]
        inside = rows[(rows["start"] <= day) & (rows["stop"] > day)].set_index("denture_id")["state"]
        ends = known.set_index("denture_id")["last"]
        return inside.reindex(ends.index).fillna(ends)


def bands(levels: dict) -> str:
    """The plan's bands in words."""
    return f"Light: up to {words.newtons(levels['low_n'])}; between: up to {words.newtons(levels['medium_n'])}; medium: from there; firm: from {words.newtons(levels['firm_n'])} on."


def band(force: float, levels: dict) -> str:
    """The band of a force by the plan.

    >>> band(6.7, {"low_n": 8.0, "medium_n": 12.0, "firm_n": 17.0})
    'light'
    """
    if not np.isfinite(force):
        return UNKNOWN
    return LIGHT if force <= levels["low_n"] else BETWEEN if force < levels["medium_n"] else MEDIUM if force < levels["firm_n"] else FIRM


def first_inserts(log) -> pd.DataFrame:
    """Inserts of dentures whose every first insert was fitted while the log ran, with days since the first of them: the base of all."""
    inserts = log.episodes[log.episodes["part"].isin(("insert", "clip")) & log.episodes["denture_id"].notna()].copy()
    for name in ("fitted_on", "ended_on"):
        inserts[name] = pd.to_datetime(inserts[name])
    first = inserts.sort_values("serial").groupby(["denture_id", "position"]).head(1)
    fresh = first.groupby("denture_id")["first_insert"].all()
    begun = first.groupby("denture_id")["fitted_on"].min()
    inserts = inserts[inserts["denture_id"].map(fresh) & inserts["denture_id"].map(begun).notna()]
    return inserts.assign(begun=inserts["denture_id"].map(begun)).sort_values(["patient_id", "denture_id", "fitted_on", "position"])


def paths(log) -> Paths:
    """Follow every denture whose first inserts were fitted in the log; the state is the firmest level among its inserts.

    A change is made at a visit, so its day is exact. Without insert: none for a day or more.
    """
    inserts = first_inserts(log)
    levels, until = log.plan["levels"], log.until()
    died = set(log.patients.loc[log.patients["left_reason"] == "died", "patient_id"])
    retired = gone_by_denture(log.dentures)
    rows, unknown = [], 0
    for denture, own in inserts.groupby("denture_id", sort=True):
        patient, begun = own["patient_id"].iloc[0], own["begun"].iloc[0]
        if denture not in retired.index or patient not in until.index:
            continue
        start = own[own["fitted_on"] == begun]
        if start["retention_n"].isna().any():
            unknown += 1
            continue
        end, final = until[patient], DIED if patient in died else ""
        if pd.notna(retired[denture]) and retired[denture] <= end:
            end, final = retired[denture], RETIRED
        room = (pd.Timestamp(log.closing) - begun).days
        rows += [(patient, denture, *row, room) for row in _states(own, begun, (end - begun).days, final, levels)]
    every = log.episodes[log.episodes["part"].isin(("insert", "clip")) & log.episodes["denture_id"].isin(retired.index)]["denture_id"].nunique()
    frame = pd.DataFrame(rows, columns=["patient_id", "denture_id", "start", "stop", "state", "became", "room"])
    return Paths(frame, unknown, int(every - inserts["denture_id"].nunique()), log.plan["report"]["level"])


def _states(own: pd.DataFrame, begun, end: int, final: str, levels: dict) -> list[tuple[int, int, str, str]]:
    """(start, stop, state, became) of one denture until ``end``."""
    if end <= 0:
        return []
    fitted = (own["fitted_on"] - begun).dt.days.to_numpy(float)
    ended = np.nan_to_num((own["ended_on"] - begun).dt.days.to_numpy(float), nan=np.inf)
    force = own["retention_n"].to_numpy(float)
    days = np.unique(np.concatenate([[0.0], fitted, ended]))
    days = days[(days >= 0) & (days < end)]
    spells: list[list] = []
    for day in days:
        here = (fitted <= day) & (ended > day)
        state = WITHOUT if not here.any() else UNKNOWN if np.isnan(force[here]).any() else band(force[here].max(), levels)
        if not spells or spells[-1][1] != state:
            spells.append([int(day), state])
    stops = [start for start, _ in spells[1:]] + [end]
    after = [state for _, state in spells[1:]] + [final]
    return [(start, stop, state, became) for (start, state), stop, became in zip(spells, stops, after)]
