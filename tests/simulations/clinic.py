"""The simulated clinic: parts that share a patient's frailty, Weibull lives, and visits that find failures late or soon.

A patient's frailty Z is gamma with mean 1 and a given variance; a part lives scale · (E/Z)^(1/shape), E standard exponential.
All days are whole and count from the fitting; a part failed by day d if its life is d or less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

YEAR = 365.25
SHAPE = 1.5
SCALE = 4 * YEAR
CLOSING = (1.0, 8.0)  # years from fitting to the closing of the log, uniform
DEATH = 0.03  # a year
WISH = 0.05  # a year and part: a change asked for whatever the wear
NOTICE = (14.0, 4.0)  # days from a failure the patient notices to the visit: mean, spread
NEVER = np.inf


def survival(day, *, frailty: float, scale: float = SCALE, parts: int = 1):
    """True share of groups of ``parts`` with none failed by ``day``: (1 + v n H)^(-1/v), v the variance of the frailty."""
    hazard = parts * (np.asarray(day) / scale) ** SHAPE
    return np.exp(-hazard) if frailty == 0 else (1 + frailty * hazard) ** (-1 / frailty)


def scale_for(share: float, day: float, *, frailty: float) -> float:
    """The scale at which a true ``share`` lasts beyond ``day``."""
    hazard = -np.log(share) if frailty == 0 else (share**-frailty - 1) / frailty
    return day / hazard ** (1 / SHAPE)


@dataclass(frozen=True)
class Parts:
    """Parts by row: ``patient`` and ``site`` codes, ``life``, ``closing`` (of the log, or the patient's death), ``wish`` (a change asked for)."""

    patient: np.ndarray
    site: np.ndarray
    life: np.ndarray
    closing: np.ndarray
    wish: np.ndarray
    patients: int

    @property
    def watched(self) -> np.ndarray:
        """The last day a part could be seen to fail, if every day were seen."""
        return np.minimum(self.closing, self.wish)

    def seen_at_once(self):
        """(duration, observed) of a clinic that learns of every failure on its day."""
        return np.minimum(self.life, self.watched), self.life <= self.watched


def frailties(rng, patients: int, variance: float) -> np.ndarray:
    return np.ones(patients) if variance == 0 else rng.gamma(1 / variance, variance, patients)


def closings(rng, patients: int) -> np.ndarray:
    """Last day of each patient: the log closes, or the patient dies."""
    return np.round(np.minimum(rng.uniform(*CLOSING, patients) * YEAR, rng.exponential(YEAR / DEATH, patients))).clip(1)


def lives(rng, frailty, scale: float = SCALE) -> np.ndarray:
    return np.ceil(scale * (rng.exponential(size=np.shape(frailty)) / frailty) ** (1 / SHAPE)).clip(1)


def fit_parts(rng, patients: int, *, frailty: float, scale: float = SCALE, sites=(2, 4), wishes: bool = True) -> Parts:
    """First parts of ``patients``, each with one of the numbers of ``sites``, equally often."""
    number = rng.choice(sites, patients)
    patient = np.repeat(np.arange(patients), number)
    site = np.arange(len(patient)) - np.repeat(np.cumsum(number) - number, number)
    life = lives(rng, frailties(rng, patients, frailty)[patient], scale)
    wish = np.ceil(rng.exponential(YEAR / WISH, len(patient))) if wishes else np.full(len(patient), NEVER)
    return Parts(patient, site, life, closings(rng, patients)[patient], wish, patients)


@dataclass(frozen=True)
class Found:
    """What a log of visits knows of each part: last look without the failure (``left``), the look that found it (``right``, inf if none),
    whether that was a problem visit, the last day of service or watch (``end``), the last contact, and when care ends at the
    first gap between contacts longer than 550 days (``gap_end``, inf if there is none)."""

    left: np.ndarray
    right: np.ndarray
    at_problem: np.ndarray
    end: np.ndarray
    last_contact: np.ndarray
    gap_end: np.ndarray


def look(rng, parts: Parts, *, recall: float | None, jitter: float, noticing: float, leaving: float = 0.0, care: float = 550) -> Found:
    """The looks at ``parts``: yearly (or other) recalls due every ``recall`` days and kept within ± ``jitter`` (standard deviation),
    problem visits for the share ``noticing`` of failures, visits for a wish. Every visit looks at all the patient's parts.
    leaving: yearly rate of patients who stop coming without a word."""
    mine, g = parts.patient, parts.patients
    closing = np.zeros(g)
    closing[mine] = parts.closing
    comes = np.minimum(closing, rng.exponential(YEAR / leaving, g)) if leaving else closing
    recalls = _recalls(rng, recall, jitter, comes)
    own = _noticed(rng, parts, noticing, recalls, comes)
    problems = _by_patient(parts, own)
    planned = np.concatenate([recalls, problems], axis=1)[mine]
    found = np.where(planned >= parts.life[:, None], planned, NEVER).min(axis=1)
    wish = np.where((parts.wish < found) & (parts.wish <= comes[mine]), parts.wish, NEVER)
    contacts = np.concatenate([recalls, problems, _by_patient(parts, wish)], axis=1)
    visits = contacts[mine]
    removed = np.where(wish < parts.life, wish, NEVER)
    sound = (visits < parts.life[:, None]) & (visits <= removed[:, None])
    right = np.where((visits >= parts.life[:, None]) & (removed[:, None] == NEVER), visits, NEVER).min(axis=1)
    end = np.minimum(parts.closing, removed)
    return Found(
        np.where(sound, visits, 0.0).max(axis=1, initial=0.0), right, ((problems[mine] == right[:, None]) & (right[:, None] < NEVER)).any(axis=1), end,
        np.where(visits <= end[:, None], visits, 0.0).max(axis=1, initial=0.0), _first_gap(contacts, closing, care)[mine],
    )  # fmt: skip


def _recalls(rng, recall, jitter, comes) -> np.ndarray:
    if recall is None:
        return np.empty((len(comes), 0))
    due = recall * np.arange(1, int(CLOSING[1] * YEAR / recall) + 1)
    days = np.round(due + rng.normal(0, jitter, (len(comes), len(due)))).clip(1)
    return np.where(days <= comes[:, None], days, NEVER)


def _noticed(rng, parts, noticing, recalls, comes) -> np.ndarray:
    """Day of each part's own problem visit: not made where a recall found the failure first."""
    day = parts.life + np.round(rng.normal(*NOTICE, len(parts.life))).clip(0)
    before = ((recalls[parts.patient] >= parts.life[:, None]) & (recalls[parts.patient] < day[:, None])).any(axis=1)
    made = (rng.random(len(day)) < noticing) & ~before & (day <= comes[parts.patient])
    return np.where(made, day, NEVER)


def _by_patient(parts, day) -> np.ndarray:
    out = np.full((parts.patients, int(parts.site.max()) + 1), NEVER)
    out[parts.patient, parts.site] = day
    return out


def _first_gap(contacts, closing, care) -> np.ndarray:
    """Day on which care ends: ``care`` days after the contact that opens the first longer gap."""
    days = np.sort(np.minimum(np.concatenate([np.zeros((len(closing), 1)), contacts, closing[:, None]], axis=1), closing[:, None]), axis=1)
    long = np.diff(days, axis=1) > care
    start = days[np.arange(len(days)), np.argmax(long, axis=1)]
    return np.where(long.any(axis=1), start + care, NEVER)
