"""What to do next: who is due by the plan, what the drawer needs, and the gaps of the log that can still be closed."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from outcomes.analyses.people import RIGHT
from outcomes.analyses.standards import asked_at, checked_at
from outcomes.present import words
from outcomes.present.content import NextStep, Pseudonyms

LATELY = 365  # days before the closing day within which a gap in the log is worth a list


@dataclass(frozen=True)
class Task:
    """One thing to do: a key, a sentence after its number, and whom it concerns."""

    key: str
    number: int
    text: str
    rows: tuple[tuple[str, str], ...] = ()

    @property
    def anchor(self) -> str:
        return f"list-{self.key}" if self.rows else ""


def tasks(log) -> list[Task]:
    """Everything to be done, most pressing first; what is nought is left out."""
    found = [*_due(log), *_wishes(log), *_drawer(log), *_gaps(log)]
    return [task for task in found if task.number]


def steps(found: list[Task]) -> tuple[NextStep, ...]:
    """The tasks for the front page."""
    return tuple(NextStep(str(task.number), task.text, task.anchor) for task in found)


def lists(found: list[Task]) -> tuple[Pseudonyms, ...]:
    """The tasks' lists of pseudonyms, for the clinic's own eyes."""
    return tuple(Pseudonyms(f"{task.number} {task.text}", task.anchor, task.rows) for task in found if task.rows)


def in_care(log) -> pd.DataFrame:
    """Dentures in use of patients who have not left, with the day last looked at: patient_id, denture_id, delivered_on, last."""
    closing = pd.Timestamp(log.closing)
    stay = log.patients[(log.patients["left_on"].isna() | (log.patients["left_on"] > closing)) & log.patients["left_reason"].isna()]
    here = log.dentures[log.dentures["patient_id"].isin(stay["patient_id"]) & (log.dentures["retired_on"].isna() | (log.dentures["retired_on"] > closing))]
    looked = log.visits[log.visits["seen"] & log.visits["looked"]]
    last = looked.groupby("patient_id")["day"].max()
    return here[["patient_id", "denture_id", "arch", "delivered_on", "delivered_on_precision"]].assign(last=here["patient_id"].map(last))


def _due(log) -> list[Task]:
    recall, closing = log.plan["recall"], pd.Timestamp(log.closing)
    here = in_care(log)
    late_review = recall["review_days"] + recall["overdue_days"]
    visits = log.visits[log.visits["seen"]]
    after = here.merge(visits[["patient_id", "day"]], on="patient_id", how="left")
    seen_since = after[after["day"] > after["delivered_on"]]["denture_id"].unique()
    unseen = here[~here["denture_id"].isin(seen_since) & ((closing - here["delivered_on"]).dt.days > late_review)]
    late = here[~here["denture_id"].isin(unseen["denture_id"])].groupby("patient_id", as_index=False).agg(last=("last", "max"), delivered=("delivered_on", "max"))
    late["since"] = late["last"].fillna(late["delivered"])
    late = late[(closing - late["since"]).dt.days > recall["interval_days"] + recall["overdue_days"]].sort_values(["since", "patient_id"])
    return [
        Task("recalls", len(late), f"recalls overdue by more than {recall['overdue_days']} days" if len(late) != 1 else f"recall overdue by more than {recall['overdue_days']} days",
             tuple((row.patient_id, "never looked at" if pd.isna(row.last) else f"last looked at {words.day(row.last)}") for row in late.itertuples())),
        Task("reviews", len(unseen), f"{'dentures' if len(unseen) != 1 else 'denture'} without any visit since delivery",
             tuple((row.patient_id, f"{row.arch}, delivered {words.day(row.delivered_on)}") for row in unseen.sort_values("delivered_on").itertuples())),
    ]  # fmt: skip


def _wishes(log) -> list[Task]:
    """Patients in care whose last word on the snap was not "just right"."""
    here = set(in_care(log)["patient_id"])
    said = log.visits[log.visits["seen"] & log.visits["snap"].notna()].sort_values(["patient_id", "day"]).groupby("patient_id").last()
    off = said[said.index.isin(here) & (said["snap"] != RIGHT)].sort_values("day")
    return [Task("snap-off", len(off), f"{'patients' if len(off) != 1 else 'patient'} in care whose last word on the snap was not “just right”", tuple((name, f"{row.snap}, {words.day(row.day)}") for name, row in off.iterrows()))]


def _gaps(log) -> list[Task]:
    closing = pd.Timestamp(log.closing)
    recent = log.visits[log.visits["day"] > closing - pd.Timedelta(days=LATELY)]
    asked, checked = asked_at(recent), checked_at(recent)
    unknown = log.episodes[(log.episodes["part"] == "insert") & (log.episodes["ending"].fillna("") == "") & (log.episodes["level"].fillna("unknown") == "unknown")]
    unknown = unknown[unknown["patient_id"].isin(in_care(log)["patient_id"])]
    return [
        Task("not-asked", int((~asked["done"]).sum()), f"of {len(asked)} visits of the last year without the question on the snap", _visits(asked[~asked["done"]])),
        Task("not-checked", int((~checked["done"]).sum()), f"of {len(checked)} reviews and recalls of the last year without a look at every insert", _visits(checked[~checked["done"]])),
        *_questionnaires(log, closing),
        Task("unknown-level", len(unknown), f"{'inserts' if len(unknown) != 1 else 'insert'} in the mouth whose level nobody wrote down", tuple((row.patient_id, f"position {row.position}") for row in unknown.sort_values(["patient_id", "position"]).itertuples())),
    ]  # fmt: skip


def _visits(rows: pd.DataFrame) -> tuple[tuple[str, str], ...]:
    return tuple((row.patient_id, words.day(row.day)) for row in rows.sort_values(["day", "patient_id"]).itertuples())


def _questionnaires(log, closing: pd.Timestamp) -> list[Task]:
    """Patients a year after delivery who can still be asked."""
    never = in_care(log)["patient_id"].drop_duplicates()
    never = never[~never.isin(log.answers["patient_id"])].sort_values()
    silent = Task("never-answered", len(never), f"{'patients' if len(never) != 1 else 'patient'} in care who never answered a questionnaire", tuple((name, "") for name in never))
    if log.answers.empty:
        return [silent]
    first = log.delivered.groupby("patient_id")["delivered_on"].min()
    age = (closing - first).dt.days
    due = first[(age >= 335) & (age <= 545) & first.index.isin(in_care(log)["patient_id"])]
    answered = log.answers[log.answers["patient_id"].isin(due.index)]
    since = (answered["answered_on"] - answered["patient_id"].map(due)).dt.days
    have = set(answered.loc[since >= 180, "patient_id"])
    open_ = due[~due.index.isin(have)].sort_values()
    return [Task("unanswered", len(open_), f"{'patients' if len(open_) != 1 else 'patient'} who can still be given the questionnaire of the first year", tuple((name, f"delivered {words.day(day)}") for name, day in open_.items())), silent]


def _drawer(log) -> list[Task]:
    closing = pd.Timestamp(log.closing)
    used = log.inserts_in[log.inserts_in["day"] > closing - pd.Timedelta(days=LATELY)]
    by_level = used.assign(level=used["level"].replace("", "unknown")).groupby("level")["inserts"].sum().sort_values(ascending=False, kind="stable")
    shown = [f"{words.shortened(level, 24)} {count}" for level, count in by_level.head(4).items()] + ([f"others {by_level.iloc[4:].sum()}"] if len(by_level) > 4 else [])
    return [Task("drawer", int(by_level.sum()), f"inserts were fitted in the last year ({', '.join(shown)}): what a year takes from the drawer")]
