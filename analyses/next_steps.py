"""What to do next: who is due by the plan, what the drawer needs, and the gaps of the log that can still be closed."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from outcomes.analyses import drawer
from outcomes.analyses.due import DUE, OVERDUE, PARTS, QUESTIONNAIRE, RECALL, REVIEW, SAID, due, in_care, occasions
from outcomes.analyses.people import RIGHT
from outcomes.analyses.practice import asked_at, checked_at
from outcomes.present import words
from outcomes.present.content import NextStep, Pseudonyms

LATELY = 365  # days before the closing day within which a gap in the log is worth a list


@dataclass(frozen=True)
class Task:
    """One thing to do: a key, a sentence after its number, and whom it concerns, or the section that says more."""

    key: str
    number: int
    text: str
    rows: tuple[tuple[str, str], ...] = ()
    section: str = ""

    @property
    def anchor(self) -> str:
        return f"list-{self.key}" if self.rows else self.section


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


def _due(log) -> list[Task]:
    """What is overdue by the plan: the same list that ``outcomes due`` writes."""
    found, late = due(log), log.plan["recall"]["overdue_days"]
    recalls, reviews, parts = (found.of(what, OVERDUE) for what in (RECALL, REVIEW, PARTS))
    return [
        Task("recalls", len(recalls), f"recall{'s' if len(recalls) != 1 else ''} overdue by more than {late} days", _items(recalls)),
        Task("reviews", len(reviews), f"{'dentures' if len(reviews) != 1 else 'denture'} without any visit since delivery", _items(reviews)),
        Task("unchecked", len(parts), f"{'patients' if len(parts) != 1 else 'patient'} seen while parts went without a look for over {words.days(log.plan['recall']['parts_days'])}", _items(parts)),
    ]  # fmt: skip


def _items(rows: pd.DataFrame) -> tuple[tuple[str, str], ...]:
    return tuple((row.patient_id, row.detail + (f"; {row.why}" if row.why else "")) for row in rows.itertuples())


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
        *_questionnaires(log),
        Task("unknown-level", len(unknown), f"{'inserts' if len(unknown) != 1 else 'insert'} in the mouth whose level nobody wrote down", tuple((row.patient_id, f"position {row.position}") for row in unknown.sort_values(["patient_id", "position"]).itertuples())),
    ]  # fmt: skip


def _visits(rows: pd.DataFrame) -> tuple[tuple[str, str], ...]:
    return tuple((row.patient_id, words.day(row.day)) for row in rows.sort_values(["day", "patient_id"]).itertuples())


def _questionnaires(log) -> list[Task]:
    """Patients a year after delivery who can still be asked."""
    never = in_care(log)["patient_id"].drop_duplicates()
    never = never[~never.isin(log.answers["patient_id"])].sort_values()
    silent = Task("never-answered", len(never), f"{'patients' if len(never) != 1 else 'patient'} in care who never answered a questionnaire", tuple((name, "") for name in never))
    asked = due(log).of(QUESTIONNAIRE, OVERDUE, DUE)
    which = words.listing([SAID[name] for name in occasions(log.plan)])
    text = f"{'patients' if len(asked) != 1 else 'patient'} who can still be given the questionnaire of {which} after delivery"
    return [Task("unanswered", len(asked), text, _items(asked)), silent]


def _drawer(log) -> list[Task]:
    """What the drawer needs: the forecast, or what the last year took where no forecast can be made."""
    found = drawer.stock(log)
    if not found.why:
        return [Task("drawer", int(words.rounded(found.all["total"])), drawer.short(found), section=drawer.ANCHOR)]
    used = log.inserts_in[log.inserts_in["day"] > pd.Timestamp(log.closing) - pd.Timedelta(days=LATELY)]
    number = int(used["inserts"].sum())
    return [Task("drawer", number, f"{'inserts were' if number != 1 else 'insert was'} fitted in the last year ({drawer.last_year(log)}): what a year takes from the drawer", section=drawer.ANCHOR)]
