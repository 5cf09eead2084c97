"""The log as a practice keeps it: one day-sheet line for each denture seen, and a set-up line for each site of a set."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .cast import LAYOUTS, SITES
from .clocks import World

from .log import date_text
from .long_form import CLINICIAN_WORDS, framed
from .names import Names, spelled
from .words import ABUTMENT_ENTRIES, CHECKED, DENTURE_ENTRIES, HISTORIES, HOUSING_ENTRIES, REASONS, SEEN_BY, SNAPS, WHYS

BITS = 1 << np.arange(SITES)


def day_sheet(world: World, log: dict, names: Names) -> pd.DataFrame:
    lines = log["lines"]
    layout = world.cast.jaw["layout"][lines["jaw"]]
    changed = lines["changed"]
    whole = changed.any(axis=1) & (changed == lines["on_after"]).all(axis=1) & lines["says_all"]
    none = ~changed.any(axis=1) & lines["says_none"] & (lines["checked"] != CHECKED.index("none")) & (lines["special"] != 0)
    inserts = np.where(whole, "all", np.where(none, "none", _positions(layout, changed)))
    worn = np.where(lines["worn_cell_blank"], None, _positions(layout, lines["worn"]))
    minutes = np.where(lines["minutes"] < 0, np.nan, lines["minutes"])
    entry = [x and x[2][0] for x in DENTURE_ENTRIES]
    return framed(
        "day_sheet",
        {
            "patient": names.patient[lines["patient"]], "date": names.line_date, "arch": names.line_arch, "reason": spelled(REASONS, lines["reason"]),
            "seen_by": spelled(SEEN_BY, lines["seen_by"]), "clinician": spelled(CLINICIAN_WORDS, lines["clinician"]), "minutes": minutes,
            "parts_checked": spelled(CHECKED, lines["checked"]), "snap": spelled(SNAPS, lines["snap"]), "snap_history": spelled(HISTORIES, lines["history"]),
            "inserts_changed": inserts, "why": spelled(WHYS, lines["why"]), "worn_at": worn, "level_now": _levels(world, layout, lines),
            "housings": _cell(layout, lines["housing"], lines["style"], HOUSING_ENTRIES, lines["housing_fine"]),
            "abutments": _cell(layout, lines["abutment"], lines["style"], ABUTMENT_ENTRIES, lines["abutment_fine"]),
            "denture": spelled(entry, lines["denture"]), "snap_lost": date_text(world, lines["lost"], lines["lost_precision"]),
        },
    )  # fmt: skip


def set_up(world: World, books: dict, log: dict, names: Names) -> pd.DataFrame:
    """Sets from before the log first, then each set on its day."""
    parts, jaw, lines = books["parts"], world.cast.jaw, log["lines"]
    old, new = log["in_place"], log["sets"]
    group = {name: np.concatenate([old[name], new[name]]) for name in ("line", "site", "abutment", "housing", "insert")}
    mine = lines["jaw"][group["line"]]
    fitted = np.concatenate([date_text(world, old["since"], old["precision"]), date_text(world, parts["fitted"][new["abutment"]])])
    unknown = np.concatenate([old["level_unknown"], np.zeros(len(new["line"]), bool)])
    levels = [*world.scenario.levels.names, "unknown"]
    return framed(
        "set_up",
        {
            "patient": names.patient[jaw["patient"][mine]], "arch": names.arch[mine], "position": names.position[mine, group["site"]], "fitted_on": fitted,
            "attachment": spelled(("stud", "ball"), parts["ball"][group["abutment"]].astype(int)),
            "level": spelled(levels, np.where(unknown, len(levels) - 1, parts["level"][group["insert"]])),
            "height_mm": parts["height"][group["abutment"]].astype(float), "torque_ncm": parts["torque"][group["abutment"]],
            "pick_up": spelled(("chairside", "laboratory"), parts["laboratory"][group["housing"]].astype(int)),
            "divergence_deg": jaw["divergence"][mine, group["site"]],
        },
    )  # fmt: skip


def _positions(layout, mask):
    """Positions of a mask of sites, such as ``43 33``; None where there is none."""
    table = np.full((len(LAYOUTS), 1 << SITES), None, dtype=object)
    for place, labels in enumerate(LAYOUTS):
        for bits in range(1, 1 << len(labels)):
            table[place, bits] = " ".join(label for site, label in enumerate(labels) if bits >> site & 1)
    return table[layout, mask @ BITS]


def _by_pattern(layout, codes, spell):
    """One text for each distinct (layout, code at each site): ``spell(labels, codes)`` is called once for each."""
    packed = layout.astype(np.int64)
    for site in range(SITES):
        packed = packed * 32 + (codes[:, site].astype(np.int64) + 1)
    _, first, back = np.unique(packed, return_index=True, return_inverse=True)
    texts = np.array([spell(LAYOUTS[layout[row]], codes[row]) for row in first] + [None], dtype=object)[:-1]
    return texts[back]


def _levels(world, layout, lines):
    names = world.scenario.levels.names
    codes = np.where(lines["changed"] & ~lines["level_blank"][:, None], lines["level"], -1)

    def spell(labels, levels):
        given = [(label, names[level]) for label, level in zip(labels, levels) if level >= 0]
        if not given:
            return None
        if len({name for _, name in given}) == 1:
            return given[0][1]
        return " ".join(f"{label}:{name}" for label, name in given)

    return _by_pattern(layout, codes, spell)


def _cell(layout, codes, style, entries, fine):
    def spell(labels, row):
        plain, form = row % 16, row.max() // 16
        return "; ".join(f"{label} {entries[code][2][form]}" for label, code in zip(labels, plain) if code) or None

    styled = np.where((codes > 0) & style[:, None], codes + 16, codes)
    return np.where(fine, "fine", _by_pattern(layout, styled, spell))


