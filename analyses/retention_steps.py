"""Every change of level: which way, what the patient had said of the snap, what they said next, and the scores around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import longevity, satisfaction
from outcomes.analyses.people import RIGHT, WORDS
from outcomes.longevity import Estimate

UP, DOWN = "up", "down"
TOO_FIRM = ("a bit firm", "far too firm")


@dataclass(frozen=True, eq=False)
class Steps:
    """``rows``: one per patient, denture and day of a change: patient_id, denture_id, day, way, before, after, days_after (words on the snap; None: not asked)."""

    rows: pd.DataFrame
    confidence: float

    def first(self, way: str) -> pd.DataFrame:
        """Each patient's first step that way."""
        return self.rows[self.rows["way"] == way].sort_values(["day", "denture_id"]).drop_duplicates("patient_id")

    def asked(self, way: str) -> pd.DataFrame:
        """Those of them asked on the day of the step and again after it."""
        rows = self.first(way)
        return rows[rows["before"].notna() & rows["after"].notna()]

    def share(self, way: str, words: tuple[str, ...], *, side: str = "after") -> Estimate:
        """Share of patients asked after their first step that way who used one of ``words``."""
        said = self.first(way)[side].dropna()
        return longevity.wilson_interval(int(said.isin(words).sum()), len(said), level=self.confidence)


def steps(log) -> Steps:
    """Changes of level in any denture, conversions and new dentures apart; the word after is the first asked within the plan's days,
    on arrival, so that of another step counts too."""
    changed = _changes(log)
    words = _words(log)
    limit = log.plan["steps"]["follow_to_days"]
    rows = []
    for one in changed.itertuples():
        said = words.get(one.patient_id)
        before = after = days = None
        if said is not None:
            here = said[said["day"] == one.day]
            later = said[(said["day"] > one.day) & ((said["day"] - one.day).dt.days <= limit)]
            before = here["snap"].iloc[0] if len(here) else None
            if len(later):
                after, days = later["snap"].iloc[0], (later["day"].iloc[0] - one.day).days
        rows.append((one.patient_id, one.denture_id, one.day, one.way, before, after, days))
    return Steps(pd.DataFrame(rows, columns=["patient_id", "denture_id", "day", "way", "before", "after", "days_after"]), log.plan["report"]["level"])


def _changes(log) -> pd.DataFrame:
    """patient_id, denture_id, day, way: days on which a new insert at a site had another known force than the one before it."""
    inserts = log.episodes[log.episodes["part"].isin(("insert", "clip"))].sort_values(["denture_id", "position", "serial"])
    site = inserts.groupby(["denture_id", "position"])
    inserts = inserts.assign(day=pd.to_datetime(site["fitted_on"].shift(-1)), change=site["retention_n"].shift(-1) - inserts["retention_n"])
    inserts = inserts[inserts["day"].notna() & inserts["change"].notna() & (inserts["change"] != 0)]
    converted = log.visits.loc[log.visits["reason"] == "conversion", ["patient_id", "day"]].drop_duplicates()
    inserts = inserts.merge(converted.assign(converted=True), how="left", on=["patient_id", "day"])
    inserts = inserts[inserts["converted"].isna()]
    own = inserts.groupby(["patient_id", "denture_id", "day"], as_index=False)["change"].sum()
    return own[own["change"] != 0].assign(way=lambda frame: np.where(frame["change"] > 0, UP, DOWN)).drop(columns="change").sort_values(["patient_id", "day"])


def _words(log) -> dict[str, pd.DataFrame]:
    said = log.visits[log.visits["seen"] & log.visits["snap"].isin(WORDS)].sort_values(["patient_id", "day", "visit_id"]).drop_duplicates(["patient_id", "day"])
    return dict(iter(said.groupby("patient_id")[["day", "snap"]]))


@dataclass(frozen=True, eq=False)
class Felt:
    """Satisfaction around a change of level. ``change``: the matched comparison, or None where there are no scores."""

    instrument: object
    change: object
    missing: str = ""


