"""The table under a curve that adds up: entered before t = at risk + censored before t + failed before t."""

from __future__ import annotations

import numpy as np

from outcomes.longevity.days import TIE
from outcomes.longevity.estimate import ArgumentError, as_codes, as_durations, as_flags, as_numbers
from outcomes.longevity.exits import as_counts, cluster_codes


def risk_table(duration, observed, times, *, entry=None, group=None, cluster=None):
    """DataFrame of how many were at risk, and how many were censored, had failed and had entered before each of ``times``.

    duration, observed, entry: as in ``kaplan_meier``; times: (m,) days; group: (n,) labels, one block each; cluster: (n,) labels, adds a
    column ``clusters_at_risk``. Columns: group (with ``group``), time, at_risk, censored, failed, entered; at risk is entry < t <= end
    (from the start where entry is 0 or absent), the others are cumulative and count what happened before t, so that in every
    line entered = at_risk + censored + failed. Raises ArgumentError.
    Source: Morris et al. 2019 (BMJ Open 9:e030215), for late entry with the entered row. Their convention left open, "before t".

    >>> weeks = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
    >>> relapse = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
    >>> print(risk_table(weeks, relapse, [0, 6, 12, 24]).to_string(index=False))
     time  at_risk  censored  failed  entered
        0       21         0       0       21
        6       21         0       0       21
       12       12         4       5       21
       24        5         7       9       21
    """
    duration = as_durations("duration", duration)
    n = len(duration)
    observed = as_flags("observed", observed, length=n)
    since = np.zeros(n) if entry is None else as_numbers("entry", entry, length=n)
    never = (since >= duration) & (entry is not None)
    if never.any():
        raise ArgumentError("entry", "is not before the row's own end", "Drop rows that were never under observation, and count them.",
                            int(np.argmax(never)))
    codes, _ = cluster_codes(cluster, n)
    count = np.ones(n)
    return _table(times, duration, count * observed, count * ~observed, since, count, group, codes, since)


def risk_table_from_counts(time, failed, left, times, *, entered=None, group=None):
    """The table of ``risk_table`` from lines of counts: time, failed, left, entered as in ``kaplan_meier_from_counts``.

    >>> print(risk_table_from_counts([6, 7], [3, 1], [1, 2], [6, 7, 8]).to_string(index=False))
     time  at_risk  censored  failed  entered
        6        7         0       0        7
        7        3         1       3        7
        8        0         3       4        7
    """
    time = as_durations("time", time)
    m = len(time)
    failed, left = as_counts("failed", failed, m), as_counts("left", left, m)
    if entered is None:
        return _table(times, time, failed, left, np.zeros(m), failed + left, group, None, None)
    return _table(times, time, failed, left, time, as_counts("entered", entered, m), group, None, None)


def _table(times, time, failed, left, since, entered, group, clusters, entry):
    """The counts at each of ``times`` of each group, as a frame."""
    import pandas as pd

    moments = as_durations("times", times)
    codes, labels = np.zeros(len(time), dtype=int), [None]
    if group is not None:
        codes, labels = as_codes("group", group, length=len(time))
    blocks = []
    for k, label in enumerate(labels):
        own = codes == k
        block = pd.DataFrame({"time": moments})
        gone = {"censored": left[own], "failed": failed[own]}
        came = _before(since[own], entered[own], moments, from_start=True)
        parts = {name: _before(time[own], value, moments) for name, value in gone.items()}
        block["at_risk"] = came - parts["censored"] - parts["failed"]
        block["censored"], block["failed"], block["entered"] = parts["censored"], parts["failed"], came
        if clusters is not None:
            block.insert(2, "clusters_at_risk", [len(np.unique(clusters[own & _present(entry, time, t)])) for t in moments])
        if group is not None:
            block.insert(0, "group", label)
        blocks.append(block)
    table = pd.concat(blocks, ignore_index=True)
    whole = [name for name in table if table[name].dtype == float and (table[name] % 1 == 0).all()]
    return table.astype({name: int for name in whole})


def _before(when, weight, moments, from_start=False):
    """Weight of what happened before each moment; what happened on day 0 or earlier counts as there from the start, if asked."""
    order = np.argsort(when)
    running = np.concatenate([[0.0], np.cumsum(weight[order])])
    reached = np.searchsorted(when[order] + TIE * np.abs(when[order]), moments, side="left")
    if from_start:
        reached = np.maximum(reached, np.searchsorted(when[order], 0.0, side="right"))
    return running[reached]


def _present(entry, time, t):
    """Which rows are under observation at ``t``: entered before it and not ended before it."""
    return ((entry < t * (1 - TIE)) | (entry <= 0)) & (time >= t * (1 - TIE))
