"""Wear life without assumptions: how far the share still unworn can lie from the curve, whatever ended the other parts.

Peterson 1976 (Proc Natl Acad Sci USA 73:11); that no more can be said without assuming independence: Tsiatis 1975 (72:20).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.curve import SurvivalCurve
from outcomes.longevity.estimate import answer
from outcomes.longevity.incidence import CumulativeIncidence, cumulative_incidence
from outcomes.longevity.product_limit import kaplan_meier

WIDE = 0.10  # a bracket wider than this at the horizon is the headline itself


@dataclass(frozen=True, eq=False)
class WearBracket:
    """Between ``all_ends`` (free of every ending) and 1 − incidence of ``failure``, and the curve ``if_independent`` between them:
    the share still sound if parts changed for other reasons would have lasted like the rest."""

    failure: object
    all_ends: SurvivalCurve
    if_independent: SurvivalCurve
    incidence: CumulativeIncidence

    @property
    def rows(self) -> int:
        """Rows that went in."""
        return self.incidence.rows

    @property
    def clusters(self) -> int | None:
        """Clusters that went in, None without."""
        return self.incidence.clusters

    @property
    def method(self) -> str:
        """What was done, in words."""
        return f"bounds without assumptions (Peterson) from all ends and from {self.incidence.method}; between them {self.if_independent.method}"

    @property
    def note(self) -> str:
        """What to beware of."""
        return self.if_independent.note

    def bounds_at(self, t):
        """(low, high) of the share that would be free of the failure at ``t``: as if all other ends were failures, or never would be."""
        return self.all_ends.survival_at(t), answer(1 - np.asarray(self.incidence.incidence_at(t, self.failure)))

    def limits_at(self, t):
        """(low, high): the lower confidence limit of the lower bound and the upper limit of the upper bound."""
        low, _ = self.all_ends.interval_at(t)
        fewest, _ = self.incidence.interval_at(t, self.failure)
        return low, answer(1 - np.asarray(fewest))

    def width_at(self, t):
        """Width of the bracket at ``t``."""
        low, high = self.bounds_at(t)
        return answer(np.asarray(high) - np.asarray(low))

    def is_headline_at(self, t: float) -> bool:
        """Whether the bracket at ``t`` is too wide (above 0.10) for the curve between to be the headline."""
        return bool(self.width_at(t) > WIDE)

    def table(self):
        """DataFrame by day: time, low, if_independent, high."""
        import pandas as pd

        time = self.all_ends.time
        low, high = self.bounds_at(time)
        return pd.DataFrame({"time": time, "low": low, "if_independent": self.if_independent.survival_at(time), "high": high})


def wear_bracket(duration, cause, failure, *, entry=None, weights=None, cluster=None, level=0.95, small_sample=False) -> WearBracket:
    """Bracket and curve for the ``failure`` among the causes by which parts end.

    duration, cause, entry, weights, cluster: as in ``cumulative_incidence``. Raises ArgumentError, also where no part ended by ``failure``.

    >>> bracket = wear_bracket([1, 1, 2, 3], ["worn", "lost", "worn", ""], "worn")
    >>> bracket.bounds_at(2), bracket.if_independent.survival_at(2)
    ((0.25, 0.5), 0.375)
    """
    incidence = cumulative_incidence(duration, cause, entry=entry, weights=weights, cluster=cluster, level=level, small_sample=small_sample)
    mine = incidence.place(failure)
    ended = incidence.cause_of_row
    shared = dict(entry=entry, weights=weights, cluster=cluster, level=level, small_sample=small_sample)
    return WearBracket(failure, kaplan_meier(duration, ended >= 0, **shared), kaplan_meier(duration, ended == mine, **shared), incidence)
