"""Logs as a report reads them, made by a small simulation with nothing but numpy, so that reports can be tested without the stages before."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd

from outcomes.analyses.cohort import Log
from outcomes.plan import read_plan

START = pd.Timestamp("2020-01-01")
CLOSING = 1826
COLUMNS = ["endpoint", "unit_kind", "unit_id", "patient_id", "denture_id", "arch", "position", "serial", "first_insert", "excluded", "fresh", "entry_day", "left_look", "right_look", "left_care",
           "right_care", "left_day", "right_day", "found_day", "found_day_other", "observed", "cause", "competing_day", "found_at", "level", "retention_n"]  # fmt: skip
EPISODES = ["episode_id", "patient_id", "denture_id", "arch", "position", "part", "serial", "arrival", "first_insert", "fitted_on", "entry_day", "end_day", "ended_on", "ending", "cause", "level", "retention_n"]
FORCE = {"light": 6.7, "medium": 13.3, "firm": 20.0}


def _unit(endpoint, kind, unit, patient, *, sound, found, end, problem=False, cause="", competing=np.nan, serial=1, level="light", late=np.nan, excluded=""):
    """One row of endpoint times from the days of the last sound look, of the finding, and of the end of care."""
    observed = found is not None
    examination = kind == "insert"
    look = (float(sound), float(found) if observed else np.nan)
    care = (float(max(sound, found - 30)) if observed and problem else float(sound if observed else max(sound, end - 30)), float(found) if observed else np.nan)
    left, right = look if examination else care
    return {"endpoint": endpoint, "unit_kind": kind, "unit_id": unit, "patient_id": patient, "denture_id": f"{patient}/lower/1", "arch": "lower", "position": "33", "serial": serial,
            "first_insert": serial == 1, "excluded": excluded, "fresh": np.isnan(late), "entry_day": 0.0 if np.isnan(late) else late, "left_look": look[0], "right_look": look[1], "left_care": care[0],
            "right_care": care[1], "left_day": left, "right_day": right, "found_day": float(found) if observed else left, "found_day_other": float(found) if observed else (care[0] if examination else look[0]),
            "observed": observed, "cause": "event" if observed else cause, "competing_day": competing, "found_at": ("problem" if problem else "recall") if observed else "", "level": level, "retention_n": FORCE.get(level, np.nan)}  # fmt: skip


def log(patients: int = 60, *, seed: int = 3, fail: float = 3.0, recalls: bool = True, asked: bool = True, answered: bool = True, guard: str = "", years: float = 1.0, names: str = "P{:04d}", **plan) -> Log:
    """A clinic of so many patients with two inserts each. ``fail``: mean life of an insert in years (inf: nothing fails)."""
    chance = np.random.default_rng(seed)
    visits, times, episodes, dentures, people, answers, inserts_in, done = [], [], [], [], [], [], [], []
    for number in range(patients):
        patient = names.format(number)
        born = int(chance.integers(0, int(CLOSING * 0.6 * years) + 1))
        end = CLOSING - born
        died = chance.random() < 0.06
        if died:
            end = int(end * chance.uniform(0.3, 1))
        people.append((patient, 1945 + int(chance.integers(0, 20)), "female" if chance.random() < 0.5 else "male", START + pd.Timedelta(days=born + end) if died else pd.NaT, "died" if died else None))
        dentures.append((f"{patient}/lower/1", patient, "lower", START + pd.Timedelta(days=born), "day", pd.NaT, None, None))
        looks = [0] + [day + int(chance.integers(-20, 20)) for day in range(365, end, 365) if recalls and chance.random() < 0.9] if recalls else [0]
        frail = chance.gamma(2, 0.5)
        found_days = []
        for site in ("33", "43"):
            life = chance.weibull(1.6) * fail * 365.25 / max(frail, 0.05) if np.isfinite(fail) else np.inf
            wish = chance.random() < 0.12
            problem = chance.random() < 0.5
            came = next((day for day in looks if day >= life), None)
            if problem and life + 10 < end:
                came = int(life) + 10
            sound = max((day for day in looks if day < life), default=0)
            wished = int(chance.integers(60, 400)) if wish else None
            if wished and wished < min(end, life):
                times += [_unit(name, "insert", f"{patient}/{site}", patient, sound=wished, found=None, end=wished, cause="wanted firmer", competing=float(wished)) for name in WORN]
                episodes.append((f"{patient}/{site}/1", patient, f"{patient}/lower/1", "lower", site, "insert", 1, "fitted", True, START + pd.Timedelta(days=born), 0, wished, START + pd.Timedelta(days=born + wished), "wanted firmer", "wish", "light", 6.7))
                episodes.append((f"{patient}/{site}/2", patient, f"{patient}/lower/1", "lower", site, "insert", 2, "fitted", False, START + pd.Timedelta(days=born + wished), 0, np.nan, pd.NaT, "", "", "medium", 13.3))
            else:
                found = int(came) if came is not None and came <= end else None
                times += [_unit(name, "insert", f"{patient}/{site}", patient, sound=sound, found=found, end=end, problem=problem) for name in WORN]
                episodes.append((f"{patient}/{site}/1", patient, f"{patient}/lower/1", "lower", site, "insert", 1, "fitted", True, START + pd.Timedelta(days=born), 0, found if found else np.nan, START + pd.Timedelta(days=born + found) if found else pd.NaT, "failed" if found else "", "", "light", 6.7))
                if found:
                    found_days.append((found, problem))
                    done.append((f"{patient}/{found}", patient, START + pd.Timedelta(days=born + found), "problem" if problem else "recall", f"{patient}/lower/1", site, "insert", "worn", "replaced", "failed", "insert changed"))
            bond = chance.exponential(25 * 365.25)
            bond_found = int(bond) + 5 if np.isfinite(fail) and bond + 5 < end else None
            times.append(_unit("housing bond failure", "housing", f"{patient}/{site}/h", patient, sound=max((day for day in looks if day < bond), default=0), found=bond_found, end=end, problem=True))
            inserts_in.append((patient, START + pd.Timedelta(days=born), "light", 1))
        first = min(found_days, default=(None, False))
        times.append(_unit("first repair", "denture", f"{patient}/lower/1", patient, sound=max((day for day in looks if first[0] is None or day < first[0]), default=0), found=first[0], end=end, problem=first[1]))
        for day in sorted({*looks, *(day for day, problem in found_days if problem)}):
            if day > end:
                continue
            reason = "delivery" if day == 0 else "problem" if any(day == found and problem for found, problem in found_days) else "recall"
            word = chance.choice(["a bit loose", "just right", "just right", "just right", "a bit firm"]) if asked and day > 0 and chance.random() < 0.9 else None
            visits.append((f"{patient}/{day}", patient, START + pd.Timedelta(days=born + day), None, reason, 20.0, "all" if chance.random() < 0.9 else "notes silent", word, word or "not asked", True, reason == "problem", True))
        if answered:
            answers += [(patient, START + pd.Timedelta(days=born + day), "day", occasion, "mouth", "satisfaction_card", 1, float(np.clip(chance.normal(mean, 12), 0, 100)), "patient", "home")
                        for day, occasion, mean in ((-20, "before", 45), (90, "month 3", 78), (365, "month 12", 80)) if day <= end and chance.random() < 0.85]  # fmt: skip
    body = read_plan()
    for section, settings in plan.items():
        body._body[section] = {**body._body[section], **settings} if isinstance(settings, dict) else settings
    frame = lambda rows, names: pd.DataFrame(rows, columns=names)  # noqa: E731
    return Log(
        body, (START + pd.Timedelta(days=CLOSING)).date() if patients else datetime.date(1970, 1, 1), patients, 0,
        frame(people, ["patient_id", "birth_year", "sex", "left_on", "left_reason"]).astype({"left_on": "datetime64[ns]"}).assign(ends_on=lambda frame: frame["left_on"]),
        frame(dentures, ["denture_id", "patient_id", "arch", "delivered_on", "delivered_on_precision", "retired_on", "retired_reason", "existing"]).astype({"delivered_on": "datetime64[ns]", "retired_on": "datetime64[ns]"}),
        frame(visits, ["visit_id", "patient_id", "day", "arch", "reason", "minutes", "parts_checked", "snap", "snap_as_written", "seen", "problem", "looked"]).astype({"day": "datetime64[ns]", "seen": bool, "problem": bool, "looked": bool}),
        frame(inserts_in, ["patient_id", "day", "level", "inserts"]).astype({"day": "datetime64[ns]"}),
        pd.DataFrame({"level": list(FORCE), "retention": list(FORCE.values())}),
        frame(answers, ["patient_id", "answered_on", "answered_on_precision", "occasion", "about", "instrument", "item", "response", "filled_by", "where"]).astype({"answered_on": "datetime64[ns]"}),
        frame(episodes, EPISODES).astype({"fitted_on": "datetime64[ns]", "ended_on": "datetime64[ns]"}).assign(attachment="stud", pick_up="chairside", divergence_deg=np.nan, opposing=None, sites=2, clinician="A"),
        frame(times, COLUMNS).astype({"observed": bool, "first_insert": bool, "fresh": bool, "left_look": float, "found_day": float, "entry_day": float, "right_look": float, "left_care": float, "right_care": float, "left_day": float, "right_day": float, "found_day_other": float, "competing_day": float}),
        guard, things_done=frame(done, ["visit_id", "patient_id", "day", "reason", "denture_id", "position", "part", "finding", "action", "change_reason", "kind"]).astype({"day": "datetime64[ns]"}),
    )  # fmt: skip


WORN = ("insert worn", "insert worn or reported loose", "insert worn, reported or unclear")


class NoStore:
    """A store whose tables are empty: what the frames of the log do not say is not known."""

    def __init__(self):
        import duckdb

        from outcomes import schemas

        self.connection = duckdb.connect()
        for table in schemas.stored_tables().values():
            columns = ", ".join(f'"{name}" {kind}' for name, kind in table.stored_columns)
            self.connection.execute(f'CREATE TABLE "{table.name}" ({columns})')

    revision = "0" * 64

    def history(self) -> pd.DataFrame:
        return pd.DataFrame({"files": [("log.xlsx",)], "sha256": [("ab" * 32,)], "undone": [False]})
