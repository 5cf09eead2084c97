"""The log as long tables, exactly as the day sheet's lines expand: the same visits through the other door."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes import schemas

from .ledger import ABUTMENT, HOUSING, INSERT
from .log import date_text
from .names import Names, spelled
from .words import (
    ABUTMENT_ENTRIES, ALL, BLANK, CHECKED, DENTURE_ENTRIES, HISTORIES, HOUSING_ENTRIES, INSERTS_ONLY, REASONS, SEEN_BY, SNAPS, WHY_FIRMER, WHY_LIGHTER, WHY_OTHER,
    WHY_ROUTINE, codes,
)  # fmt: skip

PART_WORDS = ("abutment", "housing", "insert")
FINDINGS, ACTIONS, CHANGES = codes("part_finding"), codes("part_action"), codes("change_reason")
CLINICIAN_WORDS = ("A", "B", "C", "H", "S")
FITTED, REPLACED, NO_ACTION = (ACTIONS.index(word) for word in ("fitted", "replaced", "none"))
SOUND, NOT_CHECKED, NOTES_SILENT, NOT_PRESENT, WORN = (FINDINGS.index(w) for w in ("sound", "not checked", "notes silent", "not present", "worn"))
PAIR = CHANGES.index("with its pair")


def framed(table: str, columns: dict) -> pd.DataFrame:
    """A frame with every declared column in order; None, NaN or <NA> where a cell is blank."""
    declared = schemas.tables()[table].columns
    size = max((np.size(value) for value in columns.values() if np.ndim(value)), default=0)
    out = {}
    for column in declared:
        value = columns.get(column.name)
        value = np.full(size, None, dtype=object) if value is None else np.broadcast_to(np.asarray(value), size)
        if column.type == "whole":
            out[column.name] = pd.array(pd.to_numeric(pd.Series(value), errors="coerce"), dtype="Int64")
        elif column.type == "number":
            out[column.name] = pd.to_numeric(pd.Series(value), errors="coerce").astype(float).to_numpy()
        else:
            out[column.name] = value
    return pd.DataFrame(out)


def visits(lines: dict, names: Names) -> pd.DataFrame:
    minutes = np.where(lines["minutes"] < 0, np.nan, lines["minutes"])
    return framed(
        "visits",
        {
            "visit_id": names.visit, "patient_id": names.patient[lines["patient"]], "visited_on": names.line_date, "arch": names.line_arch,
            "reason": spelled(REASONS, lines["reason"]), "seen_by": spelled(SEEN_BY, lines["seen_by"]),
            "clinician": spelled(CLINICIAN_WORDS, lines["clinician"]), "minutes": minutes, "parts_checked": spelled(CHECKED, lines["checked"]),
            "snap": spelled(SNAPS, lines["snap"]), "snap_history": spelled(HISTORIES, lines["history"]),
        },
    )  # fmt: skip


def denture_log(lines: dict, names: Names) -> pd.DataFrame:
    rows = np.flatnonzero(lines["denture"] > 0)
    entry = lines["denture"][rows]
    finding = spelled([x and x[0] for x in DENTURE_ENTRIES], entry)
    action = spelled([x and x[1] for x in DENTURE_ENTRIES], entry)
    return framed("denture_log", {"visit_id": names.visit[rows], "denture_id": names.denture[lines["in_denture"][rows]], "finding": finding, "action": action})


def parts_log(world, books: dict, log: dict, names: Names) -> pd.DataFrame:
    """One row per visit, position and part: sets and parts in place first, then what the line says of them laid over."""
    lines, parts = log["lines"], books["parts"]
    base = _joined([_fitted(parts, log), _already_there(world, parts, log)])
    detail = _joined([_inserts(lines), _entries(lines, HOUSING), _entries(lines, ABUTMENT), _fine(lines, HOUSING), _fine(lines, ABUTMENT)])
    rows = _laid_over(base, detail)
    jaw = lines["jaw"][rows["line"]]
    levels = [*world.scenario.levels.names, "unknown"]
    lost = _noticed(world, lines)
    return framed(
        "parts_log",
        {
            "visit_id": names.visit[rows["line"]], "denture_id": names.denture[lines["in_denture"][rows["line"]]], "position": names.position[jaw, rows["site"]],
            "part": spelled(PART_WORDS, rows["part"]), "finding": spelled(FINDINGS, rows["finding"]), "action": spelled(ACTIONS, rows["action"]),
            "change_reason": spelled(CHANGES, rows["change"]), "noticed_on": np.where(rows["noticed"], lost[rows["line"]], None),
            "attachment": spelled(("stud", "ball"), rows["attachment"]), "level": spelled(levels, rows["level"]),
            "torque_ncm": np.where(rows["torque"] > 0, rows["torque"], np.nan), "height_mm": rows["height"].astype(float),
            "pick_up": spelled(("chairside", "laboratory"), rows["pick_up"]), "in_place_since": rows["since"],
        },
    )  # fmt: skip


def _noticed(world, lines):
    return date_text(world, lines["lost"], lines["lost_precision"])


_COLUMNS = {
    "line": np.int64, "site": np.int64, "part": np.int8, "finding": np.int8, "action": np.int8, "change": np.int8, "noticed": bool, "attachment": np.int8,
    "level": np.int8, "torque": np.int16, "height": np.float64, "pick_up": np.int8, "since": object,
}  # fmt: skip
_BLANKS = {"change": -1, "noticed": False, "attachment": -1, "level": -1, "torque": 0, "height": np.nan, "pick_up": -1, "since": None}


def _rows(line, site, **values):
    out = {}
    for name, kind in _COLUMNS.items():
        value = {"line": line, "site": site, **_BLANKS, **values}[name]
        out[name] = np.empty(len(line), kind)
        out[name][:] = value
    return out


def _joined(pieces):
    return {name: np.concatenate([piece[name] for piece in pieces]) for name in _COLUMNS}


def _three(parts, group, **values):
    """Rows for the abutment, housing and insert of each site of a group of sets."""
    site, line, ball = group["site"], group["line"], parts["ball"][group["abutment"]].astype(np.int8)
    abutment = {"torque": parts["torque"][group["abutment"]], "height": parts["height"][group["abutment"]].astype(np.float64)}
    pick_up = {"pick_up": parts["laboratory"][group["housing"]].astype(np.int8)}
    level = {"level": values.pop("level", parts["level"][group["insert"]])}
    action, finding, change = values.pop("action"), values.pop("finding"), values.pop("change", (-1, -1, -1))
    pieces = []
    for part, more in ((ABUTMENT, abutment), (HOUSING, pick_up), (INSERT, level)):
        pieces.append(_rows(line, site, part=part, attachment=ball, action=action[part], finding=finding[part], change=change[part], **more, **values))
    return _joined(pieces)


def _fitted(parts, log):
    """A set's parts are fitted where none were, replaced at a conversion; under a new denture only the abutment was there before."""
    lines, group = log["lines"], log["sets"]
    special = lines["special"][group["line"]]
    action, finding, change = [], [], []
    for part in (ABUTMENT, HOUSING, INSERT):
        before = (special == 1) | ((special == 2) & (part == ABUTMENT))
        action.append(np.where(before, REPLACED, FITTED))
        finding.append(np.where(before, SOUND, NOT_PRESENT))
        change.append(np.where(special == 1, CHANGES.index("conversion"), -1))
    return _three(parts, group, action=action, finding=finding, change=change)


