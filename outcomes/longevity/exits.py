"""A history as a list of exits on a day grid: made from rows, or from the counts of a risk table, for the same estimators.

A row at risk from day 0 leaves on one day, with or without an event. A row that enters late is the same row from day 0,
less a row of its weight that leaves, without an event, just before its first day at risk. So every history is a list of
exits, some of negative weight, and a line of counts is an exit like any other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.days import days_reached, distinct_days, late_positions
from outcomes.longevity.estimate import ArgumentError, as_codes, as_durations, as_flags, as_numbers, as_weights


@dataclass(frozen=True, eq=False)
class Exits:
    """Who left on which day. ``position``: day on the grid; ``event``: weight of events at the exit; ``weight``: weight
    leaving, negative where a row enters late; ``row``: the row or line of counts behind it; ``rows``: how many rows (0 where
    only counts are known); ``cluster``: codes, None where rows are independent; ``clusters`` counts them."""

    position: np.ndarray
    event: np.ndarray
    weight: np.ndarray
    row: np.ndarray
    rows: int
    cluster: np.ndarray | None = None
    clusters: int = 0

    def pick(self, chosen: np.ndarray, position: np.ndarray) -> Exits:
        """The ``chosen`` exits, on another grid."""
        cluster = None if self.cluster is None else self.cluster[chosen]
        return Exits(position, self.event[chosen], self.weight[chosen], self.row[chosen], self.rows, cluster, self.clusters)

    def by_row(self, values: np.ndarray) -> np.ndarray:
        """``values`` of the exits summed over each row."""
        return np.bincount(self.row, weights=values, minlength=self.rows)

    def by_cluster(self, values: np.ndarray) -> np.ndarray:
        """``values`` of the exits summed over each cluster (over each row, if there are no clusters)."""
        if self.cluster is None:
            return self.by_row(values)
        return np.bincount(self.cluster, weights=values, minlength=self.clusters)


@dataclass(frozen=True, eq=False)
class History:
    """Checked input: ``days`` (the grid), the exits on it, and what the input lacked (``doubt``, a sentence or "")."""

    days: np.ndarray
    exits: Exits
    doubt: str = ""

    def at_risk(self) -> np.ndarray:
        """Weight at risk on each day."""
        return at_risk(self.exits, len(self.days))

    def events(self) -> np.ndarray:
        """Weight of events on each day."""
        return np.bincount(self.exits.position, weights=self.exits.event, minlength=len(self.days))


def at_risk(exits: Exits, days: int) -> np.ndarray:
    """Weight at risk on each of ``days`` days: still to leave, and entered before."""
    left = np.bincount(exits.position, weights=exits.weight, minlength=days)
    return np.cumsum(left[::-1])[::-1]


def hazards(events: np.ndarray, at_risk: np.ndarray) -> np.ndarray:
    """Events per weight at risk; 0 where nobody is at risk, exactly 1 where all fail."""
    share = np.divide(events, at_risk, out=np.zeros(len(events)), where=at_risk > 0)
    return np.where(share >= 1 - 1e-12, np.where(at_risk > 0, 1.0, 0.0), share)


# ------------------------------------------------------------------ from rows

def history_of_rows(duration, observed, entry=None, weights=None, cluster=None) -> History:
    """History of rows at risk in (entry, duration], with an event at ``duration`` where ``observed``."""
    duration = as_durations("duration", duration)
    n = len(duration)
    observed = as_flags("observed", observed, length=n)
    weights = as_weights(weights, length=n)
    codes, clusters = cluster_codes(cluster, n)
    entry = None if entry is None else as_numbers("entry", entry, length=n)
    days, position = distinct_days(duration)
    first = None if entry is None else late_positions(days, entry, position)
    weight = np.ones(n) if weights is None else weights
    if weights is not None and not weights.all():
        days, position, first = _without_idle_days(days, position, first, weight)
    doubt = ""
    if weights is not None and cluster is None and (weights % 1).any():
        doubt = "weights that are no whole numbers are still taken as counts; give a cluster for sampling weights"
    return History(days, _exits_of(position, weight * observed, weight, first, codes, clusters), doubt)


def _exits_of(position, event, weight, first, cluster, clusters) -> Exits:
    """Exits of rows; whoever enters late stands a second time, with a negative weight on the day before the first at risk (``first``: its place on the grid)."""
    rows = len(position)
    row = np.arange(rows)
    if first is not None:
        late = np.flatnonzero(first > 0)
        position = np.concatenate([position, first[late] - 1])
        event = np.concatenate([event, np.zeros(len(late))])
        weight = np.concatenate([weight, -weight[late]])
        row = np.concatenate([row, late])
        cluster = None if cluster is None else np.concatenate([cluster, cluster[late]])
    return Exits(position, event, weight, row, rows, cluster, clusters)


def cluster_codes(cluster, length: int) -> tuple[np.ndarray | None, int]:
    """(codes, how many), or (None, 0) without clusters."""
    if cluster is None:
        return None, 0
    codes, labels = as_codes("cluster", cluster, length=length)
    return codes, len(labels)


def _without_idle_days(days, position, first, weight):
    """The grid without days on which only rows of weight 0 ended."""
    used = np.bincount(position, weights=weight, minlength=len(days)) > 0
    place = np.cumsum(used) - 1
    return days[used], np.maximum(place[position], 0), None if first is None else np.concatenate([[0], np.cumsum(used)])[first]


# ------------------------------------------------------------------ from counts

def history_of_counts(time, failed, left, entered=None, cluster=None) -> History:
    """History from lines of counts: on day ``time``, ``failed`` and ``left`` ended and ``entered`` came (at risk from the next
    day on; None: all were there from the start)."""
    time = as_durations("time", time)
    m = len(time)
    failed, left = as_counts("failed", failed, m), as_counts("left", left, m)
    entered = None if entered is None else as_counts("entered", entered, m)
    codes, clusters = cluster_codes(cluster, m)
    weight = failed + left
    line = np.flatnonzero(weight > 0)
    if len(line) == 0:
        raise ArgumentError("failed", "and left are all zero", "A risk table needs at least one row that ended.")
    days, position = distinct_days(time[line])
    event, weight = failed[line], weight[line]
    if entered is not None:
        _balance(entered, failed + left, codes, clusters)
        came = np.flatnonzero(entered > 0)
        before = days_reached(days, time[came]) - 1
        came, before = came[before >= 0], before[before >= 0]
        position, line = np.concatenate([position, before]), np.concatenate([line, came])
        event, weight = np.concatenate([event, np.zeros(len(came))]), np.concatenate([weight, -entered[came]])
    return History(days, Exits(position, event, weight, line, 0, None if codes is None else codes[line], clusters))


def movements(time, failed, at_risk) -> tuple:
    """(time, failed, left, entered) from the numbers at risk: who is missing the next day left, who is more came the day before."""
    time = as_durations("time", time)
    order = np.argsort(time)
    time, failed, at_risk = time[order], as_counts("failed", failed, len(time))[order], as_counts("at_risk", at_risk, len(time))[order]
    if (np.diff(time) <= 0).any():
        raise ArgumentError("time", "repeats a day", "With at_risk, give one line per day.")
    if (failed > at_risk).any():
        raise ArgumentError("failed", "exceeds the number at risk", "Check the risk table.", int(np.argmax(failed > at_risk)))
    change = at_risk - failed - np.append(at_risk[1:], 0.0)
    # Those at risk on the first day came before it: a line of their own, on day 0, that a day-0 failure does not outrun.
    if time[0] == 0:
        if (change < 0).any():
            raise ArgumentError("at_risk", "rises although rows end on day 0", "Give left and entered instead.")
        return time, failed, change, None
    return (np.append(0.0, time), np.append(0.0, failed), np.append(0.0, np.maximum(change, 0.0)),
            np.append(at_risk[0], np.maximum(-change, 0.0)))


def as_counts(name: str, values, length: int) -> np.ndarray:
    """Counts, none negative."""
    counts = as_numbers(name, values, length=length)
    if (counts < 0).any():
        raise ArgumentError(name, "holds a negative count", "Counts start at 0.", int(np.argmax(counts < 0)))
    return counts


def _balance(entered, gone, codes, clusters):
    """Raises ArgumentError unless as many entered as failed or left, in every cluster."""
    own = np.array([entered.sum() - gone.sum()])
    if codes is not None:
        own = np.bincount(codes, weights=entered - gone, minlength=clusters)
    if (np.abs(own) > 1e-9 * max(1.0, gone.sum())).any():
        raise ArgumentError("entered", f"adds up to {entered.sum():g}, failed and left to {gone.sum():g}",
                            "Everybody who entered must fail or leave on some day, in every cluster.")
