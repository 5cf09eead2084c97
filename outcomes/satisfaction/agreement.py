"""How far two people agree beyond chance: Cohen's kappa, also with weights for codes that have an order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.longevity.estimate import ArgumentError, as_codes, normal_quantile
from outcomes.longevity.sandwich import robust_covariance

WEIGHTS = ("linear", "quadratic")


@dataclass(frozen=True)
class Agreement:
    """Agreement of two people on the same items.

    ``kappa`` with ``se`` and limits ``low`` and ``high``; ``observed`` and ``expected``: the (weighted) shares of agreement seen
    and expected by chance; ``pairs``: items both coded. What is not defined is nan, and ``note`` says why.
    """

    kappa: float
    se: float
    low: float
    high: float
    observed: float
    expected: float
    pairs: int
    level: float = 0.95
    note: str = ""


def cohen_kappa(first, second, *, categories=None, weights=None, cluster=None, level: float = 0.95) -> Agreement:
    """Cohen's kappa of two codings of the same items.

    first, second: one code for each item, without missing values. categories: every code there is, in their order (default: those
    met, sorted); the order matters with weights only. weights: None (every difference counts alike), "linear" (Cicchetti and
    Allison: a difference of two steps counts twice one step), "quadratic" (Fleiss and Cohen: four times), or a matrix of weights
    of agreement, 1 on its diagonal. cluster: one label an item, such as the patient, where items of one are not independent.

    κ = (po − pe) / (1 − pe) with po = Σ w_ij p_ij and pe = Σ w_ij p_i. p_.j. Its standard error is the root of the summed squares of
    κ's influence of each item, which without clusters is the large-sample formula of Fleiss, Cohen & Everitt. Limits are
    κ ± z·se, cut at −1 and 1. kappa is nan where chance alone would agree in everything (one category only); without any
    disagreement, without any agreement and no spread at all, or with fewer than two clusters, limits are nan.

    Raises ArgumentError for lengths that differ, codes not among the categories, and weights of the wrong shape.
    Sources: Cohen 1960 Educ Psychol Meas 20:37; Cohen 1968 Psychol Bull 70:213; Fleiss, Cohen & Everitt 1969 Psychol Bull 72:323.

    >>> one = cohen_kappa(["a"] * 60 + ["b"] * 30 + ["c"] * 10, ["a"] * 44 + ["b"] * 7 + ["c"] * 9 + ["a"] * 5 + ["b"] * 20 + ["c"] * 5 + ["a"] + ["b"] * 3 + ["c"] * 6)
    >>> round(one.kappa, 3)      # the proportions of Cohen 1968: (.70 - .41) / (1 - .41)
    0.492
    """
    z = normal_quantile(level)
    first, second = list(first), list(second)
    if len(first) != len(second):
        raise ArgumentError("second", f"has {len(second)} codes where first has {len(first)}", "Pass one code of each person for each item.")
    known = list(categories) if categories is not None else sorted(set(first) | set(second), key=lambda code: (str(type(code)), code))
    place = {code: number for number, code in enumerate(known)}
    rows, columns = (_numbers(name, codes, place) for name, codes in (("first", first), ("second", second)))
    weight = _weights(weights, len(known))
    nan = float("nan")
    n = len(rows)
    if n == 0:
        return Agreement(nan, nan, nan, nan, nan, nan, 0, level, "there is no item that both coded")
    table = np.zeros((len(known), len(known)))
    np.add.at(table, (rows, columns), 1.0)
    table /= n
    one, other = table.sum(axis=1), table.sum(axis=0)
    observed, expected = float((weight * table).sum()), float(one @ weight @ other)
    if 1 - expected < 1e-12:
        return Agreement(nan, nan, nan, nan, observed, expected, n, level, "kappa is not defined: both used one code throughout, so that chance alone would agree in everything")
    kappa = (observed - expected) / (1 - expected)
    agreed = weight[rows, columns] - observed
    by_chance = (weight @ other)[rows] + (weight.T @ one)[columns] - 2 * expected
    influence = (agreed * (1 - expected) - by_chance * (1 - observed)) / (1 - expected) ** 2 / n
    codes = np.arange(n) if cluster is None else as_codes("cluster", cluster, length=n)[0]
    if observed > 1 - 1e-12:
        return Agreement(float(kappa), nan, nan, nan, observed, expected, n, level, "no limits: not one difference was found")
    if codes.max() < 1:
        return Agreement(float(kappa), nan, nan, nan, observed, expected, n, level, "no limits: all items belong together")
    se = float(np.sqrt(robust_covariance(influence[:, None], codes)[0, 0]))
    if se < 1e-12:
        return Agreement(float(kappa), nan, nan, nan, observed, expected, n, level, "no limits: they differ in every item alike")
    return Agreement(float(kappa), se, float(max(kappa - z * se, -1.0)), float(min(kappa + z * se, 1.0)), observed, expected, n, level)


def _numbers(name: str, codes: list, place: dict) -> np.ndarray:
    try:
        wrong = next((number for number, code in enumerate(codes) if code not in place), None)
    except TypeError:
        raise ArgumentError(name, "holds something that is no code", "Pass texts or numbers.") from None
    if wrong is not None:
        raise ArgumentError(name, "holds a code that is not among the categories, or none", "Leave out items that one person did not code.", wrong)
    return np.array([place[code] for code in codes], dtype=np.int64)


def _weights(weights, size: int) -> np.ndarray:
    if weights is None:
        return np.eye(size)
    if isinstance(weights, str):
        if weights not in WEIGHTS:
            raise ArgumentError("weights", f"is {weights!r}", f"Give one of {', '.join(WEIGHTS)}, a matrix, or None.")
        steps = np.abs(np.subtract.outer(np.arange(size), np.arange(size))) / max(size - 1, 1)
        return 1 - steps ** (1 if weights == "linear" else 2)
    matrix = np.asarray(weights, dtype=float)
    if matrix.shape != (size, size) or not np.allclose(np.diag(matrix), 1):
        raise ArgumentError("weights", f"must be a {size} by {size} matrix with 1 on its diagonal", "Give weights of agreement: 1 for the same code, less the further two codes lie apart.")
    return matrix
