"""Who was there to be asked, who answered, and why the others did not."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError, as_codes, as_numbers

from .windows import WINDOWS

FEW = 0.60  # response rate below which a caution is printed; a choice, no source
DEAD = ("died",)
WITHOUT = ("denture retired", "implant lost", "changed to fixed", "changed to plain denture", "without the denture")


def answer_status(patient, followed, ending, answered, *, windows=WINDOWS) -> pd.DataFrame:
    """What became of each patient at each occasion after delivery: columns patient, window, status.

    followed: days from delivery to the end of follow-up. ending: "" while followed until the log closes, else why it ended
    (died, denture retired, moved ...). answered: set of (patient, window). Status: answered; not yet due (the window is still
    open); died or without the denture (before the day aimed at); no answer, while there; or the ending, for those who left.
    """
    days = as_numbers("followed", followed)
    why = np.asarray(pd.Series(ending, dtype=object).fillna("").astype(str))
    labels = np.asarray(patient)
    if not len(days) == len(why) == len(labels):
        raise ArgumentError("ending", "has another length than followed and patient", "Give one value per patient.")
    if pd.Series(labels).duplicated().any():
        raise ArgumentError("patient", "stands twice", "Give one row per patient, for one denture at a time.", int(pd.Series(labels).duplicated().argmax()))
    left = np.where(np.isin(why, DEAD), "died", np.where(np.isin(why, WITHOUT), "without the denture", why))
    rows = []
    for window in (w for w in windows if w.last > 0):
        gave = pd.MultiIndex.from_arrays([labels, np.full(len(labels), window.name)]).isin(list(answered))
        status = np.where(days >= window.aim, "no answer", left)
        status = np.where((why == "") & (days < window.last), "not yet due", status)
        rows.append(pd.DataFrame({"patient": labels, "window": window.name, "status": np.where(gave, "answered", status)}))
    return pd.concat(rows, ignore_index=True)


@dataclass(frozen=True)
class Response:
    """Response per occasion; ``missing_share`` maps an occasion to the share of those there who did not answer."""

    missing_share: dict[str, float]
    method: str
    notes: tuple[str, ...]
    _table: pd.DataFrame = field(repr=False)

    def table(self) -> pd.DataFrame:
        """One row per occasion: started, not yet due, died, without the denture, asked, answered, rate, low, high, there (share of those
        due still alive with the denture), caution, why not."""
        return self._table.copy()


def response_rates(window, status, *, level: float = 0.95) -> Response:
    """Response rate per occasion among patients alive with the denture, with Wilson limits; below 60 % carries a caution.

    window, status: one row per patient and occasion, as ``answer_status`` gives them. The dead and those without the denture
    are not non-answerers: nothing is imputed for them (Kurland & Heagerty 2005 Biostatistics 6:241, from memory).
    """
    from outcomes.longevity import wilson_interval

    names = np.asarray(window, dtype=object)
    states = np.asarray(status, dtype=object)
    as_codes("status", states, length=len(names))
    rows, share, notes = [], {}, []
    for name in dict.fromkeys(names):
        here = pd.Series(states[names == name]).value_counts()
        due, dead, gone, gave = (int(here.get(s, 0)) for s in ("not yet due", "died", "without the denture", "answered"))
        started = int(here.sum())
        asked = started - due - dead - gone
        rate = wilson_interval(gave, asked, level=level)
        why = here.drop([s for s in ("not yet due", "died", "without the denture", "answered") if s in here])
        alive = asked / (started - due) if started > due else np.nan
        row = {"window": name, "started": started, "not yet due": due, "died": dead, "without the denture": gone, "asked": asked, "answered": gave}
        row |= {"rate": rate.value, "low": rate.low, "high": rate.high, "there": alive, "caution": bool(rate.value < FEW), "why not": "; ".join(f"{w} {n}" for w, n in sorted(why.items()))}
        rows.append(row)
        share[name] = 1 - rate.value
        if rate.value < FEW:
            notes.append(f"{name}: {gave} of {asked} answered ({rate.value:.0%}); those who did not may differ, read the best and worst case.")
    method = "answered out of those alive with the denture when the occasion was due; Wilson limits; below 60 % is a caution"
    return Response(share, method, tuple(notes), pd.DataFrame(rows))


@dataclass(frozen=True)
class Silent:
    """Scores before of those who answered later and of those who did not, by occasion."""

    method: str
    notes: tuple[str, ...]
    _table: pd.DataFrame = field(repr=False)

    def table(self) -> pd.DataFrame:
        """Columns window, answered, silent (patients), before_answered, before_silent (means), difference (silent less answered), low, high."""
        return self._table.copy()


def silent_at_start(window, before, after, *, level: float = 0.95) -> Silent:
    """Whether those who did not answer were already different before: Welch limits per occasion.

    One value per row, as ``pairs`` makes them: before without gaps, after nan for no answer. Leave out beforehand whoever was
    dead, without the denture or not yet due. Limits are nan with fewer than two patients on a side.
    """
    from scipy import stats

    start = as_numbers("before", before)
    later = np.asarray(after, dtype=float)
    names = np.asarray(window, dtype=object)
    if not len(start) == len(later) == len(names):
        raise ArgumentError("after", "has another length than before", "All arguments need one value per row.")
    rows = []
    for name in dict.fromkeys(names):
        gave, silent = start[(names == name) & ~np.isnan(later)], start[(names == name) & np.isnan(later)]
        row = {"window": name, "answered": len(gave), "silent": len(silent)}
        row |= {"before_answered": gave.mean() if len(gave) else np.nan, "before_silent": silent.mean() if len(silent) else np.nan}
        low = high = np.nan
        if min(len(gave), len(silent)) > 1 and gave.var() + silent.var() > 0:
            low, high = stats.ttest_ind(silent, gave, equal_var=False).confidence_interval(level)
        rows.append(row | {"difference": row["before_silent"] - row["before_answered"], "low": low, "high": high})
    return Silent("mean score before of the silent less that of those who answered; Welch limits", ("A like start does not prove a like end.",), pd.DataFrame(rows))
