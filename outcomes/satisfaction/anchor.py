"""The clinic's own smallest difference that matters: how much scores moved in those who say they are a little better."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from outcomes.longevity.estimate import as_numbers

from .changes import as_scores, direction

FEWEST = 10  # patients a little better before the difference is used; a choice, no source
RELATED = 0.3  # smallest rank correlation of change and answer (Revicki et al. 2008 J Clin Epidemiol 61:102, from memory)


@dataclass(frozen=True)
class MinimalChange:
    """``value``: mean improvement of those a little better, with t limits; ``median`` beside it. ``usable`` when enough answered and change and answer go together."""

    value: float
    low: float
    high: float
    median: float
    less_same: float
    correlation: float
    patients: int
    usable: bool
    level: float
    method: str
    notes: tuple[str, ...]
    _table: pd.DataFrame = field(repr=False)

    def table(self) -> pd.DataFrame:
        """One row per answer to the change question: answer, patients, mean, median, low, high (improvement)."""
        return self._table.copy()


def _row(answer, gain, level) -> dict:
    n = len(gain)
    se = gain.std(ddof=1) / np.sqrt(n) if n > 1 else np.nan
    reach = stats.t.ppf(0.5 + level / 2, n - 1) * se if n > 1 else np.nan
    mean = gain.mean()
    return {"answer": answer, "patients": n, "mean": mean, "median": float(np.median(gain)), "low": mean - reach, "high": mean + reach}


def minimal_change(before, after, answer, *, better: str = "higher", little: float = 1, same: float = 0, level: float = 0.95) -> MinimalChange:
    """Smallest difference that matters, from the change question asked after.

    before, after: scores, one per patient; answer: the change question (``little`` is a little better, ``same`` about the
    same); patients lacking any of the three are left out. Median change of those a little improved: John et al. 2009 J Prosthodont
    18:455; the mean with t limits beside it. Not ``usable`` below 10 such patients or a rank correlation below 0.3.
    """
    sign = direction(better)
    first = as_scores("before", before)
    gain = sign * (as_scores("after", after, len(first)) - first)
    word = as_scores("answer", answer, len(first))
    kept = ~np.isnan(gain) & ~np.isnan(word)
    gain, word = gain[kept], as_numbers("answer", word[kept])
    table = pd.DataFrame([_row(a, gain[word == a], level) for a in np.unique(word)], columns=["answer", "patients", "mean", "median", "low", "high"])
    varied = len(gain) > 2 and np.ptp(gain) > 0 and np.ptp(word) > 0
    correlation = float(stats.spearmanr(gain, word).statistic) if varied else np.nan
    better_off = table[table["answer"] == little]
    unchanged = table.loc[table["answer"] == same, "mean"]
    n = int(better_off["patients"].sum())
    value, low, high, median = better_off[["mean", "low", "high", "median"]].iloc[0] if n else [np.nan] * 4
    notes = []
    if n < FEWEST:
        notes.append(f"{n} patients said a little better; {FEWEST} are needed before the clinic's own difference is used.")
    if not correlation >= RELATED:
        notes.append("Change in score and the answer hardly go together (rank correlation below 0.3): the change question is no yardstick for this score.")
    if value <= 0:
        notes.append("Those a little better did not rise on average: no difference can be derived.")
    less = float(value - unchanged.iloc[0]) if n and len(unchanged) else np.nan
    method = f"improvement in score of those who answer {little:g} to the change question; t limits ({level:.0%})"
    return MinimalChange(float(value), float(low), float(high), float(median), less, correlation, n, not notes, level, method, tuple(notes), table)
