"""Still at the starting level, of those who still have the denture: beside the share of all who started."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes.analyses.levels_paths import GONE, Paths
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.retention import Settling
from outcomes.longevity import TimeFree

HORIZONS = ((7 / YEAR, "1 week"), (91 / YEAR, "3 months"), (1, "1 year"), (2, "2 years"), (5, "5 years"))


def still_with_denture(settling: Settling, paths: Paths, plan) -> pd.DataFrame:
    """years, after, share, low, high, patients: the share never changed over the share with the denture, whole patients drawn anew."""
    ends = paths.dentures.set_index("denture_id")
    rows = settling.rows[settling.rows["denture_id"].isin(ends.index)].reset_index(drop=True)
    fewest = plan["report"]["minimum_patients"]
    if rows.empty or settling.patients_with_steps() < fewest:
        return pd.DataFrame(columns=["years", "after", "share", "low", "high", "patients"])
    end = ends.loc[rows["denture_id"]]
    first = TimeFree(rows["days"].to_numpy(float), (rows["cause"] != "").to_numpy(), 1e9)
    gone = TimeFree(end["end"].to_numpy(float), end["last"].isin(GONE).to_numpy(), 1e9)
    patient = pd.factorize(rows["patient_id"])[0]
    days = np.array([years * YEAR for years, _ in HORIZONS])
    value, generator = _ratio(first, gone, np.ones(len(rows)), days), np.random.default_rng(plan["report"]["seed"])
    people = patient.max() + 1
    drawn = np.array([_ratio(first, gone, np.bincount(generator.integers(0, people, people), minlength=people)[patient].astype(float), days) for _ in range(plan["report"]["draws"])])
    level = plan["report"]["level"]
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], axis=0)
    followed = [int(rows.loc[first.end >= day, "patient_id"].nunique()) for day in days]
    found = [(years, after, *numbers) for (years, after), *numbers in zip(HORIZONS, value, low, high, followed)]
    return pd.DataFrame(found, columns=["years", "after", "share", "low", "high", "patients"])[lambda frame: frame["patients"] >= fewest]


def _ratio(first: TimeFree, gone: TimeFree, weight: np.ndarray, days: np.ndarray) -> np.ndarray:
    return np.minimum(_read(first, weight, days) / np.maximum(_read(gone, weight, days), 1e-12), 1.0)


def _read(measure: TimeFree, weight: np.ndarray, days: np.ndarray) -> np.ndarray:
    time, share = measure.curve(weight)
    return np.concatenate([[1.0], share])[np.searchsorted(time, days, side="right")]
