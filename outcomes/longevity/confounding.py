"""How strong an unseen difference between groups would have to be to explain a ratio away."""

from __future__ import annotations

from outcomes.longevity.estimate import ArgumentError, Estimate


def e_value(ratio: float, low: float | None = None, high: float | None = None) -> Estimate:
    """E-value of a risk (or rate) ratio, and of the limit nearer to 1: the smallest association, as a risk ratio with both group
    and outcome, that an unmeasured factor needs to explain it away. 1 means nothing is needed.

    ``value`` is the E-value of ``ratio``; ``low`` that of the limit nearer to 1 (nan without limits); se and high do not apply.
    Raises ArgumentError unless the ratio is positive and lies between its limits.
    Source: VanderWeele and Ding 2017 (Ann Intern Med 167:268), whose example is 3.9 (1.8 to 8.7):

    >>> answer = e_value(3.9, 1.8, 8.7)
    >>> round(answer.value, 1), round(answer.low, 1)
    (7.3, 3.0)
    """
    if not 0 < ratio < float("inf"):
        raise ArgumentError("ratio", f"must be a positive number, not {ratio!r}", "Give the ratio itself, not its logarithm.")
    nearer = float("nan")
    if low is not None and high is not None:
        if not 0 <= low <= ratio <= high:
            raise ArgumentError("low", "and high do not enclose the ratio", "Give the limits of the same ratio.")
        nearer = 1.0 if low <= 1 <= high else _needed(low if ratio > 1 else high)
    return Estimate(_needed(ratio), float("nan"), nearer, float("nan"), float("nan"), "low is the E-value of the limit nearer to 1")


def _needed(ratio: float) -> float:
    """E-value of a ratio on either side of 1: r + √(r (r − 1))."""
    above = max(ratio, 1 / ratio)
    return above + (above * (above - 1)) ** 0.5
