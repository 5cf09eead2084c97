"""What truly happened: lives of parts, clocks of failure, dentures, implants, patients, visits; and the true survival of every endpoint."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from outcomes.errors import Misuse

from .cast import LAYOUTS, SITES, opposing_words
from .clocks import YEAR, World
from .draws import NEVER
from .ledger import ABUTMENT, CLOCK, CLOCKS, ENDINGS
from .long_form import PART_WORDS
from .names import Names, spelled
from .scenarios import Scenario

CAUSES = {"insert": ("worn", "torn", "lost")}
OUT_OF_REACH = 36_525  # a hundred years after the start: no date is given
FIRST_REPAIR = ("insert worn", "housing bond failure", "abutment loosening", "attachment wear", "denture fracture")


@dataclass(frozen=True)
class Truth:
    """Frames of the truth. Dates are true days (NaT where there is none within reach), lives exact days.

    ``parts``: one row per part that served while the log ran. ``failed_on`` is the day on which its first clock (insert worn, housing bond
    failure, abutment loosening) runs out, even where the part had left by then: compare with ``ended_on``, NaT for a part in place at the close.
    ``failures``: one row per clock, those started anew after a repair too; ``found_on`` is the visit that found it.
    ``visits``: one row per line of the log with its true day. ``patients``, ``dentures``, ``implants``: one row each.
    """

    scenario: Scenario
    parts: pd.DataFrame
    failures: pd.DataFrame
    dentures: pd.DataFrame
    implants: pd.DataFrame
    patients: pd.DataFrame
    visits: pd.DataFrame

    @classmethod
    def of(cls, world: World, books: dict, log: dict, names: Names) -> Truth:
        parts = _parts(world, books, names)
        failures = _failures(world, books, names, parts)
        kept = parts[parts["logged"]].drop(columns="logged")
        return cls(
            world.scenario,
            kept.reset_index(drop=True),
            failures,
            _dentures(world, books, names),
            failures[failures["endpoint"] == "implant loss"].reset_index(drop=True),
            _patients(world, names),
            _visits(world, log, names),
        )

    @classmethod
    def joined(cls, pieces: list[Truth]) -> Truth:
        if len(pieces) == 1:
            return pieces[0]
        frames = [f.name for f in fields(cls) if f.name != "scenario"]
        return cls(pieces[0].scenario, *(pd.concat([getattr(piece, name) for piece in pieces], ignore_index=True) for name in frames))

    def survival(self, endpoint: str, t, **where) -> np.ndarray:
        """True share of units still without the endpoint ``t`` days after day 0, other endings taken away.

        The mean over the clinic's fresh units (fitted while the log ran, the first of their kind at their site) of
        S(t) = (1 + v H(t))^(-1/v), H the unit's cumulative hazard at frailty 1 and v the frailty's variance. ``where`` narrows the units,
        as in ``level="light"``. For "first repair" the hazards of all original parts of a denture are summed. Raises Misuse for another endpoint.
        """
        t = np.atleast_1d(np.asarray(t, dtype=float))
        if endpoint not in (*CLOCKS, "first repair"):
            raise Misuse(f"The truth of {endpoint} is not a single clock. It is known for: first repair, {', '.join(CLOCKS)}.")
        wanted = FIRST_REPAIR if endpoint == "first repair" else (endpoint,)
        rows = self.failures[self.failures["endpoint"].isin(wanted) & self.failures["fresh"]]
        for column, value in where.items():
            rows = rows[rows[column] == value]
        unit = rows["denture_id"] if endpoint == "first repair" else rows["unit_id"]
        codes, found = pd.factorize(unit)
        v = self.scenario.frailty.variance
        out = np.empty(len(t))
        for place, day in enumerate(t):
            hazard = (day / (rows["scale_years"].to_numpy() * YEAR)) ** rows["shape"].to_numpy() + rows["constant_per_year"].to_numpy() * day / YEAR
            hazard = np.bincount(codes, hazard, minlength=len(found))
            out[place] = np.mean(np.exp(-hazard) if v == 0 else (1 + v * hazard) ** (-1 / v)) if len(found) else np.nan
        return out


def _dates(world, days):
    days = np.asarray(days, dtype=np.int64)
    out = (np.datetime64(world.scenario.clinic.start, "D") + np.where(days >= OUT_OF_REACH, 0, days)).astype("datetime64[ns]")
    out[days >= OUT_OF_REACH] = np.datetime64("NaT")
    return out


def _parts(world, books, names):
    """Every part, those gone before the log began too (``logged`` False)."""
    p, jaw, people = books["parts"], world.cast.jaw, world.cast.patient
    mine = p["jaw"]
    owner = jaw["patient"][mine]
    first_day = books["first_day"][mine]
    logged = (first_day < NEVER) & (p["ended"] >= first_day)
    left = people["left"][owner]
    by_leaving = (left <= p["ended"]) & (left < NEVER)
    reasons = np.array(["died", *world.scenario.leaving.reasons], dtype=object)[np.maximum(people["left_reason"][owner], 0)]
    ending = spelled(ENDINGS, p["ending"])
    ending = np.where(by_leaving, np.where(people["left_unseen"][owner], "left unseen", reasons), ending)
    ending = np.where(by_leaving & people["to_fixed"][owner] & ~people["left_unseen"][owner] & (p["kind"] > 0), "denture retired", ending)
    frame = pd.DataFrame(
        {
            "patient_id": names.patient[owner], "denture_id": names.denture[p["denture"]], "arch": names.arch[mine], "position": names.position[mine, p["site"]],
            "part": spelled(PART_WORDS, p["kind"]), "arrival": np.where(p["fitted"] >= 0, "fitted", "already in place"), "fitted_on": _dates(world, p["fitted"]),
            "ended_on": _dates(world, np.minimum(p["ended"], left)), "ending": ending, "attachment": np.where(p["ball"], "ball", "stud"),
            "level": spelled(world.scenario.levels.names, p["level"]), "retention_n": np.where(p["level"] >= 0, world.newtons[p["level"]], np.nan),
            "pick_up": np.where(p["kind"] == 1, np.where(p["laboratory"], "laboratory", "chairside"), None), "height_mm": p["height"], "sites": jaw["sites"][mine],
            "divergence_deg": jaw["divergence"][mine, p["site"]], "opposing": spelled(opposing_words(world.scenario), jaw["opposing"][mine]),
            "frailty": people["frailty"][owner], "with_set": p["with_set"], "logged": logged,
        }
    )  # fmt: skip
    at = np.where(logged, 0, 1)
    carrier = np.where(p["kind"] == ABUTMENT, -1 - mine, p["denture"])  # an abutment outlives the denture
    order = np.lexsort((p["fitted"], at, p["kind"], p["site"], carrier))
    key = np.stack([carrier[order], p["site"][order], p["kind"][order], at[order]])
    starts = np.r_[True, (key[:, 1:] != key[:, :-1]).any(axis=0)] if len(order) else np.zeros(0, bool)
    count = np.arange(len(order)) - np.maximum.accumulate(np.where(starts, np.arange(len(order)), 0))
    serial = np.empty(len(order), np.int64)
    serial[order] = count + 1
    frame.insert(5, "serial", np.where(logged, serial, 0))
    frame.insert(0, "part_id", frame["denture_id"] + "/" + frame["position"] + "/" + frame["part"] + "/" + frame["serial"].astype(str).astype(object))
    return _with_first_clock(world, books, frame)


def _with_first_clock(world, books, frame):
    p, c = books["parts"], books["clocks"]
    life = np.full(len(frame), np.nan)
    for what in ("insert worn", "housing bond failure", "abutment loosening"):
        rows = c["first"] & (c["what"] == CLOCK[what])
        life[c["unit"][rows]] = c["life"][rows]
    frame["life_days"] = life
    frame["failed_on"] = _dates(world, _fails(p["fitted"], life))
    frame["failure"] = np.where(p["kind"] == 2, spelled(CAUSES["insert"], p["cause"]), np.where(p["kind"] == 1, "bond", "loose"))
    return frame


def _fails(start, life):
    return np.minimum(start + np.maximum(np.ceil(np.nan_to_num(life, nan=NEVER, posinf=NEVER)), 1), NEVER)


def _failures(world, books, names, parts):
    c, jaw, clinic = books["clocks"], world.cast.jaw, world.scenario
    what = np.array(CLOCKS, dtype=object)[c["what"]]
    is_part, is_implant = c["what"] <= CLOCK["attachment wear"], c["what"] == CLOCK["implant loss"]
    part, denture, implant = (np.where(mask, c["unit"], 0) for mask in (is_part, ~is_part & ~is_implant, is_implant))
    columns = {}
    empty = {"patient_id": None, "denture_id": None, "arch": None, "position": None, "part_id": None, "level": None, "attachment": None, "pick_up": None}
    dentures = books["dentures"]
    of_denture = dentures["jaw"][denture] if len(dentures["jaw"]) else denture
    mine = np.where(is_part, books["parts"]["jaw"][part], np.where(is_implant, implant // SITES, of_denture))
    for name in empty:
        columns[name] = np.where(is_part, parts[name].to_numpy()[part], None)
    columns["patient_id"], columns["arch"] = names.patient[jaw["patient"][mine]], names.arch[mine]
    columns["denture_id"] = np.where(is_part, columns["denture_id"], np.where(is_implant, None, names.denture[denture]))
    columns["position"] = np.where(is_implant, names.position[mine, implant % SITES], columns["position"])
    place = columns["patient_id"] + "/" + np.where(is_implant, columns["position"], "")
    unit = np.where(is_part, columns.pop("part_id"), np.where(is_implant, place, columns["denture_id"]))
    in_log = is_part & parts["logged"].to_numpy()[part] | ~is_part & (books["first_day"][mine] < NEVER)
    first_here = np.where(is_part, (parts["serial"].to_numpy()[part] == 1) & (books["parts"]["fitted"][part] >= 0), jaw["in_log"][mine] | (c["start"] >= 0))
    shape = {
        "insert worn": clinic.insert.shape, "housing bond failure": clinic.housing.shape, "denture fracture": clinic.denture.fracture_shape,
        "implant loss": clinic.implant.shape, "attachment wear": clinic.abutment.ball_worn_shape, "abutment loosening": clinic.abutment.loose_shape,
    }  # fmt: skip
    shapes = np.array([shape.get(word, 1.0) for word in CLOCKS])[c["what"]]
    balls = (columns["attachment"] == "ball") & (c["what"] == CLOCK["abutment loosening"])
    constant = (c["what"] == CLOCK["insert worn"]) * (clinic.insert.torn_per_year + clinic.insert.lost_per_year)
    frame = pd.DataFrame(
        {
            "endpoint": what, "unit_id": unit, **columns, "sites": jaw["sites"][mine], "started_on": _dates(world, c["start"]), "life_days": c["life"],
            "failed_on": _dates(world, _fails(c["start"], c["life"])), "found_on": _dates(world, c["found"]), "first": c["first"],
            "fresh": c["first"] & first_here & in_log, "scale_years": c["scale"], "shape": np.where(balls, clinic.abutment.ball_loose_shape, shapes),
            "constant_per_year": constant, "frailty": world.cast.patient["frailty"][jaw["patient"][mine]],
        }
    )  # fmt: skip
    return frame[in_log].reset_index(drop=True)


def _dentures(world, books, names):
    d, jaw = books["dentures"], world.cast.jaw
    mine = d["jaw"]
    frame = pd.DataFrame(
        {
            "denture_id": names.denture, "patient_id": names.patient[jaw["patient"][mine]], "arch": names.arch[mine], "delivered_on": _dates(world, d["delivered"]),
            "retired_on": _dates(world, d["retired"]), "sites": jaw["sites"][mine], "layout": spelled([" ".join(x) for x in LAYOUTS], jaw["layout"][mine]),
            "wish_n": jaw["wish_n"][mine], "delivered_in_log": d["delivered"] >= 0,
        }
    )  # fmt: skip
    return frame[d["logged"]].reset_index(drop=True)


def _patients(world, names):
    people = world.cast.patient
    reasons = ["died", *world.scenario.leaving.reasons]
    return pd.DataFrame(
        {
            "patient_id": names.patient, "frailty": people["frailty"], "left_on": _dates(world, people["left"]), "left_reason": spelled(reasons, people["left_reason"]),
            "left_unseen": people["left_unseen"], "never_recalled": people["never_recalled"], "before_log": people["before_log"], "mood": people["mood"],
        }
    )  # fmt: skip


def _visits(world, log, names):
    lines = log["lines"]
    arch = names.arch[lines["jaw"]]
    return pd.DataFrame(
        {
            "visit_id": names.visit, "patient_id": names.patient[lines["patient"]], "arch": arch, "visited_on": _dates(world, lines["day"]),
            "denture_id": names.denture[lines["in_denture"]], "mood": lines["mood"], "retention_n": lines["retention"], "wish": lines["wish"],
            "stepped": lines["stepped"], "satisfaction": np.where(lines["score"] < 0, np.nan, lines["score"]),
        }
    )  # fmt: skip
