"""Who comes when: rounds of visits, in each of which every patient still in care has the next one."""

from __future__ import annotations

import numpy as np

from .chairside import NOTHING_PLANNED, PLANNED_CONTACT, PLANNED_HYGIENE, PLANNED_RECALL, attend, next_call
from .clocks import Mouths, World
from .draws import NEVER
from .words import DELIVER

LINE = (
    "day", "reason", "special", "checked", "snap", "history", "why", "changed", "worn", "level", "housing", "abutment", "denture", "on_before",
    "score", "occasion", "minutes", "seen_by", "mood", "retention", "stepped", "bond_days", "insert_days", "looked_everywhere", "wish", "lost_implant",
)  # fmt: skip


class Calendar:
    """The planned visits of each patient: the next one's day and kind."""

    def __init__(self, world: World):
        people, n = world.cast.patient, len(world.cast.patient["frailty"])
        self.world = world
        self.day = np.full(n, NEVER, np.int32)
        self.kind = np.full(n, NOTHING_PLANNED, np.int8)
        self.after_call = np.full(n, NEVER, np.int32)
        self.entered = ~people["before_log"]
        self.invited = world.chance.whole(0, 365, n)
        self._plan(np.arange(n), people["first_set"])

    def move_on(self, patients) -> None:
        """Plans the next visit of patients who just had a planned one."""
        called = self.kind[patients] == PLANNED_CONTACT
        back = patients[called]
        self.day[back], self.kind[back] = self.after_call[back], PLANNED_RECALL
        rest = patients[~called]
        self._plan(rest, self.day[rest].copy())

    def _plan(self, patients, since) -> None:
        visits, chance, n = self.world.scenario.visits, self.world.chance, len(patients)
        with np.errstate(divide="ignore"):
            missed = np.floor(np.log(1 - chance.uniform(n)) / np.log(1 - visits.recall_kept))
        missed = np.minimum(missed, 20).astype(np.int32)
        gap = visits.recall_days + np.clip(np.round(visits.recall_jitter * chance.normal(n)), -2.5 * visits.recall_jitter, 2.5 * visits.recall_jitter)
        due = np.maximum(since + gap, since + 1).astype(np.int32)
        day = due + missed * visits.recall_days
        call = (missed > 0) & chance.happens(visits.contact_when_missed, n)
        kind = np.where(call, PLANNED_CONTACT, np.where(chance.happens(visits.hygiene, n), PLANNED_HYGIENE, PLANNED_RECALL))
        self.after_call[patients] = day
        never = self.world.cast.patient["never_recalled"][patients]
        self.day[patients] = np.where(never, NEVER, np.where(call, due, day))
        self.kind[patients] = kind
        self._invite(patients)

    def _invite(self, patients) -> None:
        """When the log begins, everybody already treated is asked in within a year."""
        first = patients[~self.entered[patients] & (self.day[patients] >= 0)]
        self.day[first] = np.minimum(self.day[first], self.invited[first])
        self.kind[first] = PLANNED_RECALL
        self.entered[first] = True


def run(world: World) -> None:
    """Runs every patient's visits from the first set to the closing day or the day of leaving, and writes the lines into the ledger."""
    people, jaw = world.cast.patient, world.cast.jaw
    n, jaws = len(people["frailty"]), len(jaw["patient"])
    mouths, calendar = Mouths.empty(jaws), Calendar(world)
    mouths.special_kind[:] = DELIVER
    mouths.special_day[:] = jaw["delivered"]
    due = np.append(jaw["delivered"], NEVER)
    first = np.searchsorted(jaw["patient"], np.arange(n))
    has_two = jaw["both"][first]
    second = np.where(has_two, first + 1, jaws)
    horizon = np.minimum(world.scenario.days, people["left"] - 1)
    last = people["first_set"] - 1
    active = np.arange(n)
    while len(active):
        called = np.minimum(due[first[active]], due[second[active]])
        day = np.maximum(np.minimum(calendar.day[active], called), last[active] + 1)
        active, day = active[day <= horizon[active]], day[day <= horizon[active]]
        last[active] = day
        planned = calendar.day[active] <= day
        kind = np.where(planned, calendar.kind[active], NOTHING_PLANNED)
        _round(world, mouths, due, np.concatenate([first[active], second[active]]), np.tile(day, 2), np.tile(kind, 2))
        calendar.move_on(active[planned])


def _round(world, mouths, due, rows, day, kind):
    real = rows < len(mouths.denture)
    rows, day, kind = rows[real], day[real], kind[real]
    come = (due[rows] <= day) | (kind != NOTHING_PLANNED) & mouths.on[rows].any(axis=1)
    rows, day, kind = rows[come], day[come], kind[come]
    if not len(rows):
        return
    m = mouths.take(rows)
    m.jaw, m.frailty = rows, world.cast.patient["frailty"][world.cast.jaw["patient"][rows]]
    v = attend(world, m, day, kind)
    mouths.put(rows, m)
    due[rows] = np.minimum(next_call(m), m.special_day)
    world.ledger.add_lines(jaw=rows.astype(np.int32), on_after=m.on.copy(), in_denture=m.denture.copy(), **{name: getattr(v, name) for name in LINE})
