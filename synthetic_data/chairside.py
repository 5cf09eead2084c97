"""What happens at a visit: who is seen why, what is looked at and found, what is decided and done. Rows are jaws, columns sites."""

from __future__ import annotations

import numpy as np

from . import answers, sets
from .clocks import GONE, LOOSE, LOST, TORN, WORN, YEAR, Mouths, World, bond, denture_clock, fit_housings, fit_inserts, seat
from .draws import NEVER
from .ledger import ENDING
from .words import (
    ALL, BLANK, CHECKED, CONTACT, CONVERSION, CONVERT, DELIVER, DELIVERY, FIRST_REVIEW, HYGIENE, INSERTS_ONLY, LABORATORY, LISTED_ONLY, NO_PART, PROBLEM, RECALL,
    REMAKE, RETURN, REVIEW, SECOND_REVIEW, SILENT, WHY_FIRMER, WHY_LIGHTER, WHY_LOST, WHY_OTHER, WHY_ROUTINE, WHY_TORN, WHY_WORN,
)  # fmt: skip

SPECIAL_REASON = np.array([DELIVERY, CONVERSION, DELIVERY, REVIEW, REVIEW, LABORATORY])
NOTHING_PLANNED, PLANNED_RECALL, PLANNED_HYGIENE, PLANNED_CONTACT = range(4)
PLANNED_REASON = np.array([PROBLEM, RECALL, HYGIENE, CONTACT])


class Visit:
    """The rows of one round of visits: day, reason and everything found or done, filled in step by step."""

    def __init__(self, m: Mouths, day, planned):
        self.day, self.n = day, len(day)
        self.special = np.where(m.special_day <= day, m.special_kind, -1)
        called = next_call(m) <= day
        reason = np.where(called, PROBLEM, PLANNED_REASON[planned])
        self.reason = np.where(self.special >= 0, SPECIAL_REASON[self.special], reason)
        self.seen = ~np.isin(self.reason, (LABORATORY, CONTACT))
        self.set = np.isin(self.special, (DELIVER, CONVERT, REMAKE))
        self.ordinary = self.seen & ~self.set
        self.planned = self.ordinary & np.isin(self.reason, (RECALL, REVIEW))
        self.on_before = m.on.copy()
        self.why = np.full(self.n, BLANK, np.int8)
        for name in ("changed", "worn"):
            setattr(self, name, np.zeros(m.on.shape, bool))
        for name in ("housing", "abutment"):
            setattr(self, name, np.zeros(m.on.shape, np.int8))
        self.denture = np.zeros(self.n, np.int8)
        self.lost_day = np.full(self.n, NEVER, np.int32)
        self.level = np.full(m.on.shape, BLANK, np.int8)


def next_call(m: Mouths):
    """The first day on which something brings the patient in, planned visits aside."""
    at_sites = np.minimum.reduce([m.insert_comes, m.bond_comes, m.loose_comes, m.ball_comes, m.implant_comes])
    at_sites = np.where(m.on, at_sites, NEVER).min(axis=1)
    return np.minimum.reduce([at_sites, m.fracture_comes, m.tooth_comes, m.wish_comes, m.request_day])


def attend(world: World, m: Mouths, day, planned) -> Visit:
    """Carries out one visit for each row of ``m`` on ``day``; ``planned`` tells recalls, cleanings and calls apart."""
    v = Visit(m, day, planned)
    _choose_what_is_checked(world, v)
    answers.feel(world, m, v)
    find(m, v)
    lose_implants(world, m, v)
    mend_housings(world, m, v)
    mend_abutments(world, m, v)
    mend_dentures(world, m, v)
    answers.word(world, m, v)
    change_inserts(world, m, v)
    sets.fit_sets(world, m, v)
    plan_next(world, m, v)
    answers.answer(world, m, v)
    return v


