"""Upkeep by kind of work: visits, chair time and cost per patient and year, and where the unplanned visits come from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.analyses.upkeep import Upkeep

DRAWS = 400  # clinics in which all patients come equally often, for what chance alone gives


@dataclass(frozen=True, eq=False)
class Kinds:
    """``rows``: patient_id, day, kind, problem, chair, minutes, handled: one row per patient, day and kind of work.

    ``chair`` is false on days on which only the laboratory had the denture. A visit's minutes are shared equally among its kinds, so
    that they add up to all chair time. ``handled``: things of that kind on that day, such as inserts.
    ``found``: patient_id, day, part, finding: what was amiss at unplanned visits.
    """

    up: Upkeep
    rows: pd.DataFrame
    found: pd.DataFrame

    def by_patient(self, values: pd.Series, rows: pd.DataFrame) -> pd.Series:
        """Values of rows summed by patient, in the order of the patients followed."""
        return values.groupby(rows["patient_id"]).sum().reindex(self.up.patients["patient_id"], fill_value=0.0)

    def table(self) -> pd.DataFrame:
        """One row per declared kind: visits (unplanned, planned), patients, things handled, minutes, and rates per patient-year with limits."""
        found = []
        for name, declared in schemas.upkeep().items():
            rows = self.rows[(self.rows["kind"] == name) & self.rows["chair"]]
            row = {"kind": name, "title": declared["title"], "patients": rows["patient_id"].nunique(), "handled": float(self.rows.loc[self.rows["kind"] == name, "handled"].sum()), "minutes": float(rows["minutes"].sum())}
            for label, own in (("unplanned", rows[rows["problem"]]), ("planned", rows[~rows["problem"]])):
                rate, low, high, _ = self.up.per_year(self.by_patient(pd.Series(1.0, index=own.index), own))
                row |= {label: len(own), f"{label}_per_year": rate, f"{label}_low": low, f"{label}_high": high, f"{label}_minutes": float(own["minutes"].sum())}
            if self.up.timed:
                row |= dict(zip(("minutes_per_year", "minutes_low", "minutes_high"), self.up.per_year(self.by_patient(rows["minutes"], rows), counts=False)[:3]))
            found.append(row)
        return pd.DataFrame(found)

    def amiss(self) -> pd.DataFrame:
        """part, finding, visits, patients: what was found amiss at unplanned visits, the most frequent first."""
        rows = self.found.groupby(["part", "finding"]).agg(visits=("day", "size"), patients=("patient_id", "nunique")).reset_index()
        return rows.sort_values(["visits", "part", "finding"], ascending=[False, True, True], kind="stable").reset_index(drop=True)

    def half_from(self, seed: int) -> tuple[int, int]:
        """(patients who made half of the unplanned visits, how many it would be if all came equally often for their time).

        The second is the median over simulated clinics with the same years and visits: chance alone also gathers visits in few patients.
        """
        counts = self.up.patients["unplanned"].to_numpy(float)
        years = self.up.patients["years"].to_numpy(float)
        if not counts.sum() or not years.sum():
            return 0, 0
        chance = np.random.default_rng(seed).multinomial(int(counts.sum()), years / years.sum(), size=DRAWS)
        return _most(counts), int(np.median([_most(one) for one in chance]))

    def cost(self, prices: dict) -> pd.DataFrame:
        """kind, title, chair, things, cost, per_year, low, high: by the clinic's own prices; the last row is all together. Empty without prices."""
        if not prices["currency"] or not self.up.patients["years"].sum() > 0:
            return pd.DataFrame()
        each, minute = prices["each"], prices["chair_hour"] / 60
        chair = self.rows["minutes"] * minute if self.up.timed else self.rows["minutes"] * 0.0
        things = self.rows["handled"] * self.rows["kind"].map(each).fillna(0.0)
        found = []
        for name, title in [*((name, row["title"]) for name, row in schemas.upkeep().items()), ("", "all together")]:
            own = self.rows["kind"] == name if name else pd.Series(True, index=self.rows.index)
            total = (chair + things)[own]
            rate, low, high = self.up.per_year(self.by_patient(total, self.rows[own]), counts=False)[:3] if total.sum() > 0 else (0.0, float("nan"), float("nan"))
            found.append({"kind": name, "title": title, "chair": float(chair[own].sum()), "things": float(things[own].sum()), "cost": float(total.sum()), "per_year": rate, "low": low, "high": high})
        return pd.DataFrame(found)


def _most(counts: np.ndarray) -> int:
    """How many of those with the most make up half."""
    ordered = np.sort(counts)[::-1]
    return int(np.searchsorted(np.cumsum(ordered), counts.sum() / 2 - 1e-9) + 1)


def kinds(log, up: Upkeep) -> Kinds:
    """What was done on every day of ``up``, and at the laboratory, by declared kind."""
    days = up.days[["patient_id", "day", "problem", "minutes"]].assign(chair=True)
    nothing = next(name for name, row in schemas.upkeep().items() if row.get("otherwise"))
    done = log.things_done
    if done.empty:
        rows = days.assign(kind=nothing, handled=0.0)
        return Kinds(up, rows, pd.DataFrame(columns=["patient_id", "day", "part", "finding"]))
    edges = up.patients.set_index("patient_id")[["begun", "ended"]]
    inside = done[(done["day"] > done["patient_id"].map(edges["begun"])) & (done["day"] <= done["patient_id"].map(edges["ended"]))]
    worked = inside[inside["kind"].notna()].drop_duplicates(["patient_id", "day", "kind", "denture_id", "position", "part"])
    handled = worked.groupby(["patient_id", "day", "kind"]).size().rename("handled").reset_index()
    rows = days.merge(handled, on=["patient_id", "day"], how="outer")
    rows["chair"] = rows["chair"].eq(True)
    rows["problem"] = rows["problem"].eq(True)
    rows["kind"], rows["handled"] = rows["kind"].fillna(nothing), rows["handled"].fillna(0).astype(float)
    rows["minutes"] = (rows["minutes"] / rows.groupby(["patient_id", "day"])["kind"].transform("size")).fillna(0.0)
    problem = set(map(tuple, days.loc[days["problem"], ["patient_id", "day"]].itertuples(index=False)))
    amiss = inside[~inside["finding"].isin(("sound", "not checked", "notes silent", "not present", "not recorded", "covered"))]
    amiss = amiss[np.array([pair in problem for pair in zip(amiss["patient_id"], amiss["day"])], dtype=bool)][["patient_id", "day", "part", "finding"]].drop_duplicates()
    return Kinds(up, rows.sort_values(["patient_id", "day", "kind"]).reset_index(drop=True), amiss.reset_index(drop=True))
