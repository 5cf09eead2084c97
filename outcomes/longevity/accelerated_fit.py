"""The ascent behind ``accelerated_failure``: log-likelihood over kinds of rows, start, and the refusal of data without a maximum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.longevity.design import Design, orthonormal
from outcomes.longevity.estimate import ArgumentError
from outcomes.longevity.location_scale import FAMILIES, Family, at_one_time
from outcomes.longevity.newton import Summit, climb
from outcomes.longevity.observations import Observations

FLAT = 1e-6  # information per direction of an orthonormal basis; one event anywhere gives far more
MANY = 20_000


@dataclass(frozen=True, eq=False)
class Fitted:
    """Coefficients and log scale, each row's score, and what turns scores into influences (inverse information)."""

    estimates: np.ndarray
    log_scale: float
    log_likelihood: float
    covariance: np.ndarray
    influence: np.ndarray
    steps: int


class Likelihood:
    """Sum over rows of the log-likelihood in (coefficients of an orthonormal basis, 1/scale); times are measured from ``origin`` in logs."""

    def __init__(self, seen: Observations, basis: np.ndarray, weights: np.ndarray, family: Family, fixed: bool, origin: float):
        self.basis, self.columns, self.family, self.fixed = basis, np.ascontiguousarray(basis.T), family, fixed
        self.weights = None if (weights == 1).all() else weights
        with np.errstate(divide="ignore"):
            self.left, self.right, self.entry = (np.log(x) - origin for x in (seen.left, seen.right, seen.entry))
        self.kinds = [
            (kind, np.flatnonzero(rows))
            for kind, rows in (("exact", seen.exact), ("interval", seen.interval), ("left", seen.left_censored),
                               ("right", seen.right_censored & (seen.left > 0)), ("entry", seen.entry > 0))
            if rows.any()
        ]
        inside = seen.interval
        self.width = np.zeros(len(self.left))
        self.width[inside] = np.log1p((seen.right[inside] - seen.left[inside]) / seen.left[inside])
        self.jacobian = -float(weights[seen.exact] @ np.log(seen.left[seen.exact]))  # density of t, not of log t

    def pieces(self, mu: np.ndarray, tau: float) -> np.ndarray:
        """Value, two first and three second derivatives of each row (6 x rows), times its weight."""
        out = np.zeros((6, len(mu)))
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # far from the maximum; the ascent turns back from there
            for kind, rows in self.kinds:
                out[:, rows] += self.piece(kind, rows, mu[rows], tau)
        return out if self.weights is None else out * self.weights

    def piece(self, kind: str, rows: np.ndarray, mu: np.ndarray, tau: float) -> np.ndarray:
        """The same six of one kind of row ("exact", "interval", "left", "right" or "entry"), without weights: 6 x rows given."""
        family = self.family
        if kind == "interval":
            return np.array(family.interval(self.left[rows], self.right[rows], self.width[rows], mu, tau))
        if kind == "exact":
            piece = np.array(at_one_time(family.log_density, self.left[rows], mu, tau))
            piece[0] += np.log(tau)
            piece[2] += 1 / tau
            piece[5] -= 1 / tau**2
            return piece
        if kind == "left":
            return np.array(at_one_time(family.log_failure, self.right[rows], mu, tau))
        times = self.left if kind == "right" else self.entry
        piece = np.array(at_one_time(family.log_survival, times[rows], mu, tau))
        return piece if kind == "right" else -piece

    def split(self, x: np.ndarray) -> tuple[np.ndarray, float]:
        """(coefficients of the basis, 1/scale) of a point of the search."""
        return (x, 1.0) if self.fixed else (x[:-1], x[-1])

    def __call__(self, x: np.ndarray):
        gamma, tau = self.split(x)
        p = len(x)
        if tau <= 0:
            return -np.inf, np.zeros(p), np.zeros((p, p))
        value, m, t, mm, mt, tt = self.pieces(gamma @ self.columns, tau)
        gradient, hessian, k = np.zeros(p), np.zeros((p, p)), len(gamma)
        gradient[:k] = self.columns @ m
        hessian[:k, :k] = (self.columns * mm) @ self.basis
        if not self.fixed:
            gradient[k], hessian[k, k] = t.sum(), tt.sum()
            hessian[:k, k] = hessian[k, :k] = self.columns @ mt
        return float(value.sum()), gradient, hessian

    def scores(self, x: np.ndarray) -> np.ndarray:
        """First derivatives of each row at ``x``: rows x parameters, weights included."""
        gamma, tau = self.split(x)
        _, m, t, *_ = self.pieces(gamma @ self.columns, tau)
        scores = self.basis * m[:, None]
        return scores if self.fixed else np.column_stack([scores, t])


