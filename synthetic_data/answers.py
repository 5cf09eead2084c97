"""What the patient says: the word on the snap, the wish for a firmer or lighter one, the satisfaction card; and the time it all took."""

from __future__ import annotations

import numpy as np

from .clocks import YEAR, Mouths, World
from .draws import NEVER
from .words import (
    BIT_FIRM, BIT_LOOSE, BLANK, CONTACT, FAR_FIRM, FAR_LOOSE, FIRST_REVIEW, HISTORIES, HYGIENE, LABORATORY, NOT_ASKED, OCCASIONS, RECALL, REVIEW, RIGHT,
    SECOND_REVIEW, SEEN_BY,
)  # fmt: skip

BEFORE, NEVER_RIGHT = HISTORIES.index("was right before"), HISTORIES.index("never right")
NO_SCORE = -1


def retention(world: World, m: Mouths, day=None):
    """Mean nominal newtons of the inserts in place; with ``day`` what is left of it: half is gone when an insert has worn out."""
    newtons = world.newtons[m.level]
    if day is not None:
        with np.errstate(invalid="ignore"):
            used = np.clip((day[:, None] - m.insert_since) / np.maximum(m.insert_life, 1), 0, 1.4)
        newtons = newtons * (1 - 0.5 * used)
    return np.where(m.on, newtons, 0).sum(axis=1) / np.maximum(m.on.sum(axis=1), 1)


def wishes(world: World, m: Mouths):
    """1 where the patient would choose a firmer level than the one worn and there is one, -1 a lighter one, else 0."""
    nominal, wish = retention(world, m), world.cast.jaw["wish_n"][m.jaw]
    up = (m.on & (world.up[m.level] != m.level)).any(axis=1)
    down = (m.on & (world.down[m.level] != m.level)).any(axis=1)
    return np.where((wish > nominal) & up, 1, np.where((wish < world.scenario.wish.too_firm * nominal) & down, -1, 0))


def feel(world: World, m: Mouths, v) -> None:
    """The mood of the day: it colours the score and makes a wish more likely to be voiced."""
    v.mood = world.chance.normal(v.n)
    v.wish = np.where(v.seen & m.on.any(axis=1), wishes(world, m), 0)
    v.retention = retention(world, m, v.day)


def word(world: World, m: Mouths, v) -> None:
    """The snap as the patient puts it, whether it had been right, and whether a wish for another level is voiced."""
    settings, n, u = world.scenario.wish, v.n, world.chance.uniform(v.n)
    failed = (v.failed_inserts | v.failed_bonds).any(axis=1)
    p = np.select([v.special == FIRST_REVIEW, v.reason == REVIEW], [settings.voiced_week_1, settings.voiced_month_3], settings.voiced_recall)
    p = np.where(m.wish_comes <= v.day, 1.0, np.clip(p * np.exp(-settings.mood * v.mood), 0, 0.98))
    voiced = v.ordinary & world.chance.happens(p, n)
    v.firmer, v.lighter = voiced & (v.wish > 0), voiced & (v.wish < 0)
    unmet_loose, unmet_firm = (v.wish > 0) & (v.firmer | (u < 0.8)), (v.wish < 0) & (v.lighter | (u < 0.8))
    t = world.chance.uniform(n)
    fine = np.where(t < 0.93, RIGHT, np.where(t < 0.965, BIT_LOOSE, BIT_FIRM))
    snap = np.select(
        [unmet_firm & ~failed, failed & (u < 0.92), unmet_loose],
        [np.where(t < 0.8, BIT_FIRM, FAR_FIRM), np.where(t < 0.4, FAR_LOOSE, BIT_LOOSE), np.where(t < 0.88, BIT_LOOSE, FAR_LOOSE)],
        fine,
    )
    asked = v.ordinary & world.chance.happens(world.scenario.recording.snap_asked, n)
    v.felt_loose = np.isin(snap, (FAR_LOOSE, BIT_LOOSE))
    v.snap = np.where(asked | v.firmer | v.lighter, snap, NOT_ASKED).astype(np.int8)
    never = (v.wish != 0) & (~failed | (u < 0.5))
    told = np.isin(v.snap, (FAR_LOOSE, BIT_LOOSE, BIT_FIRM, FAR_FIRM)) & world.chance.happens(world.scenario.recording.history_asked, n)
    v.history = np.where(told, np.where(never, NEVER_RIGHT, BEFORE), BLANK).astype(np.int8)


