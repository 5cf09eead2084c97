"""Today's day sheets: what the store knows of each patient's dentures on a day, as pages to print."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

import pandas as pd

from outcomes.analyses.due import COMING, OVERDUE, due, in_care
from outcomes.analyses.due_list import KINDS
from outcomes.present import words
from outcomes.present.day_sheets import PLACES, DenturePage, InMouth

NEW = "Not in the store yet. For a set fitted today write its lines here (sheet Set-up), and add the patient to the sheet Patients."
NOTHING = "The store knows the patient, but nothing in place. For a set fitted today write its lines here (sheet Set-up)."
NO_CONSENT = "The patient did not agree to audit, so nothing is shown from the log."
KINDS_AT_SITE = ("insert", "clip"), ("housing",), ("abutment", "bar")


def pages(log, known: Iterable[str], refused: Iterable[str], patients: list[str], day: datetime.date) -> list[DenturePage]:
    """A page for each denture in use of each patient in the order given; one blank page for a patient of whom nothing is known.

    ``log``: as ``cohort.read_log`` gives it, closed on ``day``; None for a store without a visit. ``known``: every patient of the store;
    ``refused``: those who did not agree to audit.
    """
    known, refused = set(known), set(refused)
    on = f"{day:%Y-%m-%d}"
    if log is None:
        return [DenturePage(patient, "", on, (), (), (), NOTHING if patient in known else NEW) for patient in patients]
    here, items = in_care(log), due(log).items
    parts = log.in_place.merge(_now(log.episodes), how="left", on=["denture_id", "part", "position"])
    levels = _levels(log)
    found = []
    for patient in patients:
        dentures = here[here["patient_id"] == patient].sort_values(["arch", "delivered_on"], ascending=[False, True])
        if patient in refused or patient not in known or dentures.empty:
            why = NO_CONSENT if patient in refused else NEW if patient not in known else NOTHING + _left(log, patient)
            last = () if patient in refused else _last(log, patient, "")
            found.append(DenturePage(patient, "", on, (), last, (), why, levels=levels))
            continue
        for row in dentures.itertuples():
            said = items[(items["patient_id"] == patient) & items["arch"].isin(["", row.arch])]
            places = _places(parts[parts["denture_id"] == row.denture_id])
            found.append(DenturePage(patient, row.arch, on, places[:PLACES], (*_last(log, patient, row.arch), *_older(parts[parts["denture_id"] == row.denture_id]), *_more(places)), tuple(_due(one) for one in said.itertuples())[:3],
                                     "" if places else NOTHING, f"delivered {_day(row.delivered_on, row.delivered_on_precision)}", levels))
    return found


def _levels(log) -> tuple[str, ...]:
    """The clinic's levels for wear, the lightest first; those never used yet last."""
    force = log.episodes.dropna(subset=["level", "retention_n"]).drop_duplicates("level").set_index("level")["retention_n"]
    names = log.levels.loc[log.levels["kind"].isna() | (log.levels["kind"] == "final"), "level"]
    return tuple(sorted(names, key=lambda name: (force.get(name, float("inf")), name)))


def _more(places: tuple[InMouth, ...]) -> tuple[str, ...]:
    left = len(places) - PLACES
    return (f"{words.count(left, 'more position is', 'more positions are')} in the log and not shown.",) if left > 0 else ()


def _now(episodes: pd.DataFrame) -> pd.DataFrame:
    """The part now at each position: the episode that has no end."""
    rows = episodes[episodes["ended_on"].isna()].sort_values("serial").drop_duplicates(["patient_id", "denture_id", "part", "position"], keep="last")
    return rows[["denture_id", "part", "position", "attachment", "level", "retention_n", "fitted_on", "fitted_on_last"]]


