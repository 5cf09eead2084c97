"""What one questionnaire says of one denture (or of the mouth): scores by occasion, change, who answered, and what could move it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import satisfaction
from outcomes.longevity import ArgumentError

BEFORE, YEAR_ONE = "before", "month 12"
OCCASIONS = {"before": "before", "month 3": "3 months", "month 12": "1 year", "month 24": "2 years", "month 60": "5 years"}
MOUTH = "mouth"
CHANGE = "change_question"
STEPS = ("before step", "after step")  # occasions at which only those are asked whose level is changed


@dataclass(frozen=True, eq=False)
class Asked:
    """One instrument asked about one denture. ``rows``: one scored questionnaire a row with its window; ``pairs``: before beside
    each later occasion; ``status``: what became of each patient at each occasion; ``items``: the answers before, items turned.

    ``minimal``: the difference that the plan says matters, or None. ``after_steps``: answers counted at an occasion that were
    given because a level was changed.
    """

    form: object
    about: str
    rows: pd.DataFrame
    pairs: pd.DataFrame
    status: pd.DataFrame
    items: np.ndarray
    counts: dict
    minimal: float | None
    after_steps: int
    plan: dict
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    method: str
    anchors: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def title(self) -> str:
        """The instrument and what it was asked about."""
        about = {"lower": ", lower denture", "upper": ", upper denture", "both": ", both dentures"}.get(self.about, "")
        return f"{self.form.title}{about}"

    @property
    def level(self) -> float:
        return self.plan["report"]["level"]

    @property
    def started(self) -> int:
        """Patients with a score before delivery."""
        return int((self.rows["window"] == BEFORE).sum())

    @property
    def patients(self) -> int:
        return int(self.rows["patient_id"].nunique())

    @property
    def own(self) -> pd.DataFrame:
        """One row per patient, one column per occasion."""
        wide = self.rows.pivot(index="patient_id", columns="window", values="total")
        return wide.reindex(columns=list(OCCASIONS)).rename(columns=OCCASIONS).sort_index()

    def both(self, window: str) -> pd.DataFrame:
        """Pairs of before and one later occasion, those not due or gone left out; ``after`` is nan for no answer."""
        due = self.status[(self.status["window"] == window) & ~self.status["status"].isin(("not yet due", "died", "without the denture"))]
        return self.pairs[(self.pairs["window"] == window) & self.pairs["patient"].isin(due["patient"])]

    @cached_property
    def windows(self) -> list[str]:
        """Later occasions at which anybody with a score before answered."""
        return [name for name in OCCASIONS if name != BEFORE and self.pairs.loc[self.pairs["window"] == name, "after"].notna().any()]

    @cached_property
    def change(self) -> pd.DataFrame:
        """Paired change at each occasion."""
        if self.pairs.empty:
            return pd.DataFrame()
        found = satisfaction.change(self.pairs["before"], self.pairs["after"], occasion=self.pairs["window"], patient=self.pairs["patient"], better=self.form.better, level=self.level)
        return found.table().set_index("occasion")

    def changed(self, window: str):
        """Improvement (value, low, high, patients) from before to an occasion; None below the plan's number of patients."""
        if window not in self.change.index or self.change.loc[window, "patients"] < self.plan["report"]["minimum_patients"]:
            return None
        row = self.change.loc[window]
        low, high = sorted((row["low"], row["high"])) if self.form.better == "higher" else sorted((-row["low"], -row["high"]))
        return float(row["improvement"]), float(low), float(high), int(row["patients"])

    def later(self, first: str, second: str):
        """Improvement between two later occasions, within patients; None below the plan's number of patients."""
        wide = self.rows.pivot(index="patient_id", columns="window", values="total")
        if first not in wide or second not in wide:
            return None
        found = satisfaction.paired_change(wide[first].to_numpy(float), wide[second].to_numpy(float), better=self.form.better, level=self.level)
        return None if found.patients < self.plan["report"]["minimum_patients"] else (found.improvement, *found.improvement_interval, found.patients)

    @cached_property
    def course(self):
        """Means over the occasions by the mixed model, or as they are with few patients; None where nobody answered."""
        try:
            return satisfaction.trajectory(self.rows["patient_id"], self.rows["window"], self.rows["total"], better=self.form.better, level=self.level)
        except ArgumentError:
            return None

    @cached_property
    def response(self):
        """Who answered of those alive with the denture; None where nobody could be asked."""
        return satisfaction.response_rates(self.status["window"], self.status["status"], level=self.level) if len(self.status) else None

    @cached_property
    def rates(self) -> pd.DataFrame:
        return self.response.table().set_index("window") if self.response is not None else pd.DataFrame(columns=["asked", "answered", "rate"])

    @cached_property
    def thresholds(self) -> list:
        """The plan's difference first, then the smallest and the largest that studies give for the instrument."""
        found = [self.minimal] if self.minimal else []
        known = sorted(self.form.thresholds, key=lambda one: one.change)
        return found + [one for one in dict.fromkeys(known[:1] + known[-1:]) if one.change != self.minimal]

    def improved(self, window: str) -> pd.DataFrame:
        """Shares improved at an occasion, by threshold and by what is made of those who did not answer; empty where none can be named."""
        both = self.both(window)
        if not self.thresholds or both["after"].notna().sum() < self.plan["report"]["minimum_patients"]:
            return pd.DataFrame()
        alpha = self.alpha.value if self.form.items > 1 and np.isfinite(self.alpha.value) else None
        return satisfaction.responders(both["before"], both["after"], thresholds=self.thresholds, better=self.form.better, best=self.form.best, alpha=alpha, level=self.level).table()

    @cached_property
    def alpha(self):
        """How well the items hang together before delivery, one questionnaire per patient."""
        return satisfaction.alpha_interval(self.items, level=self.level, draws=self.plan["report"]["draws"], seed=self.plan["report"]["seed"])

    @cached_property
    def departures(self):
        """The conclusion if those who did not answer had been worse; None without a difference that matters or a course."""
        if not self.minimal or self.course is None or self.response is None:
            return None
        share = {name: value for name, value in self.response.missing_share.items() if np.isfinite(value)}
        return satisfaction.delta_adjustment(self.course, share, minimal_difference=self.minimal)

    @cached_property
    def silent(self) -> pd.DataFrame:
        """Scores before of those who answered later and of those who did not."""
        rows = pd.concat([self.both(name) for name in self.windows], ignore_index=True) if self.windows else pd.DataFrame()
        return satisfaction.silent_at_start(rows["window"], rows["before"], rows["after"], level=self.level).table().set_index("window") if len(rows) else pd.DataFrame()

    def ends(self, window: str) -> pd.DataFrame:
        """Shares at the very lowest and the very highest score at an occasion."""
        scores = self.rows.loc[self.rows["window"] == window, "total"].dropna()
        return satisfaction.floor_ceiling(scores.to_numpy(float), lowest=self.form.lowest, highest=self.form.highest, level=self.level).table() if len(scores) else pd.DataFrame()

    def at_best(self, window: str):
        """Who had no room left: the row of the best possible score at an occasion, highest or lowest as the instrument has it; None without answers."""
        ends = self.ends(window)
        return ends.set_index("end").loc["ceiling" if self.form.better == "higher" else "floor"] if len(ends) else None

    @cached_property
    def own_difference(self):
        """The clinic's own smallest difference from its change question; None where it was not asked."""
        if self.anchors.empty:
            return None
        both = self.both(YEAR_ONE).merge(self.anchors, left_on="patient", right_on="patient_id", how="inner")
        return satisfaction.minimal_change(both["before"], both["after"], both["answer"], better=self.form.better, level=self.level) if len(both) else None


