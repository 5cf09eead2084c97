"""Did changing the level help: stepped patients beside like patients not stepped, and the rise that chance alone would bring.

Patients ask for a step when they are unhappy, and whoever is asked on a bad day answers better the next time. The change
after a step is therefore never the effect of the step; like is set beside like instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from outcomes.longevity.estimate import Estimate, normal_quantile

from .changes import direction
from .cluster_robust import bias_reduced
from .matching import matched_sets, read_visits
from .models import logistic

FEWEST_SETS = 10  # matched sets below which there is only a description; a choice, no source
WEIGHTED_FROM = 50  # patients from which those who step later are made up for by weights; a choice, no source


@dataclass(frozen=True)
class LevelChange:
    """Everything in points for the better.

    ``effect``: stepped less like patients not stepped, nan below 10 matched sets; ``df`` its degrees of freedom.
    ``observed_rise``: what the stepped gained; ``expected_rise``: what regression to the mean alone would have given them.
    """

    effect: Estimate
    df: float
    observed_rise: float
    expected_rise: float
    correlation: float
    usual_score: float
    score_at_step: float
    counts: dict[str, int]
    method: str
    notes: tuple[str, ...]

    def table(self) -> pd.DataFrame:
        """Three rows: the rise after a step, the rise expected from regression alone, the matched difference; with limits and counts."""
        none = {"se": np.nan, "df": np.nan, "low": np.nan, "high": np.nan}
        seen, sets = self.counts["steps with a later score"], self.counts["matched sets"]
        effect = {"se": self.effect.se, "df": self.df, "low": self.effect.low, "high": self.effect.high}
        return pd.DataFrame([
            {"quantity": "rise after a step", "value": self.observed_rise, **none, "count": seen},
            {"quantity": "rise expected from regression to the mean", "value": self.expected_rise, **none, "count": seen},
            {"quantity": "stepped less like patients not stepped", "value": self.effect.value, **effect, "count": sets},
        ])  # fmt: skip

    def reading(self) -> str:
        """One or two sentences; the word is after, never because."""
        rise = f"After a step the score was {self.observed_rise:+.1f} points for the better; {self.expected_rise:+.1f} is what regression to the mean alone would bring."
        if np.isnan(self.effect.value):
            return rise + " " + self.effect.note
        e = self.effect
        return rise + f" Beside like patients not stepped the difference was {e.value:+.1f} ({e.level:.0%} limits {e.low:+.1f} to {e.high:+.1f})."


def _expected(visits, weight) -> tuple[float, float, float]:
    """(expected rise, correlation, usual score) from (rho - 1)(mean before the step - usual score).

    rho is the slope of the next score on this one at visits without a step, and the usual score the point that this line
    maps onto itself: choosing whom to step by the score bends neither.
    """
    followed = ~np.isnan(visits.later) & ~np.isnan(visits.score)
    pairs, seen = ~visits.stepped & followed, visits.stepped & followed
    now, later, w = visits.score[pairs], visits.later[pairs], weight[pairs]
    if seen.sum() == 0 or pairs.sum() < 3 or np.ptp(now) == 0:
        return np.nan, np.nan, np.nan
    spread = np.cov(now, later, aweights=w)
    rho = float(spread[0, 1] / spread[0, 0])
    steady = np.average(later, weights=w) - rho * np.average(now, weights=w)
    usual = steady / (1 - rho) if rho != 1 else np.nan
    return float(steady + (rho - 1) * visits.score[seen].mean()), rho, float(usual)


def _weights(visits) -> tuple[np.ndarray, str]:
    """Weight of each unchanged visit, for those lost because they stepped before their next score.

    One over the chance of not being stepped at any visit in between, by the score and day of each (Robins & Finkelstein 2000
    Biometrics 56:779, from memory), cut at the 1st and 99th centile.
    """
    weight = np.ones(len(visits.score))
    lost = int((visits.censored & ~np.isnan(visits.score)).sum())
    if lost == 0:
        return weight, ""
    said = f"{lost} unchanged visits ended in a step of their own before the next score"
    if len(np.unique(visits.patient)) < WEIGHTED_FROM:
        return weight, f"{said}; too few patients to make up for them by weights."
    asked = ~np.isnan(visits.score)
    stepping = np.full(len(weight), visits.stepped[~asked].mean() if (~asked).any() else 0.0)
    chance = logistic(visits.stepped[asked], np.column_stack([visits.score[asked], visits.day[asked]]))
    if chance is None:
        return weight, f"{said}; no weights could be fitted."
    stepping[asked] = chance
    stayed = np.cumsum(np.log1p(-np.minimum(stepping, 1 - 1e-9)))
    rows = np.flatnonzero(~visits.stepped & (visits.later_row >= 0))
    raw = np.exp(stayed[rows] - stayed[visits.later_row[rows] - 1])
    weight[rows] = np.clip(raw, *np.quantile(raw, [0.01, 0.99])) if len(rows) else raw
    return weight, f"{said}; the others were weighted to stand for them."


def _ancova(visits, sets, members, weight):
    """Later score on stepped and score now, within sets: (effect, se, df, low, high) by CR2 over patients."""
    w = np.where(visits.stepped[members], 1.0, weight[members])
    mass = np.bincount(sets, w)
    columns = np.column_stack([visits.stepped[members].astype(float), visits.score[members], visits.later[members]])
    means = np.column_stack([np.bincount(sets, w * c) / mass for c in columns.T])
    within = columns - means[sets]
    x, y = within[:, :2], within[:, 2]
    if np.ptp(x[:, 1]) < 1e-12:
        x = x[:, :1]  # all matched exactly on the score
    m = np.linalg.inv(x.T @ (w[:, None] * x))
    coefficients = m @ (x.T @ (w * y))
    # The set means take part in the leverage of each row, as if every set had a column of its own.
    own_set = sparse.csr_matrix((1 / np.sqrt(mass[sets]), (np.arange(len(sets)), sets)))
    factor = sparse.hstack([own_set, sparse.csr_matrix(x @ np.linalg.cholesky(m))]).tocsr()
    weighted = (w[:, None] * x) @ m[:, :1]
    return coefficients[0], bias_reduced(weighted, factor, y - x @ coefficients, visits.patient[members], lambda rows: np.diag(1 / w[rows]))


def matched_level_change(
    patient, day, score, retention, stepped, *, better: str = "higher", score_within: float = 0.25, days_within: float = 90.0,
    most: int = 3, follow: tuple[float, float] = (60.0, 365.0), level: float = 0.95,
) -> LevelChange:  # fmt: skip
    """Sequential matched comparison of the score after a change of level.

    One row per visit: patient; day since delivery; score, asked before anything was changed, nan where not asked; retention,
    the level worn on arrival; stepped, whether it was changed that day. Each patient's first step is set beside at most
    ``most`` visits of other patients without a step so far: same level, score within ``score_within`` SD, day within
    ``days_within``. Outcome: the first score in ``follow`` days. Later score on step and score now with an effect per set, CR2
    by patient. Matching widths and spans are choices without a source. Where patients are seen so often that some step before
    their next score counts, the weights make up for most of that, not all (simulated: 0.03 SD too low at 45-day visits).
    Raises ArgumentError for two visits of a patient on one day or a missing day or level.
    """
    normal_quantile(level)
    visits = read_visits(patient, day, score, retention, stepped, direction(better), follow)
    weight, said = _weights(visits)
    asked = ~np.isnan(visits.score)
    spread = float(visits.score[asked].std(ddof=1)) if asked.sum() > 1 else np.nan
    sets = members = np.array([], dtype=int)
    if spread > 0:
        sets, members = matched_sets(visits, score_within=score_within * spread, days_within=days_within, most=most)
    seen = visits.stepped & asked & ~np.isnan(visits.later)
    count = len(np.unique(sets))
    counts = {
        "patients": len(np.unique(visits.patient)),
        "patients stepped": int(visits.stepped.sum()),
        "steps with a later score": int(seen.sum()),
        "matched sets": count,
        "matched visits not stepped": len(members) - count,
        "unmatched steps": int(seen.sum()) - count,
        "stepped again before the later score": int((visits.again & seen).sum()),
    }
    rise = float((visits.later - visits.score)[seen].mean()) if seen.any() else np.nan
    at_step = float(visits.score[seen].mean()) if seen.any() else np.nan
    expected, rho, usual = _expected(visits, weight)
    turn = direction(better)
    notes = [s for s in (said,) if s]
    if counts["unmatched steps"]:
        notes.append(f"{counts['unmatched steps']} stepped patients had no like patient beside them and are left out of the difference.")
    if counts["stepped again before the later score"]:
        notes.append(f"{counts['stepped again before the later score']} were changed again before the later score; that is part of having been stepped.")
    effect, df = Estimate(np.nan, np.nan, np.nan, np.nan, level, f"{count} matched sets; {FEWEST_SETS} are needed for a comparison: a description only."), np.nan
    if count >= FEWEST_SETS:
        value, variance = _ancova(visits, sets, members, weight)
        se, low, high = variance.limits(np.array([value]), level)
        effect, df = Estimate(float(value), float(se[0]), float(low[0]), float(high[0]), level), float(variance.df[0])
    method = (
        f"first score {follow[0]:g} to {follow[1]:g} days later, on step and score at the visit, within sets matched on level, score (within {score_within:g} SD) "
        f"and time since delivery (within {days_within:g} days), at most {most} not stepped to one stepped; CR2 over patients, Satterthwaite"
    )
    return LevelChange(effect, df, rise, expected, rho, turn * usual, turn * at_step, counts, method, tuple(notes))