def felt(log, found: Steps) -> Felt:
    """The plan's first instrument at visits of patients, those stepped beside like patients not stepped."""
    name = next(iter(log.plan["instruments"]))
    form, rule = satisfaction.instrument(name), log.plan["steps"]
    answers = log.answers[log.answers["instrument"] == name]
    if answers.empty or found.rows.empty:
        return Felt(form, None, "No level was changed in the log." if found.rows.empty else f"Nobody answered the {form.title.lower()}.")
    table = satisfaction.score(answers, name).table().dropna(subset=["total"])
    rows = _score_rows(log, found, table, rule["answer_days"])
    if not rows["stepped"].any() or rows["score"].notna().sum() < 3:
        return Felt(form, None, "No patient whose level was changed answered the questionnaire around it.")
    change = satisfaction.matched_level_change(rows["patient_id"].to_numpy(), rows["since"].to_numpy(float), rows["score"].to_numpy(float), rows["level"].to_numpy(object), rows["stepped"].to_numpy(bool), better=form.better,
                                               follow=(float(rule["follow_from_days"]), float(rule["follow_to_days"])), level=log.plan["report"]["level"])  # fmt: skip
    return Felt(form, change)


def _score_rows(log, found: Steps, table: pd.DataFrame, back: int) -> pd.DataFrame:
    """One row per patient and day with an answer or a change of level: since delivery, score before anything was changed, level on arrival."""
    stepped = found.rows.sort_values("day").drop_duplicates("patient_id").set_index("patient_id")
    dentures = log.dentures.dropna(subset=["delivered_on"]).sort_values("delivered_on")
    own = {**dict(zip(dentures["patient_id"][::-1], dentures["denture_id"][::-1])), **stepped["denture_id"].to_dict()}  # the denture stepped first, else the first
    delivered = dentures.set_index("denture_id")["delivered_on"]
    answers = table.assign(day=pd.to_datetime(table["answered_on"]))
    step_day = answers["patient_id"].map(stepped["day"])
    early = (step_day - answers["day"]).dt.days
    answers.loc[(early > 0) & (early <= back), "day"] = step_day  # an answer shortly before belongs to the change
    if "occasion" in answers:
        answers = answers[~((answers["occasion"] == "after step") & (answers["day"] == step_day))]
    scored = answers.groupby(["patient_id", "day"], as_index=False)["total"].mean().rename(columns={"total": "score"})
    steps_ = found.rows[found.rows["denture_id"] == found.rows["patient_id"].map(own)][["patient_id", "day"]].drop_duplicates().assign(stepped=True)
    rows = scored.merge(steps_, how="outer", on=["patient_id", "day"])
    rows["stepped"] = rows["stepped"].eq(True)
    rows["denture_id"] = rows["patient_id"].map(own)
    rows["since"] = (rows["day"] - rows["denture_id"].map(delivered)).dt.days
    rows = rows[rows["since"] > 0].sort_values(["patient_id", "day"]).reset_index(drop=True)
    return rows.assign(level=_levels_on_arrival(log, rows))


def _levels_on_arrival(log, rows: pd.DataFrame) -> list[str]:
    inserts = log.episodes[log.episodes["part"].isin(("insert", "clip")) & log.episodes["denture_id"].isin(rows["denture_id"])]
    spans = {name: (pd.to_datetime(own["fitted_on"]).to_numpy(), pd.to_datetime(own["ended_on"]).to_numpy(), own["retention_n"].to_numpy(float)) for name, own in inserts.groupby("denture_id")}
    out = []
    for one in rows.itertuples():
        if one.denture_id not in spans:
            out.append("none")
            continue
        fitted, ended, force = spans[one.denture_id]
        day = np.datetime64(one.day)
        here = force[~(fitted >= day) & ~(ended < day)]  # nothing known counts as before and after
        out.append("none" if len(here) == 0 else "unknown" if np.isnan(here).any() else f"{here.max():.1f}")
    return out


def right_words(found: Steps, way: str) -> tuple[int, int, int]:
    """(asked before and after, just right before, just right after) of patients' first steps that way."""
    rows = found.asked(way)
    return len(rows), int((rows["before"] == RIGHT).sum()), int((rows["after"] == RIGHT).sum())