def fit(seen: Observations, made: Design, weights: np.ndarray, distribution: str) -> Fitted:
    """Maximum likelihood. Raises ArgumentError when the data leave a coefficient or the scale unbounded."""
    fixed = distribution == "exponential"
    family = FAMILIES["weibull" if fixed else distribution]
    rows, back_to = distinct(seen, made.matrix, weights)
    grouped = Observations(seen.left[rows], seen.right[rows], seen.entry[rows])
    count = weights if back_to is None else np.bincount(back_to, weights)
    basis, back = orthonormal(made.matrix[rows], made.terms)
    middle = typical_log_time(grouped)
    constant = constant_direction(basis)
    origin = float(np.average(middle, weights=count)) if constant is not None else 0.0
    target = Likelihood(grouped, basis, count, family, fixed, origin)
    spread = max(float(np.sqrt(np.average((middle - np.average(middle, weights=count)) ** 2, weights=count))), 0.1)
    tau = 1.0 if fixed else 1.0 / spread
    gamma = tau * (basis.T @ (middle - origin)) / len(basis)
    start = gamma if fixed else np.append(gamma, tau)
    top = climb(target, nearer(start, grouped, basis, count, family, fixed, origin))
    check_maximum(top, target, back, made, spread)
    gamma, tau = target.split(top.at)
    estimates = back @ gamma / tau
    jacobian = np.zeros((len(top.at), len(top.at)))
    p = len(gamma)
    jacobian[:p, :p] = back / tau
    if not fixed:
        jacobian[:p, p], jacobian[p, p] = -estimates / tau, -1 / tau
    if constant is not None:
        estimates = estimates + origin * (back @ constant)
    turned = jacobian @ np.linalg.inv(-top.hessian)
    scores = target.scores(top.at)
    if back_to is not None:  # scores of grouped rows carry the group's weight: hand each row its own share
        scores = (scores / count[:, None])[back_to] * weights[:, None]
    return Fitted(estimates, -float(np.log(tau)), top.value + target.jacobian, turned @ jacobian.T, scores @ turned.T, top.steps)


def nearer(start: np.ndarray, seen: Observations, basis: np.ndarray, weights: np.ndarray, family: Family, fixed: bool, origin: float):
    """A start close to the maximum from a twentieth of the rows, where there are so many that each step costs."""
    n = len(weights)
    if n < MANY:
        return start
    some = np.random.default_rng(0).choice(n, n // 20, replace=False)
    part = Observations(seen.left[some], seen.right[some], seen.entry[some])
    top = climb(Likelihood(part, basis[some], weights[some], family, fixed, origin), start, most_steps=20, negligible=1e-4)
    return top.at if top.reached else start


def typical_log_time(seen: Observations) -> np.ndarray:
    """A rough log lifetime of each row to start from: the middle of the interval, the censoring time, half the first look."""
    upper = np.where(np.isinf(seen.right), seen.left, seen.right)
    time = np.where(seen.left > 0, np.sqrt(np.maximum(seen.left, 1e-300) * upper), upper / 2)
    known = time > 0
    return np.log(np.where(known, time, np.exp(np.log(time[known]).mean())))


def constant_direction(basis: np.ndarray) -> np.ndarray | None:
    """Coefficients that make the basis add up to 1 in every row, or None if it cannot."""
    c = basis.mean(axis=0)
    return c if basis.shape[1] and np.abs(basis @ c - 1).max() < 1e-8 else None


def distinct(seen: Observations, matrix: np.ndarray, weights: np.ndarray):
    """(positions of distinct rows, group of each row), or (every row, None) where a sample shows too few repeats to pay."""
    n = len(weights)
    everything = slice(None), None
    if n < 2000:
        return everything
    table = np.column_stack([seen.left, seen.right, seen.entry, matrix])
    sample = np.random.default_rng(0).choice(n, 1000, replace=False)
    if len(np.unique(table[sample], axis=0)) > 600:
        return everything
    group = pd.DataFrame(table).groupby(list(range(table.shape[1])), sort=False).ngroup().to_numpy()
    return np.unique(group, return_index=True)[1], group


def check_maximum(top: Summit, target: Likelihood, back: np.ndarray, made: Design, spread: float) -> None:
    """Raise ArgumentError unless the ascent ended on a maximum with information in every direction."""
    gamma, tau = target.split(top.at)
    scaling = np.ones(len(top.at))
    if not target.fixed:
        scaling[-1] = tau
    curvature, axes = np.linalg.eigh(-top.hessian * np.outer(scaling, scaling))
    if top.reached and curvature[0] > FLAT:
        return
    direction = axes[:, 0] * scaling if curvature[0] < 1e-3 else np.linalg.lstsq(-top.hessian, top.gradient, rcond=None)[0]
    toward, faster = (direction, 0.0) if target.fixed else (direction[:-1], direction[-1] / tau)
    pull = np.abs(back @ (toward - gamma * faster)) * np.sqrt(np.mean(made.matrix**2, axis=0))  # in units of the scale
    if not target.fixed and (made.terms == ("Intercept",) or tau * spread > 20 or abs(faster) > pull.max(initial=0.0)):
        raise ArgumentError("distribution", "the data do not fix the scale: one time fits every row, or later looks found no more failures than earlier ones",
                            'Use distribution="exponential" or a nonparametric curve.')
    terms = [t for t, size in zip(made.terms, pull) if size > 0.1 * pull.max()]
    named = [t for t in terms if t != "Intercept"] or list(made.terms)
    raise ArgumentError("formula", f"the data do not bound the effect of {', '.join(named)}: some combination of covariates has no failure, or nothing but failures",
                        "Merge such a level with another, or leave the term out.")
