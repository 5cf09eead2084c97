"""One road to variance: every estimate here is smooth in the daily hazards, so each row's influence is a sum over its days.

With hazards h(s) = dN(s)/Y(s) and theta a function of them, row i has the influence
psi_i = sum over s of (d theta / d h(s)) (dN_i(s) - Y_i(s) h(s)) / Y(s) (the infinitesimal jackknife; Andersen, Borgan, Gill
and Keiding 1993, IV.1). Writing jump(s) = (d theta/d h(s)) / Y(s) and drift(t) = sum over s <= t of jump(s) h(s), a row that is
under observation from day 0 and leaves on day x contributes [event at x] jump(x) - drift(x). A row that enters late is
the same row from day 0 less a row of its weight that leaves, without an event, just before its first day at risk. So the
whole history is a list of exits, and robust variances are sums over them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Exits:
    """Who left on which day. ``position``: day on the grid; ``event``: weight of events at the exit; ``weight``: weight
    leaving, negative where a row enters late; ``row``: the row behind it; ``cluster``: its cluster, None where rows are
    independent; ``rows`` and ``clusters`` count them."""

    position: np.ndarray
    event: np.ndarray
    weight: np.ndarray
    row: np.ndarray
    rows: int
    cluster: np.ndarray | None = None
    clusters: int = 0

    def by_row(self, values: np.ndarray) -> np.ndarray:
        """``values`` of the exits summed over each row."""
        return np.bincount(self.row, weights=values, minlength=self.rows)

    def by_cluster(self, values: np.ndarray) -> np.ndarray:
        """``values`` of the exits summed over each cluster (over each row, if there are no clusters)."""
        if self.cluster is None:
            return self.by_row(values)
        return np.bincount(self.cluster, weights=values, minlength=self.clusters)


def as_exits(position, event, weight, first=None, cluster=None, clusters=0) -> Exits:
    """Exits of rows at risk from day ``first`` (a position; None: from the start) to ``position``.

    ``event`` and ``weight`` are the weights of the event and of the row.
    """
    rows = len(position)
    row = np.arange(rows)
    if first is not None:
        late = np.flatnonzero(first > 0)
        position = np.concatenate([position, first[late] - 1])
        event = np.concatenate([event, np.zeros(len(late))])
        weight = np.concatenate([weight, -weight[late]])
        row = np.concatenate([row, late])
        if cluster is not None:
            cluster = np.concatenate([cluster, cluster[late]])
    return Exits(position, event, weight, row, rows, cluster, clusters)


def at_risk(exits: Exits, days: int) -> np.ndarray:
    """Weight at risk on each day: still to leave, and entered before."""
    left = np.bincount(exits.position, weights=exits.weight, minlength=days)
    return np.cumsum(left[::-1])[::-1]


def contributions(exits: Exits, jump: np.ndarray, drift: np.ndarray) -> np.ndarray:
    """Influence of every exit: event · jump - weight · drift at its day."""
    return exits.event * jump[exits.position] - exits.weight * drift[exits.position]


def clustered_variance(exits: Exits, parts, drifts, loads, days: int) -> tuple[np.ndarray, np.ndarray]:
    """(variance, clusters at risk) on every day, from one pass over the exits in order of cluster and day.

    The influence of cluster c at day t is sum over k of loads[k][t] (A_kc(t) - n_c(t) drifts[k][t]), where A_kc(t) sums
    ``parts[k]`` over the cluster's exits up to t and n_c(t) is its weight still to leave. Squares of it need only the
    running sums over clusters of A_kc A_lc, A_kc n_c and n_c n_c, which change when somebody leaves: the work grows with
    rows, not with rows times days.
    """
    order = np.argsort(exits.cluster * np.int64(days) + exits.position)
    cluster, position = exits.cluster[order], exits.position[order]
    opens = np.ones(len(order), dtype=bool)
    opens[1:] = cluster[1:] != cluster[:-1]
    start = np.flatnonzero(opens)
    nth = np.cumsum(opens) - 1

    def within(step, initial):
        """(before, after) each exit: the running sum of ``step`` within the cluster, from ``initial``."""
        total = np.cumsum(step)
        after = total - (total[start] - step[start] - initial)[nth]
        return after - step, after

    weight = exits.weight[order]
    whole = np.add.reduceat(weight, start)
    states = [within(part[order], 0.0) for part in parts] + [within(-weight, whole)]
    count = len(states)
    loads = [np.asarray(load) for load in loads]
    loads.append(-sum(load * drift for load, drift in zip(loads, drifts)))
    variance = np.zeros(days)
    for k in range(count):
        for m in range(k, count):
            change = states[k][1] * states[m][1] - states[k][0] * states[m][0]
            running = np.cumsum(np.bincount(position, weights=change, minlength=days))
            if k == m == count - 1:
                running += (whole**2).sum()
            variance += (1 if k == m else 2) * loads[k] * loads[m] * running
    before, after = states[-1]
    hair = 1e-9 * max(1.0, float(whole.max()))
    gone = np.cumsum(np.bincount(position, weights=(after > hair).astype(float) - (before > hair), minlength=days))
    present = (whole > hair).sum() + np.concatenate([[0.0], gone[:-1]])
    return np.maximum(variance, 0.0), np.rint(present).astype(int)