def asked(log) -> list[Asked]:
    """Every instrument that was answered and has a total, by what it was asked about; the plan's first, then by patients."""
    order = {name: place for place, name in enumerate(log.plan["instruments"])}
    found = []
    for name in sorted(log.answers["instrument"].dropna().unique(), key=lambda name: (order.get(name, len(order)), name)):
        form = satisfaction.instrument(name)
        if form.total != "sum" or form.better == "nearest" or form.compares:
            continue
        answers = log.answers[log.answers["instrument"] == name]
        about = answers["about"].fillna(MOUTH)
        parts = [_asked(log, form, which, answers[about == which]) for which in sorted(about.unique())]
        found += sorted((part for part in parts if part is not None), key=lambda part: -part.patients)
    return found


def _asked(log, form, about: str, answers: pd.DataFrame) -> Asked | None:
    start = deliveries(log, about)
    # Whoever got the denture before the log began, or on a day nobody knows, has no before and after.
    unplaced = int(answers.loc[~answers["patient_id"].isin(start.index), ["patient_id", "answered_on"]].drop_duplicates().shape[0])
    answers = answers[answers["patient_id"].isin(start.index)]
    if answers.empty:
        return None
    scored = satisfaction.score(answers.assign(about=about), form)
    table = scored.table()
    table["answered_on"] = pd.to_datetime(table["answered_on"])
    day = (table["answered_on"] - table["patient_id"].map(start["delivered_on"])).dt.days
    exact = table["answered_on_precision"].eq("day") if "answered_on_precision" in table else pd.Series(True, index=table.index)
    given = table["occasion"] if "occasion" in table else None
    placed = satisfaction.assign_windows(table["patient_id"], day.where(exact), given=given)
    table["window"] = placed.window
    kept = table[(table["window"] != "") & table["total"].notna()].drop_duplicates(["patient_id", "window"])
    if kept.empty:
        return None
    pairs = satisfaction.pairs(kept["patient_id"], kept["window"], kept["total"])
    answered = set(zip(kept["patient_id"], kept["window"]))
    status = satisfaction.answer_status(start.index.to_numpy(), start["followed"].to_numpy(float), start["ending"].to_numpy(object), answered) if len(start) else pd.DataFrame(columns=["patient", "window", "status"])
    rule = log.plan["instruments"].get(form.name, {})
    steps = int((kept["occasion"].isin(STEPS)).sum()) if "occasion" in kept else 0
    notes = placed.notes + ((f"Answers of patients whose denture was in use before the log began, left out: {unplaced}.",) if unplaced else ())
    before = np.flatnonzero(table.index.isin(kept.index[kept["window"] == BEFORE]))
    return Asked(form, about, kept[["patient_id", "window", "total"]].reset_index(drop=True), pairs, status, scored.items[before], scored.counts, rule.get("minimal_difference"), steps, log.plan,
                 notes, scored.notes, scored.method, _anchors(log, about, start))  # fmt: skip


