"""How the log writes what the simulation counts: pseudonyms, keys, positions and dates as text."""

from __future__ import annotations

import numpy as np

from .cast import ARCHES, LAYOUTS, SITES
from .clocks import World
from .draws import NEVER
from .log import date_text

POSITIONS = np.array([list(layout) + [""] * (SITES - len(layout)) for layout in LAYOUTS], dtype=object)


class Names:
    """Texts of one block: patients, dentures, positions; ``first`` is the number of patients in the blocks before."""

    def __init__(self, world: World, books: dict, log: dict, first: int, width: int):
        people, jaw, lines, dentures = world.cast.patient, world.cast.jaw, log["lines"], books["dentures"]
        numbers = np.arange(first + 1, first + 1 + len(people["frailty"]))
        self.patient = np.char.add("P", np.char.zfill(numbers.astype(str), width)).astype(object)
        self.arch = np.array(ARCHES, dtype=object)[jaw["arch"]]
        self.position = POSITIONS[jaw["layout"]]
        owner = self.patient[jaw["patient"][dentures["jaw"]]]
        self.denture = owner + "/" + self.arch[dentures["jaw"]] + "/" + dentures["count"].astype(str).astype(object)
        self.line_date = date_text(world, lines["day"], lines["precision"])
        two = jaw["both"][lines["jaw"]]
        self.line_arch = np.where(two, self.arch[lines["jaw"]], None)
        key = self.patient[lines["patient"]] + "/" + self.line_date
        self.visit = np.where(two, key + "/" + self.arch[lines["jaw"]], key) if len(key) else key
        self.delivered = date_text(world, dentures["delivered"], jaw["precision"][dentures["jaw"]])
        self.retired = date_text(world, dentures["retired"])


def spelled(words, codes) -> np.ndarray:
    """The words of whole-number codes; None for a negative code."""
    table = np.array([*words, None], dtype=object)
    codes = np.asarray(codes, dtype=np.int64)
    return table[np.where(codes < 0, len(words), codes)]


def left_text(world: World, log: dict) -> tuple[np.ndarray, np.ndarray]:
    """(left_on, left_reason) of each patient as the log tells it: some by month, some not at all."""
    people, n = world.cast.patient, len(world.cast.patient["frailty"])
    told = (people["left"] < NEVER) & ~people["left_unseen"]
    day = np.where(told, people["left"], NEVER)
    lines = log["lines"]
    last = np.full(n, -NEVER, np.int64)
    np.maximum.at(last, lines["patient"], lines["day"])
    start = np.datetime64(world.scenario.clinic.start, "D")
    month, last_month = ((start + np.where(x == NEVER, 0, np.maximum(x, -40_000))).astype("datetime64[M]") for x in (day, last))
    coarse = told & (month > last_month) & ~people["to_fixed"] & world.chance.happens(world.scenario.recording.left_by_month, n)
    reason = np.where(told, people["left_reason"], -1)
    return date_text(world, day, np.where(coarse, 1, 0)), reason

