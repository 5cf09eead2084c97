"""Who is in the comparison: the first denture of each patient, what was known on the day of delivery, and which way it started.

An arm is what was put in on the day of delivery. What was changed later is an outcome; nothing here can see it.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

FEW_MISSING = 0.05  # share missing up to which patients without the value are left out; above, "not known" is a value of its own

_TRAITS = "SELECT patient_id, bruxism, limited_dexterity FROM patients ORDER BY patient_id"
_OPPOSING = "SELECT denture_id, opposing FROM dentures ORDER BY denture_id"


@dataclass(frozen=True)
class Question:
    """Two ways to start. ``arms``: what each did; ``short``: in a table; ``start``: what each had; ``own``: the covariate that is the arm itself."""

    name: str
    title: str
    arms: tuple[str, str]
    short: tuple[str, str]
    start: tuple[str, str]
    own: str = ""


LEVEL = Question("starting level", "Starting light or starting firmer", ("started light", "started medium or firm"), ("light", "medium or firm"), ("a light start", "a medium or firm start"))
ATTACHMENT = Question("attachment", "Stud or ball attachments", ("started with studs", "started with balls"), ("stud", "ball"), ("studs", "balls"), "ball attachments")
PICK_UP = Question("pick-up", "Housings picked up in the mouth or in the laboratory", ("had their housings picked up in the mouth", "had their housings picked up in the laboratory"), ("in the mouth", "laboratory"), ("pick-up in the mouth", "pick-up in the laboratory"))


@dataclass(frozen=True, eq=False)
class Started:
    """``rows``: one row per eligible patient: patient_id, denture_id, begun, arch, sites, low, high (N), attachment, pick_up, clinician, …
    ``left_out``: reason to number of patients, in the order in which they were asked."""

    rows: pd.DataFrame
    left_out: dict[str, int]


def started(log, connection) -> Started:
    """Every patient's first denture in the log, if it has two or more sites, all fitted on one day, and no insert before them."""
    dentures = log.dentures.assign(upper=log.dentures["arch"] == "upper").sort_values(["patient_id", "delivered_on", "upper", "denture_id"], na_position="first")
    first = dentures.drop_duplicates("patient_id").set_index("denture_id")  # delivered on one day, the lower comes first
    inserts = log.episodes[log.episodes["part"].isin(("insert", "clip")) & log.episodes["denture_id"].isin(first.index)].copy()
    inserts = inserts.sort_values("serial").drop_duplicates(["denture_id", "position"])
    inserts["fitted_on"] = pd.to_datetime(inserts["fitted_on"])
    sites = inserts.groupby("denture_id").agg(begun=("fitted_on", "min"), last=("fitted_on", "max"), fresh=("first_insert", "all"), dated=("fitted_on", lambda day: day.notna().all()), sites=("position", "nunique"),
                                              low=("retention_n", "min"), high=("retention_n", "max"), known=("retention_n", lambda force: force.notna().all()), clinician=("clinician", "first"))  # fmt: skip
    frame = first[["patient_id", "arch"]].join(sites)
    left: dict[str, int] = {}
    for reason, out in (("no insert in the log", lambda f: f["sites"].isna()), ("in place before the log began, or from an unknown day", lambda f: ~(f["fresh"].eq(True) & f["dated"].eq(True))),
                        ("a single site", lambda f: f["sites"] < 2), ("sites fitted on more than one day", lambda f: f["begun"] != f["last"])):  # fmt: skip
        gone = out(frame).to_numpy(bool)
        if gone.any():
            left[reason] = int(gone.sum())
        frame = frame[~gone]
    frame = frame.reset_index().merge(connection.execute(_TRAITS).df(), how="left", on="patient_id").merge(connection.execute(_OPPOSING).df(), how="left", on="denture_id")
    frame = frame.join(_of_parts(log, frame["denture_id"]), on="denture_id").merge(log.patients[["patient_id", "birth_year"]], how="left", on="patient_id")
    return Started(frame.sort_values("patient_id").reset_index(drop=True), left)


