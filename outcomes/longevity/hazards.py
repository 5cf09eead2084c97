"""Proportional hazards: which factor goes with earlier failure, from days found, with late entry, strata and several parts per patient."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from outcomes.longevity.design import Design, as_frame, centred, cluster_codes, design, orthonormal, read_column, read_numbers
from outcomes.longevity.estimate import ArgumentError, as_codes, as_flags, normal_quantile
from outcomes.longevity.newton import Summit, climb
from outcomes.longevity.observations import positive_weights, refuse
from outcomes.longevity.partial_likelihood import PartialLikelihood, RiskSets, risk_sets
from outcomes.longevity.proportionality import proportionality
from outcomes.longevity.sandwich import coefficient_table, degrees_of_freedom, error_words, robust_covariance, with_ratios

FADED = 1e-6  # information left in a direction, against that at no effect, when a coefficient is running off


@dataclass(frozen=True, eq=False)
class HazardsFit:
    """Cox model. ``coefficients``: log hazard ratios indexed by term (estimate, se, low, high, p). ``log_likelihood``: partial
    (Efron); ``log_likelihood_null``: with all effects 0. ``influence``: rows x terms, what each row adds to the estimates
    (dfbeta); ``counts``: rows, events, strata, late entries, clusters, clusters with events."""

    coefficients: pd.DataFrame
    log_likelihood: float
    log_likelihood_null: float
    level: float
    df: float
    counts: dict
    covariance: pd.DataFrame = field(repr=False)
    influence: np.ndarray = field(repr=False)
    design: Design = field(repr=False)
    sets: RiskSets = field(repr=False)
    pooled: RiskSets = field(repr=False)  # the same rows without strata
    clusters: np.ndarray | None = field(repr=False)
    method: str
    note: str = ""

    @property
    def aic(self) -> float:
        """2 x coefficients less twice the log partial likelihood."""
        return 2 * len(self.coefficients) - 2 * self.log_likelihood

    def table(self) -> pd.DataFrame:
        """One row per term: estimate, se, low, high, p and the hazard ratio with its limits (1.3: fails 30 % faster)."""
        return with_ratios(self.coefficients, "hazard_ratio")

    def proportionality(self, transform: str = "km") -> pd.DataFrame:
        """Does a hazard ratio drift with time? One row per term and one called "all terms".

        Columns: slope (change of the log hazard ratio per unit of the transformed time), statistic, df, p; where the fit has
        clusters also robust_se, robust_statistic and robust_p. transform: "km" (1 minus the Kaplan-Meier curve just
        before the event), "identity" or "log". Score test for a term times transformed time: Grambsch &
        Therneau 1994 Biometrika 81:515-526, exact as in R's cox.zph since 3.0. Raises ArgumentError without a covariate.
        """
        return proportionality(self.sets, self.pooled, self.design, self.coefficients["estimate"].to_numpy(), self.clusters, transform)


def proportional_hazards(frame, formula, *, duration, observed, entry=None, strata=None, cluster=None, level=0.95,
                         weights=None, small_sample=False) -> HazardsFit:
    """Cox model with Efron's ties; log hazard ratios with model-based or patient-robust errors.

    frame: one row per part, or several per part as counting process. formula: right-hand side ("1" for none). duration,
    observed (0/1 or true/false), entry, strata, cluster: names of columns. A row is at risk where entry < t <= duration; times in
    one unit. With cluster the covariance is the sum over clusters of products of summed influences; ``small_sample=True``
    adds the factor G/(G - 1) and t limits on G - p degrees of freedom. weights: whole numbers count rows; with cluster they are
    sampling weights, ties taken as R's coxph takes them. Missing values, negative times, entry at or past the end, data without an event, terms that repeat one another and covariates that separate failures from survivors raise
    ArgumentError.

    Cox 1972 J R Stat Soc B 34:187-220; ties: Efron 1977 J Am Stat Assoc 72:557-565; sandwich: Lin & Wei 1989 J Am Stat Assoc
    84:1074-1078.

    Remission on 6-MP against placebo (Freireich et al. 1963 Blood 21:699-716); with Efron's ties R's survival package prints
    -1.5721 with error 0.4124:

    >>> weeks = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35,
    ...          1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
    >>> relapsed = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0] + 21 * [1]
    >>> remission = pd.DataFrame({"drug": 21 * [1] + 21 * [0], "weeks": weeks, "relapsed": relapsed})
    >>> fitted = proportional_hazards(remission, "drug", duration="weeks", observed="relapsed")
    >>> fitted.coefficients.round(4).loc["drug", ["estimate", "se"]].tolist()
    [-1.5721, 0.4124]
    """
    normal_quantile(level)
    frame = as_frame(frame)
    times, flags, start = counting_rows(frame, duration, observed, entry)
    groups = None if strata is None else as_codes("strata", read_column(frame, "strata", strata), length=len(frame))[0]
    made, codes = design(frame, formula, intercept=False), cluster_codes(frame, cluster)
    weight = None if weights is None else positive_weights(frame, weights, cluster)
    counted = weight is not None and cluster is None
    sets = risk_sets(times, flags, start, groups, weight, counted)
    p = len(made.terms)
    df = degrees_of_freedom(codes, p, small_sample)
    estimates, value, null, model, influence = fit(sets, made)
    covariance = model if codes is None else robust_covariance(influence, codes, small_sample=small_sample)
    counts = {"rows": len(times), "events": int(flags.sum()), "strata": 1 if groups is None else int(groups.max()) + 1,
              "late entries": 0 if start is None else int((start > 0).sum())}
    if codes is not None:
        counts |= {"clusters": int(codes.max()) + 1, "clusters with events": len(np.unique(codes[flags]))}
    return HazardsFit(
        coefficients=coefficient_table(made.terms, estimates, covariance, level, df), log_likelihood=value, log_likelihood_null=null,
        level=level, df=df, counts=counts, covariance=pd.DataFrame(covariance, index=made.terms, columns=made.terms), influence=influence,
        design=made, sets=sets, pooled=sets if groups is None else risk_sets(times, flags, start, None, weight, counted), clusters=codes,
        method=f"Cox model, Efron ties, {error_words(cluster, codes, small_sample)}",
        note=remarks(counts, p, df))


def counting_rows(frame: pd.DataFrame, duration: str, observed: str, entry: str | None):
    """(durations, failed, entries or None) from three columns, checked."""
    n = len(frame)
    times = read_numbers(frame, "duration", duration)
    refuse("duration", times < 0, "is negative", "Times count from the day the part was fitted.")
    flags = as_flags("observed", read_column(frame, "observed", observed), length=n)
    if entry is None:
        return times, flags, None
    start = read_numbers(frame, "entry", entry)
    refuse("entry", start < 0, "is negative", "Times count from the day the part was fitted.")
    return times, flags, start


def fit(sets: RiskSets, made: Design):
    """(estimates, log-likelihood, log-likelihood at no effect, inverse information, influence) of the partial likelihood."""
    if not made.terms:
        value = PartialLikelihood(sets, made.matrix)(np.zeros(0))[0]
        return np.zeros(0), value, value, np.zeros((0, 0)), made.matrix
    target, top, null, back = ascend(made, lambda basis: PartialLikelihood(sets, basis), len(sets.turn))
    inverse = np.linalg.inv(-top.hessian)
    residuals = target.score_residuals(target.sums(top.at)[1])
    return back @ top.at, top.value, null, back @ inverse @ back.T, residuals @ inverse @ back.T


def ascend(made: Design, likelihood, events: int):
    """(likelihood in an orthonormal basis, its maximum, its value at no effect, way back to the terms).

    ``likelihood`` makes it from a basis. Raises ArgumentError naming a term that is constant, does not vary among those at
    risk, or has no bounded effect.
    """
    basis, back = orthonormal(centred(made), made.terms)
    target, start = likelihood(basis), np.zeros(len(made.terms))
    null, _, hessian = target(start)
    check_varies(-hessian, back, made, events)
    top = climb(target, start)
    check_bounded(top, -hessian, back, made)
    return target, top, null, back


def check_varies(information: np.ndarray, back: np.ndarray, made: Design, events: int) -> None:
    """Raises ArgumentError naming the terms that do not vary among those at risk when something failed."""
    curvature, axes = np.linalg.eigh(information)
    if curvature[0] <= 1e-10 * events:
        raise ArgumentError("formula", f"{names(axes[:, 0], back, made)} does not vary among the rows at risk when something failed",
                            "Leave it out; a factor that is also a stratum has no effect to estimate.")


def check_bounded(top: Summit, at_null: np.ndarray, back: np.ndarray, made: Design) -> None:
    """Raises ArgumentError naming the terms whose effect the data do not bound: the information has faded against that at no effect."""
    half = np.linalg.inv(np.linalg.cholesky(at_null))
    curvature, axes = np.linalg.eigh(half @ -top.hessian @ half.T)
    if not top.reached or curvature[0] < FADED:
        raise ArgumentError("formula", f"the data do not bound the effect of {names(half.T @ axes[:, 0], back, made)}: "
                            "some combination of covariates has no failure, or fails always first", "Merge such a level with another, or leave the term out.")


def names(direction: np.ndarray, back: np.ndarray, made: Design) -> str:
    """Terms that weigh in a direction of the orthonormal basis, joined by commas."""
    pull = np.abs(back @ direction) * made.matrix.std(axis=0)
    return ", ".join(t for t, size in zip(made.terms, pull) if size > 0.1 * pull.max())


def remarks(counts: dict, parameters: int, df: float) -> str:
    """What to beware of: too few clusters for the coefficients, no degree of freedom left."""
    said = []
    if counts.get("clusters", np.inf) <= parameters:
        said.append(f"{counts['clusters']} clusters are too few for {parameters} coefficients: the errors are not to be trusted.")
    if not df > 0:
        said.append("No degree of freedom is left for limits.")
    return " ".join(said)
