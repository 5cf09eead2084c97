"""The tables both doors share: patients, dentures, implants, insert levels, questionnaires."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .answers import NO_SCORE
from .cast import SITES, opposing_words
from .clocks import World
from .draws import NEVER
from .ledger import CLOCK
from .log import COARSE, date_text
from .long_form import framed
from .names import Names, left_text, spelled
from .words import OCCASIONS


def patients(world: World, books: dict, log: dict, names: Names) -> pd.DataFrame:
    people, cast, chance, n = world.cast.patient, world.scenario.cast, world.chance, len(names.patient)
    left_on, reason = left_text(world, log)
    reasons = ["died", *world.scenario.leaving.reasons]
    consent = spelled(list(cast.consent), people["consent"])
    consent[(reason == 0) & (consent == "unknown")] = "died before asked"
    columns = {
        "patient_id": names.patient, "audit_consent": consent, "left_on": left_on, "left_reason": spelled(reasons, reason), "birth_year": people["birth_year"],
        "sex": np.where(people["female"], "female", "male").astype(object), "bruxism": spelled(list(cast.bruxism), people["bruxism"]),
        "cleanser": spelled(list(cast.cleanser), people["cleanser"]),
    }  # fmt: skip
    for name in ("dry_mouth", "limited_dexterity", "smoker", "worn_at_night"):
        columns[name] = np.where(people[name], "yes", "no").astype(object)
    for name in ("birth_year", "sex", "bruxism", "cleanser", "dry_mouth", "limited_dexterity", "smoker", "worn_at_night"):
        column = columns[name].astype(object)
        column[~chance.happens(world.scenario.recording.field_known, n)] = None
        columns[name] = column
    return framed("patients", columns)


def dentures(world: World, books: dict, log: dict, names: Names) -> pd.DataFrame:
    table, jaw = books["dentures"], world.cast.jaw
    rows = np.flatnonzero(table["logged"])
    rows = rows[np.lexsort((table["count"][rows], table["jaw"][rows]))]
    mine, count = table["jaw"][rows], table["count"][rows]
    lines = log["lines"]
    converted = np.isin(rows, lines["in_denture"][lines["special"] == 1])
    follows = np.where(count > 1, np.roll(names.denture[rows], 1), None) if len(rows) else None
    return framed(
        "dentures",
        {
            "denture_id": names.denture[rows], "patient_id": names.patient[jaw["patient"][mine]], "arch": names.arch[mine], "delivered_on": names.delivered[rows],
            "base": spelled(list(world.scenario.cast.base), jaw["base"][mine]), "opposing": spelled(opposing_words(world.scenario), jaw["opposing"][mine]),
            "use": np.full(len(rows), "everyday", dtype=object), "follows": follows, "housings_from": np.full(len(rows), "new", dtype=object),
            "existing": np.where(converted, "yes", "no").astype(object), "retired_on": names.retired[rows],
            "retired_reason": spelled(("remade", "implant lost", "changed to fixed"), table["reason"][rows] - 1),
        },
    )  # fmt: skip


def implants(world: World, books: dict, names: Names, *, exceptions_only=False) -> pd.DataFrame:
    """Every implant under a logged denture; ``exceptions_only``: those of which the day sheet cannot say everything."""
    jaw = world.cast.jaw
    row, site = np.nonzero(jaw["used"] & (books["first_day"] < NEVER)[:, None])
    clocks = books["clocks"]
    mine = clocks["what"] == CLOCK["implant loss"]
    lost_on = np.full(len(jaw["patient"]) * SITES, NEVER, np.int64)
    lost_on[clocks["unit"][mine]] = clocks["found"][mine]
    day = lost_on[row * SITES + site]
    known = jaw["placed_known"] & (jaw["precision"] <= COARSE.index("month"))
    placed = np.where(known[row], jaw["placed"][row], NEVER)
    if exceptions_only:
        keep = (day < NEVER) | (placed < NEVER)
        row, site, day, placed = row[keep], site[keep], day[keep], placed[keep]
    return framed(
        "implants",
        {
            "patient_id": names.patient[jaw["patient"][row]], "position": names.position[row, site], "placed_on": date_text(world, placed, np.ones(len(row), int)),
            "divergence_deg": jaw["divergence"][row, site], "state": spelled(("in use", "lost"), (day < NEVER).astype(int)), "state_on": date_text(world, day),
        },
    )  # fmt: skip


def insert_levels(world: World) -> pd.DataFrame:
    levels = world.scenario.levels
    return framed(
        "insert_levels",
        {
            "level": np.array([*levels.names, "processing"], dtype=object), "system": np.array([*levels.system, levels.system[0]], dtype=object),
            "retention": np.array([*levels.retention, 0.0]), "unit": np.array([*levels.unit, levels.unit[0]], dtype=object),
            "kind": np.array(["final"] * len(levels.names) + ["processing"], dtype=object),
        },
    )  # fmt: skip


def questionnaires(world: World, books: dict, log: dict, names: Names) -> pd.DataFrame:
    """Scores before the first set and at the visits, one item on the denture."""
    chance, jaw, lines = world.chance, world.cast.jaw, log["lines"]
    rows = np.flatnonzero((lines["score"] != NO_SCORE) & (lines["precision"] == 0))
    before = np.flatnonzero(jaw["in_log"] & (books["first_day"] < NEVER))
    before = before[chance.happens(world.scenario.satisfaction.answered_before, len(before))]
    s = world.scenario.satisfaction
    own = s.before_share * s.patient_sd * world.cast.patient["mood"][jaw["patient"][before]]
    score = np.clip(np.round(s.before + own + s.before_sd * chance.normal(len(before))), 0, 100)
    mine = np.concatenate([before, lines["jaw"][rows]])
    day = np.concatenate([jaw["delivered"][before] - chance.whole(3, 30, len(before)), lines["day"][rows]])
    occasion = np.concatenate([np.full(len(before), OCCASIONS.index("before")), lines["occasion"][rows]])
    plain = np.isin(occasion, [OCCASIONS.index(word) for word in ("before", "before step", "after step")])
    occasion = np.where(chance.happens(0.1, len(mine)) & ~plain, -1, occasion)
    order = np.lexsort((mine, day))
    helped = chance.happens(0.15, len(mine))
    return framed(
        "questionnaires",
        {
            "patient_id": names.patient[jaw["patient"][mine]][order], "answered_on": date_text(world, day)[order], "occasion": spelled(OCCASIONS, occasion)[order],
            "about": names.arch[mine][order], "instrument": np.full(len(mine), "satisfaction_card", dtype=object), "item": np.ones(len(mine), np.int64),
            "response": np.concatenate([score, lines["score"][rows]])[order], "filled_by": spelled(("patient", "with help"), helped.astype(int)),
            "where": np.full(len(mine), "chairside", dtype=object),
        },
    )  # fmt: skip
