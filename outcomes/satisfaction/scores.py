"""Questionnaires to scores, by the rules that the instrument's file states."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from . import forms
from .answers import read_answers
from .forms import Instrument
from .suspicion import suspicions


@dataclass(frozen=True)
class Scores:
    """Scored questionnaires.

    ``total``: one float per questionnaire, nan where too many items are blank (or the instrument has no total).
    ``items``: questionnaires by items with reversed items turned round, nan for a blank: what Cronbach's alpha wants.
    ``domains``: name to array. ``counts``: questionnaires, complete, prorated, without a total, domain scores prorated.
    ``method`` and ``notes`` are sentences. ``table()`` is one row per questionnaire.
    """

    instrument: Instrument
    total: np.ndarray
    items: np.ndarray
    prorated: np.ndarray
    domains: dict[str, np.ndarray]
    counts: dict[str, int]
    method: str
    notes: tuple[str, ...]
    _identity: pd.DataFrame = field(repr=False)
    _extent: np.ndarray | None = field(repr=False, default=None)

    def table(self) -> pd.DataFrame:
        """Identity columns, ``instrument``, ``answered`` (items), ``total`` and ``prorated`` where there is a total, domains.

        ``extent`` counts items answered at or above the instrument's impact; ``distance`` (best in the middle) is the
        distance from the best answer, lower better.
        """
        table = self._identity.copy()
        table["instrument"] = self.instrument.name
        table["answered"] = (~np.isnan(self.items)).sum(axis=1)
        if self.instrument.total == "sum":
            table["total"], table["prorated"] = self.total, self.prorated
        for name, values in self.domains.items():
            table[name] = values
        if self._extent is not None:
            table["extent"] = self._extent
        if self.instrument.better == "nearest":
            table["distance"] = np.abs(self.total - self.instrument.best)
        return table


def _summed(items: np.ndarray, most_missing: int | None, share: float = 0.0, least: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """(sum prorated to all items, whether prorated): nan with more blanks than allowed or too few answers."""
    size = items.shape[1]
    answered = (~np.isnan(items)).sum(axis=1)
    enough = (size - answered <= most_missing) if most_missing is not None else (answered >= share * size) & (answered >= min(least, size))
    enough &= answered > 0
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.where(enough, np.nansum(items, axis=1) * size / answered, np.nan)
    return value, enough & (answered < size)


def _rule_in_words(form: Instrument) -> str:
    words = f"{form.title}: {form.items} item{'s' if form.items > 1 else ''}, answers {form.range_in_words}"
    words += f", items {', '.join(map(str, form.reversed))} reversed" if form.reversed else ""
    if form.total == "none":
        return words + "; no total, one score for each aspect."
    if form.items == 1:
        return words + f"; the score is the answer, {form.better} is better." if form.better != "nearest" else words + f"; {form.best:g} is best."
    words += f"; total {form.lowest:g} to {form.highest:g}, {form.better} is better; mean of the answered items times {form.items} with at most {form.missing_total} blank"
    words += f"; a domain with at least {form.domain_share:.0%} and {form.domain_least} of its items answered" if form.domains else ""
    return words + "; otherwise no score."


def score(responses, instrument, *, not_answered=()) -> Scores:
    """Score questionnaires of one instrument.

    responses: long rows (columns patient_id, item, response; answered_on, about, instrument, occasion where there are), a
    wide frame (one row per questionnaire, a column per item: 1, item_1, q1, ohip_14_1; other columns are carried along), or
    an array of questionnaires by items. instrument: a shipped name or an Instrument. Blank, "don't know" and the codes
    in ``not_answered`` are missing. The range is the declared one and never guessed.
    Raises ArgumentError for an answer out of range (item and range named), an item answered twice differently, a missing
    item column, an unknown instrument. Rules and their sources stand in the instrument's file.

    >>> score([[4] * 14, [1] * 12 + [None] * 2], "ohip_14").total
    array([56., 14.])
    """
    form = forms.instrument(instrument)
    answers = read_answers(responses, form, not_answered)
    items = answers.matrix.copy()
    turned = [i - 1 for i in form.reversed]
    items[:, turned] = form.minimum + form.maximum - items[:, turned]
    nothing = np.full(len(items), np.nan)
    total, prorated = _summed(items, form.missing_total) if form.total == "sum" else (nothing, np.zeros(len(items), dtype=bool))
    domains, filled = {}, 0
    for domain in form.domains:
        domains[domain.name], part = _summed(items[:, [i - 1 for i in domain.items]], None, form.domain_share, form.domain_least)
        filled += int(part.sum())
    extent = None
    if form.impact_from is not None:
        extent = np.where(np.isnan(total), np.nan, (np.nan_to_num(answers.matrix, nan=-np.inf) >= form.impact_from).sum(axis=1))
    days = answers.identity["answered_on"] if "answered_on" in answers.identity else None
    complete = ~np.isnan(items).any(axis=1)
    counts = {
        "questionnaires": len(items),
        "complete": int(complete.sum()),
        "prorated": int(prorated.sum()),
        "without a total": int(np.isnan(total).sum()) if form.total == "sum" else 0,
        "domain scores prorated": filled,
    }
    notes = answers.notes + suspicions(form, answers.matrix, days)
    return Scores(form, total, items, prorated, domains, counts, _rule_in_words(form), notes, answers.identity, extent)