def come_for_a_wish(world: World, m: Mouths, v, rows_mask) -> None:
    """After new inserts: a patient whose wish is still not met may come for it."""
    rows = np.flatnonzero(rows_mask)
    if not len(rows):
        return
    settings, chance = world.scenario.wish, world.chance
    unmet = wishes(world, m.take(rows)) != 0
    comes = unmet & chance.happens(settings.own_visit, len(rows))
    days = 14 + np.ceil(chance.exponential(len(rows)) * settings.own_visit_days)
    m.wish_comes[rows] = np.where(comes, v.day[rows] + days, NEVER)


def ask_again(world: World, m: Mouths, rows, day) -> None:
    """The day of the next request for other inserts that has nothing to do with the snap (simulations only)."""
    rate = world.scenario.wish.request_per_year
    if rate and len(rows):
        m.request_day[rows] = np.minimum(day[rows] + np.ceil(world.chance.exponential(len(rows)) / rate * YEAR), NEVER)


def answer(world: World, m: Mouths, v) -> None:
    """The satisfaction card at its occasions, minutes in the chair and who saw the patient."""
    settings, chance = world.scenario.satisfaction, world.chance
    age = v.day - m.since
    follows = m.after_step & v.ordinary
    v.occasion = np.select(
        [v.special == FIRST_REVIEW, v.special == SECOND_REVIEW, (v.reason == RECALL) & (age >= 270) & (age <= 470), v.ordinary & v.stepped, follows, v.reason == RECALL],
        [OCCASIONS.index(word) for word in ("week 1", "month 3", "month 12", "before step", "after step", "yearly")],
        BLANK,
    )
    shares = {
        "week 1": settings.answered_week_1, "month 3": settings.answered_month_3, "month 12": settings.answered_month_12, "yearly": settings.answered_yearly,
        "before step": settings.answered_step, "after step": settings.answered_step,
    }  # fmt: skip
    p = np.array([shares.get(word, 0.0) for word in OCCASIONS] + [0.0])[v.occasion]
    score = np.where(v.ordinary & chance.happens(p, v.n), satisfaction(world, m, v), NO_SCORE)
    v.score = np.clip(score, NO_SCORE, 100).astype(np.int8)
    v.occasion = np.where(v.score == NO_SCORE, BLANK, v.occasion).astype(np.int8)
    m.after_step[v.seen] = v.stepped[v.seen]
    _chair_time(world, v)


def satisfaction(world: World, m: Mouths, v):
    """Whole points 0 to 100, as the patient felt on arrival."""
    s = world.scenario.satisfaction
    wish = world.cast.jaw["wish_n"][m.jaw]
    own = s.patient_sd * world.cast.patient["mood"][world.cast.jaw["patient"][m.jaw]] + s.visit_sd * v.mood
    held = s.retention * np.clip(np.log(np.maximum(v.retention, 0.5) / wish), -1.5, 1.5)
    failed = (v.failed_inserts | v.failed_bonds).any(axis=1) | v.fractured
    return np.clip(np.round(s.after + own + held - s.failed * failed - s.unmet_wish * (v.wish != 0)), 0, 100)


def _chair_time(world, v):
    chance = world.chance
    base = np.array([60, 75, 15, 20, 20, 30, 0, 5, 15], float)[v.reason]
    work = 8 * v.changed.any(axis=1) + 25 * ((v.housing > 0).sum(axis=1)) + 8 * (v.abutment > 0).any(axis=1) + 30 * v.relined + 20 * v.fractured
    minutes = (base + np.where(v.ordinary, work, 0)) * np.exp(0.25 * chance.normal(v.n))
    v.minutes = np.where(v.reason == LABORATORY, -1, np.maximum(5 * np.round(minutes / 5), 5)).astype(np.int16)
    by_hygienist = ((v.reason == RECALL) & chance.happens(0.35, v.n) & ~v.changed.any(axis=1)) | (v.reason == HYGIENE)
    seen_by = np.select([v.reason == LABORATORY, v.reason == CONTACT, by_hygienist], [SEEN_BY.index(w) for w in ("technician", "assistant", "hygienist")], 0)
    v.seen_by = seen_by.astype(np.int8)
