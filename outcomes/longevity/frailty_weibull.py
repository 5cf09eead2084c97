"""Shared gamma frailty with a Weibull baseline: the marginal likelihood in closed form, late entry included.

With cumulative hazard H_i = exp(x beta + alpha) t^k of each row, sums H and E over a patient's rows at the end and at
entry, and d failures, the patient contributes the log hazards of the failing rows plus sum_{j<d} log(1 + j theta)
- (1/theta + d) log(1 + theta H) + (1/theta) log(1 + theta E): the gamma frailty integrated out, given that all rows
were sound at entry (Klein & Moeschberger 2003, Survival Analysis, section 13.3, with the condition on entry).
"""

from __future__ import annotations

import numpy as np

from outcomes.longevity.newton import Summit, climb


class WeibullFrailty:
    """Marginal log-likelihood of (coefficients of the basis, intercept among them; log shape) for a given frailty variance.

    Log times are measured from ``origin``, so that shape and intercept do not pull on one another.
    """

    def __init__(self, x: np.ndarray, times: np.ndarray, failed: np.ndarray, entry: np.ndarray | None, codes: np.ndarray, origin: float):
        self.x, self.failed, self.codes = x, failed, codes
        self.patients = int(codes.max()) + 1
        self.events = np.bincount(codes[failed], minlength=self.patients)
        self.log_end = np.log(times) - origin
        with np.errstate(divide="ignore"):
            self.log_entry = np.full(len(times), -np.inf) if entry is None else np.log(entry) - origin
        self.late = np.isfinite(self.log_entry)
        self.last = None

    def at(self, variance: float, start: np.ndarray | None = None) -> Summit:
        """Maximum over coefficients and shape at ``variance`` >= 0."""
        start = start if start is not None else self.last.at if self.last is not None else self.rough_start()
        self.last = climb(lambda theta: self.evaluate(theta, variance), start, longest=2.0)
        return self.last

    def rough_start(self) -> np.ndarray:
        """Coefficients of the mean rate, and log shape 0."""
        rate = np.log(self.failed.sum()) - np.log(np.exp(self.log_end).sum())
        return np.append(np.linalg.lstsq(self.x, np.full(len(self.x), rate), rcond=None)[0], 0.0)

    def evaluate(self, theta: np.ndarray, variance: float):
        """(value, gradient, Hessian) of the marginal log-likelihood in (coefficients, log shape) for a given variance of the frailty."""
        shape, p = np.exp(theta[-1]), len(theta)
        predictor = self.x @ theta[:-1]
        value = float((predictor + theta[-1] + (shape - 1) * self.log_end)[self.failed].sum())
        gradient = np.append(self.x[self.failed].sum(axis=0), self.failed.sum() + shape * self.log_end[self.failed].sum())
        hessian = np.zeros((p, p))
        hessian[-1, -1] = shape * self.log_end[self.failed].sum()
        rises = np.concatenate([[0.0], np.cumsum(np.log1p(np.arange(self.events.max()) * variance))])
        value += float(rises[self.events].sum())
        everyone = np.ones(len(self.x), dtype=bool)
        for rows, log_time, count, sign in ((everyone, self.log_end, self.events, -1.0), (self.late, self.log_entry, 0 * self.events, 1.0)):
            if rows.any():
                part = self.mixed(rows, log_time, predictor, shape, variance, count)
                value, gradient, hessian = value + sign * part[0], gradient + sign * part[1], hessian + sign * part[2]
        return value, gradient, hessian

    def mixed(self, rows, log_time, predictor, shape, variance, count):
        """Sum over patients of (1/variance + count) log(1 + variance H), with gradient and Hessian."""
        y, codes = log_time[rows], self.codes[rows]
        hazard = np.exp(np.minimum(predictor[rows] + shape * y, 600))
        z = np.column_stack([self.x[rows], shape * y])
        total = np.bincount(codes, hazard, minlength=self.patients)
        slope = np.column_stack([np.bincount(codes, hazard * column, minlength=self.patients) for column in z.T])
        log_term = np.log1p(variance * total)
        value = float((log_term / variance + count * log_term).sum()) if variance > 0 else float(total.sum())
        load = (1 + variance * count) / (1 + variance * total)
        own = load[codes] * hazard
        hessian = (z * own[:, None]).T @ z - (slope * (load * variance / (1 + variance * total))[:, None]).T @ slope
        hessian[-1, -1] += float(own @ (shape * y))
        return value, load @ slope, hessian

    def frailties(self, theta: np.ndarray, variance: float) -> np.ndarray:
        """Mean frailty of each patient given the data: (1/theta + d) / (1/theta + H)."""
        hazard = np.exp(np.minimum(self.x @ theta[:-1] + np.exp(theta[-1]) * self.log_end, 600))
        return (1 + variance * self.events) / (1 + variance * np.bincount(self.codes, hazard, minlength=self.patients))

    def covariance(self, variance: float, theta: np.ndarray) -> np.ndarray:
        """Covariance of coefficients and log shape; the variance counts as estimated where it is above 0."""
        information = -self.evaluate(theta, variance)[2]
        if variance == 0:
            return np.linalg.inv(information)
        h = 1e-4
        up, here, down = (self.evaluate(theta, variance * np.exp(s)) for s in (h, 0.0, -h))
        across = -(up[1] - down[1]) / (2 * h)
        own = -(up[0] - 2 * here[0] + down[0]) / h**2
        full = np.block([[information, across[:, None]], [across[None, :], np.array([[own]])]])
        return np.linalg.inv(full)[:-1, :-1]
