"""One question put to the log as a trial would have put it: who, which way, what became of them, and whether that is a fair comparison."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.strategy_outcomes import care, outcomes
from outcomes.analyses.strategy_patients import PICK_UP, Question, Started, arms, covariates

DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, eq=False)
class Comparison:
    """``trial`` is None where one of the arms is empty. ``left_out``: reason to patients; ``same``: what was the same for everybody."""

    question: Question
    care: object
    trial: object
    left_out: dict[str, int]
    same: tuple[str, ...]
    missing: tuple[str, ...]
    recall_gaps: tuple[float, float]
    needed_for_arms: int | None
    needed_for_difference: int | None

    @property
    def rows(self) -> pd.DataFrame:
        return self.care.rows

    @property
    def patients(self) -> tuple[int, int]:
        """Patients who started the first and the second way."""
        other = self.rows["other"].to_numpy(bool)
        return int((~other).sum()), int(other.sum())

    @property
    def fair(self) -> bool:
        return self.trial is not None and self.trial.fair

    @property
    def recalled_alike(self) -> bool:
        """Whether the usual time between looks differs by no more than a quarter, so that found failures can be compared."""
        short, long = sorted(self.recall_gaps)
        return bool(np.isnan(short) or long <= 1.25 * short)

    @property
    def main(self):
        """The contrast of visits within the plan's first span; None where it could not be followed."""
        return next((one for one in self.trial.contrasts if one.name.startswith("visits for")), None) if self.trial is not None else None


def compare(question: Question, log, connection, start: Started, paths, plan) -> Comparison:
    """Emulate the trial. Both arms and day 0 come from the day of delivery; a later step moves nobody and ends nothing."""
    rows, left = arms(question, start, plan)
    known, kept, same = covariates(question, rows, plan)
    if (~kept).any():
        left["without something that is known of the others"] = int((~kept).sum())
    rows = rows[kept].reset_index(drop=True)
    housings = question is PICK_UP
    followed = care(log, connection, rows, housings=housings)
    other, rule = rows["other"].to_numpy(bool), plan["strategy"]
    if not other.any() or other.all():
        return Comparison(question, followed, None, left, same, (), (float("nan"),) * 2, _for_arms(other, rule), None)
    measures, missing = outcomes(log, followed, paths, plan, housings=housings)
    day0 = (rows["begun"].to_numpy() - np.datetime64("1970-01-01")) / DAY
    rules = longevity.Rules(rule["patients_per_arm"], rule["most_difference"], rule["least_effective"], rule["most_outside"])
    trial = longevity.emulated_trial(other, known, measures, decided=day0, begun=day0, rules=rules, level=plan["report"]["level"], draws=plan["report"]["draws"], seed=plan["report"]["seed"])
    gaps = _recall_gaps(log, rows)
    return Comparison(question, followed, trial, left, same, missing, gaps, _for_arms(other, rule), _for_difference(followed, trial, plan))


def _recall_gaps(log, rows: pd.DataFrame) -> tuple[float, float]:
    """Median days between looks at the parts, in the first and second arm."""
    looked = log.visits[log.visits["seen"] & log.visits["looked"]].drop_duplicates(["patient_id", "day"]).sort_values(["patient_id", "day"])
    gap = looked.groupby("patient_id")["day"].diff().dt.days
    arm = looked["patient_id"].map(rows.set_index("patient_id")["other"])
    return tuple(float(gap[(arm == side) & gap.notna()].median()) for side in (False, True))


def _for_arms(other: np.ndarray, rule: dict) -> int | None:
    """Deliveries it takes, at the present shares, until both arms are large enough; None where that is so, or never at this rate."""
    fewest = int(min(other.sum(), (~other).sum()))
    if fewest >= rule["patients_per_arm"] or fewest == 0:
        return None
    return int(np.ceil(len(other) * rule["patients_per_arm"] / fewest))


def _for_difference(followed, trial, plan) -> int | None:
    """Patients per arm for the smallest difference worth knowing to show; None where nobody was followed so long."""
    rule = plan["strategy"]
    years = rule["years"][0]
    long = followed.followed(years)
    if long.sum() < plan["report"]["test_patients"]:
        return None
    inside = followed.day <= years * YEAR
    counts = np.bincount(followed.who[inside], minlength=len(long))[long].astype(float)
    spread = float(counts.std(ddof=1))
    if spread == 0:
        return None
    effective = trial.effective if np.isfinite(trial.effective) else 1.0
    needed = longevity.patients_needed(spread, rule["worthwhile_visits"], effective=effective, level=plan["report"]["level"], power=rule["power"])
    return max(needed, rule["patients_per_arm"])
