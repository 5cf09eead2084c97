"""The course of a score over the occasions: a constrained longitudinal mixed model, or paired changes where patients are few."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from outcomes.longevity.estimate import ArgumentError, as_codes, normal_quantile

from .changes import OLD_DENTURE, RECALIBRATION, as_scores, direction, paired_change
from .cluster_robust import bias_reduced
from .models import mixed
from .windows import WINDOWS

FEWEST = 20  # patients below which no model is fitted; a choice, no source
ALIVE = "Among those alive with the denture: nothing is filled in for the dead and for those without it."
AT_RANDOM = "Answers not given are taken as missing at random given the patient's other answers; see the departures from that."


@dataclass(frozen=True)
class Trajectory:
    """Means and changes per occasion (and group). ``between`` and ``within``: variances of the model, nan where none was fitted."""

    patients: int
    answers: int
    between: float
    within: float
    better: str
    level: float
    method: str
    notes: tuple[str, ...]
    _rows: pd.DataFrame = field(repr=False)
    _differences: pd.DataFrame = field(repr=False)

    def table(self) -> pd.DataFrame:
        """Columns window, group, patients, mean, mean_se, mean_df, mean_low, mean_high, change, se, df, low, high, improvement."""
        return self._rows.copy()

    def differences(self) -> pd.DataFrame:
        """Between two groups, second sorted label minus the first: window, difference, se, df, low, high. Empty without groups."""
        return self._differences.copy()


@dataclass(frozen=True)
class _Cells:
    """One column of the design per mean: the shared one before, then each later occasion in each group."""

    names: list[tuple[str, str]]
    column: np.ndarray


def _order(windows, before) -> list[str]:
    known = [w.name for w in WINDOWS]
    later = sorted(set(windows) - {before, ""}, key=lambda w: (known.index(w) if w in known else len(known), str(w)))
    return ([before] if before in set(windows) else []) + later


def _cells(window, group, before) -> _Cells:
    labels = np.unique(group)
    names = []
    for name in _order(window, before):
        names += [(name, "")] if name == before else [(name, g) for g in labels if ((window == name) & (group == g)).any()]
    place = {cell: i for i, cell in enumerate(names)}
    column = np.array([place[(w, "" if w == before else g)] for w, g in zip(window, group)], dtype=np.int64)
    return _Cells(names, column)


def trajectory(patient, window, score, *, group=None, before: str = "before", better: str = "higher", level: float = 0.95) -> Trajectory:
    """Mean score at each occasion and its change from before, by a mixed model with a random intercept per patient.

    One value per answer: patient labels; window, the occasion as ``assign_windows`` names it ("" is left out); score, nan left
    out; group, two or more labels between patients, whose mean before is taken as shared. Limits: CR2 by patient with
    Satterthwaite degrees of freedom. Below 20 patients paired changes with t limits only. Where the model does not converge
    a simpler one is fitted and ``notes`` says so.
    Raises ArgumentError for two answers of a patient on one occasion or a patient in two groups.
    Model: Liang & Zeger 2000 Sankhya B 62:134 (from memory).
    """
    direction(better)
    normal_quantile(level)
    values = as_scores("score", score)
    names = np.asarray(pd.Series(window, dtype=object).fillna("").astype(str))
    people, _ = as_codes("patient", patient, length=len(values))
    groups = np.asarray([""] * len(values) if group is None else pd.Series(group).astype(str), dtype=object)
    if len(names) != len(values) or len(groups) != len(values):
        raise ArgumentError("window", "has another length than score", "All arguments need one value per row.")
    kept = ~np.isnan(values) & (names != "")
    values, names, people, groups = values[kept], names[kept], people[kept], groups[kept]
    _refuse_doubles(people, names, groups)
    if len(values) == 0:
        raise ArgumentError("score", "holds no answer on any occasion", "Check the dates of delivery and of the answers.")
    count = len(np.unique(people))
    if count < FEWEST:
        return _paired(people, names, values, groups, before, better, level, count)
    return _modelled(people, names, values, groups, before, better, level, count)


def _refuse_doubles(people, names, groups) -> None:
    frame = pd.DataFrame({"p": people, "w": names, "g": groups})
    if frame.duplicated(["p", "w"]).any():
        raise ArgumentError("window", "a patient answers twice on one occasion", "Use assign_windows first, and one denture at a time.")
    if (frame.groupby("p")["g"].nunique() > 1).any():
        raise ArgumentError("group", "a patient stands in two groups", "Give each patient the group at delivery.")


def random_intercept_weights(x, cluster, between: float, within: float) -> np.ndarray:
    """W x for W the inverse of within · I + between · 11' in each cluster."""
    size = np.bincount(cluster)
    sums = np.zeros((len(size), x.shape[1]))
    np.add.at(sums, cluster, x)
    return (x - (between / (within + between * size))[cluster, None] * sums[cluster]) / within


