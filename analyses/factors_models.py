"""How many times as long: time ratios of each factor's groups, one factor at a time and all taken together."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.factors_groups import Groups
from outcomes.longevity import ArgumentError
from outcomes.present import words

FAR = 4.0  # a likely range that reaches this far both ways says nothing


@dataclass(frozen=True)
class Ratio:
    """How many times as long the group lasts as its reference (1 itself)."""

    factor: str
    title: str
    group: str
    reference: bool
    patients: int
    patients_with_events: int
    value: float
    low: float
    high: float

    def says(self) -> str:
        """The ratio as it is said: from its limits, never from its point."""
        if self.reference:
            return "compared with"
        if not math.isfinite(self.value):
            return "too few to say"
        if math.isnan(self.low) or self.low < 1 / FAR and self.high > FAR:
            return "cannot tell"
        return f"{_times(self.low)} to {_times(self.high)} times as long"


def _times(value: float) -> str:
    """A ratio to a tenth, finer where a tenth would hide on which side of 1 it lies; "over 10" and "under 0.1" beyond.

    >>> _times(0.432), _times(1.26), _times(12.0), _times(0.98), _times(1.003)
    ('0.4', '1.3', 'over 10', '0.98', '1.003')
    """
    if value > 10 or value < 0.1:
        return "over 10" if value > 10 else "under 0.1"
    digits = next(places for places in (1, 2, 3, 4) if places == 4 or words.rounded(value, places) != 1 or value == 1)
    return words.number(value, digits)


@dataclass(frozen=True, eq=False)
class Ratios:
    """Time ratios of all factors: ``alone``, each factor in a model of its own; ``together`` in one. ``notes``: why some are missing."""

    alone: tuple[Ratio, ...]
    together: tuple[Ratio, ...]
    notes: tuple[str, ...]
    methods: tuple[str, ...]

    @property
    def shown(self) -> tuple[Ratio, ...]:
        """What is said of each group: its ratio with all factors taken together where there is one, else on its own."""
        return tuple(self.of(ratio) or ratio for ratio in self.alone)

    @property
    def clear(self) -> tuple[Ratio, ...]:
        """Those whose likely range leaves out 1."""
        return tuple(ratio for ratio in self.shown if not ratio.reference and (ratio.low > 1 or ratio.high < 1))

    def of(self, ratio: Ratio) -> Ratio | None:
        """The same group's ratio with all factors taken together."""
        return next((one for one in self.together if (one.factor, one.group) == (ratio.factor, ratio.group)), None)


def observations(life) -> pd.DataFrame:
    """left, right, entry, patient: what the likelihood of a smooth curve needs, rows without time under observation left out."""
    rows = life.rows
    entry = rows["entry_day"].fillna(0).astype(float)
    right = rows["right_day"].astype(float).fillna(np.inf)
    left = np.maximum(rows["left_day"].astype(float), entry)
    kept = np.isfinite(right) & (right > entry) | np.isinf(right) & (left > entry)
    return pd.DataFrame({"left": left, "right": right, "entry": entry, "patient": rows["patient_id"]})[kept]


def ratios(life, every: list[Groups]) -> Ratios:
    """Every factor on its own where the rules allow it, then as many together, in the plan's order, as patients with the event allow.

    A group with too few patients with the event is left out of the model and said so; nothing is chosen by looking at the answers.
    """
    rules, report = life.plan["wear"], life.plan["report"]
    if life.patients_with_events < report["test_patients"]:
        return Ratios((), (), (f"{words.count(life.patients_with_events, 'patient')} had it; {report['test_patients']} are needed before groups are compared.",), ())
    alone, notes, methods, usable = [], [], [], []
    lacking = [groups.factor.title.lower() for groups in every if len(groups.speaking) < 2]
    if lacking:
        notes.append(f"Not compared: {words.listing(lacking)}. A comparison takes two groups with {report['minimum_patients']} patients with the event in each; the counts stand below.")
    for groups in every:
        if len(groups.speaking) < 2:
            continue
        if (len(groups.speaking) - 1) * rules["per_coefficient"] > life.patients_with_events:
            notes.append(f"{groups.factor.title}: {len(groups.speaking)} groups take {(len(groups.speaking) - 1) * rules['per_coefficient']} patients with the event.")
            continue
        fit, note = _fitted(life, [groups])
        if fit is None:
            notes.append(f"{groups.factor.title}: {note}")
            continue
        alone += _read(groups, fit)
        methods.append(fit.method)
        usable.append(groups)
    together = _together(life, usable, notes)
    return Ratios(tuple(alone), together, tuple(notes), tuple(dict.fromkeys(methods)))


