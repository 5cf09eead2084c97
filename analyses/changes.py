"""How long until an insert is changed, for whatever reason: the first at a site, and all of them weighed so that busy sites do not speak loudest."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from outcomes import longevity
from outcomes.analyses.lifetimes import YEAR
from outcomes.present import words

ENDPOINT = "any insert change"


@dataclass(frozen=True, eq=False)
class Changes:
    """``first``, ``every``: curves of the share not yet changed, of first inserts and of all inserts at the same sites; None where too few."""

    first: object
    every: object
    patients: int
    first_parts: int
    all_parts: int


def changes(log) -> Changes | None:
    """Curves of any change at sites watched from their first insert; None where too few patients had one."""
    rows = log.times[(log.times["endpoint"] == ENDPOINT) & (log.times["excluded"] == "") & (log.times["found_day"] > 0)]
    rows = rows.assign(site=rows["denture_id"] + "/" + rows["position"].astype(str)).sort_values(["site", "serial"])
    begun = set(rows.loc[rows["first_insert"], "site"])
    rows = rows[rows["site"].isin(begun) & rows["fresh"]]
    stopped = (~rows["observed"]).groupby(rows["site"]).cumsum() - ~rows["observed"]
    rows = rows[stopped == 0]  # after a gap that did not end in a change, what follows at the site is no next gap
    first = rows[rows["first_insert"]]
    report = log.plan["report"]
    if first.loc[first["observed"], "patient_id"].nunique() < report["minimum_patients"]:
        return None
    weights = longevity.serial_gaps(rows["site"].to_numpy(), rows["serial"].to_numpy(float), rows["observed"].to_numpy(bool))
    shared = {"level": report["level"], "small_sample": True}
    return Changes(
        longevity.kaplan_meier(first["found_day"].to_numpy(float), first["observed"].to_numpy(bool), cluster=first["patient_id"].to_numpy(), **shared),
        longevity.kaplan_meier(rows["found_day"].to_numpy(float), rows["observed"].to_numpy(bool), weights=weights, cluster=rows["patient_id"].to_numpy(), **shared),
        int(rows["patient_id"].nunique()), len(first), len(rows),
    )  # fmt: skip


def table(found: Changes, log) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): the share not yet changed at each horizon."""
    shown, exact = [], []
    for label, curve, parts in (("first inserts", found.first, found.first_parts), ("all inserts at the same sites", found.every, found.all_parts)):
        row = {"inserts": f"{label} ({parts})"}
        for years in log.plan["report"]["horizons_years"]:
            share = float(curve.survival_at(years * YEAR))
            low, high = (float(limit) for limit in curve.interval_at(years * YEAR))
            people = int(found.first.people_at_risk(years * YEAR))
            enough = people >= log.plan["report"]["minimum_patients"] and share == share
            row[f"after {words.span(years)}"] = f"{words.estimated(share, found.patients)} ({words.percent_range(low, high)})" if enough else "not known"
            exact.append({"inserts": label, "years": years, "share": share if enough else float("nan"), "low": low if enough else float("nan"), "high": high if enough else float("nan"), "patients_at_risk": people, "inserts_in_all": parts})
        shown.append(row)
    return pd.DataFrame(shown), pd.DataFrame(exact)
