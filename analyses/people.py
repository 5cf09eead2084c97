"""What patients say: whether the snap is just right, and how satisfied they are before and after."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity, satisfaction, schemas

WORDS = tuple(word for word in schemas.codebook()["snap"]["codes"] if word != "not asked")
RIGHT = "just right"
# Windows of days since delivery in which the last word counts; a choice without a source.
SPELLS = (("first 3 months", 0, 91), ("to 1 year", 92, 366), ("to 2 years", 367, 731), ("to 3 years", 732, 1096), ("to 5 years", 1097, 1826), ("later", 1827, 36525))
OCCASIONS = {"before": "before", "month 3": "3 months", "month 12": "1 year", "month 24": "2 years", "month 60": "5 years"}


@dataclass(frozen=True, eq=False)
class Snap:
    """``last``: one row per patient ever asked: patient_id, day, word. ``table``: occasion, people, a count for each word."""

    last: pd.DataFrame
    table: pd.DataFrame
    confidence: float

    @property
    def asked(self) -> int:
        return len(self.last)

    @property
    def right(self) -> int:
        return int((self.last["word"] == RIGHT).sum())

    @cached_property
    def share(self):
        """Share of patients who called it just right when last asked."""
        return longevity.wilson_interval(self.right, self.asked, level=self.confidence)


def snap(log) -> Snap:
    """The patient's last word, and the words over time since the first denture; two dentures on one day count by the worse."""
    scale = schemas.codebook()["snap"]["scale"]
    said = log.visits[log.visits["seen"] & log.visits["snap"].isin(WORDS)].copy()
    said["off"] = said["snap"].map(lambda word: abs(scale[word]))
    said = said.sort_values(["patient_id", "day", "off", "visit_id"]).groupby(["patient_id", "day"], as_index=False).last()
    last = said.groupby("patient_id", as_index=False).last()[["patient_id", "day", "snap"]].rename(columns={"snap": "word"})
    since = (said["day"] - said["patient_id"].map(log.dentures.groupby("patient_id")["delivered_on"].min())).dt.days
    rows = []
    for name, low, high in SPELLS:
        spell = said[(since >= low) & (since <= high)].groupby("patient_id").last()
        rows.append({"occasion": name, "people": len(spell), **{word: int((spell["snap"] == word).sum()) for word in WORDS}})
    return Snap(last, pd.DataFrame(rows), log.plan["report"]["level"])


@dataclass(frozen=True, eq=False)
class Satisfied:
    """One instrument before and after. ``own``: one row per patient and denture, a column per occasion; ``change``: to a year."""

    instrument: object
    own: pd.DataFrame
    means: pd.DataFrame
    change: object  # Estimate of after minus before at a year, or None
    pairs: int
    started: int
    minimal: float | None
    method: str
    notes: tuple[str, ...]

    @property
    def better(self) -> str:
        return self.instrument.better


def satisfied(log, name: str) -> Satisfied | None:
    """Scores of one instrument around delivery; None where nobody answered it or it has no total."""
    form = satisfaction.instrument(name)
    answers = log.answers[log.answers["instrument"] == name]
    if answers.empty or form.total != "sum" or form.better == "nearest":
        return None
    # Before and after speak of one denture: the first delivered while the log ran, the lower of two on one day.
    first = log.delivered.sort_values(["delivered_on", "arch", "denture_id"]).drop_duplicates("patient_id").set_index("patient_id")
    scored = satisfaction.score(answers, name)
    table = scored.table()
    jaw = table["patient_id"].map(first["arch"])
    table = table[jaw.notna() & (~table["about"].isin(("upper", "lower")) | (table["about"] == jaw))].reset_index(drop=True)
    day = (pd.to_datetime(table["answered_on"]) - table["patient_id"].map(first["delivered_on"])).dt.days
    exact = table["answered_on_precision"].eq("day") if "answered_on_precision" in table else True
    window = satisfaction.assign_windows(table["patient_id"], day.where(exact), given=table.get("occasion")).window
    table = table.assign(window=window)[lambda frame: frame["window"] != ""]
    table = table.drop_duplicates(["patient_id", "window"])
    own = table.pivot(index="patient_id", columns="window", values="total").reindex(columns=list(OCCASIONS)).rename(columns=OCCASIONS)
    means = _means(own, log.plan["report"]["level"])
    both = own.dropna(subset=["before"])
    estimate = None
    if both["1 year"].notna().sum() >= log.plan["report"]["minimum_patients"]:
        estimate = satisfaction.paired_change(both["before"].to_numpy(float), both["1 year"].to_numpy(float), better=form.better, level=log.plan["report"]["level"])
    rule = log.plan["instruments"].get(name, {})
    return Satisfied(form, own.reset_index(drop=True), means, estimate, int(both["1 year"].notna().sum()), len(both), rule.get("minimal_difference"), scored.method, scored.notes)


def _means(own: pd.DataFrame, level: float) -> pd.DataFrame:
    """occasion, people, mean, low, high (t limits from five people on); occasions nobody answered after a year are left out."""
    from scipy import stats

    rows = []
    for name in own.columns:
        values = own[name].dropna().to_numpy(float)
        if len(values) == 0 and name not in ("before", "3 months", "1 year"):
            continue
        half = stats.t.ppf(0.5 + level / 2, len(values) - 1) * values.std(ddof=1) / np.sqrt(len(values)) if len(values) >= 5 else float("nan")
        mean = values.mean() if len(values) else float("nan")
        rows.append({"occasion": name, "people": len(values), "mean": mean, "low": mean - half, "high": mean + half})
    return pd.DataFrame(rows)


def improved_words_of(scored) -> str:
    """How many improved by at least the smallest difference that the plan says matters."""
    if scored.minimal is None or scored.pairs == 0:
        return ""
    both = scored.own.dropna(subset=["before", "1 year"])
    sign = 1 if scored.better == "higher" else -1
    rise = sign * (both["1 year"] - both["before"])
    return (f"{int((rise >= scored.minimal).sum())} of {len(both)} patients improved by at least {scored.minimal:g} points, the difference that the plan says matters; "
            f"{int((rise <= -scored.minimal).sum())} worsened by as much. Of {scored.started} who answered before, {scored.started - len(both)} did not answer a year after.")  # fmt: skip