def _together(life, usable: list[Groups], notes: list[str]) -> tuple[Ratio, ...]:
    rules = life.plan["wear"]
    if len(usable) < 2:
        return ()
    if life.patients_with_events < rules["model_patients"]:
        notes.append(f"Taking factors together takes {rules['model_patients']} patients with the event; {life.patients_with_events} had it.")
        return ()
    chosen, coefficients = [], 0
    for groups in usable:
        more = len(groups.speaking) - 1
        if (coefficients + more) * rules["per_coefficient"] <= life.patients_with_events:
            chosen.append(groups)
            coefficients += more
    if len(chosen) < 2:
        notes.append(f"Taking factors together takes {rules['per_coefficient']} patients with the event for each of them.")
        return ()
    if len(chosen) < len(usable):
        notes.append(f"Taken together: {words.listing([groups.factor.title.lower() for groups in chosen])}, the first of the plan's list for which the patients suffice.")
    fit, note = _fitted(life, chosen)
    if fit is None:
        notes.append(f"Taken together: {note}")
        return ()
    return tuple(ratio for groups in chosen for ratio in _read(groups, fit))


def _fitted(life, chosen: list[Groups]):
    """(fit, "") or (None, why not): one column of 0 and 1 for every group but the reference."""
    frame, terms = observations(life), []
    for groups in chosen:
        frame = frame[groups.group.reindex(frame.index).isin(groups.speaking)]
    for groups in chosen:
        for number, name in enumerate(groups.speaking):
            if name != groups.reference:
                terms.append(f"{groups.factor.name}_{number}")
                frame = frame.assign(**{terms[-1]: (groups.group.reindex(frame.index) == name).astype(float)})
    try:
        fit = longevity.accelerated_failure(frame, " + ".join(terms), left="left", right="right", entry="entry" if frame["entry"].any() else None, cluster="patient",
                                            distribution=life.plan["wear"]["shape"], level=life.level, small_sample=True)  # fmt: skip
    except ArgumentError as problem:
        return None, f"{problem}"
    return fit, ""


def _read(groups: Groups, fit) -> list[Ratio]:
    out = []
    for number, (name, life) in enumerate(groups.speaking.items()):
        term = f"{groups.factor.name}_{number}"
        value, low, high = (1.0, 1.0, 1.0) if name == groups.reference else np.exp(fit.coefficients.loc[term, ["estimate", "low", "high"]].to_numpy(float))
        out.append(Ratio(groups.factor.name, groups.factor.title, name, name == groups.reference, life.patients, life.patients_with_events, float(value), float(low), float(high)))
    return sorted(out, key=lambda ratio: not ratio.reference)


def table(found: Ratios) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact) of every ratio."""
    shown = [{"factor": one.title, "group": one.group, "patients with it": f"{one.patients_with_events} of {one.patients}", "on its own": one.says(),
              **({"taken together": both.says() if (both := found.of(one)) else "–"} if found.together else {})} for one in found.alone]  # fmt: skip
    exact = [{"model": model, "factor": one.factor, "group": one.group, "reference": one.reference, "patients": one.patients, "patients_with_events": one.patients_with_events,
              "time_ratio": one.value, "low": one.low, "high": one.high} for model, ratios in (("on its own", found.alone), ("taken together", found.together)) for one in ratios]  # fmt: skip
    return pd.DataFrame(shown), pd.DataFrame(exact)
