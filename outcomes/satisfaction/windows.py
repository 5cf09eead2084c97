"""Which answer belongs to which occasion, and the pairs of an answer before and an answer after."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError, as_codes

MONTH = 30.4375


@dataclass(frozen=True)
class Window:
    """An occasion: first and last day since delivery, and the day it aims at (None: the last answer counts)."""

    name: str
    first: int
    last: int
    aim: float | None


# Day windows are a choice without a source; a plan may set others.
WINDOWS = (
    Window("before", -180, 0, None),
    Window("month 3", 60, 179, 3 * MONTH),
    Window("month 12", 180, 545, 12 * MONTH),
    Window("month 24", 546, 1094, 24 * MONTH),
    Window("month 60", 1095, 2190, 60 * MONTH),
)


@dataclass(frozen=True)
class Assigned:
    """``window``: the occasion each answer serves, "" where it serves none. ``counts`` and ``notes`` say how many and why not."""

    window: np.ndarray
    counts: dict[str, int]
    notes: tuple[str, ...]

    def table(self) -> pd.DataFrame:
        """One row per occasion: window, answers."""
        return pd.DataFrame({"window": list(self.counts), "answers": list(self.counts.values())})


def _units(patient, about, length) -> np.ndarray:
    codes, _ = as_codes("patient", patient, length=length)
    if about is None:
        return codes
    # An answer about nothing in particular is a kind of its own.
    other, labels = pd.factorize(np.asarray(pd.Series(about).fillna("").astype(str)))
    if len(other) != length:
        raise ArgumentError("about", f"has {len(other)} values where {length} are needed", "All arguments need one value per row.")
    return codes * max(len(labels), 1) + other


def _days(day) -> np.ndarray:
    try:
        return np.asarray(pd.array(day, dtype="Float64").to_numpy(dtype=float, na_value=np.nan))
    except (TypeError, ValueError):
        raise ArgumentError("day", "must be whole days since delivery", "Subtract the day of delivery first; negative is before it.") from None


def assign_windows(patient, day, *, about=None, windows=WINDOWS, given=None) -> Assigned:
    """Give each answer the occasion it serves: the nearest answer in each window, one per patient (and denture) and window.

    patient, about: labels. day: whole days since delivery, negative before, nan where either date is unknown. given: the
    occasion that the log names; used only where the day is unknown, and counted where the two disagree. Before delivery the
    last answer counts; equally near answers: the earlier. Raises ArgumentError for windows that overlap.
    """
    days = _days(day)
    unit = _units(patient, about, len(days))
    spans = sorted((w.first, w.last) for w in windows)
    if any(a[1] >= b[0] for a, b in zip(spans, spans[1:])):
        raise ArgumentError("windows", "overlap", "Let each day belong to one window at most.")
    names = np.asarray([""] if given is None else pd.Series(given).fillna("").astype(str), dtype=object)
    names = np.broadcast_to(names, days.shape)
    out = np.full(len(days), "", dtype=object)
    inside, disagree = np.zeros(len(days), dtype=bool), np.zeros(len(days), dtype=bool)
    for window in windows:
        here = (days >= window.first) & (days <= window.last)
        disagree |= here & np.isin(names, [w.name for w in windows if w.name != window.name])
        rows = np.flatnonzero(here | (np.isnan(days) & (names == window.name)))
        inside[rows] = True
        # Unknown days come last, so that a dated answer is preferred.
        away = -days[rows] if window.aim is None else np.abs(days[rows] - window.aim)
        order = np.lexsort((days[rows], away, unit[rows]))
        out[rows[order[np.unique(unit[rows][order], return_index=True)[1]]]] = window.name
    counts = {w.name: int((out == w.name).sum()) for w in windows}
    counts |= {"nearer answer in the window": int((inside & (out == "")).sum()), "outside every window": int((~inside).sum())}
    return Assigned(out, counts, _window_notes(counts, days, inside, int(disagree.sum())))


def _window_notes(counts, days, inside, disagree) -> tuple[str, ...]:
    notes = []
    if counts["outside every window"]:
        away = days[~inside & ~np.isnan(days)]
        span = f" (days {away.min():.0f} to {away.max():.0f} since delivery)".replace("-", "−") if len(away) else ""
        notes.append(f"Answers outside every window, left out: {counts['outside every window']} of {len(days)}{span}. Change the windows in the plan if they should count.")
    if counts["nearer answer in the window"]:
        notes.append(f"Answers that gave way to one nearer to the occasion: {counts['nearer answer in the window']}.")
    if disagree:
        notes.append(f"Answers that name another occasion than their day falls in: {disagree}; the day decided. Check the dates of answers and delivery.")
    return tuple(notes)


def pairs(patient, window, score, *, about=None, before: str = "before") -> pd.DataFrame:
    """Every patient (and denture) with a score before, beside each later occasion: columns patient, about, window, before, after.

    score: nan is no answer. ``after`` is nan where that occasion has no answer. Patients without a score before are left out.
    Raises ArgumentError when one patient has two answers for one occasion and denture.
    """
    frame = pd.DataFrame({"patient": np.asarray(patient), "window": np.asarray(window, dtype=object), "score": np.asarray(score, dtype=float)})
    frame["about"] = "" if about is None else pd.Series(about).fillna("").astype(str).to_numpy()
    if frame["patient"].isna().any():
        raise ArgumentError("patient", "holds a missing label", "Drop those rows.", int(frame["patient"].isna().to_numpy().argmax()))
    frame = frame[(frame["window"] != "") & frame["score"].notna()]
    twice = frame.duplicated(["patient", "about", "window"])
    if twice.any():
        raise ArgumentError("window", f"holds patients who answer twice on one occasion: {int(twice.sum())}", "Use assign_windows first, and about for two dentures.")
    start = frame[frame["window"] == before].set_index(["patient", "about"])["score"].rename("before")
    later = [w for w in dict.fromkeys([w.name for w in WINDOWS] + sorted(set(frame["window"]))) if w != before and w in set(frame["window"])]
    wide = frame[frame["window"] != before].set_index(["patient", "about", "window"])["score"].rename("after")
    grid = start.reset_index().merge(pd.DataFrame({"window": pd.Series(later, dtype=object)}), how="cross")
    return grid.merge(wide.reset_index(), how="left", on=["patient", "about", "window"])[["patient", "about", "window", "before", "after"]]
