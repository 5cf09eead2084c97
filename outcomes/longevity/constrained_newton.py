"""The nonparametric maximum likelihood of interval-censored rows by a constrained Newton method on an active set.

Row i contributes weight_i · log P_i, P_i the mass in the innermost intervals it covers, a difference of two values of the
cumulative mass F. On a small support the rows fall into few distinct (start, stop) pairs and the negative Hessian in F is
the Laplacian of the graph that joins start and stop. Each round takes the exact Newton step under the order of F (values
that would cross are tied together), drops the places left without mass, and adds in every gap of the support the place
where the likelihood gains most. Sources: Wang 2007, J R Stat Soc B 69:185 (the method, and why one place per gap is enough);
Gentleman and Geyer 1994, Biometrika 81:618 (the optimality conditions). Since the log-likelihood is concave, it lies at most
the gap max_j D_j - n below its maximum, D_j the gain per mass at place j and n the total weight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dposv

TOLERANCE = 1e-10  # of the total weight
SLACK = 100  # times the tolerance: how far the gain may lie below its bound where there is mass
ROUNDING = 1e-7  # of the total weight: a gap below this that no longer halves is rounding
ROUNDS = 200
GRID = 40  # places the first support starts with, beside those that every row needs
DENSE = 400  # a support larger than this is solved with sparse matrices


@dataclass(frozen=True, eq=False)
class Solution:
    """Support (numbers of innermost intervals), its mass, the log-likelihood, the certified gap and the rounds taken."""

    support: np.ndarray
    mass: np.ndarray
    log_likelihood: float
    gap: float
    rounds: int


def maximise(first, after, weight, size: int, start: tuple | None = None, tolerance: float = TOLERANCE) -> Solution:
    """Best masses for rows that cover innermost intervals first..after-1 of ``size``; ``start`` is a (support, mass) that
    gives every row some mass."""
    total = float(weight.sum())
    if start is None:
        support = _first_support(first, after, size)
        mass = np.full(len(support), 1 / len(support))
    else:
        support, mass = start
    before = np.inf
    for rounds in range(1, ROUNDS + 1):
        pairs = _Pairs(first, after, weight, support, size)
        cumulative = np.concatenate([[0.0], np.cumsum(mass)])
        cumulative /= cumulative[-1]
        if rounds == 1 and start is None:
            for _ in range(3):  # a few self-consistency steps level the crude start
                cumulative = pairs.self_consistent(cumulative)
        cumulative = pairs.newton_step(cumulative)
        gain = pairs.gain_everywhere(cumulative)
        mass = np.diff(cumulative)
        gap, slack = float(gain.max() - total), float(total - gain[support][mass > 0].min())
        worst = max(gap, slack / SLACK)
        if worst <= tolerance * total or (worst >= before / 2 and gap <= ROUNDING * total):
            break
        before = worst
        support, mass = _revise(support, mass, gain, total * (1 + tolerance))
    keep = mass > 0
    return Solution(support[keep], mass[keep], pairs.log_likelihood(pairs.mass(cumulative)), gap, rounds)


class _Pairs:
    """Rows grouped by where they start and stop on a support; F runs over the len(support) + 1 edges of it."""

    def __init__(self, first, after, weight, support, size):
        self.rows = first, after, weight
        self.size, self.edges = size, len(support) + 1
        place = np.zeros(size + 1, dtype=np.intp)
        place[support + 1] = 1
        place = np.cumsum(place)
        code = place[first] * self.edges + place[after]
        if self.edges <= DENSE:
            table = np.bincount(code, weights=weight, minlength=self.edges**2)
            self.code = np.flatnonzero(table)
            self.weight = table[self.code]
            self.of_row = code
        else:
            self.code, self.of_row = np.unique(code, return_inverse=True)
            self.weight = np.bincount(self.of_row, weights=weight)
        self.low, self.high = np.divmod(self.code, self.edges)

    def mass(self, cumulative):
        """Mass that the rows of each pair cover, from the cumulative mass at the edges."""
        return cumulative[self.high] - cumulative[self.low]

    def log_likelihood(self, mass):
        """Of the mass of each pair; minus infinity where a pair has none."""
        return float(self.weight @ np.log(mass)) if mass.min() > 0 else -np.inf

    def _differences(self, values):
        """Sum of ``values`` over pairs by their stop, less the same by their start."""
        return np.bincount(self.high, values, self.edges) - np.bincount(self.low, values, self.edges)

    def self_consistent(self, cumulative):
        """The cumulative mass after one step of the self-consistency (EM) algorithm."""
        gain = -np.cumsum(self._differences(self.weight / self.mass(cumulative)))[:-1]
        steps = np.concatenate([[0.0], np.cumsum(np.diff(cumulative) * gain)])
        return steps / steps[-1]

    def newton_step(self, cumulative):
        """F after one constrained Newton step, shortened until the likelihood rises enough.

        The bold step ties everything that would cross at once; should it not rise, the cautious one ties only what already
        stands on its bound and stops where the next value meets its neighbour, which always rises unless at the maximum.
        """
        mass = self.mass(cumulative)
        old = self.log_likelihood(mass)
        slope = self.weight / mass
        gradient = self._differences(slope)
        solve = _ordered_minimum if self.edges <= DENSE else _ordered_minimum_sparse
        for cautious in (False, True):
            direction = solve(self, slope / mass, gradient, cumulative, cautious) - cumulative
            rise = max(float(gradient @ direction), 0.0)
            step = _longest(cumulative, direction) if cautious else 1.0
            for _ in range(30 if cautious else 6):
                moved = np.maximum.accumulate(cumulative + step * direction)
                if self.log_likelihood(self.mass(moved)) >= old + 1e-4 * step * rise - 1e-13 * abs(old):
                    return moved
                step /= 2
        return self.self_consistent(cumulative)

    def gain_everywhere(self, cumulative):
        """D_j, the derivative of the log-likelihood in the mass at every innermost interval."""
        first, after, weight = self.rows
        if self.edges <= DENSE:
            inverse = np.zeros(self.edges**2)
            inverse[self.code] = 1 / self.mass(cumulative)
        else:
            inverse = 1 / self.mass(cumulative)
        value = weight * inverse[self.of_row]
        return np.cumsum(np.bincount(first, value, self.size + 1) - np.bincount(after, value, self.size + 1))[:-1]


def _longest(cumulative, direction) -> float:
    """The longest step up to 1 along which the cumulative mass stays in order."""
    mass, change = np.diff(cumulative), np.diff(direction)
    falls = change < 0
    return min(1.0, float((mass[falls] / -change[falls]).min())) if falls.any() else 1.0


def _ordered_minimum(pairs: _Pairs, curvature, gradient, cumulative, cautious):
    """Minimise the quadratic model over F_0 = 0 <= ... <= F_k = 1: solve, tie what would cross or stand still, solve again.

    The Laplacian times F is the gradient itself, so the untied step solves for a small change and rounds only that.
    """
    edges = pairs.edges
    matrix = np.zeros((edges, edges))
    matrix.ravel()[pairs.code] = -curvature
    matrix += matrix.T
    diagonal = np.bincount(pairs.high, curvature, edges) + np.bincount(pairs.low, curvature, edges)
    matrix.ravel()[:: edges + 1] = diagonal + 1e-13 * diagonal.max()
    begins, level, residual, twice = np.arange(edges), cumulative, gradient, 2 * gradient
    while True:
        last = len(begins) - 1
        if last > 1:
            _, change, _ = dposv(matrix[1:last, 1:last], residual[1:last])
            level = level.copy()
            level[1:last] += change
        rising = level[1:] > level[:-1]
        if cautious:
            rising |= np.diff(cumulative[begins]) > 0
        if rising.all():
            return np.repeat(level, np.diff(np.append(begins, edges)))
        keep = np.concatenate([[0], 1 + np.flatnonzero(rising)])
        matrix = np.add.reduceat(np.add.reduceat(matrix, keep, axis=0), keep, axis=1)
        twice, begins = np.add.reduceat(twice, keep), begins[keep]
        level = cumulative[begins]
        level[-1] = 1.0
        residual = twice - matrix @ level


def _ordered_minimum_sparse(pairs: _Pairs, curvature, gradient, cumulative, cautious):
    """The same for a large support (many exact days), where the graph is nearly a chain."""
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import splu

    block, ridge = np.arange(pairs.edges), 1e-13 * curvature.max()
    level, residual = cumulative, gradient
    while True:
        last = block[-1]
        low, high, places = block[pairs.low], block[pairs.high], np.arange(last + 1)
        rows = np.concatenate([low, high, low, high, places])
        columns = np.concatenate([high, low, low, high, places])
        entries = np.concatenate([-curvature, -curvature, curvature, curvature, np.full(last + 1, ridge)])
        matrix = coo_array((entries, (rows, columns)), shape=(last + 1, last + 1)).tocsc()
        if residual is None:
            residual = np.bincount(block, weights=2 * gradient) - matrix @ level
        if last > 1:
            solver = splu(matrix[1:last, 1:last], permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
            level = level.copy()
            level[1:last] += solver.solve(residual[1:last])
        rising = level[1:] > level[:-1]
        if cautious:
            rising |= np.diff(cumulative[np.searchsorted(block, np.arange(block[-1] + 1))]) > 0
        if rising.all():
            return level[block]
        tied = np.concatenate([[0], np.cumsum(rising)])
        block = tied[block]
        level = cumulative[np.searchsorted(block, np.arange(block[-1] + 1))]
        level[-1] = 1.0
        residual = None


def _first_support(first, after, size):
    """Places that give every row some mass (the fewest that do, found from the left), and an even grid beside them."""
    nearest = np.full(size + 1, size + 1)
    np.minimum.at(nearest, first, after)
    nearest = np.minimum.accumulate(nearest[::-1])[::-1].tolist()
    needed, reached = [], 0
    while reached < size and nearest[reached] <= size:
        reached = nearest[reached]
        needed.append(reached - 1)
    chosen = np.zeros(size, dtype=bool)
    chosen[needed] = True
    chosen[np.linspace(0, size - 1, min(size, GRID)).astype(np.intp)] = True
    return np.flatnonzero(chosen)


def _revise(support, mass, gain, enough):
    """Support without places that hold no mass, with the best place of each gap where it gains more than ``enough``."""
    keep = mass > 0
    support, mass = support[keep], mass[keep]
    chosen = np.zeros(len(gain), dtype=bool)
    chosen[support] = True
    gap_starts = support if support[0] == 0 else np.concatenate([[0], support])
    gap = np.cumsum(chosen) - (support[0] == 0)
    best = np.maximum.reduceat(gain, gap_starts)
    candidate = np.flatnonzero((gain >= best[gap]) & (gain > enough) & ~chosen)
    spread = np.zeros(len(gain))
    spread[support] = mass
    chosen[candidate[np.append(np.diff(gap[candidate]) > 0, True)] if len(candidate) else candidate] = True
    support = np.flatnonzero(chosen)
    return support, spread[support]