def robust_contrasts(x, y, cluster, fit, contrasts):
    """(values, Contrasts) of a random-intercept fit: generalised least squares at its variances, CR2 by cluster."""
    between = float(fit.between[0, 0])
    weighted = random_intercept_weights(x, cluster, between, fit.within)
    m = np.linalg.inv(x.T @ weighted)
    coefficients = m @ (weighted.T @ y)

    def working(rows):
        return fit.within * np.eye(len(rows)) + between

    spread = bias_reduced(weighted @ m @ contrasts, x @ np.linalg.cholesky(m), y - x @ coefficients, cluster, working)
    return contrasts.T @ coefficients, spread


def _modelled(people, names, values, groups, before, better, level, count) -> Trajectory:
    cells = _cells(names, groups, before)
    size = len(cells.names)
    x = np.eye(size)[cells.column]
    codes = np.unique(people, return_inverse=True)[1]
    fit = mixed(values, x, codes)
    start = next((i for i, (w, _) in enumerate(cells.names) if w == before), None)
    wanted, labels = [np.eye(size)[i] for i in range(size)], [("mean", i) for i in range(size)]
    if start is not None:
        for i in range(size):
            if i != start:
                wanted.append(np.eye(size)[i] - np.eye(size)[start])
                labels.append(("change", i))
    sides = np.unique(groups)
    later = [w for w in _order(names, before) if w != before]
    both = [(w, cells.names.index((w, sides[0])), cells.names.index((w, sides[1]))) for w in later if len(sides) == 2 and {(w, g) for g in sides} <= set(cells.names)]
    for w, first, second in both:
        wanted.append(np.eye(size)[second] - np.eye(size)[first])
        labels.append(("difference", w))
    found, spread = robust_contrasts(x, values, codes, fit, np.array(wanted).T)
    se, low, high = spread.limits(found, level)
    at = {label: (found[k], se[k], spread.df[k], low[k], high[k]) for k, label in enumerate(labels)}
    nothing = (np.nan,) * 5
    rows = []
    for i, (window, group) in enumerate(cells.names):
        rows.append(_row(window, group, int((cells.column == i).sum()), at["mean", i], at.get(("change", i), nothing), better))
    differences = pd.DataFrame([dict(zip(("window", "difference", "se", "df", "low", "high"), (w, *at["difference", w]))) for w, *_ in both])
    notes = [fit.note[0].upper() + fit.note[1:] + "."] if fit.note else []
    if start is None:
        notes.append("Nobody answered before: means only, no change.")
    few = [w for (w, g), d in zip(cells.names, spread.df[:size]) if not d >= 4]
    if few:
        notes.append(f"Limits at {', '.join(dict.fromkeys(few))} rest on very few patients (fewer than 4 degrees of freedom): do not lean on them.")
    method = f"{fit.model}, mean before shared by all, a mean for each later occasion{' in each group' if len(sides) > 1 else ''}; limits by CR2 over patients, Satterthwaite ({level:.0%})"
    notes += [ALIVE, AT_RANDOM, OLD_DENTURE, RECALIBRATION]
    return Trajectory(count, len(values), float(fit.between[0, 0]), fit.within, better, level, method, tuple(notes), pd.DataFrame(rows), differences)


def _row(window, group, patients, mean, change, better) -> dict:
    row = {"window": window, "group": group, "patients": patients}
    row |= dict(zip(("mean", "mean_se", "mean_df", "mean_low", "mean_high"), mean))
    return row | dict(zip(("change", "se", "df", "low", "high"), change)) | {"improvement": direction(better) * change[0]}


def _paired(people, names, values, groups, before, better, level, count) -> Trajectory:
    """Few patients: what each answered both times, nothing modelled."""
    frame = pd.DataFrame({"p": people, "w": names, "g": groups, "y": values})
    start = frame[frame["w"] == before].set_index("p")["y"]
    rows = []
    for window in _order(names, before):
        for group in [""] if window == before else np.unique(groups):
            here = frame[(frame["w"] == window) & ((frame["g"] == group) | (window == before))]
            mean, n = here["y"].mean(), len(here)
            se = here["y"].std(ddof=1) / np.sqrt(n) if n > 1 else np.nan
            reach = stats.t.ppf(0.5 + level / 2, n - 1) * se if n > 1 else np.nan
            change = (np.nan,) * 5
            if window != before:
                e = paired_change(start.reindex(here["p"]).to_numpy(), here["y"].to_numpy(), better=better, level=level)
                change = (e.value, e.se, e.df, e.low, e.high)
            rows.append(_row(window, group, n, (mean, se, n - 1, mean - reach, mean + reach), change, better))
    notes = (f"{count} patients answered; {FEWEST} are needed for a model: changes are of those who answered both times.", ALIVE, OLD_DENTURE, RECALIBRATION)
    method = f"means and paired changes with t limits ({level:.0%})"
    return Trajectory(count, len(values), np.nan, np.nan, better, level, method, notes, pd.DataFrame(rows), pd.DataFrame())
