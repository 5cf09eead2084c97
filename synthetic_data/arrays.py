"""First inserts as arrays, for simulations of estimators: thousands of small clinics at once, no log in between.

The law is that of the scenario ``textbook``: Z ~ Gamma(1/v, v) per patient, T = years (E/Z)^(1/shape), everybody's set fitted on day 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.errors import Misuse

from .clocks import YEAR, weibull_days
from .draws import NEVER, Chance, day_after

MOST_SITES = 4


@dataclass(frozen=True)
class Textbook:
    """One entry per insert. Days are whole days since fitting; NEVER (2^30) where something did not happen.

    ``replicate`` and ``patient`` (unique over replicates) say whose it is; ``life_days`` is its exact true life,
    ``failed_day`` the first whole day on which it had failed. ``last_sound`` is the last day it was looked at and sound, ``found_day`` the day it was found failed,
    ``at_problem`` whether that visit came of a failure in that mouth, of this insert or another. ``end_day`` is the last day it was followed: found, changed for another reason
    (then looked at that day), died, or the closing day; ``ending`` says which: failed, with its pair, wanted firmer, died, or nothing.
    """

    replicate: np.ndarray
    patient: np.ndarray
    sites: np.ndarray
    life_days: np.ndarray
    failed_day: np.ndarray
    last_sound: np.ndarray
    found_day: np.ndarray
    at_problem: np.ndarray
    end_day: np.ndarray
    ending: np.ndarray
    shape: float
    years: float
    variance: float

    def survival(self, t) -> np.ndarray:
        """True S(t), ``t`` in days: (1 + v (t / years)^shape)^(-1/v), exp(-(t / years)^shape) without frailty."""
        hazard = (np.asarray(t, dtype=float) / (self.years * YEAR)) ** self.shape
        return np.exp(-hazard) if self.variance == 0 else (1 + self.variance * hazard) ** (-1 / self.variance)

    def by_examination(self) -> tuple[np.ndarray, np.ndarray]:
        """(left, right]: found failed after the last sound look, else right-censored there (right = inf)."""
        return self.last_sound.astype(float), self._right()

    def by_patient(self, notice_days: int = 30) -> tuple[np.ndarray, np.ndarray]:
        """(left, right]: found within ``notice_days`` where the patient came for it, else right-censored while under care, less those days."""
        early = np.where(self.at_problem, self.found_day - notice_days, 0)
        silent = np.where(np.isin(self.ending, ("with its pair", "wanted firmer")), self.end_day, self.end_day - notice_days)
        left = np.where(self.found_day < NEVER, np.maximum(self.last_sound, early), np.maximum(self.last_sound, silent))
        return left.astype(float), self._right()

    def on_day_found(self) -> tuple[np.ndarray, np.ndarray]:
        """(duration, observed): the day found, else the last sound look."""
        observed = self.found_day < NEVER
        return np.where(observed, self.found_day, self.last_sound).astype(float), observed

    def _right(self):
        return np.where(self.found_day < NEVER, self.found_day, np.inf)


def textbook(
    patients: int, *, seed: int, replicates: int = 1, shape: float = 1.5, years: float = 4.0, variance: float = 1.0, sites: tuple[int, ...] = (2, 4),
    closing_years: tuple[float, float] = (1.0, 8.0), recall_days: int | None = 365, recall_spread: float = 30.0, recalled: float = 1.0,
    problem: float = 0.5, problem_days: float = 14.0, problem_spread: float = 4.0, set_change: float = 0.0, died_per_year: float = 0.03,
    request_per_year: float = 0.05,
) -> Textbook:  # fmt: skip
    """Draws ``replicates`` clinics of ``patients`` each.

    ``sites``: inserts per patient, each as likely as the others (1 to 4). ``recall_days`` None: nobody is recalled; ``recalled``: share of patients who
    are. ``problem``: chance that a failure brings the patient in after ``problem_days``. ``set_change``: chance that all inserts of a
    patient are changed when one is found failed. Spreads are standard deviations in days. Raises Misuse for sites outside 1 to 4.
    """
    if not set(sites) <= set(range(1, MOST_SITES + 1)):
        raise Misuse("A patient of the textbook has 1 to 4 sites.")
    chance, n = Chance(seed), patients * replicates
    count = np.array(sites)[chance.choice(np.ones(len(sites)), n)]
    there = np.arange(MOST_SITES) < count[:, None]
    life = weibull_days(chance.exponential(there.shape), chance.gamma(variance, n)[:, None], years, shape)
    failed = np.where(there, day_after(0, life), NEVER)
    closing = chance.whole(round(closing_years[0] * YEAR), round(closing_years[1] * YEAR), n)
    died, request = _later(chance, n, died_per_year), _later(chance, n, request_per_year)
    care = np.minimum(closing, died - 1)
    looks = _recalls(chance, n, closing_years[1], recall_days, recall_spread, recalled)
    looks = np.where(looks < np.minimum(care + 1, request)[:, None], looks, NEVER)
    comes = np.where(chance.happens(problem, there.shape), failed + _around(chance, there.shape, problem_days, problem_spread), NEVER)
    comes = np.where((failed < NEVER) & (comes < np.minimum(care + 1, request)[:, None]), comes, NEVER)
    visits = _problem_visits(failed, comes, looks)
    asked = np.where(request <= care, request, NEVER)
    looks = np.concatenate([looks, visits, asked[:, None]], axis=1)
    found = _first_from(looks, failed)
    first_found = found.min(axis=1)
    changed = np.where(chance.happens(set_change, n), first_found, NEVER)  # the day on which the whole set is changed
    stop = np.minimum(changed, asked)
    found = np.where(found <= stop[:, None], found, NEVER)
    end = np.minimum(np.minimum(found, stop[:, None]), care[:, None])
    sound = np.where((looks[:, None, :] < failed[:, :, None]) & (looks[:, None, :] <= end[:, :, None]), looks[:, None, :], 0).max(axis=2)
    ending = np.select(
        [found < NEVER, (changed <= asked)[:, None] & (changed < NEVER)[:, None], (asked < NEVER)[:, None], (died <= closing)[:, None]],
        ["failed", "with its pair", "wanted firmer", "died"], "",
    )  # fmt: skip
    at_problem = (found < NEVER) & (visits[:, None, :] == found[:, :, None]).any(axis=2)
    flat = np.nonzero(there)
    columns = (life, failed, sound, found, at_problem, np.broadcast_to(end, there.shape), ending)
    return Textbook(flat[0] // patients, flat[0], count[flat[0]], *(column[flat] for column in columns), shape, years, variance)


def _later(chance, n, per_year):
    return day_after(0, chance.exponential(n) / per_year * YEAR) if per_year else np.full(n, NEVER)


def _around(chance, size, days, spread):
    return np.maximum(np.round(days + spread * chance.normal(size)), 1).astype(np.int32)


def _recalls(chance, n, years, days, spread, recalled):
    if days is None:
        return np.full((n, 1), NEVER)
    gaps = _around(chance, (n, int(np.ceil(years * YEAR / days)) + 1), days, spread)
    return np.where(chance.happens(recalled, n)[:, None], np.cumsum(gaps, axis=1), NEVER)


def _problem_visits(failed, comes, looks):
    """The days on which a failure truly brings the patient in: those that no earlier look has found by then."""
    visits = np.full(comes.shape, NEVER)
    order = np.argsort(comes, axis=1, kind="stable")
    rows = np.arange(len(comes))
    for place in range(comes.shape[1]):
        site = order[:, place]
        day, since = comes[rows, site], failed[rows, site]
        earlier = np.concatenate([looks, visits], axis=1)
        known = ((earlier >= since[:, None]) & (earlier <= day[:, None])).any(axis=1)
        visits[:, place] = np.where(known, NEVER, day)
    return visits


def _first_from(looks, failed):
    """The first look on or after the day each part failed."""
    return np.where(looks[:, None, :] >= failed[:, :, None], looks[:, None, :], NEVER).min(axis=2)
