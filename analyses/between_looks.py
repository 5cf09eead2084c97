"""A day that falls between two looks: the curve is then known to lie between two shares, and no more."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from outcomes.present import words

OPEN = 0.05  # shares further apart than this are both said


@dataclass(frozen=True)
class Share:
    """A share still working with its likely range, which holds both edges where the day falls between two looks.

    ``followed``: patients followed so far; ``below``: the lower edge of a curve between looks (nan for one by the day found).
    """

    years: float
    value: float
    low: float
    high: float
    followed: int
    below: float = float("nan")

    @property
    def open(self) -> bool:
        """Whether the two edges lie so far apart that one of them would mislead."""
        return self.value - self.below > OPEN

    def said(self, people: int) -> str:
        """The share, or from edge to edge, as precisely as ``people`` allow.

        >>> Share(2, 0.86, 0.7, 0.9, 40).said(40), Share(2, 1.0, 0.3, 1.0, 40, 0.5).said(40), Share(2, 1.0, 0.3, 1.0, 12, 0.5).said(12)
        ('86\\xa0%', '50 to 100\\xa0%', 'about 5 to 10 of 10')
        """
        return words.estimated_range(self.below, self.value, people) if self.open else words.estimated(self.value, people)


def later_edge(curve, day: float) -> float:
    """The day on which a curve between looks is known again, where it is open by more than 0.05 at ``day``; nan where it is not."""
    low, high = (float(edge) for edge in curve.survival_bounds_at(day))
    ends = np.asarray(curve.right)[(curve.left < day) & (curve.right > day)]
    return float(ends.max()) if high - low > OPEN and len(ends) else math.nan


def lower_limit(curve, day: float, limit) -> float:
    """The lower limit at ``day``, or at the later edge where that is lower. ``limit(day)``: the lower limit on a day."""
    end = later_edge(curve, day)
    return float(np.fmin(limit(day), limit(end))) if math.isfinite(end) else limit(day)