def _places(parts: pd.DataFrame) -> tuple[InMouth, ...]:
    """What sits at each position of a denture, in the order of the jaw from the patient's right."""
    out = []
    for position in sorted(parts["position"].unique(), key=_place_in_jaw):
        at = parts[parts["position"] == position]
        insert, housing, abutment = (at[at["part"].isin(names)].head(1) for names in KINDS_AT_SITE)
        first = next((one for one in (abutment, insert, housing) if len(one)), at)
        looked = (insert if len(insert) else at)["looked_on"].min()
        out.append(InMouth((position, _text(first["attachment"]) or _text(insert["attachment"]) or "–", _level(insert), _since(insert), _since(housing), _since(abutment), "never" if pd.isna(looked) else words.day(looked))))
    return tuple(out)


def _older(parts: pd.DataFrame) -> tuple[str, ...]:
    """A line on the parts that were last looked at before the inserts were."""
    looked = {names: parts.loc[parts["part"].isin(names), "looked_on"].min() for names in KINDS_AT_SITE}
    inserts = looked[KINDS_AT_SITE[0]]
    said = [f"{names[0]}s {words.day(day)}" for names, day in looked.items() if names != KINDS_AT_SITE[0] and pd.notna(day) and pd.notna(inserts) and day < inserts]
    return (f"Last looked at earlier than the inserts: {words.listing(said)}.",) if said else ()


def _place_in_jaw(position: str) -> tuple[int, int]:
    digits = position[:2]
    if not digits.isdigit():
        return (1, 0)
    right = digits[0] in "14"
    return (0, -int(digits[1])) if right else (2, int(digits[1]))


def _text(values: pd.Series) -> str:
    return str(values.iloc[0]) if len(values) and pd.notna(values.iloc[0]) else ""


def _level(insert: pd.DataFrame) -> str:
    if insert.empty:
        return "none in place"
    level, force = _text(insert["level"]), insert["retention_n"].iloc[0]
    return f"{level or 'not recorded'}{f', {words.newtons(force)}' if pd.notna(force) else ''}"


def _since(part: pd.DataFrame) -> str:
    """The day a part was put in, as precise as known."""
    if part.empty:
        return "none in place"
    first, last = part["fitted_on"].iloc[0], part["fitted_on_last"].iloc[0]
    if pd.isna(first):
        return "not known"
    whole_year = (first.month, first.day) == (1, 1) and pd.notna(last) and (last.month, last.day) == (12, 31)
    if pd.isna(last) or first == last:
        return words.day(first)
    return f"{first.year}" if whole_year and first.year == last.year else f"{first:%Y-%m}" if (first.year, first.month) == (last.year, last.month) else f"between {words.day(first)} and {words.day(last)}"


def _day(value, precision: str) -> str:
    if pd.isna(value):
        return "on a day not known"
    return {"month": f"{value:%Y-%m}", "year": f"{value:%Y}"}.get(precision, words.day(value))


def _last(log, patient: str, arch: str) -> tuple[str, ...]:
    """The last visit and the last word on the snap, of this jaw where visits name theirs."""
    visits = log.visits[(log.visits["patient_id"] == patient) & (log.visits["arch"].isna() | (log.visits["arch"] == arch) | (arch == ""))].sort_values("day", kind="stable")
    if visits.empty:
        return ()
    last, asked = visits.iloc[-1], visits[visits["snap"].notna()]
    lines = [f"Last visit {_day(last['day'], last['precision'])}: {last['reason']}."]
    lines.append(f"Last word on the snap: {asked.iloc[-1]['snap']}, {_day(asked.iloc[-1]['day'], asked.iloc[-1]['precision'])}." if len(asked) else "Last word on the snap: never asked.")
    return (" ".join(lines),)


def _left(log, patient: str) -> str:
    row = log.patients[log.patients["patient_id"] == patient]
    if row.empty or (pd.isna(row["left_on"].iloc[0]) and not _text(row["left_reason"])):
        return ""
    day = row["left_on"].iloc[0]
    return f" By the log the patient left care{'' if pd.isna(day) else f' on {words.day(day)}'}{f' ({_text(row.left_reason)})' if _text(row.left_reason) else ''}: is it the right pseudonym?"


def _due(item) -> str:
    state = {OVERDUE: "overdue since", COMING: "coming up on"}.get(item.state, "due since" if item.days_over > 0 else "due on")
    return f"{words.sentence(KINDS[item.what])}: {state} {words.day(item.due_on)} ({item.detail})."
