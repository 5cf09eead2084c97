"""Damped Newton ascent for smooth log-likelihoods of a few parameters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Summit:
    """Where the ascent ended. ``gain``: rise in log-likelihood a further full step would promise; ``reached``: gain is negligible."""

    at: np.ndarray
    value: float
    gradient: np.ndarray
    hessian: np.ndarray
    steps: int
    gain: float
    reached: bool


def climb(evaluate, start, *, most_steps: int = 100, negligible: float = 1e-11, longest: float = np.inf) -> Summit:
    """Maximise ``evaluate(x) -> (value, gradient, hessian)`` from ``start``; a value of -inf or nan marks forbidden ground.

    Where the surface is not concave the step follows the absolute curvature, so that it always points uphill; steps are
    halved until the value rises, and none moves a coordinate by more than ``longest``. One more full step after convergence takes the rest of the way (convergence is quadratic).
    """
    at = np.asarray(start, dtype=float)
    value, gradient, hessian = evaluate(at)
    if not np.isfinite(value):
        raise FloatingPointError("the ascent starts where the log-likelihood is not finite")
    gain, polished = np.inf, False
    for steps in range(1, most_steps + 1):
        step, gain = uphill(gradient, hessian)
        done = gain < negligible + 1e-14 * abs(value)
        if done and polished:
            return Summit(at, value, gradient, hessian, steps, gain, True)
        polished = done
        length, slack = min(1.0, longest / max(np.abs(step).max(), 1e-300)), 1e-12 * (1 + abs(value))
        while True:
            with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
                tried = evaluate(at + length * step)
            if np.isfinite(tried[0]) and tried[0] >= value + 1e-4 * length * gain - slack:
                break
            length /= 2
            if length < 1e-12:
                return Summit(at, value, gradient, hessian, steps, gain, gain < 1e-6)
        at, (value, gradient, hessian) = at + length * step, tried
    return Summit(at, value, gradient, hessian, most_steps, gain, False)


def uphill(gradient: np.ndarray, hessian: np.ndarray) -> tuple[np.ndarray, float]:
    """(step, expected rise): Newton's step with the curvature of every axis taken as a fall, so that it always leads up."""
    curvature, axes = np.linalg.eigh(-hessian)
    size = np.abs(curvature)
    size = np.maximum(size, max(size.max(initial=0.0) * 1e-14, 1e-300))
    along = axes.T @ gradient
    return axes @ (along / size), float(along @ (along / size)) / 2
