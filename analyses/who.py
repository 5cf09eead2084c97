"""Who is in it: one line, a flow from everybody in the log to those followed, a table of patients, and the report's origin."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from outcomes.present import words
from outcomes.present.content import Box
from outcomes.present.flow import Stage


REASONS = {"unknown start": "in place since an unknown day", "no time at risk": "nobody looked at them afterwards"}


def closing(log) -> str:
    """The day the log closes, which is the report's date."""
    return words.day(log.closing) if log.everybody else "no visit yet"


def stamp(log) -> str:
    """Who may see the page."""
    if not log.everybody:
        return "In-clinic page of an empty log: not for sharing."
    return f"In-clinic page, log up to {closing(log)}. Holds pseudonyms: not for sharing."


def line(log) -> str:
    """One line: patients, dentures, and from when to when."""
    if log.dentures.empty:
        return f"{words.count(log.everybody, 'patient')} in the log, and no overdenture that may be audited."
    patients = int(log.dentures["patient_id"].nunique())
    first, last = log.visits["day"].min(), log.closing
    between = "" if pd.isna(first) else f", visits from {words.day(first)} to {words.day(last)}"
    return f"{words.count(patients, 'patient')} with {words.count(len(log.dentures), 'overdenture')}{between}."


def stages(log) -> list[Stage]:
    """The flow diagram: the log, those who may be audited, those with an overdenture, first inserts followed."""
    worn = log.lifetime("insert worn")
    with_denture = int(log.dentures["patient_id"].nunique())
    inserts = log.times[log.times["endpoint"] == "insert worn"]
    out_first = tuple((("did not agree to audit", words.count(log.no_consent, "patient")),) if log.no_consent else ())
    without = log.everybody - log.no_consent - with_denture
    out_second = tuple((("no overdenture in the log", words.count(without, "patient")),) if without else ())
    later = int(((inserts["excluded"] == "") & ~inserts["first_insert"].fillna(False).astype(bool)).sum())
    out_third = tuple((REASONS.get(reason, reason), words.count(number, "insert")) for reason, number in worn.left_out.items())
    out_third += ((("later ones at their site, or in place before the log"), words.count(later, "insert")),) if later else ()
    return [
        Stage(f"{words.count(log.everybody, 'patient')} in the log", out_first),
        Stage(f"{words.count(log.everybody - log.no_consent, 'patient')} who may be audited", out_second, _in_part(log, CONSENTS)),
        Stage(f"{words.people(with_denture, len(log.dentures), 'overdenture')}, {words.count(len(inserts), 'insert')} over time", out_third, _in_part(log, COARSE)),
        Stage(f"{words.people(worn.patients, worn.parts, 'first insert')} followed from fitting"),
    ]


CONSENTS = {"consent not known": ("patient", "of unknown consent"), "died before being asked for consent": ("patient", "dead before being asked"), "consent not required": ("patient", "of whom local rules ask none")}
COARSE = {"dentures delivered in a month or year": ("overdenture", "delivered in a month or year, no day known"), "dentures delivered on a day not known": ("overdenture", "delivered on a day not known"),
          "inserts changed before, on days not known": ("change", "of inserts before the log on days not known, in no rate"),
          "visits known to the month or year": ("visit", "known to the month or year only"), "visits without a day": ("visit", "without any day, not used"),
          "visits whose notes are silent": ("visit", "whose notes do not say what was looked at"), "visits at which no part was looked at": ("visit", "at which no part was looked at")}


def _in_part(log, kinds: dict[str, tuple[str, str]]) -> tuple[str, ...]:
    """What of a stage is known only in part, each kind with its number."""
    number = dict(zip(log.known_in_part["kind"], log.known_in_part["number"]))
    return tuple(f"{words.count(int(number[kind]), one)} {text}" for kind, (one, text) in kinds.items() if number.get(kind))


def boxes(log) -> tuple[Box, ...]:
    """The same in small, for the front page."""
    shown = []
    for stage in stages(log):
        number, _, text = stage.text.partition(" ")
        out = ", ".join(f"{amount.partition(' ')[0] if i else amount} {reason}" for i, (reason, amount) in enumerate(stage.left_out))
        shown.append(Box(number, text, f"left out: {out}" if out else ""))
    return tuple(shown)


def described(log) -> pd.DataFrame:
    """Patients and dentures, with what is missing per line."""
    patients = log.patients[log.patients["patient_id"].isin(log.dentures["patient_id"])]
    total, rows = len(patients), []

    def add(what: str, value: str, missing: int = 0) -> None:
        rows.append({"what": what, "value": value, "not known": str(missing) if missing else "–"})

    add("patients", str(total))
    first = log.dentures.groupby("patient_id")["delivered_on"].min().reindex(patients["patient_id"])
    age = (first.dt.year.to_numpy() - patients["birth_year"].astype(float).to_numpy()) if total else np.array([])
    known = age[~np.isnan(age)]
    if len(known):
        quarter = np.quantile(known, [0.25, 0.5, 0.75])
        add("age at the first denture, middle half", f"{words.number(quarter[1])} ({words.number(quarter[0])} to {words.number(quarter[2])})", int(total - len(known)))
    unknown = int((patients["sex"].isna() | (patients["sex"] == "unknown")).sum())
    for word in ("female", "male"):
        count = int((patients["sex"] == word).sum())
        if count:
            add(word, words.share(count / total, total), unknown)
            unknown = 0  # once is enough
    add("overdentures", str(len(log.dentures)))
    for arch in ("lower", "upper"):
        add(f"of the {arch} jaw", str(int((log.dentures["arch"] == arch).sum())))
    add("died", str(int((patients["left_reason"] == "died").sum())))
    add("left for other reasons", str(int((patients["left_reason"].notna() & (patients["left_reason"] != "died")).sum())))
    add("visits with the patient", str(int(log.visits["seen"].sum())))
    return pd.DataFrame(rows)


def notices(log) -> tuple[str, ...]:
    """What must be read before the answers."""
    if not log.everybody:
        return ("The log is empty. Fill in the day sheet of the first visits and run the audit again.",)
    if log.guard:
        return (f"{log.guard} No curve and no share is shown for how long parts last: write down every recall, also those at which all was well.",)
    if log.withheld:
        parts = words.listing([f"{part}s" for part in sorted(log.withheld)])
        return (f"Of {parts} the log lists failures but not the visits where nothing was wrong. What shows only at examination is withheld for them: write down every recall, also those at which all was well.",)
    return ()


def answer_table(said) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): the answers as printed and unrounded."""
    shown = pd.DataFrame([{"answer": one.name, "number": one.number, "sentence": one.sentence, "likely range": one.likely, "counts": one.counts} for one in said])
    exact = shown.assign(value=[_plain(one.value) for one in said], low=[_plain(one.low) for one in said], high=[_plain(one.high) for one in said])
    return shown, exact


def results(said) -> dict[str, dict]:
    """The answers unrounded, for the manifest: nothing where the log cannot say."""
    return {one.name: {"shown": one.number, "value": _or_none(one.value), "low": _or_none(one.low), "high": _or_none(one.high)} for one in said}


def _or_none(value) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _plain(value) -> float:
    return float("nan") if value is None or not math.isfinite(value) else float(value)


def inputs(store) -> list[dict]:
    """Name and SHA-256 of every file in the store, each once."""
    loads = store.history()
    pairs = {(name, digest) for names, digests, undone in zip(loads["files"], loads["sha256"], loads["undone"]) if not undone for name, digest in zip(names, digests)}
    return [{"name": name, "sha256": digest} for name, digest in sorted(pairs)]
