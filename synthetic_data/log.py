"""What the clinic writes down: which visits get a line, which words are left out, how coarse the dates are. Truth in, log out."""

from __future__ import annotations

import numpy as np

from .clocks import World
from .draws import NEVER
from .ledger import ABUTMENT, CLOCK, HOUSING, INSERT
from .words import BLANK, CHECKED, INSERTS_ONLY, LABORATORY, PROBLEM, SEEN_BY, SILENT

COARSE = ("day", "month", "year", "not known")


def written(world: World, books: dict) -> dict[str, dict[str, np.ndarray]]:
    """The log as arrays: ``lines`` sorted by day, ``sets`` fitted while it ran, parts ``in_place`` when it began; books gain what the log calls them."""
    lines = _kept(world, books["lines"])
    lines["patient"] = world.cast.jaw["patient"][lines["jaw"]]
    order = np.lexsort((lines["jaw"], lines["patient"], lines["day"]))
    lines = {name: column[order] for name, column in lines.items()}
    first = _first_lines(world, lines)
    lines["in_place"] = np.zeros(len(lines["jaw"]), bool)
    known = first[first < NEVER]
    lines["in_place"][known[~world.cast.jaw["in_log"][lines["jaw"][known]]]] = True
    _words_left_out(world, lines)
    _by_month(world, lines)
    _snap_lost(world, lines)
    log = {"lines": lines, "sets": _sets(books, lines), "in_place": _in_place(world, books, lines, first)}
    _dentures(world, books, first)
    return log


def date_text(world: World, days, precision=None) -> np.ndarray:
    """Days of the log as written: 2024-03-14, 2024-03, 2024 or not known (``precision`` counts 0 to 3); None where NEVER."""
    dates = np.datetime64(world.scenario.clinic.start, "D") + np.where(days == NEVER, 0, days)
    text = np.datetime_as_string(dates).astype(object)
    if precision is not None:
        for width, code in ((7, 1), (4, 2)):
            rows = precision == code
            text[rows] = np.datetime_as_string(dates[rows]).astype(f"U{width}").astype(object)
        text[precision == 3] = "not known"
    text[np.asarray(days) == NEVER] = None
    return text


def _kept(world, lines):
    keep = lines["day"] >= 0
    if world.scenario.recording.only_failures:
        entering = _entering(world, lines)
        handled = [lines[name].any(axis=1) for name in ("changed", "worn")] + [(lines[name] > 0).any(axis=1) for name in ("housing", "abutment")]
        keep &= np.logical_or.reduce(handled) | (lines["denture"] > 0) | ((lines["special"] >= 0) & (lines["special"] <= 2)) | entering
    return {name: column[keep] for name, column in lines.items()}


def _entering(world, lines):
    """The first line of each jaw whose set is older than the log: it enters the parts, so even a log of failures has it."""
    day = np.where(lines["day"] >= 0, lines["day"], NEVER)
    first = np.full(len(world.cast.jaw["patient"]), NEVER, np.int32)
    np.minimum.at(first, lines["jaw"], day)
    return ~world.cast.jaw["in_log"][lines["jaw"]] & (day == first[lines["jaw"]]) & (day < NEVER)


def _first_lines(world, lines):
    first = np.full(len(world.cast.jaw["patient"]), NEVER, np.int64)
    np.minimum.at(first, lines["jaw"], np.arange(len(lines["jaw"])))
    return first


