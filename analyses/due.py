"""Who is due: recalls, reviews, questionnaires and parts nobody looked at, by the plan's intervals. One list for every page that says so."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

import pandas as pd

from outcomes.analyses.cohort import gone_on
from outcomes.analyses.due_rules import intervals
from outcomes.errors import Misuse
from outcomes.present import words
from outcomes.satisfaction.windows import WINDOWS

RECALL, REVIEW, QUESTIONNAIRE, PARTS = "recall", "review", "questionnaire", "parts"
OVERDUE, DUE, COMING = "overdue", "due", "coming up"
STATES = (OVERDUE, DUE, COMING)
OCCASIONS = {window.name: window for window in WINDOWS if window.aim is not None}
SAID = {"month 3": "3 months", "month 12": "1 year", "month 24": "2 years", "month 60": "5 years"}
COLUMNS = ["patient_id", "what", "arch", "due_on", "state", "days_over", "looked_on", "days", "why", "detail", "key"]


@dataclass(frozen=True, eq=False)
class Due:
    """``items``: one row per thing due by ``on`` or within the days after it: patient_id, what, arch ("" for the whole mouth), due_on, state
    (overdue, due, coming up), days_over (below 0: days to go), looked_on, days (the interval asked for), why (what shortens it), detail, key (what it hangs on)."""

    on: pd.Timestamp
    within: int
    items: pd.DataFrame

    def of(self, what: str, *states: str) -> pd.DataFrame:
        """Items of one kind, in the states named (all, where none is)."""
        rows = self.items[self.items["what"] == what]
        return rows[rows["state"].isin(states)] if states else rows

    def count(self, state: str) -> int:
        return int((self.items["state"] == state).sum())


def in_care(log) -> pd.DataFrame:
    """Dentures in use of patients who have not left, with the day last looked at: patient_id, denture_id, arch, delivered_on, last."""
    closing = pd.Timestamp(log.closing)
    left = log.patients["left_on"]
    stay = log.patients[~((left <= closing) | (left.isna() & log.patients["left_reason"].notna()))]
    here = log.dentures[log.dentures["patient_id"].isin(stay["patient_id"]) & ~(gone_on(log.dentures) <= closing)]
    here = here[~(here["delivered_on"] > closing)]
    looked = log.visits[log.visits["seen"] & log.visits["looked"]]
    last = looked.groupby("patient_id")["day"].max()
    return here[["patient_id", "denture_id", "arch", "delivered_on", "delivered_on_precision"]].assign(last=here["patient_id"].map(last))


def due(log, within: int | None = None) -> Due:
    """Everything due on the log's closing day, or within so many days after it (the plan's, unless given); the most pressing first."""
    recall, on = log.plan["recall"], pd.Timestamp(log.closing)
    within = recall["within_days"] if within is None else within
    here, often = in_care(log), intervals(log, on)
    reviews, seen_once = _reviews(log, here)
    recalls = _recalls(seen_once, often)
    found = [frame.reindex(columns=COLUMNS).astype({"due_on": "datetime64[ns]", "looked_on": "datetime64[ns]"}).drop(columns=["state", "days_over"]) for frame in (reviews, recalls, _parts(log, here, recalls, often), _questionnaires(log, here, on)) if len(frame)]
    rows = pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=COLUMNS)
    if rows.empty:
        return Due(on, within, rows.reindex(columns=COLUMNS))
    rows["days_over"] = (on - rows["due_on"]).dt.days
    rows = rows[rows["days_over"] >= -within]
    rows = rows.assign(state=[OVERDUE if over > recall["overdue_days"] else DUE if over >= 0 else COMING for over in rows["days_over"]])
    order = rows["what"].map({RECALL: 0, REVIEW: 1, PARTS: 2, QUESTIONNAIRE: 3})
    rows = rows.assign(order=order).sort_values(["due_on", "order", "patient_id", "arch"], kind="stable")
    return Due(on, within, rows.reindex(columns=COLUMNS).reset_index(drop=True))


def _reviews(log, here: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Dentures that nobody has seen since delivery; and all others."""
    visits = log.visits[log.visits["seen"]]
    after = here.merge(visits[["patient_id", "day"]], on="patient_id", how="left")
    seen = after[(after["day"] > after["delivered_on"]) | after["delivered_on"].isna()]["denture_id"].unique()
    unseen = here[~here["denture_id"].isin(seen)]
    days = log.plan["recall"]["review_days"]
    rows = unseen.assign(what=REVIEW, due_on=unseen["delivered_on"] + pd.Timedelta(days=days), looked_on=pd.NaT, days=days, why="",
                         detail=[f"{row.arch}, delivered {words.day(row.delivered_on)}" for row in unseen.itertuples()], key=[f"{row.denture_id} {row.delivered_on:%Y-%m-%d}" for row in unseen.itertuples()])  # fmt: skip
    return rows, here[here["denture_id"].isin(seen)]