def _choose_what_is_checked(world, v):
    recording = world.scenario.recording
    v.checked = np.where(v.seen, ALL, NO_PART).astype(np.int8)
    shares = {REVIEW: recording.review_checked, RECALL: recording.recall_checked, PROBLEM: recording.problem_checked, HYGIENE: recording.hygiene_checked}
    for reason, share in shares.items():
        rows = np.flatnonzero(v.ordinary & (v.reason == reason))
        words = np.array([CHECKED.index(word) for word in share], np.int8)
        v.checked[rows] = words[world.chance.choice(share, len(rows))]
    silent = v.seen & (v.checked == SILENT) & world.chance.happens(recording.looked_though_silent, v.n)
    more = v.seen & (v.checked == INSERTS_ONLY) & world.chance.happens(recording.housings_too, v.n)
    v.looked_everywhere = v.seen & (v.checked == ALL) | silent | more
    v.looked_at_inserts = v.looked_everywhere | (v.checked == INSERTS_ONLY)


def find(m: Mouths, v: Visit) -> None:
    """Which failures are found: whatever was looked at, and whatever brought the patient in."""
    day, seen = v.day[:, None], v.seen[:, None] & m.on
    inserts, everywhere = v.looked_at_inserts[:, None], v.looked_everywhere[:, None]
    v.failed_inserts = seen & (m.insert_day <= day) & (inserts | (m.insert_comes <= day))
    v.failed_bonds = seen & (m.bond_day <= day) & (everywhere | (m.bond_comes <= day))
    v.loose = seen & (m.loose_day <= day) & (everywhere | (m.loose_comes <= day))
    v.worn_balls = seen & (m.ball_day <= day) & (everywhere | (m.ball_comes <= day))
    v.failed_implants = seen & (m.implant_day <= day) & (everywhere | (m.implant_comes <= day)) & (v.ordinary & (v.day >= 0))[:, None]
    old = v.special == REMAKE  # these parts went with the old denture: nobody writes about them, and nobody calls them checked
    v.checked[old & (v.failed_inserts | v.failed_bonds).any(axis=1)] = LISTED_ONLY
    for found in (v.failed_inserts, v.failed_bonds):
        found[old] = False
    v.fractured = v.ordinary & (m.fracture_day <= v.day)
    v.broken_tooth = v.ordinary & (m.tooth_day <= v.day)
    v.poor_fit = v.ordinary & np.isin(v.reason, (RECALL, PROBLEM)) & (m.reline_day <= v.day)


def lose_implants(world: World, m: Mouths, v: Visit) -> None:
    """A lost implant is taken out: its site carries nothing from that day."""
    row, site = np.nonzero(v.failed_implants)
    v.lost_implant = v.failed_implants.any(axis=1)
    if not len(row):
        return
    world.ledger.found(m.implant_clock[row, site], v.day[row])
    v.checked[row] = LISTED_ONLY  # what sat on the implant went with it unexamined
    for parts in (m.abutment, m.housing, m.insert):
        world.ledger.close_parts(parts[row, site], v.day[row], ENDING["implant lost"])
    m.on[row, site] = False
    for mask in (v.failed_inserts, v.failed_bonds, v.loose, v.worn_balls):
        mask[row, site] = False
    bare = np.unique(row)
    bare = bare[~m.on[bare].any(axis=1)]
    world.ledger.retire_dentures(m.denture[bare], v.day[bare], sets.IMPLANT_LOST)
    sets.stop(m, bare)


def mend_housings(world: World, m: Mouths, v: Visit) -> None:
    """Failed bonds are picked up again (a new bond, the same housing) or the housing is replaced."""
    v.new_housings = np.zeros(m.on.shape, bool)
    row, site = np.nonzero(v.failed_bonds & v.ordinary[:, None])
    cause = m.bond_cause[row, site]
    again = world.chance.happens(world.scenario.decisions.picked_up_again, len(row)) & (cause != GONE)
    v.housing[row, site] = np.where(cause == GONE, 3, np.where(cause == LOOSE, np.where(again, 4, 5), np.where(again, 1, 2)))
    at_set, site_set = np.nonzero(v.failed_bonds & v.set[:, None])
    v.housing[at_set, site_set] = np.array([6, 7, 8])[m.bond_cause[at_set, site_set]]
    world.ledger.found(m.bond_clock[v.failed_bonds], v.day[np.nonzero(v.failed_bonds)[0]])
    v.bond_days = np.where(v.failed_bonds, m.bond_day, NEVER)
    v.checked[v.ordinary & (v.housing == 3).any(axis=1)] = LISTED_ONLY  # the insert went with its housing: nobody saw it
    chairside = np.zeros(v.n, bool)
    bond(world, m, row[again], site[again], v.day, chairside, first=False)
    v.new_housings[row[~again], site[~again]] = True
    world.ledger.close_parts(m.housing[v.new_housings], v.day[np.nonzero(v.new_housings)[0]], ENDING["failed"])
    fit_housings(world, m, v.new_housings, v.day, chairside)