def _words_left_out(world, lines):
    recording, chance, n = world.scenario.recording, world.chance, len(lines["jaw"])
    left_in = (lines["worn"] & ~lines["changed"]).any(axis=1)
    blank = lines["changed"].any(axis=1) & ~left_in & chance.happens(recording.why_unwritten, n)
    lines["why"] = np.where(blank, BLANK, lines["why"]).astype(np.int8)
    lines["worn"] = lines["worn"] & ~blank[:, None]
    lines["why_blank"] = blank
    only_worn = (lines["worn"] == lines["changed"]).all(axis=1) & (lines["why"] >= 0) & (lines["why"] <= 2)
    lines["worn_cell_blank"] = only_worn & chance.happens(0.5, n)
    lines["level_blank"] = chance.happens(recording.level_unwritten, n)
    for name in ("style", "says_none", "says_all"):
        lines[name] = chance.happens(0.5, n)
    looked = lines["looked_everywhere"]
    uncovered = looked & np.isin(lines["checked"], (INSERTS_ONLY, SILENT))
    for name in ("housing", "abutment"):
        says = chance.happens(np.where(uncovered, recording.fine_written, np.where(lines["checked"] == CHECKED.index("all"), 0.25, 0.0)), n)
        lines[name + "_fine"] = says & (lines[name] == 0).all(axis=1)
    other = chance.choice([0.55, 0.3, 0.15], n)
    clinician = np.where(chance.happens(0.85, n), world.cast.patient["clinician"][lines["patient"]], other)
    by = lines["seen_by"]
    clinician = np.where(by == SEEN_BY.index("hygienist"), 3, np.where(by == SEEN_BY.index("assistant"), 4, clinician))
    lines["clinician"] = np.where(lines["reason"] == LABORATORY, BLANK, clinician).astype(np.int8)


def _by_month(world, lines):
    """Dates some visits by month only, where no other visit of the patient falls into that month, no set was fitted and no implant lost."""
    share, n = world.scenario.recording.visit_by_month, len(lines["jaw"])
    month = (np.datetime64(world.scenario.clinic.start, "D") + lines["day"]).astype("datetime64[M]").astype(np.int64)
    pair = lines["patient"].astype(np.int64) * 10_000 + month
    order = np.lexsort((lines["day"], pair))
    starts = np.r_[True, pair[order][1:] != pair[order][:-1]]
    group = np.cumsum(starts) - 1
    low = lines["day"][order][starts]
    high = np.maximum.reduceat(lines["day"][order], np.flatnonzero(starts)) if n else low
    fits = (lines["special"] >= 0) & (lines["special"] <= 2) | lines["lost_implant"]
    with_set = np.bitwise_or.reduceat(fits[order], np.flatnonzero(starts)) if n else fits
    coarse = (low == high) & ~with_set & world.chance.happens(share, len(low))
    lines["precision"] = np.zeros(n, np.int8)
    lines["precision"][order] = coarse[group]


def _snap_lost(world, lines):
    """Since when the snap was gone: only where the line shows one failure that it can belong to."""
    recording, n = world.scenario.recording, len(lines["jaw"])
    failed = lines["housing"] > 0
    by_insert = lines["worn"].sum(axis=1)
    day = np.where(by_insert == 1, np.where(lines["worn"], lines["insert_days"], NEVER).min(axis=1), NEVER)
    by_bond = (by_insert == 0) & (failed.sum(axis=1) == 1)
    day = np.where(by_bond, np.where(failed, lines["bond_days"], NEVER).min(axis=1), day)
    plain = (lines["reason"] == PROBLEM) & ~lines["in_place"] & (lines["precision"] == 0) & ~lines["why_blank"] & (day >= 0)
    told = plain & world.chance.happens(recording.snap_lost_written, n)
    lines["lost"] = np.where(told, day, NEVER)
    lines["lost_precision"] = np.where(world.chance.happens(recording.snap_lost_by_day, n), 0, 1).astype(np.int8)


def _line_of(lines, jaw, day):
    """Row numbers of the lines of these jaws on these days (every one of them has a line)."""
    key = lines["jaw"].astype(np.int64) * 2**20 + lines["day"]
    order = np.argsort(key, kind="stable")
    return order[np.searchsorted(key[order], jaw.astype(np.int64) * 2**20 + day)]


