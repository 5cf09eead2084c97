"""What a group of patients went through, under a weight per patient: counts so far, time free of failure, shares of time, means."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np


@dataclass(frozen=True, eq=False)
class CountSoFar:
    """Mean count (or amount) per patient started, by ``horizon`` days.

    end: (n,) last day followed; gone: (n,) bool, whether death or the loss of the denture ended it, so that no more can
    come; who, day, amount: one entry per event, ``who`` a row number of the patients. Events of day 0 do not count.
    μ(τ) = Σ S(t−) dN(t)/Y(t), S the share not gone. Source: Ghosh and Lin 2000 (Biometrics 56:554), from memory.
    """

    end: np.ndarray
    gone: np.ndarray
    who: np.ndarray
    day: np.ndarray
    amount: np.ndarray
    horizon: float

    @cached_property
    def _plan(self):
        """What no weight changes: which events and leavings count, their days, and the order of ends."""
        counted = (self.day > 0) & (self.day <= self.horizon) & (self.day <= self.end[self.who])
        leaving = self.gone & (self.end <= self.horizon)
        days = np.unique(np.concatenate([self.day[counted], self.end[leaving]]))
        order = np.argsort(self.end, kind="stable")
        return counted, leaving, days, np.searchsorted(days, self.day[counted]), np.searchsorted(days, self.end[leaving]), order, np.searchsorted(self.end[order], days)

    def at(self, weight: np.ndarray) -> float:
        """The mean under a weight per patient; nan where nobody was followed to the horizon."""
        counted, leaving, days, event_at, leave_at, order, first = self._plan
        if not _reached(self.end, weight, self.horizon, self.gone):
            return float("nan")
        risk = _at_risk(weight[order], first)
        events = np.bincount(event_at, weights=weight[self.who[counted]] * self.amount[counted], minlength=len(days))
        lost = np.bincount(leave_at, weights=weight[leaving], minlength=len(days))
        with np.errstate(divide="ignore", invalid="ignore"):
            share, rate = np.where(risk > 0, lost / risk, 0.0), np.where(risk > 0, events / risk, 0.0)
        staying = np.concatenate([[1.0], np.cumprod(1 - share)[:-1]]) if len(days) else share
        return float((staying * rate).sum())


@dataclass(frozen=True, eq=False)
class TimeFree:
    """Mean days without the event within ``horizon`` days: the area under the product limit. end: (n,) days; failed: (n,) bool."""

    end: np.ndarray
    failed: np.ndarray
    horizon: float

    @cached_property
    def _plan(self):
        """What no weight changes: which failures count, their days, and the order of ends."""
        failing = self.failed & (self.end <= self.horizon)
        days = np.unique(self.end[failing])
        order = np.argsort(self.end, kind="stable")
        return failing, days, np.searchsorted(days, self.end[failing]), order, np.searchsorted(self.end[order], days)

    def curve(self, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(days, share free after each)."""
        failing, days, at, order, first = self._plan
        risk = _at_risk(weight[order], first)
        events = np.bincount(at, weights=weight[failing], minlength=len(days))
        with np.errstate(divide="ignore", invalid="ignore"):
            return days, np.cumprod(np.where(risk > 0, 1 - events / risk, 1.0))

    def at(self, weight: np.ndarray) -> float:
        """The mean under a weight per patient; nan where nobody was followed to the horizon."""
        days, share = self.curve(weight)
        if not _reached(self.end, weight, self.horizon, self.failed):
            return float("nan")
        return float(np.diff(np.concatenate([[0.0], days, [self.horizon]])) @ np.concatenate([[1.0], share]))


@dataclass(frozen=True, eq=False)
class ShareOf:
    """Σ w top / Σ w bottom: a share of the time followed."""

    top: np.ndarray
    bottom: np.ndarray

    def at(self, weight: np.ndarray) -> float:
        """The share under a weight per patient."""
        below = weight @ self.bottom
        return float(weight @ self.top / below) if below > 0 else float("nan")


@dataclass(frozen=True, eq=False)
class MeanOf:
    """Mean of what is known; nan is not known."""

    value: np.ndarray

    def at(self, weight: np.ndarray) -> float:
        """The mean under a weight per patient; nan where nothing is known."""
        known = np.where(np.isnan(self.value), 0.0, weight)
        return float(known @ np.nan_to_num(self.value) / known.sum()) if known.sum() > 0 else float("nan")


def _at_risk(weight_by_end: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Weight of those whose end is not before each day."""
    tail = np.concatenate([np.cumsum(weight_by_end[::-1])[::-1], [0.0]])
    return tail[first]


def _reached(end, weight, horizon, settled) -> bool:
    """Whether anybody with weight was followed to the horizon, or nobody was left open before it."""
    here = weight > 0
    return bool(here.any() and ((end[here] >= horizon).any() or settled[here].all()))