def deliveries(log, about: str) -> pd.DataFrame:
    """The first denture of each patient delivered while the log ran: delivered_on, followed (days), ending; of a jaw where one is asked about."""
    dentures = log.delivered if about not in ("lower", "upper") else log.delivered[log.delivered["arch"] == about]
    rows = dentures.sort_values(["delivered_on", "denture_id"])
    first = rows.groupby("patient_id").first()
    last = rows.groupby("patient_id").last()
    until, reason = log.until().reindex(first.index), log.patients.set_index("patient_id")["left_reason"].reindex(first.index)
    # A remade denture goes on; only the last one of the jaw going out of use leaves the patient without.
    gone = last["retired_on"].notna() & (last["retired_on"] <= until)
    end = last["retired_on"].where(gone, until)
    ending = pd.Series(np.where(gone, "denture retired", reason.fillna("").astype(str)), index=first.index, dtype=object)
    return pd.DataFrame({"delivered_on": first["delivered_on"], "followed": (pd.to_datetime(end) - first["delivered_on"]).dt.days.clip(lower=0), "ending": ending})


def _anchors(log, about: str, start: pd.DataFrame) -> pd.DataFrame:
    """The change question nearest to a year after delivery: patient_id, answer."""
    rows = log.answers[(log.answers["instrument"] == CHANGE) & log.answers["about"].fillna(MOUTH).isin((about, MOUTH, "both")) & log.answers["patient_id"].isin(start.index)]
    if rows.empty:
        return pd.DataFrame()
    day = (pd.to_datetime(rows["answered_on"]) - rows["patient_id"].map(start["delivered_on"])).dt.days
    window = satisfaction.assign_windows(rows["patient_id"], day).window
    return rows[window == YEAR_ONE][["patient_id", "response"]].rename(columns={"response": "answer"}).reset_index(drop=True)


def changed_forms(log) -> int:
    """Patients who answered one instrument before and only others later, so that no change of theirs can be computed."""
    forms = {name for name in log.answers["instrument"].dropna().unique() if not satisfaction.instrument(name).compares and satisfaction.instrument(name).better != "nearest"}
    rows = log.answers[log.answers["instrument"].isin(forms)].assign(answered_on=lambda frame: pd.to_datetime(frame["answered_on"]))
    start = deliveries(log, MOUTH)["delivered_on"]
    when = rows["answered_on"] <= rows["patient_id"].map(start)
    before = rows[when].groupby("patient_id")["instrument"].agg(set)
    after = rows[~when & rows["patient_id"].isin(start.index)].groupby("patient_id")["instrument"].agg(set)
    return sum(1 for patient, forms_before in before.items() if patient in after.index and not forms_before & after[patient])
