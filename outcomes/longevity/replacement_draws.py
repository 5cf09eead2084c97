"""How many parts will be needed in the time to come: each part in place followed on by its own chance, many times over."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError, normal_quantile
from outcomes.longevity.replacement import BANDS, MOST_SITES, Chances, PartHistory, Sums, chances, sums

STEP = 10.0  # days at a time
AT_ONCE = 250_000  # dentures x draws followed together
WHAT = ("replaced", "new", "total")


@dataclass(frozen=True, eq=False)
class ReplacementForecast:
    """``rows``: a row per level, and one for all: for parts that take another's place in dentures now in use ("replaced"), for sets still to be
    delivered and their own changes ("new"), and both ("total"): the mean and the range (_low, _high) that holds the share ``level`` of draws.
    ``counts``: (draws, 2, levels), replaced and new."""

    rows: pd.DataFrame
    days: float
    level: float
    counts: np.ndarray = field(repr=False)
    levels: tuple[str, ...]
    spread: float
    method: str

    def table(self) -> pd.DataFrame:
        """One row per level, the last for all levels together (level "all")."""
        return self.rows.copy()


def replacement_forecast(history: PartHistory, days: float, *, draws: int = 500, level: float = 0.8, seed: int = 0) -> ReplacementForecast:
    """Parts needed in the ``days`` after closing, by level, with a range that holds chance and what is not known of the chances.

    Every draw resamples patients whole and estimates anew: the chance of a change by cause, age and level; how many parts of a denture are
    changed at a time; to which level each goes; how many patients leave and dentures are retired; how many sets are delivered. Then every part
    in place, and every set that is delivered in that draw, is followed on in steps of ten days. Raises ArgumentError where no part was ever
    changed, or none is in place.
    """
    normal_quantile(level)
    if not (np.isfinite(days) and days > 0):
        raise ArgumentError("days", "must be above 0", "Ask for the days to look ahead.")
    if history.changes == 0 or history.in_place == 0:
        raise ArgumentError("history", f"holds {history.changes} changes and {history.in_place} parts in place", "A forecast needs both.")
    found = sums(history)
    generator = np.random.default_rng(seed)
    people = len(found.people)
    weights = generator.multinomial(people, np.full(people, 1 / people), size=draws).astype(float)
    drawn = chances(found, weights, history.recent_days)
    start = _start(history, found)
    counts = np.zeros((draws, 2, len(found.levels)))
    block = max(1, AT_ONCE // max(1, len(start.level) + 10))
    for first in range(0, draws, block):
        counts[first : first + block] = _follow(start, _part(drawn, slice(first, first + block)), weights[first : first + block], days, generator)
    method = (f"{draws} draws of whole patients; chance of a change by cause, age ({', '.join(f'{band:g}' for band in BANDS[1:])} days) and level, patients' own chance gamma (variance {np.median(drawn.spread):.2f}); "
              "parts in place and sets to come followed in steps of ten days")
    return ReplacementForecast(_rows(counts, found.levels, level), float(days), level, counts, tuple(found.levels), float(np.median(drawn.spread)), method)


def _part(drawn: Chances, rows: slice) -> Chances:
    """The same chances for some of the draws."""
    return Chances(**{name: getattr(drawn, name)[rows] for name in Chances.__dataclass_fields__})


@dataclass(frozen=True, eq=False)
class _Start:
    """Dentures in use at closing (rows) with their parts (columns, padded), and recent deliveries to draw new ones from."""

    who: np.ndarray
    people: int
    level: np.ndarray
    born: np.ndarray
    held: np.ndarray
    later: np.ndarray
    new_level: np.ndarray
    new_held: np.ndarray
    new_who: np.ndarray


def _start(history: PartHistory, found: Sums) -> _Start:
    """What is in place on the closing day and what new dentures start with, as grids of dentures x sites."""
    parts = history.parts
    here = parts[parts["in_place"]].sort_values(["denture", "site"])
    first = parts.sort_values(["denture", "site", "start"]).drop_duplicates(["denture", "site"])
    given = first[first["denture"].isin(history.dentures.loc[history.dentures["recent"], "denture"])]
    widest = min(MOST_SITES, max((int(rows.groupby("denture").size().max()) for rows in (here, given) if len(rows)), default=1))
    who, level, born, held, later = _grid(here, found, history.closing, widest)
    new_who, new_level, _, new_held, _ = _grid(given, found, history.closing, widest)
    return _Start(who, len(found.people), level, born, held, later, new_level, new_held, new_who)


def _grid(rows: pd.DataFrame, found: Sums, closing: float, widest: int):
    """Rows of parts as one line per denture: patient, level, day of fitting after closing (so below 0), whether there is a part, and a later one."""
    denture = pd.factorize(rows["denture"])[0]
    place = rows.groupby("denture").cumcount().to_numpy()
    kept = place < widest
    number = int(denture.max()) + 1 if len(rows) else 0
    level, born, held, later, who = np.zeros((number, widest), int), np.zeros((number, widest)), np.zeros((number, widest), bool), np.zeros((number, widest), bool), np.zeros(number, int)
    where = denture[kept], place[kept]
    level[where] = np.searchsorted(found.levels, rows["level"].astype(str))[kept]
    born[where] = (rows["start"].to_numpy(float) - closing)[kept]
    held[where], later[where] = True, ~rows["first"].to_numpy(bool)[kept]
    who[denture] = np.searchsorted(found.people, rows["patient"].astype(str))
    return who, level, born, held, later


def _follow(start: _Start, drawn: Chances, weights: np.ndarray, days: float, generator) -> np.ndarray:
    """Parts used in each draw: (draws, replaced or new, levels)."""
    (known, widest), draws, levels = start.level.shape, len(weights), drawn.hazard.shape[2]
    coming = generator.poisson(drawn.delivering * days) if len(start.new_level) else np.zeros(draws, int)
    slots = known + int(coming.max(initial=0))
    level, born, held, later = (np.zeros((draws, slots, widest), kind) for kind in (int, float, bool, bool))
    level[:, :known], born[:, :known], held[:, :known], later[:, :known] = start.level, start.born, start.held, start.later
    arrival = np.full((draws, slots), -np.inf)
    counts = np.zeros((draws, 2, levels))
    if slots > known:
        number = slots - known
        arrival[:, known:] = np.where(np.arange(number) < coming[:, None], generator.uniform(0, days, (draws, number)), np.inf)
        donor = _donors(start, weights, number, generator)
        level[:, known:], held[:, known:] = start.new_level[donor], start.new_held[donor] & (arrival[:, known:] < np.inf)[..., None]
        born[:, known:] = np.where(np.isfinite(arrival[:, known:]), arrival[:, known:], 0)[..., None]
        rows = np.nonzero(held[:, known:])
        np.add.at(counts, (rows[0], 1, level[:, known:][rows]), 1)
    own = generator.gamma(np.concatenate([drawn.shape[:, start.who], np.repeat(1 / drawn.spread[:, None], slots - known, axis=1)], axis=1))
    own /= np.concatenate([drawn.rate[:, start.who], np.repeat(1 / drawn.spread[:, None], slots - known, axis=1)], axis=1)
    own[:, :known] = own[np.arange(draws)[:, None], _first_of(start.who)[None, :]]  # one patient, one chance
    until = _until(start, drawn, slots, generator)
    total = drawn.hazard.sum(axis=1)
    for begin in np.arange(0, days, STEP):
        end = min(begin + STEP, days)
        time = np.clip(np.minimum(end, until) - np.maximum(begin, arrival), 0, None)
        middle = (begin + end) / 2
        band = np.searchsorted(BANDS, np.maximum(middle - born, 0), side="right") - 1 + len(BANDS) * later
        chance = np.where(held, total[np.arange(draws)[:, None, None], level, band], 0.0)
        happens = generator.random((draws, slots)) < chance.sum(axis=2) * own * time
        _change(np.nonzero(happens), chance, band, level, born, held, later, drawn, middle, known, counts, generator)
    return counts


def _donors(start: _Start, weights: np.ndarray, number: int, generator) -> np.ndarray:
    """Which recent delivery each new set is like: drawn as often as its patient was."""
    out = np.empty((len(weights), number), int)
    for row, weight in enumerate(weights[:, start.new_who]):
        out[row] = generator.choice(len(weight), number, p=weight / weight.sum()) if weight.sum() else 0
    return out


def _first_of(who: np.ndarray) -> np.ndarray:
    """For each denture the first of the same patient."""
    _, first, inverse = np.unique(who, return_index=True, return_inverse=True)
    return first[inverse]


def _until(start: _Start, drawn: Chances, slots: int, generator) -> np.ndarray:
    """Days until each denture is out of the clinic's care: its patient leaves, or it is retired."""
    draws, known = len(drawn.leaving), len(start.who)
    with np.errstate(divide="ignore"):
        leaves = generator.exponential(1, (draws, slots)) / drawn.leaving[:, None]
        leaves[:, :known] = leaves[:, _first_of(start.who)] if known else leaves[:, :known]
        return np.minimum(leaves, generator.exponential(1, (draws, slots)) / drawn.retiring[:, None])