def _of_parts(log, dentures: pd.Series) -> pd.DataFrame:
    """By denture, of its first parts: attachment and pick-up ("mixed" where they differ), the widest divergence."""
    parts = log.episodes[log.episodes["denture_id"].isin(dentures) & (log.episodes["serial"] == 1)]
    same = lambda values: None if values.dropna().empty else values.dropna().iloc[0] if values.nunique() == 1 else "mixed"  # noqa: E731
    if parts.empty:
        return pd.DataFrame(columns=["attachment", "pick_up", "divergence"])
    housings = parts[parts["part"] == "housing"].groupby("denture_id")["pick_up"].agg(same)
    own = parts[parts["part"].isin(("insert", "clip", "housing"))].groupby("denture_id").agg(attachment=("attachment", same), divergence=("divergence_deg", "max"))
    return own.join(housings)


def arms(question: Question, start: Started, plan) -> tuple[pd.DataFrame, dict[str, int]]:
    """(rows with ``other``: whether the patient started the second way; reason to patients left out for this question)."""
    rows, left = start.rows, dict(start.left_out)
    if question is LEVEL:
        one, other = rows["high"] <= plan["levels"]["low_n"], rows["low"] >= plan["levels"]["medium_n"]
        unknown = ~rows["known"].eq(True)
        said = ("starting level not written down", "mixed levels, or one between light and medium")
    elif question is ATTACHMENT:
        one, other, unknown = rows["attachment"] == "stud", rows["attachment"] == "ball", rows["attachment"].isna()
        said = ("attachment not written down", "other or mixed attachments")
    else:
        one, other, unknown = rows["pick_up"] == "chairside", rows["pick_up"] == "laboratory", rows["pick_up"].isna()
        said = ("pick-up not written down", "picked up both ways")
    neither = ~(one | other) & ~unknown
    for reason, out in zip(said, (unknown, neither)):
        if out.any():
            left[reason] = int(out.sum())
    kept = (one | other) & ~unknown
    return rows[kept].assign(other=other[kept]).reset_index(drop=True), left


def covariates(question: Question, rows: pd.DataFrame, plan) -> tuple[pd.DataFrame, pd.Series, tuple[str, ...]]:
    """(numbers known on the day of delivery, rows kept, what is the same for everybody): a fixed list, nothing chosen by the data.

    Where more than 5 % lack a value "not known" stands as a column of its own; else those who lack it are left out.
    """
    age = rows["begun"].dt.year - rows["birth_year"].astype(float)
    asked = {
        "upper jaw": (rows["arch"] == "upper", rows["arch"].isna()),
        "more than two sites": (rows["sites"] > 2, rows["sites"].isna()),
        "natural or fixed teeth opposite": (rows["opposing"].isin(("natural teeth", "fixed on implants")), _unknown(rows["opposing"])),
        "partial denture opposite": (rows["opposing"] == "partial denture", _unknown(rows["opposing"])),
        "ball attachments": (rows["attachment"] == "ball", rows["attachment"].isna()),
        f"implants diverge over {plan['strategy']['divergence_deg']:g}°": (rows["divergence"].astype(float) > plan["strategy"]["divergence_deg"], rows["divergence"].isna()),
        "grinds the teeth": (rows["bruxism"].isin(("possible", "probable", "definite")), _unknown(rows["bruxism"])),
        "limited dexterity": (rows["limited_dexterity"] == "yes", _unknown(rows["limited_dexterity"])),
        "65 to 74 years old": ((age >= 65) & (age < 75), age.isna()),
        "75 or older": (age >= 75, age.isna()),
        "year of delivery": (rows["begun"].dt.year, rows["begun"].isna()),
    }
    seen = rows["clinician"].value_counts()
    if len(seen) > 1 and seen.min() >= plan["strategy"]["clinician_patients"] and rows["clinician"].notna().all():
        asked |= {f"clinician {name}": (rows["clinician"] == name, rows["clinician"].isna()) for name in sorted(seen.index)[1:]}
    asked.pop(question.own, None)
    frame, kept = {}, pd.Series(True, index=rows.index)
    for name, (value, missing) in asked.items():
        frame[name] = value.astype(float).where(~missing, 0.0)
        if missing.mean() > FEW_MISSING:
            group = name.split(" opposite")[0] if "opposite" not in name else "teeth opposite"
            frame["age not known" if "old" in name else f"{group}: not known"] = missing.astype(float)
        else:
            kept &= ~missing
    frame = pd.DataFrame(frame)[kept.to_numpy()]
    same = tuple(name for name in frame if frame[name].nunique() < 2)
    return frame.drop(columns=list(same)).reset_index(drop=True), kept, same


def _unknown(values: pd.Series) -> pd.Series:
    return values.isna() | values.isin(("unknown", "not known"))
