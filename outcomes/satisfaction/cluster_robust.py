"""Bias-reduced cluster-robust variance (CR2) with Satterthwaite degrees of freedom, patient by patient.

Bell & McCaffrey 2002 Surv Methodol 28:169; Pustejovsky & Tipton 2018 J Bus Econ Stat 36:672 (both from memory); checked
against R's clubSandwich. Symbols as in the latter: working covariance Phi, weights W = Phi^-1, M = (X'WX)^-1, and for patient
i with D the upper Cholesky factor of Phi_i: B = D (Phi_i - X_i M X_i') D', A = D' B^(-1/2) D, V = M (sum X'WA e e'A'WX) M.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse, stats


@dataclass(frozen=True)
class Contrasts:
    """Covariance of the contrasts and the degrees of freedom of each."""

    covariance: np.ndarray
    df: np.ndarray

    def limits(self, values: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(se, low, high) by t quantiles at each contrast's own degrees of freedom; nan where they are not defined."""
        se = np.sqrt(np.maximum(np.diag(self.covariance), 0))
        reach = stats.t.ppf(0.5 + level / 2, np.where(self.df > 0, self.df, np.nan)) * se
        return se, values - reach, values + reach


def _inverse_root(matrix: np.ndarray) -> np.ndarray:
    """Symmetric inverse square root on the space where the matrix is not zero."""
    values, vectors = np.linalg.eigh(matrix)
    kept = values > 1e-10 * max(values[-1], 1e-300)
    return (vectors[:, kept] / np.sqrt(values[kept])) @ vectors[:, kept].T


def _adjustment(phi: np.ndarray, factor: np.ndarray) -> np.ndarray:
    upper = np.linalg.cholesky(phi).T
    return upper.T @ _inverse_root(upper @ (phi - factor @ factor.T) @ upper.T) @ upper


def bias_reduced(weighted, factor, residual, cluster, working) -> Contrasts:
    """CR2 covariance and Satterthwaite degrees of freedom of contrasts of a (generalised) least-squares fit.

    weighted: N by k, rows of W X M C for the k contrasts in the columns of C. factor: N by r, dense or sparse, with
    factor factor' = X M X'. residual: N. cluster: N codes. working(rows): covariance Phi of those rows of one cluster.
    Patients whose rows look alike share one decomposition, so the cost grows with the kinds of pattern, not their square.
    """
    order = np.argsort(cluster, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(np.asarray(cluster)[order]) != 0])
    thin = sparse.issparse(factor)
    factor = factor.tocsr() if thin else factor
    size, groups = weighted.shape[1], np.split(order, starts[1:])
    meat = np.zeros((len(groups), size))
    own = np.zeros((len(groups), size))  # q' Phi q
    shared = np.empty((len(groups), size), dtype=object)  # factor' q, whose products are the covariances between clusters
    known: dict[tuple, np.ndarray] = {}
    for c, rows in enumerate(groups):
        block = factor[rows].toarray() if thin else factor[rows]
        block = block[:, block.any(axis=0)] if thin else block
        phi = working(rows)
        key = (block.shape, block.tobytes(), phi.tobytes())
        if key not in known:
            known[key] = _adjustment(phi, block)
        q = known[key].T @ weighted[rows]
        meat[c] = q.T @ residual[rows]
        own[c] = np.einsum("ij,il,lj->j", q, phi, q)
        for j in range(size):
            shared[c, j] = factor[rows].T @ q[:, j]
    return Contrasts(meat.T @ meat, np.array([_satterthwaite(own[:, j], shared[:, j]) for j in range(size)]))


def _satterthwaite(own, shared) -> float:
    """(trace)^2 / trace of the square of P, P_ij = [i = j] own_i - u_i'u_j, without forming P."""
    u = np.vstack(list(shared))
    square = np.einsum("ij,ij->i", u, u)
    u = sparse.csr_matrix(u)
    cross = (u.T @ u).power(2).sum()
    total = float(np.sum(own**2 - 2 * own * square) + cross)
    trace = float(np.sum(own - square))
    return trace**2 / total if total > 0 else np.nan
