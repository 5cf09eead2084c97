"""Two strategies compared as a trial would have compared them, from a log in which the clinician chose.

Arms are what was decided on day 0, whatever came later; patients are made alike by weights; what cannot be made alike is not
compared. After Hernán and Robins 2016 (Am J Epidemiol 183:758, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from outcomes.longevity.balance import chances, differences, effective_share, outside, read_arm, read_covariates, scaled, stabilised
from outcomes.longevity.estimate import ArgumentError, Estimate, as_numbers, normal_quantile

WITHHELD = "not a fair comparison"
SAME = "in one arm every patient came out the same, so draws cannot show how far chance reaches"
HAIR = 1e-9  # sums of weights round


@dataclass(frozen=True)
class Rules:
    """When a comparison may be printed. Choices without a source, but for the difference of 0.10 in common use."""

    patients: int = 20  # in each arm
    difference: float = 0.10  # largest standardised difference after weighting
    effective: float = 0.50  # least share of its patients that an arm is worth after weighting
    outside: float = 0.05  # most patients whose arm was all but certain


@dataclass(frozen=True)
class Check:
    """One rule: what it asks, what was found, whether it holds (None: could not be looked at)."""

    rule: str
    asked: float
    found: float
    holds: bool | None
    worst: str = ""


@dataclass(frozen=True)
class Outcome:
    """``measure``: an object whose ``at(weight)`` gives a mean under a weight per patient (see ``weighted``)."""

    name: str
    measure: object
    ratio: bool = False  # whether a ratio of the arms means something


@dataclass(frozen=True)
class Contrast:
    """One outcome. ``crude`` and ``weighted``: (first arm, second arm). Estimates are second less first, or second over first;
    nan with the note "not a fair comparison" where a rule fails."""

    name: str
    crude: tuple[float, float]
    crude_limits: tuple[tuple[float, float], tuple[float, float]]
    weighted: tuple[float, float]
    crude_difference: Estimate
    difference: Estimate
    crude_ratio: Estimate
    ratio: Estimate


@dataclass(frozen=True, eq=False)
class Trial:
    """``patients``: in the first and second arm. ``balance``: covariate, first, second, crude, weighted. ``score``, ``weight``: per patient."""

    patients: tuple[int, int]
    checks: tuple[Check, ...]
    balance: pd.DataFrame
    contrasts: tuple[Contrast, ...]
    score: np.ndarray
    weight: np.ndarray
    effective: float
    method: str

    @property
    def fair(self) -> bool:
        """Whether every rule holds."""
        return all(check.holds is True for check in self.checks)

    @property
    def failing(self) -> tuple[Check, ...]:
        """Rules that do not hold."""
        return tuple(check for check in self.checks if check.holds is False)

    def contrast(self, name: str) -> Contrast:
        """One outcome by name."""
        return next(one for one in self.contrasts if one.name == name)

    def table(self) -> pd.DataFrame:
        """One row per outcome: both arms crude and weighted, the differences with their limits."""
        rows = []
        for one in self.contrasts:
            row = {"outcome": one.name, "first_crude": one.crude[0], "second_crude": one.crude[1], "first_weighted": one.weighted[0], "second_weighted": one.weighted[1]}
            for label, found in (("crude_difference", one.crude_difference), ("difference", one.difference), ("ratio", one.ratio)):
                row |= {label: found.value, f"{label}_low": found.low, f"{label}_high": found.high}
            rows.append(row)
        return pd.DataFrame(rows)


def emulated_trial(other, covariates: pd.DataFrame, outcomes: list[Outcome], *, decided, begun, rules: Rules = Rules(), level: float = 0.95, draws: int = 1000, seed: int = 0) -> Trial:
    """Compare the arm ``other`` with the rest, one row per patient, by stabilised weights; limits from whole patients drawn anew.

    other: (n,) bool; covariates: (n, k) numbers known on day 0, without gaps; decided, begun: (n,) days on which the arm was
    decided and on which each patient's clock started. Each of ``draws`` draws within arms refits the weights. Where a rule fails
    the arms' own crude values are given and no difference. Estimand: the mean difference over all patients given.
    Raises ArgumentError, also where an arm was decided after the clock had started: whoever is sorted by what happened later
    cannot have come to harm before it, so that comparison is refused here.
    """
    z = normal_quantile(level)
    start = as_numbers("begun", begun)
    n = len(start)
    late = as_numbers("decided", decided, length=n) > start
    if late.any():
        raise ArgumentError("decided", f"lies after the start of the clock for {int(late.sum())} patients", "An arm is what was chosen on day 0. What was changed later is an outcome, never an arm.", int(np.argmax(late)))
    arm = read_arm(other, n)
    x, names = read_covariates(covariates, n)
    ready = scaled(x)
    enough = bool(min(arm.sum(), (~arm).sum()) >= rules.patients)
    fit = chances(arm, ready)
    weight = stabilised(arm, fit.score) if enough else np.full(n, np.nan)
    crude, after = differences(x, arm, np.ones(n)), differences(x, arm, weight) if enough else np.full(len(names), np.nan)
    side = [x[~arm].mean(axis=0), x[arm].mean(axis=0)]
    balance = pd.DataFrame({"covariate": names, "first": side[0], "second": side[1], "crude": crude, "weighted": after})
    effective = effective_share(arm, weight) if enough else float("nan")
    checks = _checks(arm, names, after, effective, outside(fit.score), enough, rules)
    fair = all(check.holds is True for check in checks)
    drawn = _draws(arm, ready, fit.coefficients, outcomes, draws, seed, fair)
    contrasts = tuple(_contrast(one, arm, weight, fair, k, drawn, z, level) for k, one in enumerate(outcomes))
    method = f"logistic model of the arm (log-F(1,1) penalty), stabilised weights cut at the 1st and 99th centile; {draws} draws of whole patients within arms, weights refitted in each; normal limits"
    return Trial((int((~arm).sum()), int(arm.sum())), checks, balance, contrasts, fit.score, weight, effective, method)


def _checks(arm, names, after, effective, beyond, enough, rules: Rules) -> tuple[Check, ...]:
    """Each rule against what was found; undecided where an arm has too few patients to be weighted."""
    fewest = int(min(arm.sum(), (~arm).sum()))
    largest = int(np.argmax(np.abs(after))) if enough and len(after) else 0
    gap = float(np.abs(after[largest])) if enough and len(after) else (0.0 if enough else float("nan"))
    judged = (lambda holds: bool(holds)) if enough else (lambda holds: None)  # numpy booleans are not True
    return (
        Check("patients", rules.patients, fewest, enough),
        Check("alike", rules.difference, gap, judged(gap <= rules.difference), names[largest] if len(names) else ""),
        Check("effective", rules.effective, effective, judged(effective >= rules.effective)),
        Check("overlap", rules.outside, beyond, judged(beyond <= rules.outside)),
    )


def _draws(arm, x, start, outcomes, draws: int, seed: int, fair: bool) -> np.ndarray:
    """(draws, outcomes, 4): crude first and second, weighted first and second."""
    generator, n = np.random.default_rng(seed), len(arm)
    sides = [np.flatnonzero(~arm), np.flatnonzero(arm)]
    out = np.full((draws, len(outcomes), 4), np.nan)
    for b in range(draws):
        rows = np.concatenate([side[generator.integers(0, len(side), len(side))] for side in sides])
        weights = [np.bincount(rows, minlength=n).astype(float)]
        if fair:
            own = stabilised(arm[rows], chances(arm[rows], x[rows], start=start).score)
            weights.append(np.bincount(rows, weights=own, minlength=n))
        for k, one in enumerate(outcomes):
            out[b, k, : 2 * len(weights)] = [one.measure.at(np.where(side, w, 0.0)) for w in weights for side in (~arm, arm)]
    return out


def _contrast(one: Outcome, arm, weight, fair: bool, k: int, drawn, z: float, level: float) -> Contrast:
    """One outcome in both arms, crude and weighted, with limits from the draws (draws x outcomes x 4)."""
    ones = np.ones(len(arm))
    crude = tuple(one.measure.at(np.where(side, ones, 0.0)) for side in (~arm, arm))
    limits = tuple(_limits(value, _spread(drawn[:, k, j]), z) for j, value in enumerate(crude))
    nothing = Estimate(*[float("nan")] * 4, level, WITHHELD)
    if not fair:
        return Contrast(one.name, crude, limits, (float("nan"),) * 2, nothing, nothing, nothing, nothing)
    own = tuple(one.measure.at(np.where(side, weight, 0.0)) for side in (~arm, arm))
    pairs = [(crude, drawn[:, k, :2]), (own, drawn[:, k, 2:])]
    differences_ = [_difference(pair, draws, z, level) for pair, draws in pairs]
    ratios = [_ratio(pair, draws, z, level) if one.ratio else nothing for pair, draws in pairs]
    return Contrast(one.name, crude, limits, own, *differences_, *ratios)


def _spread(values: np.ndarray) -> float:
    """SD of the draws; nan where too few could be read, or where all are the same: an arm in which nothing happened draws nothing else."""
    known = values[np.isfinite(values)]
    sd = float(known.std(ddof=1)) if len(known) >= 0.95 * len(values) and len(known) > 1 else float("nan")
    return sd if sd > HAIR * (1 + abs(float(known[0]))) else float("nan")


def _limits(value: float, se: float, z: float) -> tuple[float, float]:
    return value - z * se, value + z * se


def _difference(pair, draws, z, level) -> Estimate:
    """Second less first with normal limits; nan where too few draws could be read."""
    if np.isfinite(pair).all() and np.isfinite(draws).all() and np.isnan([_spread(draws[:, 0]), _spread(draws[:, 1])]).any():
        return Estimate(*[float("nan")] * 4, level, SAME)
    value, se = pair[1] - pair[0], _spread(draws[:, 1] - draws[:, 0])
    return Estimate(value, se, *_limits(value, se, z), level, "" if np.isfinite(se) else "too few draws had both arms followed so long")


def _ratio(pair, draws, z, level) -> Estimate:
    """Second over first with limits on the log; nan where an arm had none."""
    if not (pair[0] > 0 and pair[1] > 0):
        return Estimate(*[float("nan")] * 4, level, "no ratio: one arm had none")
    with np.errstate(divide="ignore", invalid="ignore"):
        se = _spread(np.log(draws[:, 1] / draws[:, 0]))
    value = float(np.log(pair[1] / pair[0]))
    low, high = (float(np.exp(limit)) for limit in _limits(value, se, z))
    return Estimate(float(np.exp(value)), se, low, high, level, "se is that of the log ratio")


def patients_needed(sd: float, difference: float, *, effective: float = 1.0, level: float = 0.95, power: float = 0.80) -> int:
    """Patients per arm for a true ``difference`` of means to show: 2 (z + z')² sd²/difference², more by what weighting loses.

    Source: the normal formula of two means, as in any book on trials.

    >>> patients_needed(1.0, 0.5)
    63
    """
    if not (difference > 0 and sd >= 0 and 0 < effective <= 1 and 0 < power < 1):
        raise ArgumentError("difference", "and what goes with it must be positive", "Give the smallest difference worth knowing.")
    q = normal_quantile(level) + stats.norm.ppf(power)
    return int(np.ceil(2 * (q * sd / difference) ** 2 / effective - 1e-9))