def _recalls(here: pd.DataFrame, often: pd.DataFrame) -> pd.DataFrame:
    """The next recall of everybody seen since delivery: so many days after the last look, or after delivery where nobody ever looked."""
    rows = here.groupby("patient_id", as_index=False).agg(last=("last", "max"), delivered=("delivered_on", "max"))
    rows["since"] = rows["last"].fillna(rows["delivered"])
    rows = rows[rows["since"].notna()].merge(often, on="patient_id")
    return rows.assign(what=RECALL, arch="", due_on=rows["since"] + pd.to_timedelta(rows["days"], unit="D"), looked_on=rows["last"],
                       detail=["never looked at" if pd.isna(day) else f"last looked at {words.day(day)}" for day in rows["last"]], key=[f"{day:%Y-%m-%d}" for day in rows["since"]])  # fmt: skip


def _parts(log, here: pd.DataFrame, recalls: pd.DataFrame, often: pd.DataFrame) -> pd.DataFrame:
    """Parts in the mouth that were passed over though the patient was seen: one item per patient, none where the recall comes no later."""
    days = log.plan["recall"]["parts_days"]
    held = log.in_place[log.in_place["patient_id"].isin(here["patient_id"]) & (log.in_place["denture_id"].isna() | log.in_place["denture_id"].isin(here["denture_id"])) & log.in_place["looked_on"].notna()]
    if held.empty:
        return pd.DataFrame(columns=COLUMNS)
    next_recall = recalls.set_index("patient_id")["due_on"]
    held = held.assign(due_on=held["looked_on"] + pd.Timedelta(days=days))
    held = held[held["due_on"] < held["patient_id"].map(next_recall)]
    rows = []
    for patient, group in held.groupby("patient_id"):
        first = group["looked_on"].min()
        counts = group.groupby("part").size()
        what = words.listing([words.count(number, part) for part, number in counts.sort_index(ascending=False).items()])
        rows.append({"patient_id": patient, "what": PARTS, "arch": "", "due_on": group["due_on"].min(), "looked_on": first, "days": days, "why": "",
                     "detail": f"{what} not looked at since {words.day(first)}" if len(group) == 1 or group["looked_on"].nunique() == 1 else f"{what} not looked at, the first since {words.day(first)}", "key": f"{first:%Y-%m-%d}"})  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def _questionnaires(log, here: pd.DataFrame, on: pd.Timestamp) -> pd.DataFrame:
    """Answers that can still be had: from a month before the occasion to the end of its window; nothing where the clinic uses no questionnaire."""
    asked = occasions(log.plan)
    if log.answers.empty:
        return pd.DataFrame(columns=COLUMNS)
    first = log.delivered[log.delivered["patient_id"].isin(here["patient_id"])].groupby("patient_id")["delivered_on"].min()
    answered = log.answers[["patient_id", "answered_on"]].dropna()
    since = (answered["answered_on"] - answered["patient_id"].map(first)).dt.days
    rows = []
    for name in asked:
        window = OCCASIONS[name]
        have = set(answered.loc[(since >= window.first) & (since <= window.last), "patient_id"])
        age = (on - first).dt.days
        for patient, day in first[(age <= window.last) & ~first.index.isin(have)].items():
            rows.append({"patient_id": patient, "what": QUESTIONNAIRE, "arch": "", "due_on": day + pd.Timedelta(days=max(window.first, round(window.aim) - 30)), "looked_on": pd.NaT, "days": round(window.aim), "why": "",
                         "detail": f"{SAID[name]} after delivery on {words.day(day)}; can be asked until {words.day(day + pd.Timedelta(days=window.last))}", "key": f"{name} {day:%Y-%m-%d}"})  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def occasions(plan) -> list[str]:
    """The plan's questionnaire occasions, checked."""
    for name in plan["recall"]["occasions"]:
        if name not in OCCASIONS:
            near = difflib.get_close_matches(str(name), OCCASIONS, n=1, cutoff=0.5)
            raise Misuse(f"{name} is no occasion for a questionnaire (occasions in [recall] of the plan). {f'Did you mean {near[0]}?' if near else ''} Known are: {', '.join(OCCASIONS)}.".replace("  ", " "))
    return list(dict.fromkeys(plan["recall"]["occasions"]))