def _change(where, chance, band, level, born, held, later, drawn: Chances, now: float, known: int, counts, generator) -> None:
    """Change parts of the dentures at ``where``: which, why, how many with it, and to which level; in place."""
    draw, slot = where
    if len(draw) == 0:
        return
    here = np.cumsum(chance[draw, slot], axis=1)
    widest = here.shape[1]
    site = (generator.random(len(draw))[:, None] * here[:, -1:] >= here).sum(axis=1).clip(max=widest - 1)
    old, age = level[draw, slot, site], band[draw, slot, site]
    by_cause = np.cumsum(drawn.hazard[draw, :, old, age], axis=1)
    cause = (generator.random(len(draw))[:, None] * by_cause[:, -1:] >= by_cause).sum(axis=1).clip(max=by_cause.shape[1] - 1)
    number = held[draw, slot].sum(axis=1)
    together = (generator.random(len(draw))[:, None] >= drawn.sets[draw, cause, number]).sum(axis=1)
    new = (generator.random(len(draw))[:, None] >= drawn.moves[draw, cause, old]).sum(axis=1).clip(max=drawn.moves.shape[-1] - 1)
    key = np.where(held[draw, slot], generator.random((len(draw), widest)), 2.0)
    key[np.arange(len(draw)), site] = -1.0
    chosen = key.argsort(axis=1).argsort(axis=1) < np.clip(together, 1, number)[:, None]
    rows, sites = np.nonzero(chosen)
    place = draw[rows], slot[rows], sites
    level[place], born[place], later[place] = new[rows], now, True
    np.add.at(counts, (draw[rows], (slot[rows] >= known).astype(int), new[rows]), 1)


def _rows(counts: np.ndarray, levels, level: float) -> pd.DataFrame:
    """Means and ranges by level and for all; a range's ends are counts that were drawn."""
    out = []
    for name, part in [*((name, counts[:, :, k]) for k, name in enumerate(levels)), ("all", counts.sum(axis=2))]:
        row = {"level": name}
        for what, drawn in zip(WHAT, (part[:, 0], part[:, 1], part.sum(axis=1))):
            low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], method="inverted_cdf")
            row |= {what: float(drawn.mean()), f"{what}_low": int(low), f"{what}_high": int(high)}
        out.append(row)
    return pd.DataFrame(out)
