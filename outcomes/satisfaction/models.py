"""The one door to statsmodels: a mixed model with patient effects, and a logistic model for weights."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np

from outcomes.longevity.estimate import ArgumentError

BOUNDARY = 1e-4  # variance between patients, in units of the residual variance, below which it counts as none


@dataclass(frozen=True)
class MixedFit:
    """REML fit of y = x b + z u + e. ``between``: covariance of u (1 by 1 for a random intercept); ``within``: residual variance."""

    coefficients: np.ndarray
    covariance: np.ndarray
    between: np.ndarray
    within: float
    model: str
    note: str = ""


def _attempt(y, x, groups, z, method):
    import statsmodels.api as sm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # convergence is judged below, from the fit itself
        fit = sm.MixedLM(y, x, groups=groups, exog_re=z).fit(reml=True, method=method, gtol=1e-8)
    usable = np.isfinite(fit.scale) and fit.scale > 0 and np.isfinite(fit.fe_params).all() and np.isfinite(np.asarray(fit.cov_re)).all()
    if not usable:
        return fit, False
    # At a variance of nearly zero the optimiser never calls itself converged, however good its answer.
    return fit, bool(fit.converged or np.diag(np.asarray(fit.cov_re)).min() < BOUNDARY * fit.scale)


def mixed(y, x, groups, z=None) -> MixedFit:
    """Mixed model by restricted maximum likelihood; without ``z`` a random intercept by group.

    y: outcomes; x: design matrix of full rank; groups: integer codes; z: columns with an effect of their own in each group.
    Where it does not converge a simpler one is fitted (random intercept, then ordinary least squares) and ``note`` says so.
    Raises ArgumentError when the columns of x depend on each other.
    """
    y, x = np.asarray(y, dtype=float), np.asarray(x, dtype=float)
    if np.linalg.matrix_rank(x) < x.shape[1]:
        raise ArgumentError("x", "has columns that depend on each other", "Drop an empty occasion or group.")
    steps = [(z, "random intercept and slope")] if z is not None else []
    steps.append((np.ones((len(y), 1)), "random intercept per patient"))
    spread = y.std() or 1.0  # fitted on a steady scale, so that the optimiser's tolerance means the same for every instrument
    tried = []
    for effects, name in steps:
        for method in ("lbfgs", "bfgs", "powell"):
            try:
                fit, good = _attempt(y / spread, x, groups, effects, method)
            except (np.linalg.LinAlgError, ValueError, ZeroDivisionError, FloatingPointError):
                continue
            if good:
                between, within = np.asarray(fit.cov_re) * spread**2, float(fit.scale) * spread**2
                size = x.shape[1]
                covariance = np.asarray(fit.cov_params())[:size, :size] * spread**2
                note = f"the {tried[0]} model did not converge; {name} was fitted instead" if tried else ""
                if np.diag(between).min() < BOUNDARY * within:
                    note = (note + "; " if note else "") + "patients hardly differ beyond chance: the variance between them is near zero"
                return MixedFit(np.asarray(fit.fe_params) * spread, covariance, between, within, f"mixed model, {name}, REML", note)
        tried.append(name)
    return _independent(y, x, tried[0])


def _independent(y, x, failed) -> MixedFit:
    coefficients, *_ = np.linalg.lstsq(x, y, rcond=None)
    left = y - x @ coefficients
    within = float(left @ left / max(len(y) - x.shape[1], 1))
    note = f"the {failed} model did not converge; least squares was fitted instead, with limits that allow for repeated answers"
    return MixedFit(coefficients, within * np.linalg.inv(x.T @ x), np.zeros((1, 1)), within, "ordinary least squares", note)


def logistic(outcome, x) -> np.ndarray | None:
    """Fitted probabilities of a logistic model with intercept; None where it cannot be fitted (separation, too few of one kind)."""
    import statsmodels.api as sm

    outcome = np.asarray(outcome, dtype=float)
    if min(outcome.sum(), len(outcome) - outcome.sum()) < 5:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            fit = sm.GLM(outcome, sm.add_constant(np.asarray(x, dtype=float), has_constant="add"), family=sm.families.Binomial()).fit()
        except Exception:  # statsmodels raises several kinds for separation; any of them means no weights
            return None
    return np.asarray(fit.fittedvalues) if fit.converged else None
