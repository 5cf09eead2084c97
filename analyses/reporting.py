"""For the record: what the guideline for reports of observed patients asks for and a log can fill by itself (STROBE; von Elm et al. 2007)."""

from __future__ import annotations

import pandas as pd

from outcomes.analyses import who
from outcomes.analyses.lifetimes import YEAR
from outcomes.present import words
from outcomes.present.content import Facts, Prose, Section
from outcomes.present.manifest import versions

FOUND_BY = {"examination": "looking: dated between two looks", "patient": "the patient noticing it: dated by the visit that found it", "record": "its own entry in the log: dated to the day"}
BY_HAND = "This section and Methods hold what a log can say of itself. The question asked, the setting, what other clinics found, how far the answers carry elsewhere, funding, and approval have to be written by hand."


def section(log, lives, folder) -> Section:
    """Design, dates, eligibility, endpoints, follow-up and what is missing, as a reviewer asks for them."""
    blocks = [Facts(_facts(log))]
    if log.everybody:
        blocks += [_grid(folder, "left_out", "Who was left out at each stage, and why", _left_out(log)), _grid(folder, "endpoints", "What counted as an event, and how long it was watched for", _endpoints(log, lives)),
                   _grid(folder, "missing", "What the log does not say", _missing(log))]  # fmt: skip
    return Section("record", "For the record", (*blocks, Prose((BY_HAND,))), methods=True)


def _grid(folder, name: str, caption: str, frame: pd.DataFrame):
    return folder.grid(name, caption, frame.astype(str), frame)


def _facts(log) -> tuple[tuple[str, str], ...]:
    """Design, cohort, dates, follow-up, loss, and what the numbers were made with."""
    audit, left = log.plan["audit"], log.patients["left_reason"]
    period = " to ".join(day for day in (audit["period_from"], audit["period_to"]) if day)
    return (
        ("Design", "audit of one clinic's log of visits, looked back on; nobody was assigned to anything"),
        ("How the patients were found", audit["cohort"] + (f"; dentures delivered in {period}" if period else "")),
        ("First and last delivery", _span(log.dentures.loc[log.dentures["delivered_on_precision"] == "day", "delivered_on"])),
        ("First and last visit", _span(log.visits["day"])),
        ("The log was closed on", words.day(log.closing) if log.everybody else "no visit yet"),
        ("Who recorded", _recorded(log)),
        ("Followed in all", _followed(log)),
        ("Lost", f"{words.count(int((left == 'died').sum()), 'patient')} died; {words.count(int((left.notna() & (left != 'died')).sum()), 'patient')} left for other reasons; {_silent(log)}"),
        ("Size", "everybody eligible; no size was calculated beforehand, and the likely ranges say how precise the answers are"),
        ("Software", ", ".join(f"{name} {version}" for name, version in sorted(versions().items()))),
    )


def _span(days: pd.Series) -> str:
    return f"{words.day(days.min())} and {words.day(days.max())}" if days.notna().any() else "not known"


def _recorded(log) -> str:
    """Whose findings these are."""
    names = log.episodes["clinician"].dropna().nunique() if "clinician" in log.episodes else 0
    return (f"the clinic itself, {words.count(int(names), 'clinician')} named at fittings" if names else "the clinic itself; no clinician is named") + "; the log holds no second reading of a finding"


def _followed(log) -> str:
    """Patient-years from the first denture, or the first visit where that came later, to the end of care."""
    begun = pd.concat([log.visits.groupby("patient_id")["day"].min(), log.dentures.groupby("patient_id")["delivered_on"].min()], axis=1).dropna(subset=["day"]).max(axis=1)
    if begun.empty:
        return "nobody"
    years = (log.until().reindex(begun.index) - begun).dt.days.clip(lower=0) / YEAR
    return f"{words.number(years.sum())} patient-years, from delivery (or the first visit in the log, where that came later) to the end of care; middle patient {words.years(years.median() * YEAR)}"


def _silent(log) -> str:
    """Patients whom nobody saw for so long that care counts as ended, though no leaving was written down."""
    gap = log.plan["rules"]["under_care_days"]
    last = log.visits[log.visits["seen"]].groupby("patient_id")["day"].max()
    stayed = last.reindex(log.patients.loc[log.patients["left_reason"].isna(), "patient_id"]).dropna()
    return f"{words.count(int(((pd.Timestamp(log.closing) - stayed).dt.days > gap).sum()), 'patient')} not seen in the last {words.days(gap)} without a word of leaving"


def _left_out(log) -> pd.DataFrame:
    """The flow diagram in words: a row for each stage and each reason."""
    rows = []
    for stage in who.stages(log):
        rows.append({"stage": stage.text, "left out": "–", "why": "–"})
        rows += [{"stage": "on the way to the next", "left out": amount, "why": reason} for reason, amount in stage.left_out]
    return pd.DataFrame(rows)


def _endpoints(log, lives) -> pd.DataFrame:
    """Each endpoint: its definition, how it is found, events, and how long its units were watched."""
    rows = []
    for life in lives:
        watched = (life.rows["found_day"] - life.rows["entry_day"].fillna(0)).clip(lower=0).sum() / YEAR
        rows.append({"endpoint": life.name, "an event is": life.endpoint["definition"], "found by": FOUND_BY[life.endpoint["noticed_by"]], "followed": words.people(life.patients, life.parts, life.unit, life.units),
                     "with the event": words.people(life.patients_with_events, life.events, life.unit, life.units), "watched in all, in years": words.number(watched), "as a rule": words.years(life.median_follow_up()) if life.parts else "–"})  # fmt: skip
    return pd.DataFrame(rows)


def _missing(log) -> pd.DataFrame:
    """How often each thing is not known, of all rows in which it could stand."""
    first = log.episodes[log.episodes["first_insert"].astype(bool)]
    seen = log.visits[log.visits["seen"]]
    parts = {part: log.episodes[log.episodes["part"] == part] for part in ("housing", "abutment")}
    asked = [
        ("birth year", log.patients, "birth_year", "patient"),
        ("sex", log.patients, "sex", "patient"),
        ("day of delivery", log.dentures.assign(day=log.dentures["delivered_on"].where(log.dentures["delivered_on_precision"] == "day")), "day", "denture"),
        ("what was looked at", seen.assign(looked_at=seen["parts_checked"].where(seen["parts_checked"] != "notes silent")), "looked_at", "visit"),
        ("the snap in the patient's words", seen, "snap", "visit"),
        ("chair minutes", seen, "minutes", "visit"),
        ("level of the first insert", first, "level", "insert"),
        ("how the housing was fixed", parts["housing"], "pick_up", "housing"),
        ("torque of the abutment", parts["abutment"], "torque_ncm", "abutment"),
    ]
    rows = []
    for what, frame, column, unit in asked:
        if column in frame and len(frame):
            unknown = int((frame[column].isna() | frame[column].isin(("unknown", "not recorded", "not known"))).sum())
            rows.append({"what": what, "not known": unknown, "of": words.count(len(frame), unit), "share": words.share(unknown / len(frame), len(frame))})
    return pd.DataFrame(rows, columns=["what", "not known", "of", "share"])
