"""Clinics to test on, and the day sheet read line by line as a person would, apart from both the simulator and the intake."""

from __future__ import annotations

import pandas as pd
import pytest

from outcomes import schemas
from outcomes.synthetic_data import scenario, simulate

EVERY_HABIT = scenario(
    "demo",
    cast={"already_in_place": 0.5, "both_jaws": 0.4, "upper_only": 0.2, "ball_in_log": 0.4},
    recording={"visit_by_month": 0.2, "why_unwritten": 0.2, "level_unwritten": 0.2, "housings_too": 0.5},
    housing={"years_chairside": 8.0, "years_laboratory": 12.0, "lost": 0.2},
    implant={"lost_in_5_years_lower": 0.2},
    decisions={"left_in": 0.4, "remake": 0.5, "remake_from_years": 0.5},
)


@pytest.fixture(scope="session")
def demo():
    return simulate("demo")


@pytest.fixture(scope="session")
def every_habit():
    return simulate(EVERY_HABIT, patients=400, seed=11)


@pytest.fixture(scope="session")
def large():
    """Two blocks of the demo's kind of patients, for rates."""
    return simulate("demo", patients=24_000, seed=5)


@pytest.fixture(scope="session")
def middling():
    return simulate("demo", patients=3000, seed=6)


@pytest.fixture(scope="session")
def large_log(large):
    return large.stored_tables()


@pytest.fixture(scope="session")
def read_by_hand():
    """{parts_log: rows by (visit, position, part), denture_log: a set of rows} of a clinic's day-sheet tables."""
    return read

SET_COLUMNS = {"abutment": ("torque_ncm", "height_mm"), "housing": ("pick_up",), "insert": ("level",)}


def read(tables: dict[str, pd.DataFrame]) -> dict[str, dict]:
    """parts_log rows by (visit, position, part) and denture_log rows as a set, from the day sheet's tables."""
    sheet = tables["day_sheet"].astype(object).where(tables["day_sheet"].notna(), None).to_dict("records")
    sets = tables["set_up"].astype(object).where(tables["set_up"].notna(), None).to_dict("records")
    lost = {
        (row["patient_id"], row["position"]): row["state_on"]
        for row in tables["implants"].astype(object).where(tables["implants"].notna(), None).to_dict("records")
        if row["state_on"]
    }
    by_jaw: dict = {}
    for row in sets:
        by_jaw.setdefault((row["patient"], row["arch"]), []).append(row)
    arch_of = {}
    for patient, arch in by_jaw:
        arch_of.setdefault(patient, []).append(arch)
    parts, dentures, seen, in_place = {}, set(), set(), {}
    for line in sorted(sheet, key=lambda row: row["date"]):
        jaw = (line["patient"], line["arch"] or arch_of[line["patient"]][0])
        visit = "/".join([line["patient"], line["date"]] + ([line["arch"]] if line["arch"] else []))
        rows = _sets_of(line, jaw, by_jaw[jaw], seen, in_place.setdefault(jaw, {}))
        for position in list(in_place[jaw]):
            gone = lost.get((line["patient"], position))
            if gone and gone[: len(line["date"])] <= line["date"]:
                del in_place[jaw][position]
        _said(line, rows, in_place[jaw])
        parts |= {(visit, position, part): row for (position, part), row in rows.items()}
        for finding, action in _entries(line["denture"], "denture").get("", []):
            dentures.add((visit, finding, action))
    return {"parts_log": parts, "denture_log": dentures}