def _already_there(world, parts, log):
    lines, group = log["lines"], log["in_place"]
    checked = lines["checked"][group["line"]]
    finding = [np.where((checked == ALL) | (checked == INSERTS_ONLY) & (part == INSERT), SOUND, NOT_CHECKED) for part in (ABUTMENT, HOUSING, INSERT)]
    since = date_text(world, group["since"], group["precision"])
    level = np.where(group["level_unknown"], len(world.scenario.levels.names), parts["level"][group["insert"]])
    return _three(parts, group, action=[NO_ACTION] * 3, finding=finding, since=since, level=level)


def _inserts(lines):
    line, site = np.nonzero(lines["changed"] | lines["worn"])
    changed, worn, why = lines["changed"][line, site], lines["worn"][line, site], lines["why"][line]
    by_word = np.array([FINDINGS.index(word) for word in ("worn", "torn", "lost")])
    said = np.where(changed & (why >= 0) & (why <= 2), by_word[np.clip(why, 0, 2)], WORN)
    checked = np.isin(lines["checked"][line], (ALL, INSERTS_ONLY))
    otherwise = np.where(why == BLANK, NOTES_SILENT, np.where(checked, SOUND, NOT_CHECKED))
    finding = np.where(worn, said, otherwise)
    change = np.full(len(line), CHANGES.index("not recorded"))
    change[why >= 0] = PAIR
    change[worn & (why >= 0) & (why <= 2)] = CHANGES.index("failed")
    for code, word in ((WHY_FIRMER, "wanted firmer"), (WHY_LIGHTER, "wanted lighter"), (WHY_ROUTINE, "routine"), (WHY_OTHER, "with reline or housing work")):
        change[why == code] = CHANGES.index(word)
    level = np.where(changed & ~lines["level_blank"][line], lines["level"][line, site], -1)
    return _rows(
        line, site, part=INSERT, finding=finding, action=np.where(changed, REPLACED, NO_ACTION), change=np.where(changed, change, -1), noticed=worn, level=level
    )


