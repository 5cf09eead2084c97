"""Who the clinic treats: patients, the jaws with an overdenture, and their implant sites, drawn before anything happens."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .draws import NEVER, Chance
from .scenarios import Scenario

LOWER, UPPER = 0, 1
ARCHES = ("lower", "upper")
LAYOUTS = (  # positions in use by a set, in the order along the arch
    ("midline",),
    ("43", "33"),
    ("44", "42", "32", "34"),
    ("13", "23"),
    ("15", "13", "23", "25"),
)
_LAYOUT = {(LOWER, "midline"): 0, (LOWER, "two"): 1, (LOWER, "four"): 2, (UPPER, "two"): 3, (UPPER, "four"): 4}
SITES = 4
CLINICIANS = ("A", "B", "C")


@dataclass
class Cast:
    """``patient``: one entry per patient. ``jaw``: one entry per jaw with an overdenture, sorted by patient; sites are its columns."""

    patient: dict[str, np.ndarray]
    jaw: dict[str, np.ndarray]


def draw_cast(scenario: Scenario, chance: Chance, patients: int) -> Cast:
    """Draws the patients of one block and their jaws. Days count from the start of the log; before it they are negative."""
    people = _people(scenario, chance, patients)
    _leaving(scenario, chance, people)
    jaw = _jaws(scenario, chance, people)
    _sites(scenario, chance, people, jaw)
    return Cast(people, jaw)


def _people(scenario, chance, n):
    cast, visits = scenario.cast, scenario.visits
    before = chance.happens(cast.already_in_place, n)
    last = scenario.days - round(cast.last_delivery_years * 365.25)
    first = round(cast.first_delivery_years * 365.25)
    people = {
        "frailty": chance.gamma(scenario.frailty.variance, n),
        "before_log": before,
        "first_set": np.where(before, -chance.whole(60, max(61, round(cast.years_before * 365.25)), n), chance.whole(first, max(first, last), n)),
        "birth_year": np.clip(np.round(cast.birth_year_mean + cast.birth_year_sd * chance.normal(n)), 1915, 1995).astype(np.int16),
        "female": chance.happens(cast.female, n),
        "bruxism": chance.choice(cast.bruxism, n),
        "dry_mouth": chance.happens(cast.dry_mouth, n),
        "limited_dexterity": chance.happens(cast.limited_dexterity, n),
        "smoker": chance.happens(cast.smoker, n),
        "worn_at_night": chance.happens(cast.worn_at_night, n),
        "cleanser": chance.choice(cast.cleanser, n),
        "consent": chance.choice(cast.consent, n),
        "clinician": chance.choice([0.55, 0.3, 0.15], n),
        "never_recalled": chance.happens(visits.never_recalled, n),
        "mood": chance.normal(n),
    }
    return people


def _leaving(scenario, chance, people):
    """The day each patient leaves for good (NEVER within the log), why, and whether the log is told."""
    leaving, n = scenario.leaving, len(people["frailty"])
    since = np.maximum(people["first_set"], 0)
    died = _after(since, chance.exponential(n), leaving.died_per_year)
    moved = _after(since, chance.exponential(n), leaving.moved_per_year)
    left = np.minimum(died, moved)
    people["left"] = np.where(left <= scenario.days, left, NEVER)
    reason = 1 + chance.choice(leaving.reasons, n)
    people["left_reason"] = np.where(people["left"] == NEVER, -1, np.where(died <= moved, 0, reason)).astype(np.int8)
    words = ["died", *leaving.reasons]
    people["to_fixed"] = people["left_reason"] == (words.index("changed to fixed") if "changed to fixed" in words else -2)
    people["left_unseen"] = (people["left_reason"] > 0) & chance.happens(leaving.silently, n)


def _after(since, exponential, per_year):
    with np.errstate(divide="ignore"):
        days = np.divide(exponential, per_year / 365.25, out=np.full(len(since), np.inf), where=per_year > 0)
    return np.minimum(since + np.maximum(np.ceil(days), 8), NEVER).astype(np.int32)


def _jaws(scenario, chance, people):
    cast, n = scenario.cast, len(people["frailty"])
    both = chance.happens(cast.both_jaws, n)
    upper = chance.happens(cast.upper_only, n) & ~both
    first = np.where(upper, UPPER, LOWER)
    owner = np.concatenate([np.arange(n), np.flatnonzero(both)])
    arch = np.concatenate([first, np.full(both.sum(), UPPER)]).astype(np.int8)
    second = np.concatenate([np.zeros(n, bool), np.ones(both.sum(), bool)])
    order = np.lexsort((arch, owner))
    owner, arch, second = owner[order].astype(np.int32), arch[order], second[order]
    later = np.where(second & chance.happens(cast.second_jaw_later, len(owner)), chance.whole(30, 500, len(owner)), 0)
    delivered = people["first_set"][owner] + later
    in_log = ~people["before_log"][owner]
    delivered = np.where(in_log, np.minimum(delivered, scenario.days - 30), np.minimum(delivered, -30))
    ball = chance.happens(np.where(in_log, cast.ball_in_log, cast.ball_before_log), len(owner))
    jaw = {
        "patient": owner,
        "arch": arch,
        "both": both[owner],
        "delivered": delivered.astype(np.int32),
        "in_log": in_log,
        "layout": _layouts(scenario, chance, arch),
        "ball": ball,
        "opposing": _opposing(scenario, chance, arch, both[owner]),
        "base": chance.choice(cast.base, len(owner)),
        "wish_n": scenario.wish.median_n * np.exp(scenario.wish.log_sd * chance.normal(len(owner))),
        "placed_known": chance.happens(scenario.recording.placed_on_known, len(owner)),
        "laboratory": chance.happens(cast.laboratory_pick_up, len(owner)),
    }
    return jaw


def _layouts(scenario, chance, arch):
    out = np.empty(len(arch), np.int8)
    for which, shares in ((LOWER, scenario.cast.lower_sites), (UPPER, scenario.cast.upper_sites)):
        mine = np.flatnonzero(arch == which)
        codes = np.array([_LAYOUT[which, name] for name in shares], np.int8)
        out[mine] = codes[chance.choice(shares, len(mine))]
    return out


def opposing_words(scenario: Scenario) -> list[str]:
    """The words for what bites against a denture, in the order of the codes used here."""
    words = list(scenario.cast.opposing_lower)
    return words + [word for word in scenario.cast.opposing_upper if word not in words] + ["overdenture"]


def _opposing(scenario, chance, arch, both):
    words = opposing_words(scenario)
    out = np.empty(len(arch), np.int8)
    for which, shares in ((LOWER, scenario.cast.opposing_lower), (UPPER, scenario.cast.opposing_upper)):
        mine = np.flatnonzero(arch == which)
        codes = np.array([words.index(word) for word in shares], np.int8)
        out[mine] = codes[chance.choice(shares, len(mine))]
    out[both] = words.index("overdenture")
    return out


def _sites(scenario, chance, people, jaw):
    """Site columns: which are used, divergence in whole degrees, and the ratio by which insert lives are longer or shorter there."""
    count = np.array([len(layout) for layout in LAYOUTS])[jaw["layout"]]
    jaw["sites"] = count.astype(np.int8)
    jaw["used"] = np.arange(SITES) < count[:, None]
    size = jaw["used"].shape
    jaw["divergence"] = np.minimum(np.round(np.abs(chance.normal(size)) * scenario.cast.divergence_sd), 40).astype(np.int8)
    jaw["placed"] = jaw["delivered"] - chance.whole(70, 260, size[0])
    ratios = scenario.insert.ratios
    words = opposing_words(scenario)
    by_opposing = np.array([ratios.get(word.replace(" ", "_"), 1.0) for word in words])
    by_cleanser = np.array([ratios.get(word, 1.0) for word in scenario.cast.cleanser])
    by_bruxism = np.array([ratios["bruxism_probable"] if word in ("probable", "definite") else 1.0 for word in scenario.cast.bruxism])
    owner = jaw["patient"]
    mouth = by_opposing[jaw["opposing"]] * by_cleanser[people["cleanser"][owner]] * by_bruxism[people["bruxism"][owner]]
    mouth = mouth * np.where(jaw["arch"] == UPPER, ratios["upper"], 1.0)
    jaw["insert_ratio"] = mouth[:, None] * ratios["per_10_degrees"] ** (jaw["divergence"] / 10.0)
