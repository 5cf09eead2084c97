"""What accrues while units last: shares ended by one cause, or events per unit started. One variance for both.

F(t) = sum over s <= t of S(s−) dN(s)/Y(s), where S falls by the hazard of ending. The influence of a row on F(t) has a part that is
settled when it leaves and a part that shrinks with what is still to accrue: d F(t)/d h_end(s) = −(F(t) − F(s))/(1 − h_end(s)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.exits import Exits
from outcomes.longevity.influence import running_variance


@dataclass(frozen=True, eq=False)
class Accrual:
    """``gain``, ``ends``: weight of what each exit adds and of the ending it is; ``value``: F by day; ``jump``: S(s−)/Y(s); ``shared``:
    1/(Y(s) − endings); ``gain_rate``, ``end_rate``: hazards by day."""

    exits: Exits
    gain: np.ndarray
    ends: np.ndarray
    value: np.ndarray
    jump: np.ndarray
    shared: np.ndarray
    gain_rate: np.ndarray
    end_rate: np.ndarray

    def variance(self) -> tuple[np.ndarray, np.ndarray]:
        """(variance of F, clusters at risk) by day."""
        x, weight, d = self.exits.position, self.exits.weight, len(self.value)
        settled = np.cumsum(self.jump * self.gain_rate + self.value * self.shared * self.end_rate)
        parts = [self.gain * self.jump[x] + self.ends * (self.value * self.shared)[x] - weight * settled[x]]
        drifts, loads = [settled], [np.ones(d)]
        if self.ends.any():
            open_part = np.cumsum(self.shared * self.end_rate)
            parts.append(self.ends * self.shared[x] - weight * open_part[x])
            drifts.append(open_part)
            loads.append(-self.value)
        return running_variance(self.exits, parts, drifts, loads, d)

    def influence(self, reached: int) -> np.ndarray:
        """Influence of every row on F after ``reached`` days of the grid, weight included."""
        upto = np.arange(len(self.value)) < reached
        end = self.value[reached - 1] if reached else 0.0
        rise = np.where(upto, self.jump, 0.0)
        fall = np.where(upto, (self.value - end) * self.shared, 0.0)
        drift = np.cumsum(rise * self.gain_rate + fall * self.end_rate)
        x = self.exits.position
        return self.exits.by_row(self.gain * rise[x] + self.ends * fall[x] - self.exits.weight * drift[x])
