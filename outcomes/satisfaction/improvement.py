"""How many patients improved by enough to matter, at more than one threshold, with those who did not answer taken both ways."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from outcomes.longevity.estimate import ArgumentError, as_codes

from .changes import GROUP_NOT_PATIENT, RECALIBRATION, as_scores, direction
from .forms import Threshold

CASES = ("answered only", "no answer as not improved", "no answer as improved")
HAIR = 1e-9  # prorated scores are not whole; a change of exactly the threshold counts


@dataclass(frozen=True)
class Responders:
    """Shares improved. ``table()`` has a row per threshold, group and way of counting; ``differences()`` compares two groups."""

    thresholds: tuple[tuple[str, float], ...]
    method: str
    notes: tuple[str, ...]
    _rows: pd.DataFrame = field(repr=False)
    _differences: pd.DataFrame = field(repr=False)

    def table(self) -> pd.DataFrame:
        """Columns threshold, meaning, group, counted, improved, patients, share, low, high, little_room (patients set apart)."""
        return self._rows.copy()

    def differences(self) -> pd.DataFrame:
        """Second group (by sorted label) minus the first: threshold, meaning, counted, difference, low, high. Empty without groups."""
        return self._differences.copy()


def _named(thresholds) -> list[tuple[str, float]]:
    named = []
    for t in [thresholds] if isinstance(thresholds, Threshold) or np.ndim(thresholds) == 0 else thresholds:
        meaning, value = (f"{t.population}; {t.source} ({t.sure})", t.change) if isinstance(t, Threshold) else ("", t)
        try:
            value = float(value)
        except (TypeError, ValueError):
            value = np.nan
        if not 0 < value < np.inf:
            raise ArgumentError("thresholds", "must be positive numbers, or thresholds of an instrument", "Write a difference as its size, whatever the direction.")
        named.append((meaning, value))
    if not named:
        raise ArgumentError("thresholds", "is empty", "Name at least one smallest difference that matters, better two.")
    return named


def measurement_error(before, alpha: float, level: float = 0.95) -> float:
    """Smallest change beyond measurement error: z · SD before · √(2 (1 − alpha)) (Jacobson & Truax 1991 J Consult Clin Psychol 59:12, from memory)."""
    if not alpha <= 1:
        raise ArgumentError("alpha", "must be a reliability of at most 1", "Use cronbach_alpha of the scores before.")
    spread = np.nanstd(as_scores("before", before), ddof=1)
    return float(stats.norm.ppf(0.5 + level / 2) * spread * np.sqrt(2 * (1 - alpha)))


def _counts(gain, threshold, counted) -> tuple[int, int]:
    improved, answered = int((gain >= threshold - HAIR).sum()), int((~np.isnan(gain)).sum())
    silent = len(gain) - answered
    return {CASES[0]: (improved, answered), CASES[1]: (improved, len(gain)), CASES[2]: (improved + silent, len(gain))}[counted]


def responders(before, after, *, thresholds, better: str = "higher", group=None, best: float | None = None, alpha: float | None = None, level: float = 0.95) -> Responders:
    """Share of patients improved by at least each threshold, Wilson limits, non-answer as missing, worst and best case.

    before, after: one score per patient, nan where there is none; patients without a score before are left out. thresholds:
    numbers or an instrument's thresholds, or a single one. group: two labels for a difference (Newcombe limits). best: the best possible score,
    to set patients apart who had less than the threshold left to gain. alpha: reliability of the scores before, which adds
    for each threshold the row "beyond measurement error". A change of the threshold exactly counts as improved.
    Raises ArgumentError for no or negative thresholds. Wilson and Newcombe: Newcombe 1998 Stat Med 17:857 and 873.
    """
    from outcomes.longevity import newcombe_interval, wilson_interval

    sign = direction(better)
    start = as_scores("before", before)
    gain = sign * (as_scores("after", after, len(start)) - start)
    codes, labels = as_codes("group", np.full(len(start), "") if group is None else group, length=len(start))
    kept = ~np.isnan(start)
    start, gain, codes = start[kept], gain[kept], codes[kept]
    named = _named(thresholds)
    if alpha is not None and len(start) > 1:
        error = measurement_error(start, alpha, level)
        named += [(f"beyond measurement error ({value:g} or {error:.2f}, the larger)", max(value, error)) for _, value in named]
    rows, differences = [], []
    for meaning, threshold in named:
        room = np.ones(len(start), dtype=bool) if best is None else sign * (best - start) >= threshold - HAIR
        cases = [(case, np.ones(len(start), dtype=bool)) for case in CASES] + ([("answered, with room to gain", room)] if best is not None else [])
        for counted, which in cases:
            seen = []
            for g, label in enumerate(labels):
                mine = (codes == g) & which
                x, n = _counts(gain[mine], threshold, counted if counted in CASES else CASES[0])
                share = wilson_interval(x, n, level=level)
                seen.append((x, n))
                row = {"threshold": threshold, "meaning": meaning, "group": label, "counted": counted, "improved": x, "patients": n}
                rows.append(row | {"share": share.value, "low": share.low, "high": share.high, "little_room": int((~room & (codes == g)).sum())})
            if len(labels) == 2:
                e = newcombe_interval(*seen[1], *seen[0], level=level)
                differences.append({"threshold": threshold, "meaning": meaning, "counted": counted, "difference": e.value, "low": e.low, "high": e.high})
    return Responders(tuple(named), _method(better, level), _notes(best, len(labels)), pd.DataFrame(rows), pd.DataFrame(differences))


def _method(better, level) -> str:
    return f"share of patients with a score before whose score moved {'up' if better == 'higher' else 'down'} by at least the threshold; Wilson limits ({level:.0%}), Newcombe for a difference"


def _notes(best, groups) -> tuple[str, ...]:
    notes = [GROUP_NOT_PATIENT, RECALIBRATION, "Thresholds come from other patients than these: read more than one."]
    if best is not None:
        notes.append("Patients nearer to the best score than the threshold cannot improve by it; they are shown apart.")
    if groups > 1:
        notes.append("The difference that matters grows with a worse start, so shares improved compare groups less well than mean change does.")
    return tuple(notes)
