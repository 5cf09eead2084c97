"""The list of who is due as files: a table for spreadsheets, a calendar, and a sheet to print."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from outcomes.analyses import due_months, due_rules, recall_planning
from outcomes.analyses.due import COMING, DUE, OVERDUE, PARTS, QUESTIONNAIRE, RECALL, REVIEW, STATES, Due
from outcomes.analyses.methods import CAUTIONS
from outcomes.present import agenda, tables, words
from outcomes.present.sheet import Notice, Points, Rows, Sheet, write

KINDS = {RECALL: "recall", REVIEW: "first review", QUESTIONNAIRE: "questionnaire", PARTS: "parts to look at"}
MANY = {RECALL: ("recall", "recalls"), REVIEW: ("first review", "first reviews"), QUESTIONNAIRE: ("questionnaire", "questionnaires"), PARTS: ("patient with parts to look at", "patients with parts to look at")}
TITLES = {OVERDUE: "Overdue", DUE: "Due now", COMING: "Coming up"}


def frame(found: Due) -> pd.DataFrame:
    """The list as a table: one row per thing due."""
    rows = found.items
    return pd.DataFrame({"patient": rows["patient_id"], "what": rows["what"].map(KINDS), "jaw": rows["arch"], "due_on": [f"{day:%Y-%m-%d}" for day in rows["due_on"]], "state": rows["state"], "days_past_due": rows["days_over"],
                         "last_looked_on": ["" if pd.isna(day) else f"{day:%Y-%m-%d}" for day in rows["looked_on"]], "interval_days": rows["days"], "sooner_because": rows["why"], "detail": rows["detail"]})  # fmt: skip


def events(found: Due) -> list[agenda.Event]:
    """All-day events; what is past its day stands on the day of the list."""
    out = []
    for row in found.items.itertuples():
        day = max(row.due_on, found.on).date()
        late = f" since {words.day(row.due_on)}".replace(words.SPACE, " ") if row.days_over > 0 else ""
        title = f"{words.sentence(KINDS[row.what])} {'overdue' if row.state == OVERDUE else 'due'}{late}: {row.patient_id}"
        text = f"{words.sentence(row.detail)}." + (f" Sooner because of {row.why}." if row.why else "")
        out.append(agenda.Event(f"{row.what} {row.patient_id} {row.arch} {row.key}", day, title, text.replace(words.SPACE, " "), KINDS[row.what]))
    return out


def counts(found: Due, state: str) -> str:
    """How many things of each kind stand in one state: "23 recalls and 2 questionnaires"; "nothing"."""
    said = [words.count(number, *MANY[what]) for what in MANY if (number := len(found.of(what, state)))]
    return words.listing(said) or "nothing"


def sentences(found: Due, log) -> list[str]:
    """The list in a few sentences for the terminal."""
    late = log.plan["recall"]["overdue_days"]
    return [f"On {words.day(found.on)}, the last day of the log:" if found.on == log.visits["day"].max() else f"On {words.day(found.on)}:",
            f"  overdue by more than {late} days: {counts(found, OVERDUE)}", f"  due now: {counts(found, DUE)}", f"  coming up within {words.days(found.within)}: {counts(found, COMING)}"]  # fmt: skip


def sheet(found: Due, log, planned, months=None) -> Sheet:
    """The list to print; below it the months ahead, what other intervals would do, and the rules."""
    blocks: list = []
    if log.no_consent:
        blocks.append(Notice(f"{words.count(log.no_consent, 'patient')} did not agree to audit and {'is' if log.no_consent == 1 else 'are'} not in this list: recall them from the practice's own records."))
    for state in STATES:
        rows = found.items[found.items["state"] == state]
        if len(rows):
            blocks.append(Rows(f"{TITLES[state]}: {counts(found, state)}", _rows(rows), tick=True, wide=("why", "sooner because of")))
    if found.items.empty:
        blocks.append(Notice("Nobody is due."))
    if months is not None and (drawn := due_months.block(months, found.on)):
        blocks.append(drawn)
    blocks += recall_planning.blocks(planned, log.plan["recall"]["interval_days"])
    blocks.append(Points("How often the clinic wants to see whom", (*due_rules.said(log.plan), f"After delivery: a first review after {words.days(log.plan['recall']['review_days'])}. No part without a look for over {words.days(log.plan['recall']['parts_days'])}. Overdue: more than {log.plan['recall']['overdue_days']} days past its day. Settings of the plan; none rests on evidence that one interval is better.")))  # fmt: skip
    lead = f"{words.day(found.on)}. Overdue: {counts(found, OVERDUE)}. Due now: {counts(found, DUE)}. Coming up within {words.days(found.within)}: {counts(found, COMING)}."
    return Sheet("Who is due", "For the clinic's own desk. Holds pseudonyms: not for sharing.", lead, tuple(blocks), CAUTIONS)


def _rows(rows: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame({"patient": rows["patient_id"], "what": rows["what"].map(KINDS), "due on": [words.day(day) for day in rows["due_on"]], "why": [words.sentence(text) for text in rows["detail"]], "sooner because of": rows["why"].replace("", "–")})


def write_list(found: Due, log, planned, out: Path, *, months=None, alarm_days: int | None = None) -> list[Path]:
    """Write the list: as the one file that ``out`` names by its ending, or all of them into the folder ``out``. Paths of what was written.

    An empty list gives no calendar, since a calendar file without an event is none (RFC 5545, section 3.6); one written before is taken away.
    """
    about = {"title": "Who is due", "written": found.on.date(), "alarm_days": alarm_days}
    single = "" if out.is_dir() else out.suffix.lower()
    folder = out.parent if single else out
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    if single in ("", ".csv"):
        written.append(tables.write(frame(found), folder, out.stem if single else "due"))
    if single in ("", ".ics"):
        path = out if single else out / "due.ics"
        if found.items.empty:
            path.unlink(missing_ok=True)
        else:
            written.append(agenda.write(path, events(found), **about))
    if single in ("", ".html"):
        written.append(write(sheet(found, log, planned, months), out if single else out / "due.html"))
    if single == "" and len(planned.rows):
        written.append(tables.write(recall_planning.exact(planned), folder, "recall_planning"))
    if single == "" and months is not None:
        written.append(tables.write(due_months.exact(months), folder, "due_months"))
    return written
