"""Several tests at once."""

from __future__ import annotations

import numpy as np

from outcomes.longevity.estimate import ArgumentError, as_numbers


def holm(p_values) -> np.ndarray:
    """P-values adjusted so that the chance of any false claim among them stays at the level. (m,) in, (m,) out, same order.

    Raises ArgumentError for a value outside 0 to 1. Source: Holm 1979 (Scand J Stat 6:65).

    >>> [round(float(p), 3) for p in holm([0.01, 0.04, 0.03, 0.005])]
    [0.03, 0.06, 0.06, 0.02]
    """
    p = as_numbers("p_values", p_values)
    outside = (p < 0) | (p > 1)
    if outside.any():
        raise ArgumentError("p_values", "holds a value outside 0 to 1", "Give p-values.", int(np.argmax(outside)))
    order = np.argsort(p)
    adjusted = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    out = np.empty(len(p))
    out[order] = np.minimum(adjusted, 1.0)
    return out
