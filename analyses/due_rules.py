"""How often the clinic wants to see whom: the plan's interval, and the shorter ones for patients at more risk."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

import pandas as pd

from outcomes.analyses.cohort import gone_on
from outcomes.errors import Misuse
from outcomes.present import words

OWN_CHOICE = "the clinic's own choice"
LATELY = 365


@dataclass(frozen=True)
class Rule:
    """Patients of one kind and the days after a look within which they are to be seen again."""

    when: str
    days: int
    source: str

    def said(self) -> str:
        """One sentence."""
        return f"{words.sentence(self.when)}: every {words.days(self.days)} ({self.source})."


def _marked(column: str, *answers: str):
    def who(log, on) -> set:
        return set(log.patients.loc[log.patients[column].isin(answers), "patient_id"]) if column in log.patients else set()

    return who


def _failed_last(log, on) -> set:
    last = log.visits[log.visits["seen"]].groupby("patient_id")["day"].max()
    failed = log.failures.groupby("patient_id")["day"].max().reindex(last.index)
    return set(last.index[(failed == last).fillna(False)])


def _firm(log, on) -> set:
    held = log.episodes[(log.episodes["part"] == "insert") & (log.episodes["ending"].fillna("") == "")]
    return set(held.loc[held["retention_n"].astype(float) >= log.plan["levels"]["firm_n"], "patient_id"])


def _single(log, on) -> set:
    used = log.dentures.loc[~(gone_on(log.dentures) <= on), "denture_id"]
    return set(log.episodes.loc[log.episodes["denture_id"].isin(used) & (log.episodes["sites"] == 1), "patient_id"]) if "sites" in log.episodes else set()


def _problems(log, on) -> set:
    lately = log.visits[log.visits["problem"] & (log.visits["day"] > on - pd.Timedelta(days=LATELY))].drop_duplicates(["patient_id", "day"])
    counts = lately.groupby("patient_id").size()
    return set(counts.index[counts >= 2])


def _first_year(log, on) -> set:
    return set(log.dentures.loc[log.dentures["delivered_on"] > on - pd.Timedelta(days=LATELY), "patient_id"])


# What a rule of the plan may name; each finds patients in the log. Words that the clinic can check on the card.
CONDITIONS = {
    "dry mouth": _marked("dry_mouth", "yes"),
    "bruxism": _marked("bruxism", "probable", "definite"),
    "limited dexterity": _marked("limited_dexterity", "yes"),
    "smoker": _marked("smoker", "yes"),
    "worn at night": _marked("worn_at_night", "yes"),
    "failure at the last visit": _failed_last,
    "firm insert": _firm,
    "single implant": _single,
    "two problem visits in a year": _problems,
    "first year after delivery": _first_year,
    "upper denture": lambda log, on: set(log.dentures.loc[log.dentures["arch"] == "upper", "patient_id"]),
}


def rules(plan) -> list[Rule]:
    """The plan's shorter intervals, checked. Raises Misuse for a rule that means nothing, naming the nearest that does."""
    found = []
    for number, one in enumerate(plan["recall"]["shorter"], 1):
        where = f"Entry {number} of [[recall.shorter]] in the plan"
        if not isinstance(one, dict) or not {"when", "days"} <= set(one) <= {"when", "days", "source"}:
            raise Misuse(f"{where} needs when and days, may have a source, and nothing else.")
        if one["when"] not in CONDITIONS:
            near = difflib.get_close_matches(str(one["when"]), CONDITIONS, n=1, cutoff=0.5)
            raise Misuse(f"{where} says when = “{one['when']}”, which this program cannot find in a log. {f'Did you mean “{near[0]}”?' if near else 'Known are: ' + ', '.join(CONDITIONS) + '.'}")
        if isinstance(one["days"], bool) or not isinstance(one["days"], int) or not 1 <= one["days"] <= 3650:
            raise Misuse(f"{where} needs days as a whole number from 1 to 3650.")
        found.append(Rule(one["when"], one["days"], str(one.get("source") or OWN_CHOICE)))
    for name in ("interval_days", "review_days", "parts_days"):
        if not plan["recall"][name] >= 1:
            raise Misuse(f"{name} in [recall] of the plan must be 1 or more days.")
    return found


def intervals(log, on) -> pd.DataFrame:
    """One row per patient: patient_id, days (the shortest interval that fits), why."""
    plain = log.plan["recall"]["interval_days"]
    frame = pd.DataFrame({"patient_id": log.patients["patient_id"], "days": int(plain)})
    why: dict[str, list[str]] = {}
    for rule in sorted(rules(log.plan), key=lambda rule: rule.days):
        here = frame["patient_id"].isin(CONDITIONS[rule.when](log, on)) & (rule.days < plain)
        for patient in frame.loc[here, "patient_id"]:
            why.setdefault(patient, []).append(rule.when)
        frame.loc[here, "days"] = frame.loc[here, "days"].clip(upper=rule.days)
    frame["why"] = [words.listing(why.get(patient, [])) for patient in frame["patient_id"]]
    return frame


def said(plan) -> list[str]:
    """The rules in sentences, the plan's plain interval first."""
    return [f"Everybody: every {words.days(plan['recall']['interval_days'])} ({OWN_CHOICE}).", *(rule.said() for rule in rules(plan))]
