"""Why a row ended: a cause by name, or nothing where it is censored."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError


def causes_against(values, event, *, length: int, argument: str = "cause") -> np.ndarray:
    """0 where censored ("" or missing), 1 where the cause is ``event``, 2 for any other cause.

    Raises ArgumentError for a wrong length, a name no row has, or no row that ended by ``event``.
    """
    labels = pd.Series(list(values), dtype=object)
    if len(labels) != length:
        raise ArgumentError(argument, f"has {len(labels)} values where {length} are needed", "All arguments need one value per row.")
    censored = (labels.isna() | (labels.astype(str).str.strip() == "")).to_numpy()
    wanted = (labels == event).to_numpy(dtype=bool) & ~censored
    if not wanted.any():
        present = ", ".join(sorted(map(str, labels[~censored].unique()))) or "none"
        raise ArgumentError("event", f"no row ended by {event!r}", f"Causes in the data: {present}; an empty cause is censored.")
    return np.where(censored, 0, np.where(wanted, 1, 2))