def _sets_of(line, jaw, sets, seen, in_place):
    rows = {}
    first, conversion = jaw not in seen, line["reason"] == "conversion"
    seen.add(jaw)
    old = {row["position"] for row in sets if in_place.get(row["position"])}
    for row in sets:
        today = row["fitted_on"] == line["date"]
        before = first and not today and (len(row["fitted_on"]) < 10 or row["fitted_on"] == "not known" or row["fitted_on"] < line["date"])
        if not (today or before):
            continue
        for part, columns in SET_COLUMNS.items():
            there = row["position"] in old and (conversion or part == "abutment")
            covered = line["parts_checked"] == "all" or (line["parts_checked"] == "inserts only" and part == "insert")
            action = "none" if before else "replaced" if there else "fitted"
            finding = ("sound" if covered else "not checked") if before else "sound" if there else "not present"
            made = {"finding": finding, "action": action, "attachment": row["attachment"]} | {name: row[name] for name in columns}
            if there and conversion:
                made["change_reason"] = "conversion"
            if before:
                made["in_place_since"] = row["fitted_on"]
            rows[row["position"], part] = made
        in_place[row["position"]] = True
    return rows


def _said(line, rows, in_place):
    worn = _positions(line["worn_at"], in_place)
    changed = _positions(line["inserts_changed"], in_place)
    failing = []
    for position in sorted(set(worn) | set(changed)):
        row = _insert(line, position, position in changed, position in worn or not worn)
        if position in changed and line["level_now"]:
            levels = dict(pair.split(":") for pair in line["level_now"].split()) if ":" in line["level_now"] else None
            row["level"] = levels.get(position) if levels else line["level_now"]
        _lay(rows, (position, "insert"), row)
        if row["finding"] in ("worn", "torn", "lost"):
            failing.append((position, "insert"))
    for part, cell in (("housing", line["housings"]), ("abutment", line["abutments"])):
        for position, entries in _entries(cell, part, in_place, line["parts_checked"]).items():
            finding, action = entries[0]
            row = {"finding": finding, "action": action}
            if action in schemas.phrases()["change_reason_for"]:
                row["change_reason"] = schemas.phrases()["change_reason_for"][action]
            _lay(rows, (position, part), row)
    if line["snap_lost"]:
        failing = failing or [key for key, row in rows.items() if key[1] == "housing" and row["finding"] in ("debonded", "loose in its seat", "lost")]
        for key in failing:
            rows[key]["noticed_on"] = line["snap_lost"]


def _insert(line, position, changed, culprit):
    why, checked = line["why"], line["parts_checked"] in ("all", "inserts only")
    looked = "sound" if checked else "not checked"
    listed = line["worn_at"] and position in line["worn_at"].split()
    if not changed:
        return {"finding": "worn", "action": "none"}
    if why in ("worn", "torn", "lost"):
        row = {"finding": why, "change_reason": "failed"} if culprit else {"finding": looked, "change_reason": "with its pair"}
    elif why is None:
        row = {"finding": "notes silent", "change_reason": "not recorded"}
    else:
        row = {"finding": "worn" if listed else looked, "change_reason": "with reline or housing work" if why == "other work" else why}
    return row | {"action": "replaced"}


def _lay(rows, key, said):
    """A set's own action stands; of a part that was in place the line tells what was done."""
    made = rows.get(key)
    if made is None:
        rows[key] = said
    elif made["action"] == "none":
        level = said.get("level") if said["action"] == "replaced" else made.get("level")
        rows[key] = made | said | ({"level": level} if key[1] == "insert" else {})
    else:
        made["finding"] = said["finding"]


def _positions(cell, in_place):
    if cell in (None, "none"):
        return []
    return list(in_place) if cell == "all" else cell.split()


def _entries(cell, part, in_place=(), checked="all"):
    """{position: [(finding, action)]} of a cell; the position of a denture is blank."""
    if cell is None:
        return {}
    if cell == "fine":
        return {} if checked == "all" else {position: [("sound", "none")] for position in in_place}
    findings = schemas.codebook()["denture_finding" if part == "denture" else "part_finding"]["codes"]
    out = {}
    for entry in cell.split("; "):
        position, words = ("", entry) if part == "denture" else entry.split(" ", 1)
        finding = action = None
        for word in words.split(", "):
            if word in findings:
                finding = word
            else:
                action = word
        finding = finding or schemas.phrases()[part]["finding_for"][action]
        out.setdefault(position, []).append((finding, action or "none"))
    return out
