"""The log as a history of inserts up to a day: what was in place, what was changed for what, and what was delivered lately."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes.analyses.cohort import gone_by_denture
from outcomes.analyses.lifetimes import YEAR
from outcomes.longevity.replacement import PartHistory

UNKNOWN = "unknown"
PAIR = "with its pair"
CAUSES = {"failed": "worn or lost", "wanted firmer": "wish", "wanted lighter": "wish", "with its pair": PAIR, "changed with a neighbour": PAIR}
OTHER = "routine or other work"
OLD = 731  # days of age given to an insert that was in place since an unknown day
EPOCH = pd.Timestamp("1970-01-01")


def _number(days: pd.Series) -> pd.Series:
    return (days - EPOCH).dt.days.astype(float)


def fitted(log) -> pd.DataFrame:
    """Every insert of dentures in use: patient, denture, site, level, start, ended (days; nan while in place), ending, and the next at its site.

    An insert already in place since an unknown day counts as fitted when its denture was delivered, else as two years old at the first visit in the
    log (a choice): as new it would make new inserts look short-lived.
    """
    rows = log.episodes[(log.episodes["part"] == "insert") & log.episodes["denture_id"].isin(log.dentures["denture_id"])].copy()
    for name in ("fitted_on", "ended_on"):
        rows[name] = pd.to_datetime(rows[name])
    first = log.visits.groupby("patient_id")["day"].min()
    delivered = log.dentures.set_index("denture_id")["delivered_on"]
    old = rows["patient_id"].map(first) - pd.Timedelta(days=OLD)
    rows["start_on"] = rows["fitted_on"].fillna(rows["denture_id"].map(delivered).where(lambda day: day <= rows["patient_id"].map(first))).fillna(old)
    rows["seen_on"] = pd.concat([rows["start_on"], rows["patient_id"].map(first)], axis=1).max(axis=1)
    rows = rows[rows["start_on"].notna()].sort_values(["denture_id", "position", "serial"])
    site = rows.groupby(["denture_id", "position"])
    level = rows["level"].where(rows["level"].notna() & (rows["level"] != ""), UNKNOWN).astype(str)
    ending = rows["ending"].fillna("").astype(str)
    return pd.DataFrame({
        "patient": rows["patient_id"], "denture": rows["denture_id"], "site": rows["position"].astype(str), "first": rows["serial"] == 1, "level": level, "start": _number(rows["start_on"]), "seen_from": _number(rows["seen_on"]),
        "ended": _number(rows["ended_on"]), "ending": ending, "next_on": _number(site["start_on"].shift(-1)), "next_level": level.groupby([rows["denture_id"], rows["position"]]).shift(-1),
        "here": rows["arrival"] == "fitted",
    }).reset_index(drop=True)  # fmt: skip


def history(log, rows: pd.DataFrame, on: float) -> PartHistory:
    """What was known on day ``on``: as the log would have read then. ``rows``: from ``fitted``."""
    recent_days = min(log.plan["stock"]["deliveries_months"] * YEAR / 12, on - _number(log.visits["day"]).min() + 1)
    left = log.patients.assign(left=_number(log.patients["left_on"]), gone=log.patients["left_on"].notna() | log.patients["left_reason"].notna())
    left["left"] = left["left"].fillna(left["patient_id"].map(_number(log.visits.groupby("patient_id")["day"].max()))).where(left["gone"])
    leaves = left.set_index("patient_id")["left"]
    retired = _number(gone_by_denture(log.dentures))
    parts = rows[rows["start"] <= on].copy()
    until = np.fmin(np.fmin(parts["patient"].map(leaves), parts["denture"].map(retired)), on).fillna(on)
    replaced = parts["next_on"].notna() & (parts["next_on"] <= until)
    stop = np.where(replaced, parts["next_on"], np.fmin(parts["ended"], until))
    parts["stop"] = np.maximum(stop, parts["start"])
    parts["seen_from"] = np.minimum(parts["seen_from"], parts["stop"])
    counts = replaced & (parts["here"] | (parts["stop"] > parts["seen_from"]))  # what was changed at the first look of all tells of no rate
    parts["cause"] = parts["ending"].map(CAUSES).fillna(OTHER).where(counts, "")
    parts["next_level"] = parts["next_level"].fillna("").where(counts, "")
    parts["in_place"] = ~replaced & ~(parts["ended"] <= on) & ~(parts["patient"].map(leaves) <= on) & ~(parts["denture"].map(retired) <= on)
    carriers = log.dentures.assign(start=_number(log.dentures["delivered_on"]), until=retired.to_numpy())
    begun = parts.groupby("denture").agg(patient=("patient", "first"), start=("start", "min"), seen_from=("seen_from", "min"), new=("here", "all"))
    begun["until"] = begun.index.map(carriers.set_index("denture_id")["until"])
    end = np.fmin(np.fmin(begun["until"], begun["patient"].map(leaves)), on).fillna(on)
    dentures = pd.DataFrame({"patient": begun["patient"], "denture": begun.index, "start": begun["start"], "seen_from": begun["seen_from"], "stop": np.maximum(end, begun["seen_from"]),
                             "gone": (begun["until"] <= on) & ~(begun["patient"].map(leaves) < begun["until"]), "recent": begun["new"] & (begun["start"] > on - recent_days)}).reset_index(drop=True)  # fmt: skip
    people = begun.groupby("patient").agg(seen_from=("seen_from", "min"))
    goes = people.index.map(leaves)
    patients = pd.DataFrame({"patient": people.index, "seen_from": people["seen_from"].to_numpy(), "stop": np.maximum(np.fmin(goes, on), people["seen_from"].to_numpy()), "gone": np.asarray(goes <= on)})
    return PartHistory(parts[["patient", "denture", "site", "first", "level", "start", "seen_from", "stop", "cause", "next_level", "in_place"]].reset_index(drop=True), dentures, patients, float(on), float(recent_days), PAIR)


def used(rows: pd.DataFrame, known: PartHistory, days: float) -> pd.DataFrame:
    """Inserts put in during the ``days`` after the history's closing, by level: replaced (in dentures known then) and new."""
    inside = rows[rows["here"] & (rows["start"] > known.closing) & (rows["start"] <= known.closing + days)]
    old = inside["denture"].isin(known.dentures["denture"])
    counts = pd.DataFrame({"replaced": inside[old].groupby("level").size(), "new": inside[~old].groupby("level").size()}).fillna(0).astype(int)
    return counts.assign(total=counts["replaced"] + counts["new"])
