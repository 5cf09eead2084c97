"""Curves of several clinics as one, exactly, from totals on a grid of times: counts, and the sums of their products by patient.

A per-day risk table is rows of patients in disguise. On a coarse grid the counts that failed d and were at risk Y at each step, together
with M = Σ a aᵀ over patients, a = (d, Y) of one patient, are totals; and since every influence value is linear in a, once the pooled
d and Y are known, the pooled curve and its patient-robust variance are the same numbers that all rows together would give on that grid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.estimate import ArgumentError, Estimate, as_durations, as_flags, as_numbers, normal_quantile, t_quantile
from outcomes.longevity.exits import cluster_codes


@dataclass(frozen=True, eq=False)
class GridTotals:
    """One clinic's totals on a grid.

    ``edges``: (K,) ends of the steps, the first begins at 0; ``failed``, ``at_risk``: (K,) counts; ``moments``: (2K, 2K) Σ a aᵀ by cluster;
    ``clusters``: how many; ``fewest``: the smallest number of clusters behind any entry that is not nought, and behind whoever left between two steps,
    which is the difference of two entries.
    """

    edges: np.ndarray
    failed: np.ndarray
    at_risk: np.ndarray
    moments: np.ndarray
    clusters: int
    fewest: int

    def permits(self, minimum: int) -> bool:
        """Whether every count and every product rests on nobody or on at least ``minimum`` clusters. Such totals are exact: a rule that rounds counts does not let them out."""
        return self.fewest >= minimum


@dataclass(frozen=True, eq=False)
class GridCurve:
    """Share still free of the event at the end of each step, with its patient-robust standard error."""

    edges: np.ndarray
    survival: np.ndarray
    se: np.ndarray
    clusters: int
    level: float

    def estimate_at(self, edge: float) -> Estimate:
        """Share, standard error and log–log limits (Student's t and G/(G − 1)) at the end of a step. Raises ArgumentError off the grid."""
        place = np.flatnonzero(self.edges == edge)
        if len(place) == 0:
            raise ArgumentError("edge", f"{edge:g} is no end of a step", f"Ends are {', '.join(f'{one:g}' for one in self.edges)}.")
        share, se = float(self.survival[place[0]]), float(self.se[place[0]])
        if not 0 < share < 1 or not se > 0 or self.clusters < 2:
            return Estimate(share, se, float("nan"), float("nan"), self.level, "no limits: nobody or everybody has failed")
        reach = t_quantile(self.level, self.clusters) * np.sqrt(self.clusters / (self.clusters - 1)) * se / (share * abs(np.log(share)))
        return Estimate(share, se, float(share ** np.exp(reach)), float(share ** np.exp(-reach)), self.level)


def grid_totals(duration, observed, cluster, edges) -> GridTotals:
    """Totals of rows followed from day 0; a failure counts in the step it falls in, a row that leaves is at risk in the steps it completed.

    duration, observed: as in ``kaplan_meier``; cluster: (n,) patients; edges: (K,) increasing ends of steps. What happens after the
    last edge is cut there. Leaving within a step is moved to its beginning, which lowers the curve by less than the share that left at each step.
    Raises ArgumentError.
    """
    duration = as_durations("duration", duration)
    observed = as_flags("observed", observed, length=len(duration))
    edges = as_numbers("edges", edges)
    if len(edges) == 0 or edges[0] <= 0 or (np.diff(edges) <= 0).any():
        raise ArgumentError("edges", "must be above 0 and increase", "Give the ends of the steps in their order.")
    codes, clusters = cluster_codes(cluster, len(duration))
    if codes is None:
        raise ArgumentError("cluster", "is missing", "Name the patient of each row.")
    step = np.searchsorted(edges, duration, side="left")  # the step in which the row ends; K: after the last
    failing = observed & (step < len(edges))
    completed = np.where(failing, step + 1, np.searchsorted(edges, duration, side="right"))  # steps in which the row counts as at risk
    size = len(edges)
    rows = np.zeros((clusters, 2 * size))
    np.add.at(rows, (codes[failing], step[failing]), 1.0)
    for k in range(size):
        np.add.at(rows, (codes[completed > k], size + k), 1.0)
    leaving = np.zeros((clusters, size + 1))
    left = ~failing & (completed < size)
    np.add.at(leaving, (codes[left], completed[left]), 1.0)
    behind = (np.concatenate([rows, leaving], axis=1) != 0).astype(float)
    support = behind.T @ behind
    return GridTotals(edges, rows[:, :size].sum(0), rows[:, size:].sum(0), rows.T @ rows, clusters, int(support[support > 0].min(initial=clusters)))


def coarser(totals: GridTotals, keep) -> GridTotals:
    """The same on fewer steps: ``keep`` names the edges that stay. Exact: a step's failures add up, and at risk in it are those who failed in it or completed it.

    ``fewest`` is not known any more and becomes 0 unless nothing was merged. Raises ArgumentError for an edge that is none.
    """
    keep = as_numbers("keep", keep)
    place = np.searchsorted(totals.edges, keep)
    if len(keep) == 0 or (place >= len(totals.edges)).any() or (totals.edges[place] != keep).any() or (np.diff(keep) <= 0).any():
        raise ArgumentError("keep", "must be edges of the grid, in order", "Give edges that all clinics have in common.")
    size, many = len(keep), len(totals.edges)
    merge, start = np.zeros((2 * size, 2 * many)), 0
    for k, end in enumerate(place):
        merge[k, start : end + 1] = 1.0
        merge[size + k, start:end] = 1.0  # failed before the last of the merged steps
        merge[size + k, many + end] = 1.0  # at risk in the last of them
        start = end + 1
    both = merge @ np.concatenate([totals.failed, totals.at_risk])
    return GridTotals(keep, both[:size], both[size:], merge @ totals.moments @ merge.T, totals.clusters, totals.fewest if size == many else 0)


def pooled_grid_curve(clinics: list[GridTotals], *, level: float = 0.95) -> GridCurve:
    """One curve of all clinics' patients: the same as all rows together would give on the grid, in one round of totals.

    S(t) = Π (1 − d/Y); variance bᵀ M b with b the derivative of the influence by (d, Y): −S/(Y − d) for d up to t, S d/(Y (Y − d)) for Y
    (the infinitesimal jackknife of ``kaplan_meier``, by cluster). Raises ArgumentError for different grids.

    >>> one = grid_totals([1, 2, 3, 4], [1, 0, 1, 0], ["a", "a", "b", "c"], [1, 2, 3, 4])
    >>> two = grid_totals([2, 3], [1, 0], ["d", "e"], [1, 2, 3, 4])
    >>> [round(float(share), 4) for share in pooled_grid_curve([one, two]).survival]
    [0.8333, 0.6667, 0.4444, 0.4444]
    """
    normal_quantile(level)
    if not clinics or any(len(one.edges) != len(clinics[0].edges) or (one.edges != clinics[0].edges).any() for one in clinics):
        raise ArgumentError("clinics", "have no grid, or different ones", "Bring them to edges they share with coarser.")
    failed, at_risk = sum(one.failed for one in clinics), sum(one.at_risk for one in clinics)
    moments, clusters = sum(one.moments for one in clinics), sum(one.clusters for one in clinics)
    staying = at_risk - failed
    with np.errstate(divide="ignore", invalid="ignore"):
        survival = np.cumprod(np.where(at_risk > 0, 1 - failed / at_risk, 1.0))
        by_failed = np.where(staying > 0, 1 / staying, 0.0)
        by_risk = np.where(staying > 0, failed / (at_risk * staying), 0.0)
    se = np.zeros(len(survival))
    for k in range(len(survival)):
        upto = np.arange(len(survival)) <= k
        slope = survival[k] * np.concatenate([np.where(upto, -by_failed, 0.0), np.where(upto, by_risk, 0.0)])
        se[k] = np.sqrt(max(0.0, float(slope @ moments @ slope)))
    return GridCurve(clinics[0].edges, survival, se, clusters, level)
