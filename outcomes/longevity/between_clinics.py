"""Several clinics' estimates taken together: a mean over clinics, how much they differ, and where another clinic would lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from outcomes.longevity.estimate import ArgumentError, Estimate, as_choice, as_numbers, normal_quantile

METHODS = ("DL", "PM", "REML")


@dataclass(frozen=True, eq=False)
class Pooled:
    """A mean over clinics.

    ``mean``: an Estimate on the scale of the values; ``tau2``: variance between clinics; ``q``, ``df``, ``q_p``: Cochran's test that all
    are the same; ``i2``: share of the spread that chance does not explain (0 to 1); ``prediction``: (low, high) where the true
    value of another such clinic would lie, nan below five clinics; ``weights``: each clinic's share in the mean.
    """

    mean: Estimate
    tau2: float
    q: float
    df: int
    q_p: float
    i2: float
    prediction: tuple[float, float]
    weights: np.ndarray
    method: str

    @property
    def clinics(self) -> int:
        """Clinics in the mean."""
        return len(self.weights)


def random_effects(value, se, *, method="PM", hartung_knapp=True, never_narrower=False, level=0.95) -> Pooled:
    """Mean of independent estimates whose true values differ from clinic to clinic.

    value, se: (k,) estimates on a scale where a normal distribution is fair (log(−log S) of shares, log rates, means) and their
    standard errors, above 0; k of 2 or more. method: how the variance between clinics is found: "DL" (DerSimonian and Laird), "PM"
    (Paule and Mandel, the default) or "REML". hartung_knapp: variance Σ w (y − μ)²/((k − 1) Σ w) and Student's t with k − 1 in
    place of 1/Σ w and the normal. That error shrinks to nothing where few clinics agree by chance; never_narrower=True keeps it from
    falling below 1/√Σ w (Student's t stays), metafor's test="adhoc". Prediction: μ ± q √(τ² + se²) with the same quantile, from five clinics on.

    Raises ArgumentError for fewer than two clinics or a standard error that is not above 0.
    Sources: DerSimonian and Laird 1986 (Control Clin Trials 7:177); Paule and Mandel 1982 (J Res Natl Bur Stand 87:377); Hartung and
    Knapp 2001 (Stat Med 20:1771); the floor: Röver, Knapp and Friede 2015 (BMC Med Res Methodol 15:99; from memory); prediction: Higgins, Thompson and Spiegelhalter 2009 (J R Stat Soc A 172:137), with k − 1 degrees of
    freedom as in R's metafor. Thirteen published trials of a vaccine, log risk ratios (Colditz et al. 1994, JAMA 271:698), as in
    metafor's documentation:

    >>> log_ratio = [-.88931, -1.58539, -1.34807, -1.44155, -.21755, -.78612, -1.62090, .01195, -.46942, -1.37134, -.33936, .44591, -.01731]
    >>> error = [.57060, .44111, .64449, .14146, .22630, .08310, .47225, .06294, .23756, .27023, .11141, .72973, .26722]
    >>> found = random_effects(log_ratio, error, method="DL", hartung_knapp=False)
    >>> round(found.mean.value, 4), round(found.mean.se, 4), round(found.tau2, 4), round(found.q, 2)
    (-0.7141, 0.1787, 0.3088, 152.23)
    """
    value, k = as_numbers("value", value), len(value)
    error = as_numbers("se", se, length=k)
    as_choice("method", method, METHODS)
    if k < 2:
        raise ArgumentError("value", f"holds {k} estimate", "A mean over clinics needs two; show the one as it is.")
    if (error <= 0).any():
        raise ArgumentError("se", "is not above 0", "An estimate without an error cannot be weighed; leave it out and say so.", int(np.argmax(error <= 0)))
    z = normal_quantile(level)
    variance = error**2
    own = 1 / variance
    q = float(own @ (value - own @ value / own.sum()) ** 2)
    tau2 = {"DL": _derived, "PM": _paule_mandel, "REML": _restricted}[method](value, variance)
    weight = 1 / (variance + tau2)
    mean = float(weight @ value / weight.sum())
    if hartung_knapp:
        spread = float(np.sqrt(weight @ (value - mean) ** 2 / ((k - 1) * weight.sum())))
        spread = max(spread, float(1 / np.sqrt(weight.sum()))) if never_narrower else spread
        quantile = float(stats.t.ppf(0.5 + level / 2, k - 1))
    else:
        spread, quantile = float(1 / np.sqrt(weight.sum())), z
    reach = quantile * np.sqrt(tau2 + spread**2) if k >= 5 else float("nan")
    typical = (k - 1) * own.sum() / (own.sum() ** 2 - (own**2).sum())  # Higgins and Thompson 2002 (Stat Med 21:1539)
    estimate = Estimate(mean, spread, mean - quantile * spread, mean + quantile * spread, level)
    return Pooled(estimate, tau2, q, k - 1, float(stats.chi2.sf(q, k - 1)), tau2 / (tau2 + typical), (mean - reach, mean + reach), weight / weight.sum(), method + ((", Hartung–Knapp, never below the error without it" if never_narrower else ", Hartung–Knapp") if hartung_knapp else ""))


def _derived(value, variance) -> float:
    """DerSimonian and Laird: the variance that makes Q what it is expected to be, at least 0."""
    weight = 1 / variance
    q = weight @ (value - weight @ value / weight.sum()) ** 2
    return float(max(0.0, (q - (len(value) - 1)) / (weight.sum() - (weight**2).sum() / weight.sum())))


def _paule_mandel(value, variance) -> float:
    """The variance at which the weighted squares equal their degrees of freedom."""

    def excess(tau2):
        weight = 1 / (variance + tau2)
        return weight @ (value - weight @ value / weight.sum()) ** 2 - (len(value) - 1)

    return _root(excess, value, variance)


def _restricted(value, variance) -> float:
    """The variance at which the restricted likelihood is largest; of several local maxima the largest."""

    def loss(tau2):
        weight = 1 / (variance + tau2)
        mean = weight @ value / weight.sum()
        return float(np.log(variance + tau2).sum() + np.log(weight.sum()) + weight @ (value - mean) ** 2) / 2

    top = _ceiling(value, variance)
    grid = np.concatenate([[0.0], np.geomspace(top * 1e-8, top, 120)])
    at = int(np.argmin([loss(t) for t in grid]))
    low, high = grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)]

    def slope(tau2):
        weight = 1 / (variance + tau2)
        mean = weight @ value / weight.sum()
        return float(weight.sum() - (weight**2).sum() / weight.sum() - weight**2 @ (value - mean) ** 2)

    if slope(low) < 0 < slope(high):
        return float(optimize.brentq(slope, low, high, xtol=1e-14, rtol=1e-13))
    return float(grid[at])


def _ceiling(value, variance) -> float:
    """A variance between clinics that no estimate exceeds, to search below."""
    return float(100 * (value.var() + variance.max()) + 1e-12)


def _root(excess, value, variance) -> float:
    """Where ``excess``, which falls with the variance, is 0; 0 where it never rises above."""
    if excess(0.0) <= 0:
        return 0.0
    top = _ceiling(value, variance)
    while excess(top) > 0:
        top *= 10
    return float(optimize.brentq(excess, 0.0, top, xtol=1e-14, rtol=1e-13))
