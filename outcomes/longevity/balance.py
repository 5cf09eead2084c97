"""Are two groups alike: the chance of being in one of them, weights that make them alike, and what is left of their differences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError, as_flags, as_numbers

CUT = (0.01, 0.99)  # centiles at which weights are cut
STEPS, SMALL = 60, 1e-9


@dataclass(frozen=True)
class Chances:
    """``score``: each patient's chance of the second arm; ``coefficients``: intercept and slopes, per SD where not 0/1."""

    score: np.ndarray
    coefficients: np.ndarray
    converged: bool


def read_covariates(covariates: pd.DataFrame, length: int) -> tuple[np.ndarray, list[str]]:
    """The columns as numbers, without a gap. Raises ArgumentError."""
    names = [str(name) for name in covariates.columns]
    columns = [as_numbers(name, covariates[name].to_numpy(), length=length) for name in covariates.columns]
    return (np.column_stack(columns) if columns else np.empty((length, 0))), names


def scaled(x: np.ndarray) -> np.ndarray:
    """0/1 columns as they are, others by their SD about their mean, so that one penalty suits all."""
    out = x.astype(float).copy()
    for k in range(x.shape[1]):
        if not np.isin(x[:, k], (0.0, 1.0)).all():
            out[:, k] = (x[:, k] - x[:, k].mean()) / (x[:, k].std() or 1.0)
    return out


def chances(arm: np.ndarray, x: np.ndarray, *, penalty: float = 1.0, start: np.ndarray | None = None) -> Chances:
    """Logistic model of the second arm by Newton's method.

    arm: (n,) bool; x: (n, k) scaled columns. ``penalty`` m puts a log-F(m, m) prior on each slope: next to nothing where the
    data speak, finite where a column tells the arms apart wholly (Greenland and Mansournia 2015, Stat Med 34:3133, from
    memory). 0 gives the maximum likelihood estimate, as R's glm does.
    """
    design, y = np.column_stack([np.ones(len(x)), x]), arm.astype(float)
    share = min(max(y.mean(), 1e-6), 1 - 1e-6)
    beta = np.concatenate([[np.log(share / (1 - share))], np.zeros(x.shape[1])]) if start is None else start.copy()
    held = np.concatenate([[0.0], np.full(x.shape[1], penalty)])

    def value(b):
        line = design @ b
        return (y * line - np.logaddexp(0, line)).sum() + (held * (b / 2 - np.logaddexp(0, b))).sum()

    now, done = value(beta), False
    for _ in range(STEPS):
        p, own = _logistic(design @ beta), _logistic(beta)
        slope = design.T @ (y - p) + held * (0.5 - own)
        curve = (design * (p * (1 - p))[:, None]).T @ design + np.diag(held * own * (1 - own) + 1e-10)
        step = np.linalg.solve(curve, slope)
        gain = slope @ step
        if gain < SMALL:
            beta, done = beta + step, True
            break
        size = 1.0
        while size > 1e-4 and value(beta + size * step) < now:
            size /= 2
        beta = beta + size * step
        now = value(beta)
    return Chances(_logistic(design @ beta), beta, done)


def stabilised(arm: np.ndarray, score: np.ndarray, cut: tuple[float, float] = CUT) -> np.ndarray:
    """Stabilised weights, P(arm)/P(arm | covariates), cut at centiles.

    Source: Cole and Hernán 2008 (Am J Epidemiol 168:656), from memory.
    """
    share = arm.mean()
    raw = np.where(arm, share / score, (1 - share) / (1 - score))
    return np.clip(raw, *np.quantile(raw, cut))


def differences(x: np.ndarray, arm: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Standardised difference per column, second arm less first: difference of (weighted) means over √((s₁² + s₀²)/2).

    The spread is that of the arms as they are, so that weighting moves the means alone. 0 where a column does not vary; inf where it varies
    between the arms only. Source: Austin 2009 (Stat Med 28:3083), from memory.
    """
    means = [np.average(x[side], axis=0, weights=weight[side]) for side in (~arm, arm)]
    spread = np.sqrt((x[~arm].var(axis=0) + x[arm].var(axis=0)) / 2)
    gap = means[1] - means[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.abs(gap) < 1e-12, 0.0, gap / spread)


def effective_share(arm: np.ndarray, weight: np.ndarray) -> float:
    """Weighted sample over patients, (Σw)²/(n Σw²), of the arm that loses more (Kish 1965, from memory)."""
    return min(float(weight[side].sum() ** 2 / (weight[side] ** 2).sum() / side.sum()) for side in (arm, ~arm))


def outside(score: np.ndarray, low: float = 0.05, high: float = 0.95) -> float:
    """Share of patients whose arm was all but certain."""
    return float(((score < low) | (score > high)).mean())


def read_arm(other, length: int) -> np.ndarray:
    """The second arm as flags; both arms must hold somebody."""
    arm = as_flags("other", other, length=length)
    if arm.all() or not arm.any():
        raise ArgumentError("other", "holds one arm only", "A comparison takes patients who started either way.")
    return arm


def _logistic(x: np.ndarray) -> np.ndarray:
    return 0.5 * (1 + np.tanh(x / 2))