def mend_abutments(world: World, m: Mouths, v: Visit) -> None:
    """Loose abutments are tightened; worn balls are noted and lead to a conversion."""
    v.abutment[:] = np.where(v.loose & v.worn_balls, 3, np.where(v.loose, 1, np.where(v.worn_balls, 2, 0)))
    fits, news = v.set[:, None], v.worn_balls & ~m.ball_seen
    v.abutment[:] = np.where(fits & v.loose & ~news, 4, np.where(fits & v.worn_balls, 2, v.abutment))
    written_loose = v.loose & ~(fits & news)
    m.ball_seen |= v.worn_balls
    world.ledger.found(m.loose_clock[written_loose], v.day[np.nonzero(written_loose)[0]])
    world.ledger.found(m.ball_clock[v.worn_balls], v.day[np.nonzero(v.worn_balls)[0]])
    row, site = np.nonzero(v.loose & v.ordinary[:, None])
    seat(world, m, row, site, v.day, first=False)
    m.ball_comes[v.worn_balls] = NEVER


def mend_dentures(world: World, m: Mouths, v: Visit) -> None:
    """One entry a visit for the denture: a broken base first, then fit, teeth, sore spots."""
    chance, decisions = world.chance, world.scenario.decisions
    free = m.special_day > v.day
    away = v.fractured & free & chance.happens(decisions.laboratory_repair, v.n)
    at_housing = chance.happens(0.35, v.n)
    relined = v.poor_fit & ~v.fractured
    tooth = v.broken_tooth & ~v.fractured & ~relined
    sore = v.planned & (v.reason == REVIEW) & chance.happens(0.28, v.n) & ~v.fractured & ~relined & ~tooth
    half = chance.happens(0.5, v.n)
    v.denture = np.select(
        [away, v.fractured, relined, tooth, sore, v.special == RETURN],
        [6 + at_housing, 4 + at_housing, 2 + half, 9 + half, 1, 8],
    ).astype(np.int8)
    v.relined = relined
    for what, mask in (("fracture", v.fractured), ("reline", relined), ("tooth", tooth)):
        rows = np.flatnonzero(mask)
        world.ledger.found(getattr(m, f"{what}_clock")[rows], v.day[rows])
        denture_clock(world, m, rows, v.day, what, first=False)
    m.special_kind[away] = RETURN
    m.special_day[away] = v.day[away] + chance.whole(1, 4, away.sum())


def change_inserts(world: World, m: Mouths, v: Visit) -> None:
    """Which inserts are changed and why: failed first, then the patient's wish, other work, routine."""
    chance, decisions, n = world.chance, world.scenario.decisions, v.n
    on, failed = m.on, v.failed_inserts & v.ordinary[:, None]
    called = m.insert_comes <= v.day[:, None]
    left_in = failed & ~called & (v.planned & chance.happens(decisions.left_in, n))[:, None]
    change = failed & ~left_in
    any_failed = change.any(axis=1)
    other = v.new_housings | ((v.housing > 0) & v.ordinary[:, None] & chance.happens(decisions.insert_with_pick_up, n)[:, None])
    other |= on & (v.relined & chance.happens(decisions.insert_with_reline, n))[:, None]
    oldest = np.where(on, v.day[:, None] - m.insert_since, 0).max(axis=1)
    routine = (v.reason == RECALL) & (oldest >= decisions.routine_from_years * YEAR) & chance.happens(decisions.routine, n)
    requested = v.ordinary & (m.request_day <= v.day)
    can_go_up = (on & (world.up[m.level] != m.level)).any(axis=1)
    v.why = np.select(
        [any_failed, v.firmer | requested & can_go_up, v.lighter, requested, other.any(axis=1), routine & v.ordinary],
        [_word(m, change), WHY_FIRMER, WHY_LIGHTER, WHY_ROUTINE, WHY_OTHER, WHY_ROUTINE],
        BLANK,
    ).astype(np.int8)
    pair = any_failed & chance.happens(decisions.pair, n)
    whole = pair | np.isin(v.why, (WHY_FIRMER, WHY_LIGHTER, WHY_ROUTINE))
    v.changed = (on & whole[:, None]) | change | other & (v.why != BLANK)[:, None]
    v.why[~v.changed.any(axis=1)] = BLANK
    v.worn = v.failed_inserts.copy()
    _refit(world, m, v, any_failed)


