"""Cells as data; running one; judging what it gave."""

from __future__ import annotations

import platform
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.metadata import version

import numpy as np

from outcomes import __version__

OURS, NAIVE = "ours", "naive"
ACCEPTED, MISSED, WRONG, NOT_WRONG = "accepted", "missed", "wrong, as expected", "not wrong"
UNDEFINED = 0.01  # more repetitions than this without an answer, and the line is missed


@dataclass(frozen=True)
class Line:
    """One number read from a cell: the mean of ``key`` over repetitions.

    ``measure`` in words is shared by the lines to be read beside each other. ours: must lie within low..high; naive: must lie outside
    (no limits: shown only). The limits hold for ``planned`` repetitions and are widened by 3 Monte Carlo errors' difference for fewer;
    ``spread``: standard deviation of one repetition, None to take the run's own. ``caution``: why a line is known to miss."""

    key: str
    measure: str
    method: str
    role: str
    target: float
    low: float | None = None
    high: float | None = None
    planned: float = 2000
    spread: float | None = None
    caution: str = ""

    def limits(self, repetitions: int, deviation: float) -> tuple[float, float]:
        """(low, high) for this many repetitions, of standard deviation ``deviation``."""
        spread = deviation if self.spread is None else self.spread
        wider = 3 * spread * max(0.0, repetitions**-0.5 - self.planned**-0.5) * (1 if self.role == OURS else -1)
        return self.low - wider, self.high + wider

    def judged(self, estimate: float, repetitions: int, deviation: float, undefined: float = 0.0) -> str:
        """The verdict in a word or two; "" where nothing is asked of the line."""
        if self.low is None:
            return ""
        low, high = self.limits(repetitions, deviation)
        inside = low <= estimate <= high and undefined <= UNDEFINED
        if self.role == OURS:
            return ACCEPTED if inside else MISSED
        return NOT_WRONG if low < estimate < high else WRONG


@dataclass(frozen=True)
class Cell:
    """One simulated situation. ``study(rng, **settings)`` gives one repetition's numbers by key; ``short``: repetitions of the everyday
    run (0: only in full); repetition r draws from the generator seeded with [seed, r], so that the short run is the start of the full."""

    family: str
    setting: str
    study: Callable
    settings: dict
    seed: int
    repetitions: int
    short: int
    lines: tuple[Line, ...] = field(repr=False)

    @property
    def name(self) -> str:
        return f"{self.family}: {self.setting}"


def run(cell: Cell, repetitions: int) -> dict[str, np.ndarray]:
    """Every number of every repetition, by key."""
    rows = [cell.study(np.random.default_rng([cell.seed, r]), **cell.settings) for r in range(repetitions)]
    return {key: np.array([row[key] for row in rows], dtype=float) for key in rows[0]}


def judge(cell: Cell, values: dict[str, np.ndarray]) -> list[dict]:
    """One row of results per line: estimate, Monte Carlo error, limits, verdict."""
    rows = []
    for line in cell.lines:
        all_of_it = values[line.key]
        known = all_of_it[~np.isnan(all_of_it)]
        n = len(all_of_it)
        estimate = float(known.mean()) if len(known) else float("nan")
        deviation = float(known.std(ddof=1)) if len(known) > 1 else 0.0
        undefined = 1 - len(known) / n
        low, high = (None, None) if line.low is None else line.limits(n, deviation)
        rows.append(
            {
                "family": cell.family, "setting": cell.setting, "measure": line.measure, "method": line.method, "role": line.role, "estimate": estimate,
                "monte_carlo_se": deviation / max(len(known), 1) ** 0.5, "target": line.target, "limit_low": low, "limit_high": high,
                "verdict": line.judged(estimate, n, deviation, undefined), "repetitions": n, "undefined": undefined, "seed": cell.seed, "versions": versions(),
            }
        )  # fmt: skip
    return rows


def versions() -> str:
    return f"Python {platform.python_version()}, outcomes {__version__}, numpy {version('numpy')}, scipy {version('scipy')}"
