"""One road to variance: influences per row, summed within cluster, squared and added up; and the table that comes of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from outcomes.longevity.estimate import ArgumentError, normal_quantile


def cluster_sums(rows: np.ndarray, codes: np.ndarray) -> np.ndarray:
    """Sums of ``rows`` (rows x parameters) within each cluster (clusters x parameters)."""
    count = int(codes.max()) + 1
    return np.column_stack([np.bincount(codes, column, minlength=count) for column in rows.T]) if rows.shape[1] else np.zeros((count, 0))


def robust_covariance(influence: np.ndarray, codes: np.ndarray, *, small_sample: bool = False) -> np.ndarray:
    """Sum over clusters of the outer product of summed influences; with ``small_sample`` times G/(G - 1).

    Liang & Zeger 1986 Biometrika 73:13-22; Lin & Wei 1989 J Am Stat Assoc 84:1074-1078. Not centred: influences add to zero.
    """
    sums = cluster_sums(influence, codes)
    covariance = sums.T @ sums
    return covariance * len(sums) / (len(sums) - 1) if small_sample else covariance


def degrees_of_freedom(codes: np.ndarray | None, parameters: int, small_sample: bool) -> float:
    """inf for normal limits; G - p for the t limits of ``small_sample`` (p regression coefficients, the scale not counted)."""
    if not small_sample:
        return np.inf
    if codes is None:
        raise ArgumentError("small_sample", "needs clusters to count", "Name the patient column in cluster.")
    return float(int(codes.max()) + 1 - parameters)


def two_sided(level: float, df: float) -> float:
    """Quantile for two-sided limits: normal for df = inf, else t; nan without a degree of freedom."""
    z = normal_quantile(level)
    return z if np.isinf(df) else float(stats.t.ppf(0.5 + level / 2, df)) if df > 0 else np.nan


def coefficient_table(terms, estimates, covariance, level: float, df: float = np.inf) -> pd.DataFrame:
    """Frame indexed by term: estimate, se, low, high and p (two-sided Wald test, normal or t)."""
    estimates, se = np.asarray(estimates, float), np.sqrt(np.clip(np.diag(covariance), 0, None)) if len(estimates) else np.zeros(0)
    width = two_sided(level, df) * se
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.abs(estimates / se)
    p = 2 * (stats.norm.sf(ratio) if np.isinf(df) else stats.t.sf(ratio, df) if df > 0 else np.full(len(ratio), np.nan))
    columns = {"estimate": estimates, "se": se, "low": estimates - width, "high": estimates + width, "p": p}
    return pd.DataFrame(columns, index=pd.Index(list(terms), name="term"))


def with_ratios(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """The table with exp(estimate) and its limits beside it, as columns ``name``, ``name_low``, ``name_high``; term as a column."""
    ratios = np.exp(table[["estimate", "low", "high"]].to_numpy())
    return table.assign(**{name: ratios[:, 0], f"{name}_low": ratios[:, 1], f"{name}_high": ratios[:, 2]}).reset_index()


def error_words(cluster: str | None, codes: np.ndarray | None, small_sample: bool) -> str:
    """How the standard errors were made, for ``.method``."""
    if codes is None:
        return "model-based errors"
    text = f"sandwich errors over {int(codes.max()) + 1} clusters ({cluster})"
    return text + (", factor G/(G - 1) and t limits" if small_sample else "")
