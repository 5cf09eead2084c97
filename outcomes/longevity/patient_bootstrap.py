"""Patients drawn with replacement, all their rows with them, and the interval-censored curve fitted to each draw.

Masses are fitted on the innermost intervals of the full data, from the full data's answer as the start.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.constrained_newton import maximise
from outcomes.longevity.innermost import Cover

DRAW_TOLERANCE = 1e-6  # of the weight drawn: far below the spread between draws


@dataclass(frozen=True, eq=False)
class Draws:
    """The draws' curves laid end to end: ``mass`` at innermost interval ``place`` in draw number ``draw``, of ``count``."""

    draw: np.ndarray
    place: np.ndarray
    mass: np.ndarray
    count: int

    def total(self, value: np.ndarray) -> np.ndarray:
        """Sum of mass times ``value``, given per innermost interval, in every draw."""
        return np.bincount(self.draw, weights=self.mass * value[self.place], minlength=self.count)


def draw_patients(cover: Cover, weight, cluster, clusters: int, start, count: int, seed) -> Draws:
    """``count`` draws of ``clusters`` patients. cluster: (n,) codes; without clusters each row of weight w is w patients."""
    generator = np.random.default_rng(seed)
    keys, group = np.unique(cover.first * np.int64(cover.size + 1) + cover.after, return_inverse=True)
    first, after = np.divmod(keys, cover.size + 1)
    people = int(round(weight.sum())) if cluster is None else clusters
    if cluster is None:
        shares = np.bincount(group, weights=weight) / weight.sum()
    parts = []
    for number in range(count):
        if cluster is None:
            drawn = generator.multinomial(people, shares).astype(float)
        else:
            times = np.bincount(generator.integers(0, people, people), minlength=people)
            drawn = np.bincount(group, weights=weight * times[cluster], minlength=len(keys))
        present = np.flatnonzero(drawn)
        fit = maximise(first[present], after[present], drawn[present], cover.size, start, DRAW_TOLERANCE)
        parts.append((np.full(len(fit.mass), number), fit.support, fit.mass))
    draw, place, mass = (np.concatenate(column) for column in zip(*parts))
    return Draws(draw, place, mass, count)
