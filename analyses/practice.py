"""What the clinic did, counted: visits, recalls, inserts or patients, and for how many of them a thing was done."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from outcomes import longevity, schemas

LATELY = 365
ANSWERED = (180, 545)  # days after delivery within which the first year's questionnaire counts
_COLUMNS = ["patient_id", "day", "done"]


def rows(log, name: str, first=None, last=None) -> pd.DataFrame:
    """One row for each of what the count is of, between two days (both included): patient_id, day, done, clinician where one is known.

    Without ``first`` the stretch is that of the count's declaration: the whole log, or its last 365 days.
    """
    closing = pd.Timestamp(log.closing)
    last = closing if last is None else pd.Timestamp(last)
    lately = schemas.practice()[name]["over"] != "the whole log"
    if first is None:
        first = closing - pd.Timedelta(days=LATELY - 1) if lately else pd.Timestamp.min
    return COUNTED[name](log, pd.Timestamp(first), last)


def share(rows: pd.DataFrame, level: float):
    """(share done, low, high, patients, worth): limits of Clopper and Pearson, on the sample that the rows are worth given who they are of.

    One row per patient is a plain count of patients. Of one patient with several rows there are no limits.
    """
    people, size = int(rows["patient_id"].nunique()), len(rows)
    if not size:
        return float("nan"), float("nan"), float("nan"), 0, 0.0
    value = float(rows["done"].mean())
    if people == size:
        found = longevity.effective_sample_interval(value, value * (1 - value) / size, parts=size, at_risk=size, level=level)
        return value, found.low, found.high, people, float(size)
    if people < 2:
        return value, float("nan"), float("nan"), people, 0.0
    by_patient = rows.groupby("patient_id")["done"].agg(["sum", "size"])
    apart = by_patient["sum"] - value * by_patient["size"]
    variance = people / (people - 1) * float((apart**2).sum()) / size**2
    found = longevity.effective_sample_interval(value, variance, parts=size, at_risk=people, clusters=people, level=level)
    worth = min(value * (1 - value) / variance, size) if variance > 0 else float(people)
    return value, found.low, found.high, people, worth


def asked_at(visits: pd.DataFrame) -> pd.DataFrame:
    """Visits at which the patient was seen, deliveries left out; ``done``: the snap was asked."""
    seen = visits[visits["seen"] & (visits["reason"] != "delivery")]
    return seen.assign(done=seen["snap"].notna())


def checked_at(visits: pd.DataFrame) -> pd.DataFrame:
    """Reviews and recalls; ``done``: every insert at least was looked at."""
    planned = visits[visits["reason"].isin(("review", "recall"))]
    return planned.assign(done=planned["parts_checked"].isin(("all", "inserts only")))


def _within(frame: pd.DataFrame, first, last, day: str = "day") -> pd.DataFrame:
    return frame[(frame[day] >= first) & (frame[day] <= last)]


def _snap_asked(log, first, last) -> pd.DataFrame:
    return asked_at(_within(log.visits, first, last))


def _parts_checked(log, first, last) -> pd.DataFrame:
    return checked_at(_within(log.visits, first, last))


def _time_recorded(log, first, last) -> pd.DataFrame:
    seen = _within(log.visits[log.visits["seen"]], first, last)
    return seen.assign(done=seen["minutes"].notna())


def _patients_asked(log, first, last) -> pd.DataFrame:
    asked = asked_at(_within(log.visits, first, last))
    answered = set(_within(log.answers, first, last, "answered_on")["patient_id"])
    found = asked.groupby("patient_id").agg(day=("day", "max"), done=("done", "any")).reset_index()
    return found.assign(done=found["done"] | found["patient_id"].isin(answered))


def _levels_recorded(log, first, last) -> pd.DataFrame:
    fitted = _within(log.inserts_in, first, last)
    fitted = fitted.loc[fitted.index.repeat(fitted["inserts"].astype(int))].reset_index(drop=True)
    return fitted.assign(done=~fitted["level"].isin(("", "unknown")))


def _recalls_kept(log, first, last) -> pd.DataFrame:
    """One row per recall that fell due, on the last day on which it would have been kept.

    As on the list of who is due, the day hangs on the last look: one at any other visit moves it, and so does a recall that came after its
    last day, unless it comes near enough to the next to keep that. The interval is the plan's usual one for everybody: the shorter ones
    hang on what is known of a patient today, and would judge past recalls by it.
    """
    interval, grace = (pd.Timedelta(days=int(log.plan["recall"][name])) for name in ("interval_days", "overdue_days"))
    seen = log.visits[log.visits["seen"]]
    begun, ended = seen.groupby("patient_id")["day"].min(), log.until()
    looks = seen[seen["looked"] | (seen["reason"] == "recall")].assign(recall=seen["reason"] == "recall").groupby(["patient_id", "day"])["recall"].any()
    looks = {patient: list(own.droplevel(0).items()) for patient, own in looks.groupby(level=0)}
    found = []
    for patient, start in begun.items():
        end, due, missed = ended.get(patient, pd.Timestamp(log.closing)), start + interval, False
        came = [one for one in looks.get(patient, ()) if one[0] > start][::-1]
        while due + grace <= end:
            if came and came[-1][0] <= due + grace:
                day, recall = came.pop()
                if recall and not (missed and day < due - grace):
                    found.append((patient, due + grace, True))
                due, missed = day + interval, False
            else:
                found.append((patient, due + grace, False))
                due, missed = due + interval, True
    return _within(pd.DataFrame(found, columns=_COLUMNS).astype({"done": bool, "day": "datetime64[ns]"}), first, last)


def _first_year_answered(log, first, last) -> pd.DataFrame:
    """One row per patient still under care when the first year's questionnaire could be answered no longer, on that day."""
    delivered = log.delivered.groupby("patient_id")["delivered_on"].min()
    deadline = delivered + pd.Timedelta(days=ANSWERED[1])
    here = deadline <= log.until().reindex(deadline.index)
    since = (log.answers["answered_on"] - log.answers["patient_id"].map(delivered)).dt.days
    done = set(log.answers.loc[(since >= ANSWERED[0]) & (since <= ANSWERED[1]), "patient_id"])
    found = pd.DataFrame({"patient_id": deadline[here].index, "day": deadline[here].to_numpy()}).astype({"day": "datetime64[ns]"})
    return _within(found.assign(done=found["patient_id"].isin(done)), first, last)


COUNTED: dict[str, Callable] = {"snap asked": _snap_asked, "patients asked": _patients_asked, "recalls kept": _recalls_kept, "parts checked": _parts_checked,
                                "levels recorded": _levels_recorded, "chair time recorded": _time_recorded, "first-year questionnaire answered": _first_year_answered}  # fmt: skip
