"""Where units are over time: the share in each state, from rows spent in one state each.

Aalen and Johansen 1978; valid for shares without the Markov assumption under independent censoring (Datta and Satten 2001, Stat
Probab Lett 55:403), not under late entry that depends on the state. The shares at the start count as estimated.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from outcomes.longevity import limits
from outcomes.longevity.days import TIE, at, days_reached, distinct_days
from outcomes.longevity.estimate import ArgumentError, answer, as_codes, as_durations, as_numbers, as_times, normal_quantile, t_quantile
from outcomes.longevity.exits import cluster_codes


@dataclass(frozen=True, eq=False, repr=False)
class Occupancy:
    """Share of units in each state. ``states`` sorted; ``start`` shares at the earliest start; ``time`` the days with a change;
    ``probability`` (days, states) after each; ``at_risk`` (days, states) before it. ``subjects``, ``clusters`` and ``changes`` count what
    went in. Standard errors are worked out when first asked for."""

    states: np.ndarray
    start: np.ndarray
    time: np.ndarray
    probability: np.ndarray
    at_risk: np.ndarray
    last: float
    level: float
    small_sample: bool
    subjects: int
    clusters: int
    changes: int
    method: str
    note: str
    _rows: _Rows = field(repr=False)

    def __repr__(self) -> str:
        return f"Occupancy({self.subjects} subjects, {self.clusters} clusters, {self.changes} changes; {self.method})"

    def probability_at(self, t, state):
        """Share in ``state`` at ``t`` (number or array); nan past the last day under observation."""
        k = self._place(state)
        return answer(self._read(self.probability[:, k], t, self.start[k]))

    def standard_error_at(self, t, state):
        """Standard error of ``probability_at(t, state)``: influences summed by cluster."""
        k = self._place(state)
        return answer(self._read(self._se[1:, k], t, self._se[0, k]))

    def interval_at(self, t, state):
        """(low, high) of ``probability_at(t, state)``, on the log–log scale of the share; nan where it is 0 or 1."""
        q, factor = normal_quantile(self.level), 1.0
        if self.small_sample and self.clusters > 1:
            q, factor = t_quantile(self.level, self.clusters), self.clusters / (self.clusters - 1)
        low, high = limits.share_limits(self.probability_at(t, state), np.square(self.standard_error_at(t, state)) * factor, q, "loglog")
        return answer(low), answer(high)

    def table(self):
        """DataFrame, one row per state and day with a change (and the start): state, time, at_risk, probability, se, low, high."""
        import pandas as pd

        begin, parts = self._rows.origin, []
        for k, state in enumerate(self.states):
            time = np.concatenate([[begin], self.time])
            low, high = self.interval_at(time, state)
            parts.append(pd.DataFrame({
                "state": state, "time": time, "at_risk": np.concatenate([[np.nan], self.at_risk[:, k]]),
                "probability": self.probability_at(time, state), "se": self.standard_error_at(time, state), "low": low, "high": high}))
        return pd.concat(parts, ignore_index=True)

    @cached_property
    def _se(self) -> np.ndarray:
        if self.clusters == 1:
            return np.full((len(self.time) + 1, len(self.states)), np.nan)
        return np.sqrt(_variance(self._rows, self.start, self.time, self.probability, self.at_risk))

    def _place(self, state) -> int:
        """Column of ``probability`` that belongs to ``state``. Raises ArgumentError for a state that is not in the data."""
        found = np.flatnonzero(self.states == state)
        if len(found) == 0:
            raise ArgumentError("state", f"{state!r} is not among {', '.join(map(str, self.states))}", "Choose one of the states in the data.")
        return int(found[0])

    def _read(self, values, t, before):
        times = as_times(t)
        return np.where(times > self.last * (1 + TIE), np.nan, at(values, days_reached(self.time, times), before))


@dataclass(frozen=True, eq=False)
class _Rows:
    """Rows in codes: state held, state changed to (-1 for none), day positions at risk [first, after), position of the change."""

    origin: float
    held: np.ndarray
    became: np.ndarray
    first: np.ndarray
    after: np.ndarray
    cluster: np.ndarray
    clusters: int
    began: np.ndarray


def state_occupancy(subject, start, stop, state_from, state_to, *, cluster=None, level=0.95, small_sample=False) -> Occupancy:
    """Share of units in each state over time, from rows that spend (start, stop] in ``state_from``.

    subject: (n,) labels; start, stop: (n,) times, start < stop, rows of one subject not overlapping; state_from: (n,) labels;
    state_to: (n,) labels of the state entered at ``stop``, "" or None (or nan) where nothing changed there; cluster: (n,) labels, the
    subject if not given. A state that nobody leaves keeps its share. small_sample: G/(G − 1) and Student's t in the limits.

    Raises ArgumentError, also where a row does not start in the state its subject had just entered.

    Three units by hand, one of which moves from light to firm on day 2, and one more of the two that are left on day 4:

    >>> shares = state_occupancy("aabc", [0, 2, 0, 0], [2, 5, 3, 4], ["light", "firm", "light", "light"], ["firm", "", "", "firm"])
    >>> round(shares.probability_at(2, "light"), 4), shares.probability_at(4, "light")
    (0.6667, 0.0)
    """
    stop = as_durations("stop", stop)
    n = len(stop)
    start = as_numbers("start", start, length=n)
    units, labels = as_codes("subject", list(subject) if isinstance(subject, str) else subject, length=n)
    states, held, became = _states(state_from, state_to, n)
    _check(start, stop, held, became, units, states)
    codes, clusters = (units, len(labels)) if cluster is None else cluster_codes(cluster, n)
    moved = (became >= 0) & (became != held)
    days = distinct_days(stop[moved])[0]
    first, after = days_reached(days, start), days_reached(days, stop)
    began = start <= start.min() * (1 + TIE)
    rows = _Rows(float(start.min()), held, np.where(moved, became, -1), first, after, codes, clusters, began)
    k, d = len(states), len(days)
    risk = np.zeros((d + 1, k))
    np.add.at(risk, (first, held), 1.0)
    np.add.at(risk, (after, held), -1.0)
    risk = np.cumsum(risk, axis=0)[:d]
    share = np.bincount(held[began], minlength=k) / began.sum()
    probability, current = np.empty((d, k)), share.copy()
    changes = _changes(rows)
    for day, group in enumerate(changes):
        step = np.zeros(k)
        for one, other, count in group:
            flow = current[one] * count / risk[day, one]
            step[one] -= flow
            step[other] += flow
        current = current + step
        probability[day] = current
    return Occupancy(
        states, share, days, np.clip(probability, 0.0, 1.0), risk, float(stop.max()), level, small_sample,
        len(labels), clusters, int(moved.sum()),
        "Aalen–Johansen shares of states; influence summed by cluster, starting shares estimated; log–log limits",
        "one cluster has no between-cluster variance: standard errors are nan" if clusters == 1 else "", rows)


def _variance(rows: _Rows, start, days, probability, risk) -> np.ndarray:
    """Squared influence by day and state, carried forward change by change: a flow from h to k moves the influence with it."""
    k = len(start)
    size = rows.clusters
    influence = np.zeros((k, size))
    for state in range(k):
        own = (rows.held[rows.began] == state) - start[state]
        influence[state] = np.bincount(rows.cluster[rows.began], weights=own / rows.began.sum(), minlength=size)
    present = np.zeros((k, size))
    comes, leaves = _by_day(rows.first, len(days)), _by_day(rows.after, len(days))
    out = np.empty((len(days) + 1, k))
    out[0] = (influence**2).sum(axis=1)
    current = start
    movers = _by_day(np.where(rows.became >= 0, rows.after - 1, len(days) + 1), len(days))
    for day, group in enumerate(_changes(rows)):
        for chosen, sign in ((comes[day], 1.0), (leaves[day], -1.0)):
            np.add.at(present, (rows.held[chosen], rows.cluster[chosen]), sign)
        steps = []
        for one, other, count in group:
            rate, per_unit = count / risk[day, one], current[one] / risk[day, one]
            steps.append((one, other, (influence[one] - present[one] * per_unit) * rate))
        for one, other, step in steps:
            influence[one] -= step
            influence[other] += step
        who = movers[day]
        per_unit = current[rows.held[who]] / risk[day, rows.held[who]]
        np.add.at(influence, (rows.held[who], rows.cluster[who]), -per_unit)
        np.add.at(influence, (rows.became[who], rows.cluster[who]), per_unit)
        current = probability[day]
        out[day + 1] = (influence**2).sum(axis=1)
    return out


def _changes(rows: _Rows) -> list[list[tuple[int, int, int]]]:
    """By day: (from, to, how many)."""
    moved = np.flatnonzero(rows.became >= 0)
    if len(moved) == 0:
        return []
    keys, count = np.unique(np.column_stack([rows.after[moved] - 1, rows.held[moved], rows.became[moved]]), axis=0, return_counts=True)
    out = [[] for _ in range(int(keys[-1, 0]) + 1)]
    for (day, one, other), number in zip(keys.tolist(), count.tolist()):
        out[day].append((one, other, number))
    return out


def _by_day(position: np.ndarray, days: int) -> list[np.ndarray]:
    """Row numbers by day position, positions past the last day left out."""
    order = np.argsort(position, kind="stable")
    return np.split(order, np.searchsorted(position[order], np.arange(1, days + 1)))[:days]


def _states(state_from, state_to, n):
    """(states, held, became): the states by name; the code of each row's state and of the one it ended in, -1 for no change. Raises ArgumentError."""
    import pandas as pd

    held = pd.Series(list(state_from), dtype=object)
    became = pd.Series(list(state_to), dtype=object)
    for name, column in (("state_from", held), ("state_to", became)):
        if len(column) != n:
            raise ArgumentError(name, f"has {len(column)} values where {n} are needed", "All arguments need one value per row.")
    missing = held.isna() | (held == "")
    if missing.any():
        raise ArgumentError("state_from", "holds a missing state", "Every row is spent in some state.", int(np.argmax(missing)))
    became = became.where(became.notna() & (became != ""), None)
    codes, states = pd.factorize(pd.concat([held, became], ignore_index=True), sort=True)
    return np.asarray(states), codes[:n], codes[n:]


def _check(start, stop, held, became, units, states):
    """Raises ArgumentError for rows of no length, rows of one subject that overlap, and states that do not follow one another."""
    empty = start >= stop * (1 - TIE)
    if empty.any():
        raise ArgumentError("start", "is not before stop", "A row spends (start, stop] in its state; drop rows of zero length.",
                            int(np.argmax(empty)))
    order = np.lexsort((start, units))
    same = units[order][1:] == units[order][:-1]
    overlap = same & (start[order][1:] < stop[order][:-1] * (1 - TIE))
    if overlap.any():
        raise ArgumentError("start", "lies inside another row of the same subject", "Rows of one subject must follow one another.",
                            int(order[1:][np.argmax(overlap)]))
    entered = np.where(became >= 0, became, held)[order][:-1]
    joins = same & (start[order][1:] <= stop[order][:-1] * (1 + TIE))
    jump = joins & (entered != held[order][1:])
    if jump.any():
        row, was = int(order[1:][np.argmax(jump)]), states[entered[np.argmax(jump)]]
        raise ArgumentError("state_from", f"is {states[held[row]]!r} where the row before it ended in {was!r}",
                            "Give state_to on the row before, or the right state here.", row)
