"""The part and the patient: the same share where every part counts once, and where every patient counts once."""

from __future__ import annotations

import math

import pandas as pd

from outcomes.analyses.lifetimes import YEAR
from outcomes.present import words

APART = 0.05  # further apart than this: flagged


def vary(life) -> bool:
    """Whether some patients have more parts than others; if not, the two are one."""
    return life.parts > 0 and life.rows.groupby("patient_id").size().nunique() > 1


def per_patient(life):
    """The headline curve with each patient counting once: weights of one over the patient's parts (Williamson, Datta and Satten 2003)."""
    return life.each_patient_once(life.plan["wear"]["group_draws"])


def table(life) -> tuple[pd.DataFrame, pd.DataFrame, bool]:
    """(shown, exact, flagged): both shares at the horizons, and whether they lie more than 0.05 apart anywhere."""
    if not life.speaks or not vary(life):
        return pd.DataFrame(), pd.DataFrame(), False
    other, shown, exact = per_patient(life), [], []
    report = life.plan["report"]
    for years in sorted({*report["horizons_years"], report["headline_years"]}):
        share = life.share_at(years)
        if share is None or share.followed < report["minimum_patients"] or other is None:
            continue
        value = float(other.survival_at(years * YEAR))
        low, high = (float(edge) for edge in other.interval_at(years * YEAR)) if life.patients_telling >= report["test_patients"] else (math.nan, math.nan)
        exact.append({"years": years, "per_part": share.value, "per_part_lower_edge": share.below, "per_part_low": share.low, "per_part_high": share.high, "per_patient": value, "per_patient_low": low, "per_patient_high": high})
        shown.append({"after": words.span(years), f"of {life.units}": share.said(life.patients) + _bounds(share.low, share.high), "of a patient's, on average": words.estimated(value, life.patients) + _bounds(low, high)})
    flagged = any(abs(row["per_part"] - row["per_patient"]) > APART for row in exact)
    return pd.DataFrame(shown), pd.DataFrame(exact), flagged


def _bounds(low: float, high: float) -> str:
    return "" if math.isnan(low) or math.isnan(high) else f" ({words.percent_range(low, high)})"
