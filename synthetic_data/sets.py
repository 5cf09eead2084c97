"""Sets: the first delivery of a denture on its attachments, conversions from ball to stud, and new dentures."""

from __future__ import annotations

import numpy as np

from . import answers
from .clocks import Mouths, World, deliver_dentures, fit_abutments, fit_housings, fit_inserts, load_implants
from .draws import NEVER
from .ledger import ENDING
from .words import CONVERT, DELIVER, REMAKE

REMADE, IMPLANT_LOST, TO_FIXED = 1, 2, 3


def fit_sets(world: World, m: Mouths, v) -> None:
    """Fits abutments, housings and inserts where this visit is a delivery, a conversion or the delivery of a new denture."""
    if not v.set.any():
        return
    jaw = world.cast.jaw
    deliver, convert, remake = (v.special == kind for kind in (DELIVER, CONVERT, REMAKE))
    m.on[deliver] = jaw["used"][m.jaw[deliver]]
    m.ball[deliver] = jaw["ball"][m.jaw[deliver]]
    m.ball[convert] = False
    if (convert | remake).any():
        _take_out(world, m, v, convert, remake)
    deliver_dentures(world, m, np.flatnonzero(deliver | remake), v.day)
    mask = m.on & v.set[:, None]
    laboratory = jaw["laboratory"][m.jaw] & (~convert | world.chance.happens(0.25, v.n))
    fit_abutments(world, m, mask, v.day)
    fit_housings(world, m, mask, v.day, laboratory, with_set=True)
    level = _starting_levels(world, m, v.n)
    fit_inserts(world, m, mask, v.day, np.broadcast_to(level[:, None], mask.shape), with_set=True)
    load_implants(world, m, m.on & deliver[:, None], v.day)
    answers.come_for_a_wish(world, m, v, v.set)
    answers.ask_again(world, m, np.flatnonzero(deliver), v.day)


def _take_out(world, m, v, convert, remake):
    written = {"abutment": v.abutment > 0, "housing": v.failed_bonds, "insert": v.failed_inserts}
    for part, failed in written.items():
        gone = ENDING["cannot tell"] if part == "abutment" else ENDING["denture retired"]
        ending = np.where(failed, ENDING["failed"], np.where(convert, ENDING["with other work"], gone)[:, None])
        mask = m.on & (convert | remake)[:, None]
        world.ledger.close_parts(getattr(m, part)[mask], v.day[np.nonzero(mask)[0]], ending[mask])
    world.ledger.retire_dentures(m.denture[remake], v.day[remake], REMADE)


def _starting_levels(world, m, n):
    levels = world.scenario.levels
    out = np.empty(n, np.int8)
    for balls, shares in ((False, levels.start), (True, levels.start_ball)):
        rows = np.flatnonzero(m.ball == balls)
        names = np.array([levels.names.index(name) for name in shares], np.int8)
        out[rows] = names[world.chance.choice(shares, len(rows))]
    return out


def stop(m: Mouths, rows) -> None:
    """Nothing more happens in these jaws: the last implant under the denture is gone."""
    for name, array in m.__dict__.items():
        if name.endswith(("_comes", "_day")):
            array[rows] = NEVER
