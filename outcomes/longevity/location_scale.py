"""Log-likelihood pieces of log T = location + scale x error for three error laws, with exact first and second derivatives.

Everything is written in tau = 1/scale and mu = location/scale, so that z = tau * log t - mu is linear in the parameters.
In these the log-likelihood of intervals, exact and one-sided observations is concave (Burridge 1981 J R Stat Soc B
43:41-45), which is why the fit needs no clever start. A piece is a tuple of arrays (value, d/dmu, d/dtau, d2/dmu2,
d2/dmu dtau, d2/dtau2), one entry per row. Intervals are written so that no two near-equal numbers are subtracted, however
short the interval: w = log right - log left enters by itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

LARGEST = 300.0  # exp(300)^2 is still a number; beyond, a row's likelihood is 0 for every purpose
SMALLEST = -600.0
HALF_LOG_2PI = 0.5 * np.log(2 * np.pi)


@dataclass(frozen=True)
class Family:
    """An error law: log survival, log failure and log density at z with two derivatives each; intervals; survival and quantile."""

    name: str
    log_survival: Callable
    log_failure: Callable
    log_density: Callable
    interval: Callable
    survival: Callable
    quantile: Callable


def at_one_time(kernel, y, mu, tau):
    """Piece for a row seen at one time: ``kernel(z)`` gives a function of z and its two derivatives."""
    value, first, second = kernel(tau * y - mu)
    return value, -first, y * first, second, -y * second, y * y * second


# ---------------------------------------------------------------- smallest extreme value: Weibull, exponential

def extreme_log_survival(z):
    """log S of the smallest extreme value law and its two derivatives in z."""
    hazard = np.exp(np.minimum(z, LARGEST))
    return -hazard, -hazard, -hazard


def extreme_log_failure(z):
    """log(1 − S) of the same, without subtracting near-equal numbers."""
    d = np.exp(np.clip(z, SMALLEST, LARGEST))
    g = 1 / np.expm1(d)
    k = d * g
    return np.log(-np.expm1(-d)), k, k * (1 - d - k)


def extreme_log_density(z):
    """log density of the same."""
    hazard = np.exp(np.minimum(z, LARGEST))
    return z - hazard, 1 - hazard, -hazard


def extreme_interval(left, right, w, mu, tau):
    """u: cumulative hazard at left; d: its rise to right; log-likelihood -u + log(1 - exp(-d))."""
    b = np.clip(tau * right - mu, SMALLEST, LARGEST)
    u = np.exp(b - tau * w)
    d = np.exp(b) * -np.expm1(-tau * w)
    g = 1 / np.expm1(d)
    k = d * g
    slope = right * d + w * u  # d/dtau of d
    p = right * k + w * u * g
    bend = k * (1 - d - k)
    value = -u + np.log(-np.expm1(-d))
    second = -(left**2) * u + right**2 * k + w * u * g * (left + right) - p * slope * (1 + g)
    return value, u - k, -left * u + p, -u + bend, left * u - (1 - d - k) * p, second


# ---------------------------------------------------------------- logistic: log-logistic

def logistic_log_survival(z):
    """log S of the logistic law and its two derivatives in z."""
    failure = special.expit(z)
    return -np.logaddexp(0, z), -failure, -failure * (1 - failure)


def logistic_log_failure(z):
    """log(1 − S) of the same."""
    survival = special.expit(-z)
    return -np.logaddexp(0, -z), survival, -survival * (1 - survival)


def logistic_log_density(z):
    """log density of the same."""
    failure = special.expit(z)
    return z - 2 * np.logaddexp(0, z), 1 - 2 * failure, -2 * failure * (1 - failure)


def logistic_interval(left, right, w, mu, tau):
    """S(a) - S(b) = S(a) F(b) (1 - exp(a - b)) for the logistic law: three pieces without a difference."""
    gap = tau * w
    k = gap / np.expm1(gap)
    pieces = at_one_time(logistic_log_survival, left, mu, tau), at_one_time(logistic_log_failure, right, mu, tau)
    value, m, t, mm, mt, tt = (x + y for x, y in zip(*pieces))
    return value + np.log(-np.expm1(-gap)), m, t + k / tau, mm, mt, tt - k * (gap + k) / tau**2


# ---------------------------------------------------------------- normal: log-normal

def normal_log_survival(z):
    """log S of the normal law and its two derivatives in z."""
    value = special.log_ndtr(-z)
    hazard = np.exp(-0.5 * z * z - HALF_LOG_2PI - value)
    return value, -hazard, -hazard * (hazard - z)


def normal_log_failure(z):
    """log(1 − S) of the same."""
    value, first, second = normal_log_survival(-z)
    return value, -first, second


def normal_log_density(z):
    """log density of the same."""
    return -0.5 * z * z - HALF_LOG_2PI, -z, np.full_like(z, -1.0)


def normal_log_mass(a, b, width):
    """log(Phi(b) - Phi(a)) for b - a = width > 0: a series about the middle where short, the nearer tail where long."""
    middle = a + width / 2
    m2, w2 = middle * middle, width * width
    short = width * (1 + np.abs(middle)) < 0.03
    series = np.log1p(np.where(short, w2 * (m2 - 1) / 24 + w2 * w2 * (m2 * m2 - 6 * m2 + 3) / 1920, 0.0))
    near, far = np.where(middle > 0, a, -b), np.where(middle > 0, b, -a)
    log_near = special.log_ndtr(-near)
    long = log_near + np.log(-np.expm1(np.where(short, -1.0, special.log_ndtr(-far) - log_near)))
    return np.where(short, -0.5 * m2 - HALF_LOG_2PI + np.log(width) + series, long)


def normal_interval(left, right, w, mu, tau):
    """A and B: density at each end over the mass between; differences of like terms carry w as a factor."""
    a, b = tau * left - mu, tau * right - mu
    width = tau * w
    value = normal_log_mass(a, b, width)
    at_a, at_b = np.exp(-0.5 * a * a - HALF_LOG_2PI - value), np.exp(-0.5 * b * b - HALF_LOG_2PI - value)
    tilt = width * (a + b) / 2
    step = np.where(tilt > 0, -at_a * np.expm1(-np.abs(tilt)), at_b * np.expm1(-np.abs(tilt)))  # A - B
    t = w * at_a - right * step
    mm = b * step - width * at_a - step**2
    mt = -b * right * step + (b * w + left * width) * at_a - t * step
    tt = b * right**2 * step - (b * w * (left + right) + left**2 * width) * at_a - t**2
    return value, step, t, mm, mt, tt


FAMILIES = {
    "weibull": Family("Weibull", extreme_log_survival, extreme_log_failure, extreme_log_density, extreme_interval,
                      lambda z: np.exp(-np.exp(np.minimum(z, LARGEST))), lambda p: np.log(-np.log1p(-p))),
    "lognormal": Family("log-normal", normal_log_survival, normal_log_failure, normal_log_density, normal_interval,
                        lambda z: special.ndtr(-z), special.ndtri),
    "loglogistic": Family("log-logistic", logistic_log_survival, logistic_log_failure, logistic_log_density, logistic_interval,
                          lambda z: special.expit(-z), special.logit),
}