def _word(m, change):
    cause = np.where(change, m.insert_cause, -1).max(axis=1)
    return np.select([cause == LOST, cause == TORN, cause == WORN], [WHY_LOST, WHY_TORN, WHY_WORN])


def _refit(world, m, v, any_failed):
    up = (v.why == WHY_FIRMER) | any_failed & v.felt_loose & world.chance.happens(world.scenario.decisions.step_up_when_worn, v.n)
    new = np.where(up[:, None], world.up[m.level], np.where((v.why == WHY_LIGHTER)[:, None], world.down[m.level], m.level)).astype(np.int8)
    v.stepped = (v.changed & (new != m.level)).any(axis=1)
    v.level = np.where(v.changed, new, BLANK).astype(np.int8)
    v.insert_days = np.where(v.failed_inserts, m.insert_day, NEVER)
    by_why = np.array([ENDING["with its pair"]] * 3 + [ENDING[word] for word in ("wanted firmer", "wanted lighter", "routine", "with other work")], np.int8)
    ending = np.where(v.failed_inserts, ENDING["failed"], by_why[v.why][:, None])
    world.ledger.found(m.insert_clock[v.failed_inserts], v.day[np.nonzero(v.failed_inserts)[0]])
    row = np.nonzero(v.changed)[0]
    world.ledger.close_parts(m.insert[v.changed], v.day[row], ending[v.changed])
    m.insert_comes[v.failed_inserts] = NEVER
    fit_inserts(world, m, v.changed, v.day, new)
    seen = v.ordinary
    m.wish_comes[seen & (m.wish_comes <= v.day)] = NEVER
    answers.come_for_a_wish(world, m, v, v.changed.any(axis=1))
    answers.ask_again(world, m, np.flatnonzero(seen & (m.request_day <= v.day)), v.day)


def plan_next(world: World, m: Mouths, v: Visit) -> None:
    """Sets the jaw's next special visit: reviews, the return from the laboratory, a conversion, a new denture."""
    chance, decisions, visits = world.chance, world.scenario.decisions, world.scenario.visits
    done = (v.special >= 0) & (m.special_day <= v.day)
    m.special_day[done] = NEVER
    m.special_kind[done] = -1
    first = v.set & chance.happens(visits.review_kept, v.n)
    second = ((v.special == FIRST_REVIEW) | v.set & ~first) & chance.happens(visits.second_review_kept, v.n)
    for mask, kind, days, spread in ((first, FIRST_REVIEW, visits.review_days, 3), (second, SECOND_REVIEW, visits.second_review_days, 20)):
        _book(m, v, chance, mask, kind, days - spread, days + spread)
    alive = m.on.any(axis=1) & v.ordinary & (v.day >= 0)
    convert = alive & m.ball & v.worn_balls.any(axis=1) & chance.happens(decisions.conversion_when_worn, v.n)
    _book(m, v, chance, convert, CONVERT, 14, 45)
    old = v.day - m.since >= decisions.remake_from_years * YEAR
    remake = alive & (v.reason == RECALL) & old & chance.happens(decisions.remake, v.n)
    _book(m, v, chance, remake, REMAKE, 28, 60)


def _book(m, v, chance, mask, kind, least, most):
    rows = np.flatnonzero(mask & (m.special_day == NEVER))
    m.special_kind[rows] = kind
    m.special_day[rows] = v.day[rows] + chance.whole(least, most, len(rows))
