"""Shared gamma frailty with a free baseline: Cox's partial likelihood with one penalised effect per patient.

For a frailty variance theta = 1/nu the log frailties w maximise the partial likelihood plus nu * sum(w - exp(w) + 1); the
marginal log-likelihood follows in closed form (Therneau, Grambsch & Pankratz 2003 J Comput Graph Stat 12:156-175). Patients
may be many: the Newton equations are solved by conjugate gradients, with products of the information matrix by prefix sums.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.partial_likelihood import PartialLikelihood, Sums


@dataclass(frozen=True, eq=False)
class Penalised:
    """Maximum for one variance: coefficients in the basis, log frailties, marginal log-likelihood."""

    beta: np.ndarray
    log_frailty: np.ndarray
    log_likelihood: float


class CoxFrailty:
    """Marginal log-likelihood as a function of the frailty variance, warm-started from one variance to the next."""

    def __init__(self, likelihood: PartialLikelihood, codes: np.ndarray):
        self.likelihood, self.codes = likelihood, codes
        self.patients = int(codes.max()) + 1
        self.events = np.bincount(codes[likelihood.sets.failing], minlength=self.patients)
        self.last = Penalised(np.zeros(likelihood.x.shape[1]), np.zeros(self.patients), np.nan)

    def at(self, variance: float) -> Penalised:
        """Penalised maximum at ``variance`` > 0."""
        nu = 1 / variance
        beta, w = self.last.beta, self.last.log_frailty
        value, gradient, sums = self.evaluate(beta, w, nu)
        for _ in range(100):
            step = self.solve(gradient, sums, w, nu)
            gain, length = float(gradient @ step) / 2, min(1.0, 3.0 / max(np.abs(step).max(), 1e-300))
            if gain < 1e-12:
                break
            while True:
                b, v = beta + length * step[: len(beta)], w + length * step[len(beta):]
                with np.errstate(all="ignore"):
                    tried = self.evaluate(b, v, nu)
                if tried[0] >= value - 1e-11 * abs(value) or length < 1e-8:
                    break
                length /= 2
            beta, w, (value, gradient, sums) = b, v, tried
        self.last = Penalised(beta, w, value + correction(self.events, variance))
        return self.last

    def evaluate(self, beta, w, nu):
        """(penalised value, gradient, sums) at one point; the gradient lists coefficients, then log frailties."""
        likelihood, sets = self.likelihood, self.likelihood.sets
        likelihood.offset = w[self.codes]
        predictor, s = likelihood.sums(beta)
        value = float(predictor[sets.failing].sum()) - s.log_phi + nu * float((w - np.expm1(w)).sum())
        residual = -self.hazard(s)
        residual[sets.failing] += 1
        to_frailty = np.bincount(self.codes, residual, minlength=self.patients) - nu * np.expm1(w)
        return value, np.concatenate([residual @ likelihood.x, to_frailty]), s

    def hazard(self, s: Sums) -> np.ndarray:
        """Expected events of each row: its risk times the cumulated hazard, its own day's turns shared out."""
        sets = self.likelihood.sets
        hazard = sets.along(s.a0)
        hazard[sets.failing] -= s.a1[sets.point]
        return s.risk * hazard

    def product(self, u: np.ndarray, s: Sums, hazard: np.ndarray) -> np.ndarray:
        """Information of the partial likelihood in the linear predictor, times ``u``."""
        sets = self.likelihood.sets
        moved = s.risk * u
        d0, t0 = sets.at_risk(moved), sets.failed(moved)
        change = sets.along(s.b0 * d0 - s.b1 * t0)
        change[sets.failing] -= (s.b1 * d0 - s.b2 * t0)[sets.point]
        return hazard * u - s.risk * change

    def solve(self, right: np.ndarray, s: Sums, w: np.ndarray, nu: float) -> np.ndarray:
        """Solve (penalised information) v = ``right`` by preconditioned conjugate gradients."""
        x, p, hazard, ridge = self.likelihood.x, self.likelihood.x.shape[1], self.hazard(s), nu * np.exp(w)
        diagonal = np.concatenate([hazard @ x**2, np.bincount(self.codes, hazard, minlength=self.patients) + ridge])

        def times(v):
            along = self.product(x @ v[:p] + v[p:][self.codes], s, hazard)
            return np.concatenate([along @ x, np.bincount(self.codes, along, minlength=self.patients) + ridge * v[p:]])

        v, left = np.zeros_like(right), right.copy()
        scaled = left / diagonal
        direction, size = scaled, float(left @ scaled)
        target = size * 1e-24
        for _ in range(10 * len(right)):
            if size <= target:
                break
            moved = times(direction)
            length = size / float(direction @ moved)
            v, left = v + length * direction, left - length * moved
            scaled = left / diagonal
            before, size = size, float(left @ scaled)
            direction = scaled + size / before * direction
        return v

    def covariance(self, variance: float, fitted: Penalised) -> np.ndarray:
        """Covariance of the coefficients (in the basis) with the variance taken as known."""
        p = len(fitted.beta)
        _, _, s = self.evaluate(fitted.beta, fitted.log_frailty, 1 / variance)
        columns = [self.solve(unit, s, fitted.log_frailty, 1 / variance)[:p] for unit in np.eye(p, p + self.patients)]
        return np.array(columns).reshape(p, p)


def correction(events: np.ndarray, variance: float) -> float:
    """From the penalised to the marginal log-likelihood; 0 as the variance goes to 0."""
    nu = 1 / variance
    rises = np.concatenate([[0.0], np.cumsum(np.log1p(np.arange(events.max(initial=0)) / nu))])
    return float((events - (nu + events) * np.log1p(events / nu) + rises[events]).sum())
