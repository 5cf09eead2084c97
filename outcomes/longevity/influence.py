"""One road to variance: every estimate here is smooth in the daily hazards, so each row's influence is a sum over its days.

With hazards h(s) = dN(s)/Y(s) and theta a function of them, row i has the influence
psi_i = sum over s of (d theta / d h(s)) (dN_i(s) - Y_i(s) h(s)) / Y(s) (the infinitesimal jackknife; Andersen, Borgan, Gill
and Keiding 1993, IV.1). Writing jump(s) = (d theta/d h(s)) / Y(s) and drift(t) = sum over s <= t of jump(s) h(s), a row at risk
from day 0 that leaves on day x contributes [event at x] jump(x) - drift(x): one number per exit.
"""

from __future__ import annotations

import numpy as np

from outcomes.longevity.exits import Exits

ROUNDING = 1e-14  # a variance this small beside the terms it is the difference of is rounding: nothing is left to vary


def contributions(exits: Exits, jump: np.ndarray, drift: np.ndarray) -> np.ndarray:
    """Influence of every exit: event · jump - weight · drift at its day."""
    return exits.event * jump[exits.position] - exits.weight * drift[exits.position]


def inverse_staying(at_risk: np.ndarray, events: np.ndarray) -> np.ndarray:
    """1/(Y - dN), and 0 where all at risk failed: there the curve is 0 and nobody's influence is left."""
    stays = at_risk - events
    return np.divide(1.0, stays, out=np.zeros(len(stays)), where=stays > 1e-9 * np.maximum(at_risk, 1.0))


def running_variance(exits: Exits, parts, drifts, loads, days: int) -> tuple[np.ndarray, np.ndarray]:
    """(variance, clusters at risk) on every day, from one pass over the exits in order of cluster and day.

    The influence of cluster c at day t is sum over k of loads[k][t] (A_kc(t) - n_c(t) drifts[k][t]), where A_kc(t) sums
    ``parts[k]`` over the cluster's exits up to t and n_c(t) is its weight still to leave. Squares of it need only the
    running sums over clusters of A_kc A_lc, A_kc n_c and n_c n_c, which change when somebody leaves: the work grows with
    rows, not with rows times days. Without clusters every row is its own, and weights are counts of such rows.
    """
    counted = exits.cluster is None
    owner = exits.row if counted else exits.cluster
    order = np.argsort(owner * np.int64(days) + exits.position)
    owner, position, weight = owner[order], exits.position[order], exits.weight[order]
    opens = np.ones(len(order), dtype=bool)
    opens[1:] = owner[1:] != owner[:-1]
    start = np.flatnonzero(opens)
    nth = np.cumsum(opens) - 1
    # A row that counts w times adds w psi², as if its influence were the root of w times one row's.
    root = np.sqrt(np.abs(weight)) if counted else None

    def scaled(step):
        return step if root is None else np.divide(step, root, out=np.zeros(len(step)), where=root > 0)

    def within(step, initial):
        """(before, after) each exit: the running sum of ``step`` within the owner, from ``initial``."""
        total = np.cumsum(step)
        after = total - (total[start] - step[start] - initial)[nth]
        return after - step, after

    weight = scaled(weight)
    whole = np.add.reduceat(weight, start)
    states = [within(scaled(part[order]), 0.0) for part in parts] + [within(-weight, whole)]
    loads = [np.asarray(load) for load in loads]
    loads.append(-sum(load * drift for load, drift in zip(loads, drifts)))
    last, variance, size = len(parts), np.zeros(days), np.zeros(days)
    for k in range(last + 1):
        for m in range(k, last + 1):
            change = states[k][1] * states[m][1] - states[k][0] * states[m][0]
            running = np.cumsum(np.bincount(position, weights=change, minlength=days))
            if k == m == last:
                running += (whole**2).sum()
            turnover = np.cumsum(np.bincount(position, weights=np.abs(change), minlength=days)) + np.abs(running[:1])
            load = (1 if k == m else 2) * loads[k] * loads[m]
            variance, size = variance + load * running, size + np.abs(load) * turnover
    before, after = states[-1]
    hair = 1e-9 * max(1.0, float(whole.max()))
    gone = np.cumsum(np.bincount(position, weights=(after > hair).astype(float) - (before > hair), minlength=days))
    present = (whole > hair).sum() + np.concatenate([[0.0], gone[:-1]])
    return np.where(variance > ROUNDING * size, variance, 0.0), np.rint(present).astype(int)