def _entries(lines, part):
    name, table = (("housing", HOUSING_ENTRIES), ("abutment", ABUTMENT_ENTRIES))[part == ABUTMENT]
    line, site = np.nonzero(lines[name])
    finding = np.array([0] + [FINDINGS.index(entry[0]) for entry in table[1:]])[lines[name][line, site]]
    action = np.array([0] + [ACTIONS.index(entry[1]) for entry in table[1:]])[lines[name][line, site]]
    change = np.where(action == REPLACED, CHANGES.index("not recorded"), -1)
    noticed = (part == HOUSING) & ~lines["worn"][line].any(axis=1)
    return _rows(line, site, part=part, finding=finding, action=action, change=change, noticed=noticed)


def _fine(lines, part):
    name = "housing" if part == HOUSING else "abutment"
    says = lines[name + "_fine"] & (lines["checked"] != ALL)
    line, site = np.nonzero(lines["on_after"] & says[:, None])
    return _rows(line, site, part=part, finding=SOUND, action=NO_ACTION)


def _laid_over(base, detail):
    """Both sets of rows, one per line, site and part: a detail changes the finding of a base row, and of a part in place also the action."""
    key = _key(base)
    order = np.argsort(key, kind="stable")
    base = {name: column[order] for name, column in base.items()}
    place = np.searchsorted(key[order], _key(detail))
    there = np.zeros(len(place), bool)
    inside = place < len(key)
    there[inside] = key[order][place[inside]] == _key(detail)[inside]
    into, some = place[there], {name: column[there] for name, column in detail.items()}
    base["finding"][into] = some["finding"]
    base["noticed"][into] = some["noticed"]
    old = base["action"][into] == NO_ACTION
    for name in ("action", "change"):
        base[name][into[old]] = some[name][old]
    new_insert = old & (some["action"] == REPLACED) & (some["part"] == INSERT)
    base["level"][into[new_insert]] = some["level"][new_insert]
    rows = _joined([base, {name: column[~there] for name, column in detail.items()}])
    order = np.argsort(_key(rows), kind="stable")
    return {name: column[order] for name, column in rows.items()}


def _key(rows):
    return (rows["line"] * 4 + rows["site"]) * 3 + rows["part"]
