"""What one way of starting can answer by itself, without a comparison: content where they started, stepped, and what steps cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.people import RIGHT, WORDS
from outcomes.analyses.retention import Settling
from outcomes.longevity import Estimate

SETTLED_FROM = 30  # days after delivery from which a word on the snap is more than a first impression; a choice without a source


@dataclass(frozen=True, eq=False)
class OneWay:
    """``content``: share, of those asked, whose last word was "just right" with every insert still at its starting level.

    ``steps``: their time at the starting level; ``visits``, ``step_visits``, ``step_minutes``: per patient within ``years``;
    ``unsaid``: patients whose snap was never asked since.
    """

    patients: int
    years: float
    content: Estimate
    asked: int
    content_count: int
    unsaid: int
    steps: Settling
    visits: Estimate
    step_visits: Estimate
    step_minutes: Estimate
    step_count: int
    own_visits: int

    def stepped(self, cause: str, years: float) -> tuple[float, float, float] | None:
        """(share, low, high) of all who started whose first change of level was ``cause`` by then; None where nobody was followed so long or none did."""
        found = self.steps.incidence
        if found is None or self.steps.followed(years) == 0 or cause not in list(found.causes):
            return None
        low, high = found.interval_at(years * YEAR, cause)
        return float(found.incidence_at(years * YEAR, cause)), float(low), float(high)


def one_way(log, care, mask: np.ndarray, settling, plan) -> OneWay:
    """The patients of ``care`` in ``mask``, all of whom started the same way."""
    rows, years = care.rows[mask], plan["strategy"]["years"][0]
    own = settling.rows[settling.rows["denture_id"].isin(rows["denture_id"])].reset_index(drop=True)
    steps = Settling(own, 0, settling.confidence)
    asked, content = _content(log, rows, own)
    weight = mask.astype(float)
    estimates = [_mean(care.so_far(years, amount), weight, plan) for amount in (np.ones(len(care.day)), care.step.astype(float), care.step * care.minutes)]
    early = care.step & mask[care.who] & (care.day <= years * YEAR)
    return OneWay(len(rows), years, longevity.wilson_interval(content, asked, level=plan["report"]["level"]), asked, content, len(rows) - asked, steps, *estimates, int(early.sum()), int((early & care.problem).sum()))


def _content(log, rows: pd.DataFrame, own: pd.DataFrame) -> tuple[int, int]:
    """(patients asked, patients content at the level they started at): the last word while the denture was in use."""
    begun = rows.set_index("patient_id")["begun"]
    said = log.visits[log.visits["seen"] & log.visits["snap"].isin(WORDS) & log.visits["patient_id"].isin(begun.index)]
    since = (said["day"] - said["patient_id"].map(begun)).dt.days
    last = said.assign(since=since)[since >= SETTLED_FROM].sort_values(["patient_id", "day", "visit_id"]).groupby("patient_id").last()
    stepped = own[own["cause"].isin(("step up", "step down", "changed"))].set_index("patient_id")["days"]
    still = last["since"] < last.index.map(stepped).fillna(np.inf) if len(last) else pd.Series(dtype=bool)
    return len(last), int(((last["snap"] == RIGHT) & still).sum()) if len(last) else 0


def _mean(measure, weight: np.ndarray, plan) -> Estimate:
    """A mean under equal weights with limits from whole patients drawn anew; exact upper limit where nothing happened."""
    level, draws = plan["report"]["level"], plan["report"]["draws"]
    value, here = measure.at(weight), np.flatnonzero(weight > 0)
    if not np.isfinite(value) or len(here) < plan["report"]["minimum_patients"]:
        return Estimate(value, *[float("nan")] * 3, level, "too few patients for a likely range")
    if value == 0:
        return Estimate(0.0, 0.0, 0.0, float(-np.log((1 - level) / 2) / len(here)), level, "none at all: exact upper limit")
    generator = np.random.default_rng(plan["report"]["seed"])
    drawn = np.array([measure.at(np.bincount(here[generator.integers(0, len(here), len(here))], minlength=len(weight)).astype(float)) for _ in range(draws)])
    low, high = np.nanquantile(drawn, [(1 - level) / 2, (1 + level) / 2])
    return Estimate(value, float(np.nanstd(drawn, ddof=1)), float(low), float(high), level)
