"""How well items hang together, and whether a score has room at its ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError, as_codes, as_numbers

FEWEST = 30  # complete questionnaires below which alpha is left out; a choice, no source
CROWDED = 0.15  # share at an end that counts as a floor or ceiling (McHorney & Tarlov 1995 Qual Life Res 4:293, from memory)


def _complete(items, patient=None) -> np.ndarray:
    frame = items if isinstance(items, pd.DataFrame) else pd.DataFrame(np.asarray(items))
    try:
        matrix = frame.to_numpy(dtype=float, na_value=np.nan)
    except (TypeError, ValueError):
        raise ArgumentError("items", "holds answers that are no numbers", "Pass the items of a scored instrument: score(...).items.") from None
    if matrix.ndim != 2 or matrix.shape[1] < 2:
        raise ArgumentError("items", f"must be questionnaires by at least two items, not of shape {matrix.shape}", "Alpha is not defined for a single item.")
    kept = ~np.isnan(matrix).any(axis=1)
    if patient is not None:
        codes, _ = as_codes("patient", patient, length=len(matrix))
        complete = np.flatnonzero(kept)
        kept = complete[np.unique(codes[complete], return_index=True)[1]]
    return matrix[kept]


def _alpha(weights: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Alpha for each row of weights: k/(k-1) (1 - sum of item variances / variance of the total)."""
    k = matrix.shape[1]
    centred = matrix - matrix.mean(axis=0)  # variances do not move, and rounding does not bite
    columns = np.column_stack([centred, centred.sum(axis=1)])
    size = weights.sum(axis=1, keepdims=True)
    spread = weights @ columns**2 - (weights @ columns) ** 2 / size
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(spread[:, -1] > 1e-12, k / (k - 1) * (1 - spread[:, :-1].sum(axis=1) / spread[:, -1]), np.nan)


def cronbach_alpha(items, *, patient=None) -> float:
    """Cronbach's alpha of items that all run one way.

    items: questionnaires by items, frame or array, reversed items already turned round (``score(...).items`` is so). Rows
    with a blank are left out; with ``patient`` (one label a row) only each patient's first complete row counts. nan when
    fewer than two rows remain or all totals are equal. Raises ArgumentError for fewer than two items.
    Formula: Cronbach 1951 Psychometrika 16:297.

    >>> round(cronbach_alpha([[1, 2, 2], [2, 3, 3], [3, 3, 4], [4, 5, 5]]), 7)  # by hand 56/57
    0.9824561
    """
    matrix = _complete(items, patient)
    return float(_alpha(np.ones((1, len(matrix))), matrix)[0]) if len(matrix) > 1 else float("nan")


@dataclass(frozen=True)
class Alpha:
    """Cronbach's alpha with bootstrap limits over patients; ``patients`` complete questionnaires, one each."""

    value: float
    low: float
    high: float
    patients: int
    items: int
    level: float
    method: str
    note: str = ""

    def table(self) -> pd.DataFrame:
        """One row: alpha, low, high, patients, items, note."""
        return pd.DataFrame([{"alpha": self.value, "low": self.low, "high": self.high, "patients": self.patients, "items": self.items, "note": self.note}])


def alpha_interval(items, *, patient=None, level: float = 0.95, draws: int = 1000, seed: int = 20260) -> Alpha:
    """Cronbach's alpha with percentile limits from resampled patients; left out (nan and a note) below 30 of them.

    Arguments as in ``cronbach_alpha``; the same seed gives the same limits.
    """
    matrix = _complete(items, patient)
    n, k = matrix.shape
    method = f"Cronbach's alpha over complete questionnaires, one per patient; limits from {draws} resampled sets of patients"
    if n < FEWEST:
        return Alpha(np.nan, np.nan, np.nan, n, k, level, method, f"left out: {n} complete questionnaires, {FEWEST} are needed")
    value = float(_alpha(np.ones((1, n)), matrix)[0])
    drawn = np.random.default_rng(seed).multinomial(n, np.full(n, 1 / n), size=draws)
    spread = _alpha(drawn.astype(float), matrix)
    if np.isnan(value):
        return Alpha(value, np.nan, np.nan, n, k, level, method, "not defined: every total is the same")
    low, high = np.nanquantile(spread, [(1 - level) / 2, (1 + level) / 2])
    return Alpha(value, float(low), float(high), n, k, level, method)


@dataclass(frozen=True)
class Ends:
    """Shares of scores at the very lowest and the very highest possible value."""

    at_lowest: int
    at_highest: int
    patients: int
    lowest: float
    highest: float
    level: float
    method: str
    notes: tuple[str, ...]

    def table(self) -> pd.DataFrame:
        """Two rows: end, score, count, patients, share, low, high, crowded (share above 15 %)."""
        from outcomes.longevity import wilson_interval

        rows = []
        for end, at, count in (("floor", self.lowest, self.at_lowest), ("ceiling", self.highest, self.at_highest)):
            share = wilson_interval(count, self.patients, level=self.level)
            row = {"end": end, "score": at, "count": count, "patients": self.patients, "share": share.value, "low": share.low, "high": share.high}
            rows.append(row | {"crowded": share.value > CROWDED})
        return pd.DataFrame(rows)


def floor_ceiling(scores, *, lowest: float, highest: float, level: float = 0.95) -> Ends:
    """How many scores sit at the exact ends of the possible range (``Instrument.lowest`` and ``.highest``), flagged above 15 %.

    scores: one per patient, nan where there is none (left out). Raises ArgumentError for a score outside the range.
    """
    values = as_numbers("scores", np.asarray(scores, dtype=float)[~np.isnan(np.asarray(scores, dtype=float))])
    outside = (values < lowest) | (values > highest)
    if outside.any():
        raise ArgumentError("scores", f"lie outside {lowest:g} to {highest:g}", "Give the range of the instrument that was used.")
    counts = {"lowest": int((values == lowest).sum()), "highest": int((values == highest).sum())}
    notes = tuple(
        f"{n} of {len(values)} scores are the {end} possible: the scale cannot show any {way}."
        for (end, n), way in zip(counts.items(), ("fall", "rise"))
        if len(values) and n / len(values) > CROWDED
    )
    method = "share at the exact end of the possible range; Wilson limits; more than 15 % is flagged"
    return Ends(counts["lowest"], counts["highest"], len(values), float(lowest), float(highest), level, method, notes)
