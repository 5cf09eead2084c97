"""Random draws made from uniform numbers alone, so that a seed gives the same clinic on every system."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaincinv, ndtri

NEVER = np.int32(2**30)  # a day that never comes


class Chance:
    """A stream of draws, seeded by (seed, block). Every method returns an array of the size asked."""

    def __init__(self, seed: int, block: int = 0):
        self._generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, block])))

    def uniform(self, size):
        """Uniform on [0, 1)."""
        return self._generator.random(size)

    def happens(self, probability, size) -> np.ndarray:
        """True with the probability given (a number or an array of that size)."""
        return self.uniform(size) < probability

    def exponential(self, size):
        """Exponential with mean 1."""
        return -np.log1p(-self.uniform(size))

    def normal(self, size):
        """Standard normal."""
        return ndtri(np.clip(self.uniform(size), 1e-12, 1 - 1e-12))

    def gamma(self, variance: float, size):
        """Gamma with mean 1 and the variance given; all 1 where the variance is 0."""
        if variance == 0:
            return np.ones(size)
        return np.maximum(gammaincinv(1 / variance, self.uniform(size)) * variance, 1e-9)

    def whole(self, low, high, size):
        """Whole numbers from low to high, both included."""
        return (low + np.floor(self.uniform(size) * (np.asarray(high) - low + 1))).astype(np.int32)

    def choice(self, shares, size) -> np.ndarray:
        """Places in a list of shares (a dict or a sequence of weights), as int8."""
        weights = np.array(list(shares.values()) if isinstance(shares, dict) else shares, dtype=float)
        edges = np.cumsum(weights / weights.sum())[:-1]
        return np.searchsorted(edges, self.uniform(size), side="right").astype(np.int8)


def day_after(start, days):
    """The whole day on which something ``days`` (exact) after ``start`` is first there; NEVER where it is out of reach."""
    late = np.asarray(start, dtype=float) + np.maximum(np.ceil(days), 1)
    return np.where(late < NEVER, np.minimum(late, NEVER), NEVER).astype(np.int32)
