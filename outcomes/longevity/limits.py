"""Limits around a share or a count: the transforms, and the exact limits where nobody, or everybody, has failed."""

from __future__ import annotations

import numpy as np

TRANSFORMS = ("loglog", "log", "plain")


def share_limits(share, variance, quantile: float, transform: str):
    """(low, high) for a share S with variance V: log–log S^exp(±qσ/(S|ln S|)), log S·exp(±qσ/S), plain S ± qσ, within [0, 1].

    Where S is 0 or 1 the transforms are undefined: nan, except that "log" and "plain" at S = 1 give [1, 1]
    (Kalbfleisch and Prentice 2002, section 1.4; the same choices as R's survfit).
    """
    share, variance = np.asarray(share, dtype=float), np.asarray(variance, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        half = quantile * np.sqrt(variance)
        if transform == "loglog":
            spread = np.exp(half / (share * np.abs(np.log(share))))
            low, high = share**spread, share ** (1 / spread)
            undefined = (share <= 0) | (share >= 1)
        elif transform == "log":
            low, high = share * np.exp(-half / share), np.minimum(share * np.exp(half / share), 1.0)
            undefined = share <= 0
        else:
            low, high = np.maximum(share - half, 0.0), np.minimum(share + half, 1.0)
            undefined = share <= 0
    return np.where(undefined, np.nan, low), np.where(undefined, np.nan, high)


def exact_limits(share, at_risk, alpha: float):
    """(low, high) where nobody of ``at_risk`` has failed, [(α/2)^(1/n), 1], or everybody has, [0, 1 − (α/2)^(1/n)]; else nan.

    These are the Clopper–Pearson limits (Biometrika 1934;26:404) at 0 and n failures.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        bound = np.where(np.asarray(at_risk) > 0, (alpha / 2) ** (1.0 / np.asarray(at_risk, dtype=float)), 0.0)
    whole, none = np.asarray(share) >= 1, np.asarray(share) <= 0
    low = np.where(whole, bound, np.where(none, 0.0, np.nan))
    high = np.where(whole, 1.0, np.where(none, 1.0 - bound, np.nan))
    return low, high


def with_exact(share, low, high, people, alpha: float):
    """Limits along a curve, the exact ones put where it is 1 or 0: on the ``people`` at risk that day, or the day it fell to 0."""
    count = np.where(share > 0, people, people[np.argmax(share <= 0)])
    edge = (share >= 1) | (share <= 0)
    exact = exact_limits(share, count, alpha)
    return np.where(edge, exact[0], low), np.where(edge, exact[1], high)


def count_limits(mean, variance, quantile: float):
    """(low, high) on the log scale for a mean count M: M·exp(±qσ/M); nan where M is 0."""
    mean = np.asarray(mean, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        spread = np.exp(quantile * np.sqrt(variance) / mean)
        low, high = mean / spread, mean * spread
    return np.where(mean > 0, low, np.nan), np.where(mean > 0, high, np.nan)
