"""How alike parts in one mouth are: whether a part wears sooner beside one that has already gone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.longevity import ArgumentError
from outcomes.present import words

MOUTHS, EVENTS = 50, 30  # patients with two parts or more, and with the event, before this is estimated; a choice, no source


@dataclass(frozen=True)
class Alike:
    """``fit``: the frailty model, or None with ``note`` saying why. ``mouths``: patients with two parts or more; ``both``: of
    those, patients in whom two or more went; ``one``: in whom exactly one did."""

    fit: object
    mouths: int
    one: int
    both: int
    note: str = ""

    @property
    def times(self) -> float:
        """How many times as fast a part goes once its neighbour has, against beside one that holds (Clayton 1978: 1 + variance)."""
        return 1 + self.fit.variance.value

    @property
    def limits(self) -> tuple[float, float]:
        return 1 + self.fit.variance.low, 1 + self.fit.variance.high


def alike(life) -> Alike:
    """Shared gamma frailty with a Weibull baseline by the day found, late entry allowed; counts where patients are too few."""
    rows = life.rows[life.rows["found_day"] > life.rows["entry_day"].fillna(0)]
    per = rows.groupby("patient_id")["observed"].agg(["size", "sum"])
    mouths = per[per["size"] > 1]
    counts = (len(mouths), int((mouths["sum"] == 1).sum()), int((mouths["sum"] > 1).sum()))
    if len(mouths) < MOUTHS or life.patients_with_events < EVENTS:
        note = (f"This takes {MOUTHS} patients with two {life.units} or more, and {EVENTS} patients with the event; the log has {len(mouths)} and {life.patients_with_events}.")
        return Alike(None, *counts, note)
    frame = pd.DataFrame({"days": rows["found_day"].to_numpy(float), "failed": rows["observed"].to_numpy(bool), "entry": rows["entry_day"].fillna(0).to_numpy(float), "patient": rows["patient_id"].to_numpy()})
    try:
        fit = longevity.gamma_frailty(frame, "1", duration="days", observed="failed", cluster="patient", entry="entry" if frame["entry"].any() else None, baseline="weibull", level=life.level)
    except ArgumentError as problem:
        return Alike(None, *counts, f"It could not be worked out: {problem}")
    return Alike(fit, *counts)


def sentences(found: Alike, life) -> tuple[str, ...]:
    """What can be said, from the limits."""
    one, units = life.unit, life.units
    first = f"Of {words.count(found.mouths, 'patient')} with two {units} or more, {found.one} had exactly one go and {found.both} had two or more."
    if found.fit is None:
        return first, found.note
    low, high = found.limits
    upper = "" if math.isinf(high) else f" to {words.number(high, 1)}"
    span = f"{words.number(low, 1)}{upper} times as fast" if upper else f"at least {words.number(low, 1)} times as fast"
    if low < 1.005:
        said = f"Parts in one mouth cannot be told from parts in different mouths: once one {one} has gone, its neighbours may go {span} as beside one that holds."
    else:
        said = f"Parts in one mouth are alike: once one {one} has gone, its neighbours go {span} as beside one that still holds."
    seen = f" {words.sentence(units)} found at one visit look more alike than they are, so this is the most it can be." if life.examined else ""
    return first, said + seen, f"That is why likely ranges here count patients, not {units}."


def table(found: Alike) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact) for Methods; empty where nothing was estimated."""
    if found.fit is None:
        return pd.DataFrame(), pd.DataFrame()
    variance = found.fit.variance
    exact = pd.DataFrame([{"variance": variance.value, "low": variance.low, "high": variance.high, "cross_ratio": 1 + variance.value, "kendall_tau": found.fit.kendall_tau, "weibull_shape": found.fit.shape,
                           "log_likelihood": found.fit.log_likelihood, "log_likelihood_without": found.fit.log_likelihood_without}])  # fmt: skip
    shown = pd.DataFrame([{"variance of the frailty": words.number(variance.value, 2), "limits": f"{words.number(variance.low, 2)} to {words.number(variance.high, 2) if np.isfinite(variance.high) else 'not bounded'}", "rank correlation of two lifetimes in one mouth": words.number(found.fit.kendall_tau, 2)}])
    return shown, exact
