"""How many parts will be needed: what has been changed so far, by age, level and reason, as sums per patient that can be drawn again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError

BANDS = (0.0, 30.0, 90.0, 365.25, 730.5, 1461.0)  # days of age at which the chance of a change may step; a choice
MOST_SITES = 8
SHRINK = 2.0  # changes' worth of the whole clinic's chance that is mixed into that of each age and each level; a choice
STAY = 0.5    # changes' worth of "back to the same level" that is mixed into where each level went; a choice
ROUNDS = 6    # turns between the chances of parts and the factors of patients
WIDEST = 3.0  # patients are never taken to differ by more than this variance of their own chance

PARTS = ("patient", "denture", "site", "first", "level", "start", "seen_from", "stop", "cause", "next_level", "in_place")
CARRIERS = ("patient", "denture", "start", "seen_from", "stop", "gone", "recent")
PEOPLE = ("patient", "seen_from", "stop", "gone")


@dataclass(frozen=True, eq=False)
class PartHistory:
    """What is known of parts up to ``closing``, in days on one clock.

    ``parts``: a row per part: patient, denture, site, first (of its site: a new set settles, a part that took another's place less so), level, start (day fitted), seen_from (day from which a change would have been noticed,
    not before start), stop (day it was changed or taken out, else closing or the day it left sight), cause ("" unless another took its place),
    next_level (of the part that took its place) and in_place (at closing). ``dentures``: patient, denture, start, seen_from, stop, gone (retired
    in that time), recent (delivered so lately that deliveries to come are read from it). ``patients``: patient, seen_from, stop, gone (left or
    died). ``recent_days``: length of the time in which deliveries count as recent. ``companion``: the cause of a part changed only because
    another in the same denture was.
    """

    parts: pd.DataFrame
    dentures: pd.DataFrame
    patients: pd.DataFrame
    closing: float
    recent_days: float
    companion: str = "with its pair"

    def __post_init__(self):
        for name, columns in (("parts", PARTS), ("dentures", CARRIERS), ("patients", PEOPLE)):
            missing = [column for column in columns if column not in getattr(self, name).columns]
            if missing:
                raise ArgumentError(name, f"lacks the columns {', '.join(missing)}", f"It needs {', '.join(columns)}.")
        if (self.parts["stop"] < self.parts["start"]).any() or (self.parts["seen_from"] < self.parts["start"]).any():
            raise ArgumentError("parts", "holds a part that ends, or is seen, before it starts", "Check the days behind it.")

    @property
    def changes(self) -> int:
        """Changed parts that count in the rates."""
        return int((self.parts["cause"] != "").sum())

    @property
    def patients_with_changes(self) -> int:
        """Patients with such a change."""
        return int(self.parts.loc[self.parts["cause"] != "", "patient"].nunique())

    @property
    def in_place(self) -> int:
        """Parts in place on the closing day."""
        return int(self.parts["in_place"].sum())

    @property
    def patients_in_place(self) -> int:
        """Patients with a part in place."""
        return int(self.parts.loc[self.parts["in_place"], "patient"].nunique())


@dataclass(frozen=True, eq=False)
class Sums:
    """The history as sums per patient (first axis). ``exposure``: level, band of age (of first parts, then of later ones); ``events``: cause, level, band; ``moves``: cause, level from,
    level to; ``sets``: cause, parts in the denture, parts changed that day; ``rates``: left, patient days, retired, denture days, deliveries."""

    people: np.ndarray
    levels: np.ndarray
    causes: np.ndarray
    exposure: np.ndarray
    events: np.ndarray
    moves: np.ndarray
    sets: np.ndarray
    rates: np.ndarray


def sums(history: PartHistory) -> Sums:
    """Days at risk and changes by age, level and cause, per patient. A day on which several parts of a denture were changed counts as one change,
    shared by those that had a reason of their own; the others came along, and are told by how many are changed at a time."""
    parts = history.parts.reset_index(drop=True)
    people = np.unique(np.concatenate([history.patients["patient"].to_numpy(object), parts["patient"].to_numpy(object)]).astype(str))
    levels = np.unique(np.concatenate([parts["level"].to_numpy(object), parts.loc[parts["cause"] != "", "next_level"].to_numpy(object)]).astype(str))
    own = parts["cause"][(parts["cause"] != "") & (parts["cause"] != history.companion)]
    causes = np.unique(own.to_numpy(object).astype(str)) if len(own) else np.array(["changed"])
    who, level = np.searchsorted(people, parts["patient"].astype(str)), np.searchsorted(levels, parts["level"].astype(str))
    low, high = np.array(BANDS), np.array([*BANDS[1:], np.inf])
    first, last = (parts["seen_from"] - parts["start"]).to_numpy(float), (parts["stop"] - parts["start"]).to_numpy(float)
    spent = np.clip(np.minimum(last[:, None], high) - np.maximum(first[:, None], low), 0, None)
    later = np.where(parts["first"].to_numpy(bool), 0, len(BANDS))
    exposure = np.zeros((len(people), len(levels), 2 * len(BANDS)))
    np.add.at(exposure, (who[:, None], level[:, None], later[:, None] + np.arange(len(BANDS))), spent)

    changed = parts[parts["cause"] != ""].assign(who=who[parts["cause"] != ""], code=level[parts["cause"] != ""])
    day = changed.groupby(["denture", "stop"], sort=False)
    index = changed["cause"] != history.companion
    index |= ~index.groupby([changed["denture"], changed["stop"]]).transform("any")
    share = index / index.groupby([changed["denture"], changed["stop"]]).transform("sum")
    cause = np.searchsorted(causes, changed["cause"].astype(str)).clip(max=len(causes) - 1)
    cause = np.where(causes[cause] == changed["cause"].astype(str), cause, 0)
    age = (changed["stop"] - changed["start"]).to_numpy(float)
    band = np.clip(np.searchsorted(BANDS, age, side="left") - 1, 0, len(BANDS) - 1) + later[(parts["cause"] != "").to_numpy()]
    to = np.searchsorted(levels, changed["next_level"].astype(str))
    together = day["site"].transform("size").clip(upper=MOST_SITES).to_numpy(int)
    at_risk = _beside(parts, changed).clip(upper=MOST_SITES).to_numpy(int)
    events = np.zeros((len(people), len(causes), len(levels), 2 * len(BANDS)))
    moves = np.zeros((len(people), len(causes), len(levels), len(levels)))
    sets = np.zeros((len(people), len(causes), MOST_SITES + 1, MOST_SITES + 1))
    places = changed["who"].to_numpy(), cause
    np.add.at(events, (*places, changed["code"].to_numpy(), band), share.to_numpy(float))
    np.add.at(moves, (*places, changed["code"].to_numpy(), to), share.to_numpy(float))
    np.add.at(sets, (*places, np.maximum(at_risk, together), together), share.to_numpy(float))
    return Sums(people, levels, causes, exposure, events, moves, sets, _rates(history, people))


def _beside(parts: pd.DataFrame, changed: pd.DataFrame) -> pd.Series:
    """Parts in the denture just before the day of each change."""
    days = changed[["denture", "stop"]].drop_duplicates().rename(columns={"stop": "on"})
    beside = days.merge(parts[["denture", "start", "stop"]], on="denture")
    beside = beside[(beside["start"] < beside["on"]) & (beside["stop"] >= beside["on"])].groupby(["denture", "on"]).size()
    return pd.Series(beside.reindex(pd.MultiIndex.from_frame(changed[["denture", "stop"]])).to_numpy(), index=changed.index).fillna(1).astype(int)


def _rates(history: PartHistory, people: np.ndarray) -> np.ndarray:
    """people x (left, days watched, dentures retired, days in service, dentures of late): what each patient adds to the rates."""
    rates = np.zeros((len(people), 5))
    patients, dentures = history.patients, history.dentures
    who, whose = np.searchsorted(people, patients["patient"].astype(str)), np.searchsorted(people, dentures["patient"].astype(str))
    np.add.at(rates, (who, 0), patients["gone"].to_numpy(float))
    np.add.at(rates, (who, 1), (patients["stop"] - patients["seen_from"]).clip(lower=0).to_numpy(float))
    np.add.at(rates, (whose, 2), dentures["gone"].to_numpy(float))
    np.add.at(rates, (whose, 3), (dentures["stop"] - dentures["seen_from"]).clip(lower=0).to_numpy(float))
    np.add.at(rates, (whose, 4), dentures["recent"].to_numpy(float))
    return rates


@dataclass(frozen=True, eq=False)
class Chances:
    """Drawn parameters, one set per draw (first axis). ``hazard``: cause, level, band, per day; ``moves`` and ``sets``: cumulative over their last
    axis; ``spread``: variance of patients' own chance; ``own``: (shape, rate) of each patient's own chance given the past; rates per day."""

    hazard: np.ndarray
    moves: np.ndarray
    sets: np.ndarray
    spread: np.ndarray
    shape: np.ndarray
    rate: np.ndarray
    leaving: np.ndarray
    retiring: np.ndarray
    delivering: np.ndarray


def chances(found: Sums, weights: np.ndarray, recent_days: float) -> Chances:
    """The parameters of each draw. weights: (draws, patients), how often each patient was drawn.

    Chance of a change for a cause: the clinic's, times a factor for the age (apart for a new set) and one for the level, (O + s)/(E + s) with E what the rest expects
    and s = SHRINK, so that a level with few changes stays near the clinic's own. Patients differ by a gamma factor; its variance is that of
    O - E over patients beyond chance (moments), and each patient's own chance is the factor given their past: (O + 1/v)/(E + 1/v), the classic
    shrinkage of accident counts (Greenwood & Yule 1920 J R Stat Soc 83:255, from memory). Chances and factors are worked out in turns, so that
    patients whose parts never grow old do not make young parts look short-lived.
    """
    draws, people = weights.shape

    def drawn(array: np.ndarray) -> np.ndarray:
        return (weights @ array.reshape(len(array), -1)).reshape(draws, *array.shape[1:])

    events, seen = drawn(found.events), found.events.sum(axis=(1, 2, 3))
    own = np.ones_like(weights)
    for _ in range(ROUNDS):
        hazard = _hazard(events, ((weights * own) @ found.exposure.reshape(people, -1)).reshape(draws, *found.exposure.shape[1:]))
        due = hazard.sum(axis=1).reshape(draws, -1) @ found.exposure.reshape(people, -1).T
        beyond = (weights * ((seen - due) ** 2 - due)).sum(axis=1) / np.maximum((weights * due**2).sum(axis=1), 1e-9)
        spread = np.clip(beyond, 1e-3, WIDEST)
        own = (seen + 1 / spread[:, None]) / (due + 1 / spread[:, None])
    rates = drawn(found.rates)
    with np.errstate(divide="ignore", invalid="ignore"):
        leaving, retiring = (np.nan_to_num(rates[:, k] / rates[:, k + 1]) for k in (0, 2))
    return Chances(hazard, _moves(drawn(found.moves)), _sets(drawn(found.sets)), spread, seen + 1 / spread[:, None], due + 1 / spread[:, None], leaving, retiring, rates[:, 4] / recent_days)


def _hazard(events: np.ndarray, exposure: np.ndarray) -> np.ndarray:
    """Chance a day of each cause at each level and age: the clinic's, by age, by level. events: draw, cause, level, band; exposure: draw, level, band.

    By age first parts lean on the clinic's plain chance, later ones on what first parts of that age would lead one to expect.
    """
    bands = len(BANDS)
    plain = events.sum(axis=(2, 3)) / np.maximum(exposure.sum(axis=(1, 2)), 1e-9)[:, None]
    seen, days = events.sum(axis=2), exposure.sum(axis=1)[:, None, :]
    expected = plain[:, :, None] * days[..., :bands]
    first = plain[:, :, None] * (seen[..., :bands] + SHRINK) / (expected + SHRINK)
    expected = first * days[..., bands:]
    whole = (seen[..., bands:].sum(axis=2, keepdims=True) + SHRINK) / (expected.sum(axis=2, keepdims=True) + SHRINK)
    later = first * whole * (seen[..., bands:] + SHRINK) / (whole * expected + SHRINK)
    chance = np.concatenate([first, later], axis=2)
    expected = np.einsum("dcb,dlb->dcl", chance, exposure)
    by_level = (events.sum(axis=3) + SHRINK) / (expected + SHRINK)
    return chance[:, :, None, :] * by_level[:, :, :, None]


def _moves(counts: np.ndarray) -> np.ndarray:
    """Where a part of each level was followed: cumulative shares, mixed with a little of "the same level"."""
    counts = counts + STAY * np.eye(counts.shape[-1])
    return np.cumsum(counts / counts.sum(axis=-1, keepdims=True), axis=-1)


def _sets(counts: np.ndarray) -> np.ndarray:
    """How many are changed at a time, by how many sit in the denture: cumulative shares, mixed with a little of "one or all" as often as elsewhere."""
    number = np.arange(MOST_SITES + 1)
    several = number >= 2
    whole = counts[:, :, number, number][:, :, several].sum(axis=-1)
    every = counts[:, :, several].sum(axis=(-1, -2))
    all_of_them = (whole + 0.5) / (every + 1)
    prior = np.zeros_like(counts)
    prior[..., 1] = 1 - all_of_them[..., None]
    prior[:, :, number, number] += all_of_them[..., None]
    prior[:, :, 1], prior[:, :, 0] = number == 1, number == 1
    mixed = counts + STAY * prior
    return np.cumsum(mixed / mixed.sum(axis=-1, keepdims=True), axis=-1)
