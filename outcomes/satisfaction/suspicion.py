"""What a whole file of answers gives away: items reversed twice, another edition, an instrument changed midway. Warnings, never errors."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .forms import Instrument

ENOUGH = 30  # questionnaires before a pattern is taken for one; a choice, no source
RUN = 10  # questionnaires in a row without an item before a change of form is suspected; a choice, no source


def suspicions(form: Instrument, matrix: np.ndarray, answered_on) -> tuple[str, ...]:
    """Sentences on what may have gone wrong before the answers came here; empty when nothing shows."""
    return tuple(s for s in (_reversed_twice(form, matrix), _starts_higher(form, matrix), _changed_midway(form, matrix, answered_on)) if s)


def _reversed_twice(form, matrix) -> str:
    turned = [i - 1 for i in form.reversed]
    rest = [i for i in range(form.items) if i not in turned]
    complete = matrix[~np.isnan(matrix).any(axis=1)]
    if not turned or not rest or len(complete) < ENOUGH:
        return ""
    others = complete[:, rest].mean(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        agreement = [np.corrcoef(form.minimum + form.maximum - complete[:, i], others)[0, 1] for i in turned]
    if not all(r < 0 for r in agreement) or np.mean(agreement) > -0.1:
        return ""
    return (
        f"Items {', '.join(map(str, form.reversed))} run against the rest once reversed: they may have been reversed already when they were typed. "
        f"If so, turn them back ({form.minimum + form.maximum:g} minus the answer) and score again."
    )


def _starts_higher(form, matrix) -> str:
    filled = matrix[~np.isnan(matrix)]
    if not form.whole or form.items == 1 or len(filled) < 20 * ENOUGH or (filled == form.minimum).any():
        return ""
    return f"Not one of {len(filled)} answers is {form.minimum:g}: was an edition used that starts at {filled.min():g}? The range is {form.range_in_words}."


def _changed_midway(form, matrix, answered_on) -> str:
    if answered_on is None or form.items == 1 or len(matrix) < 2 * RUN:
        return ""
    days = pd.to_datetime(pd.Series(answered_on), errors="coerce")
    order = np.argsort(days.to_numpy(), kind="stable")[: int(days.notna().sum())]
    given = ~np.isnan(matrix[order])
    for item in range(form.items):
        seen = np.flatnonzero(given[:, item])
        if len(seen) == 0 or len(seen) == len(order):
            continue
        before, after = seen[0], len(order) - 1 - seen[-1]
        inside = len(seen) / (seen[-1] - seen[0] + 1)
        if max(before, after) >= RUN and len(seen) >= RUN and inside > 0.5:
            when = days.iloc[order[seen[0]]] if before >= RUN else days.iloc[order[seen[-1]]]
            word = "only from" if before >= RUN else "only up to"
            return f"Item {item + 1} is answered {word} {when:%Y-%m-%d}: the form may have changed then. Score each form under its own name and compare only within one."
    return ""
