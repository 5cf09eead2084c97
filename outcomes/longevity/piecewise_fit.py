"""The likelihood of a hazard that is constant within pieces of time, for intervals, exact days, censoring and late entry; and which pieces the data carry."""

from __future__ import annotations

import numpy as np

from outcomes.longevity.newton import Summit, climb
from outcomes.longevity.observations import Observations

BLURRED = 1e-3  # information on a log rate; one event seen to the day gives 1


def overlap(start: np.ndarray, end: np.ndarray, cuts: np.ndarray) -> np.ndarray:
    """Time spent between ``start`` and ``end`` in each piece (rows x pieces); the last piece has no end."""
    low, high = np.concatenate([[0.0], cuts]), np.concatenate([cuts, [np.inf]])
    return np.clip(np.minimum(end[:, None], high) - np.maximum(start[:, None], low), 0, None)


class PiecewiseLikelihood:
    """Log-likelihood in (log rate of each piece, coefficients) for the matrix x, with score and information.

    ``sure``: time in each piece known to be free of the event; ``doubt``: time in each piece between last sound and first worn.
    """

    def __init__(self, seen: Observations, cuts: np.ndarray, x: np.ndarray, weights: np.ndarray):
        self.x, self.weights, self.pieces = x, weights, len(cuts) + 1
        self.sure = overlap(seen.entry, seen.left, cuts)
        between = ~seen.right_censored & ~seen.exact
        self.between = np.flatnonzero(between)
        self.doubt = overlap(seen.left[between], seen.right[between], cuts)
        self.exact = np.flatnonzero(seen.exact)
        self.exact_piece = np.searchsorted(cuts, seen.left[self.exact], "left")

    def parts(self, theta: np.ndarray):
        """Hazards cumulated over sure and doubtful time by piece (rows x pieces each)."""
        rate, effect = np.exp(np.clip(theta[: self.pieces], -700, 300)), np.exp(np.clip(self.x @ theta[self.pieces:], -300, 300))
        return self.sure * rate * effect[:, None], self.doubt * rate * effect[self.between, None]

    def rows(self, theta: np.ndarray):
        """Value and score of each row; and what the information needs."""
        sure, doubt = self.parts(theta)
        d = doubt.sum(axis=1)
        with np.errstate(over="ignore", divide="ignore"):
            g = 1 / np.expm1(d)
            value = -sure.sum(axis=1)
            value[self.between] += np.log(-np.expm1(-d))
        toward = np.zeros_like(sure)
        toward[self.between] = g[:, None] * doubt
        toward -= sure
        along = toward.sum(axis=1)
        value[self.exact] += theta[self.exact_piece] + self.x[self.exact] @ theta[self.pieces:]
        toward[self.exact, self.exact_piece] += 1
        along[self.exact] += 1
        return value, np.hstack([toward, self.x * along[:, None]]), (sure, doubt, d, g)

    def __call__(self, theta: np.ndarray):
        value, score, (sure, doubt, d, g) = self.rows(theta)
        w, wb, x, xb, p = self.weights, self.weights[self.between], self.x, self.x[self.between], self.pieces
        steady = -sure * w[:, None]
        steady[self.between] += (wb * g)[:, None] * doubt
        hessian = np.zeros((len(theta), len(theta)))
        hessian[:p, :p] = np.diag(steady.sum(axis=0))
        hessian[:p, p:] = steady.T @ x
        hessian[p:, :p] = hessian[:p, p:].T
        hessian[p:, p:] = (x * steady.sum(axis=1)[:, None]).T @ x
        with np.errstate(over="ignore", invalid="ignore"):
            root = np.sqrt(wb * g * (1 + g))
            slope = np.nan_to_num(np.hstack([doubt, xb * d[:, None]]) * root[:, None])
        return float(w @ value), w @ score, hessian - slope.T @ slope

    def expected_events(self, theta: np.ndarray) -> np.ndarray:
        """Events each piece is expected to hold given what was seen."""
        rate, effect = np.exp(theta[: self.pieces]), np.exp(self.x @ theta[self.pieces:])[self.between]
        doubt = self.doubt * rate * effect[:, None]
        reached = np.cumsum(doubt, axis=1)
        mass = np.exp(-(reached - doubt)) * -np.expm1(-doubt)
        share = mass / mass.sum(axis=1, keepdims=True)
        events = self.weights[self.between] @ share
        return events + np.bincount(self.exact_piece, self.weights[self.exact], minlength=self.pieces)


def supported_cuts(seen: Observations, cuts: np.ndarray, weights: np.ndarray, least: float) -> tuple[np.ndarray, np.ndarray]:
    """(cuts kept, log rates without covariates): pieces are joined until each is expected to hold ``least`` events.

    A piece with fewer is joined to the next one, the last to the one before. Expectations come from the fit itself, after a few
    steps of expectation and maximisation; a piece that intervals cannot tell from its neighbour runs empty and is joined too.
    """
    cuts = cuts[cuts < seen.longest]
    nothing = np.zeros((len(weights), 0))
    while True:
        target = PiecewiseLikelihood(seen, cuts, nothing, weights)
        theta = rough_rates(target)
        events = target.expected_events(theta)
        if len(cuts) == 0 or events.min() >= least:
            top = climb(target, theta, longest=3.0)
            events = target.expected_events(top.at)
            curvature, axes = np.linalg.eigh(-top.hessian)
            if len(cuts) == 0 or (top.reached and events.min() >= least and curvature[0] > BLURRED):
                return cuts, top.at
            if curvature[0] <= BLURRED:
                events = np.where(np.abs(axes[:, 0]) > 0.3, -1.0, events)  # the data tell these pieces apart no better
        thin = int(np.argmax(events < least)) if (events < least).any() else int(np.argmin(events))
        cuts = np.delete(cuts, min(thin, len(cuts) - 1))


def rough_rates(target: PiecewiseLikelihood, steps: int = 25) -> np.ndarray:
    """Log rates after some steps of expectation and maximisation from one constant rate: events over time lived, in each piece."""
    sure, weights = target.weights @ target.sure, target.weights[target.between]
    count = weights.sum() + target.weights[target.exact].sum()
    theta = np.full(target.pieces, np.log(count / (sure.sum() + weights @ target.doubt.sum(axis=1) / 2)))
    for _ in range(steps):
        rate = np.exp(theta)
        doubt = target.doubt * rate
        reached = np.cumsum(doubt, axis=1)
        before = np.exp(-(reached - doubt))
        mass = before * -np.expm1(-doubt)
        later = np.cumsum(mass[:, ::-1], axis=1)[:, ::-1] - mass
        lived = before * (1 - np.exp(-doubt) * (1 + doubt)) / rate + later * target.doubt
        time = sure + weights @ (lived / mass.sum(axis=1, keepdims=True))
        theta = np.log(np.maximum(target.expected_events(theta), 1e-8) / np.maximum(time, 1e-300))
    return theta


def ascend(target: PiecewiseLikelihood, rates: np.ndarray) -> Summit:
    """The maximum, from ``rates`` by piece and no effect of the covariates."""
    return climb(target, np.concatenate([rates, np.zeros(target.x.shape[1])]), longest=3.0)