def _sets(books, lines):
    """The abutment, housing and insert of every site fitted as a set while the log ran, with their line."""
    parts = books["parts"]
    rows = np.flatnonzero(parts["with_set"] & (parts["fitted"] >= 0))
    rows = rows[np.lexsort((parts["fitted"][rows], parts["site"][rows], parts["jaw"][rows]))]
    of = {kind: rows[parts["kind"][rows] == kind] for kind in (ABUTMENT, HOUSING, INSERT)}
    some = of[ABUTMENT]
    return {
        "line": _line_of(lines, parts["jaw"][some], parts["fitted"][some]), "site": parts["site"][some],
        "abutment": some, "housing": of[HOUSING], "insert": of[INSERT],
    }  # fmt: skip


def _in_place(world, books, lines, first):
    """The parts in place at the first line of a jaw whose set is older than the log, and how well their age is known."""
    parts, jaw, chance = books["parts"], world.cast.jaw, world.chance
    opened = np.where(first < NEVER, lines["day"][np.minimum(first, len(lines["day"]) - 1)], NEVER) if len(lines["day"]) else np.full(len(first), NEVER)
    books["first_day"] = opened
    jaw["precision"] = np.where(jaw["in_log"], 0, chance.choice(world.scenario.recording.in_place_known, len(first)))
    jaw["precision"] = np.array([COARSE.index(w) for w in world.scenario.recording.in_place_known])[jaw["precision"]]
    jaw["precision"][jaw["in_log"]] = 0
    unknown = chance.happens(world.scenario.levels.unknown_in_place, len(first))
    day = opened[parts["jaw"]]
    here = np.flatnonzero(~jaw["in_log"][parts["jaw"]] & (day < NEVER) & (parts["fitted"] < day) & (parts["ended"] >= day))
    here = here[np.lexsort((parts["site"][here], parts["jaw"][here]))]
    of = {kind: here[parts["kind"][here] == kind] for kind in (ABUTMENT, HOUSING, INSERT)}
    some = of[ABUTMENT]
    original = np.logical_and.reduce([parts["with_set"][of[kind]] for kind in of]) & ~_mended(books, of, day)
    return {
        "line": first[parts["jaw"][some]], "site": parts["site"][some], "abutment": some, "housing": of[HOUSING], "insert": of[INSERT],
        "precision": np.where(original, jaw["precision"][parts["jaw"][some]], 3), "since": parts["fitted"][some],
        "level_unknown": unknown[parts["jaw"][some]],
    }  # fmt: skip


def _mended(books, of, day):
    """Whether a clock of these parts had been started anew before the jaw's first line."""
    clocks = books["clocks"]
    again = ~clocks["first"] & np.isin(clocks["what"], (CLOCK["housing bond failure"], CLOCK["abutment loosening"]))
    unit = clocks["unit"][again]
    before = clocks["start"][again] < day[unit] if len(unit) else unit
    mended = unit[before] if len(unit) else unit
    return np.isin(of[ABUTMENT], mended) | np.isin(of[HOUSING], mended)


def _dentures(world, books, first):
    """Numbers the dentures of each jaw and tells which of them the log knows."""
    dentures = books["dentures"]
    order = np.lexsort((dentures["delivered"], dentures["jaw"]))
    jaw = dentures["jaw"][order]
    starts = np.r_[True, jaw[1:] != jaw[:-1]] if len(jaw) else np.zeros(0, bool)
    count = np.arange(len(jaw)) - np.maximum.accumulate(np.where(starts, np.arange(len(jaw)), 0))
    dentures["count"] = np.empty(len(jaw), np.int32)
    dentures["count"][order] = count + 1
    dentures["logged"] = first[dentures["jaw"]] < NEVER
    people, mine = world.cast.patient, world.cast.jaw["patient"][dentures["jaw"]]
    fixed = people["to_fixed"][mine] & ~people["left_unseen"][mine] & (dentures["retired"] == NEVER)
    dentures["retired"] = np.where(fixed, people["left"][mine], dentures["retired"])
    dentures["reason"] = np.where(fixed, 3, dentures["reason"])

