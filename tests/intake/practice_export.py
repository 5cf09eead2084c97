"""The simulated clinic as a made-up practice program would write it out: columns, words, units, tooth numbers and dates of its own,
beside the columns that nobody may take."""

from __future__ import annotations

import csv
import re
from pathlib import Path

from outcomes.intake.positions import universal_to_iso

UNIVERSAL = {universal_to_iso(number): str(number) for number in range(1, 33)}
REASONS = {"delivery": "EING", "conversion": "UMBAU", "review": "NACHK", "recall": "KONTR", "problem": "NOTF", "hygiene": "PZR", "laboratory": "LAB", "contact only": "TEL", "other": "SONST"}
SNAPS = {"far too loose": "1", "a bit loose": "2", "just right": "3", "a bit firm": "4", "far too firm": "5", "not asked": "-"}
HIDDEN = "Zzyzx Canary"  # stands in every cell that no mapping takes

VISITS = '''
mapping = 1

[file]
name = "karteikarte*.csv"
date_form = "DD.MM.YYYY"
numbering = "Universal"

[day_sheet]
patient = "Akten-Nr."
date = "Datum"
visit_order = "Lfd."
arch = { from = "Kiefer", values = { "OK" = "upper", "UK" = "lower" } }
seen_by = "Wer"
clinician = "Kürzel"
minutes = { from = "Dauer (s)", unit = "s" }
parts_checked = "geprüft"
snap = { from = "Schnapp", values = { "1" = "far too loose", "2" = "a bit loose", "3" = "just right", "4" = "a bit firm", "5" = "far too firm", "-" = "not asked" } }
snap_history = "früher"
inserts_changed = { from = "Einsätze", between = "/", values = { "alle" = "all", "keine" = "none" } }
why = "Grund"
worn_at = { from = "Einsätze verschlissen", between = "/" }
level_now = { from = "Stufe" }
housings = { from = "Gehäuse", between = " | " }
abutments = { from = "Aufbauten", between = " | " }
denture = { from = "Prothese", between = " | " }
snap_lost = "lose seit"

[day_sheet.reason]
from = "Anlass"
[day_sheet.reason.values]
EING = "delivery"
UMBAU = "conversion"
NACHK = "review"
KONTR = "recall"
NOTF = "problem"
PZR = "hygiene"
LAB = "laboratory"
TEL = "contact only"
SONST = "other"
'''

SETS = '''
mapping = 1

[file]
name = "implantate.csv"
date_form = "DD.MM.YYYY"
numbering = "Universal"

[set_up]
patient = "Akten-Nr."
arch = { from = "Zahn/Stufe", split = "/", part = 1, values = { "OK" = "upper", "UK" = "lower" } }
position = { from = "Zahn/Stufe", split = "/", part = 2 }
level = { from = "Zahn/Stufe", split = "/", part = -1 }
fitted_on = "eingesetzt"
attachment = { from = "Art", values = { "Kugel" = "ball", "Knopf" = "stud" } }
height_mm = { from = "Höhe", unit = "cm" }
torque_ncm = { from = "Drehmoment", unit = "N·m" }
pick_up = "Aufnahme"
divergence_deg = "Winkel"
'''


def own_date(text):
    return f"{text[8:10]}.{text[5:7]}.{text[:4]}" if text and re.fullmatch(r"\d{4}-\d\d-\d\d", text) else text


def universal(text):
    """ISO positions at the start of each entry, or before a colon, as Universal numbers."""
    return re.sub(r"(?<!\d)([1-4][1-8])(?!\d)", lambda found: UNIVERSAL[found[1]], text) if text else text


def visits(frame) -> list[dict]:
    """Rows of the export for the lines of a day sheet."""
    out = []
    for number, row in enumerate(_rows(frame)):
        changed = row["inserts_changed"]
        out.append({
            "Name, Vorname": f"{HIDDEN} {number}", "Akten-Nr.": row["patient"], "geb.": "12.05.1948", "Datum": own_date(row["date"]), "Lfd.": row["visit_order"],
            "Kiefer": {"upper": "OK", "lower": "UK", None: None}[row["arch"]], "Anlass": REASONS[row["reason"]], "Wer": row["seen_by"], "Kürzel": row["clinician"],
            "Dauer (s)": None if row["minutes"] is None else f"{row['minutes'] * 60:g}", "geprüft": row["parts_checked"], "Schnapp": SNAPS[row["snap"]], "früher": row["snap_history"],
            "Einsätze": {"all": "alle", "none": "keine"}.get(changed) or (changed and "/".join(universal(changed).split())), "Grund": row["why"],
            "Einsätze verschlissen": row["worn_at"] and "/".join(universal(row["worn_at"]).split()), "Stufe": universal(row["level_now"]),
            "Gehäuse": row["housings"] and universal(row["housings"]).replace("; ", " | "), "Aufbauten": row["abutments"] and universal(row["abutments"]).replace("; ", " | "),
            "Prothese": row["denture"], "lose seit": own_date(row["snap_lost"]), "Bemerkung": f"{HIDDEN}, =1+1 +44 20 7946 0958", "Telefon": "+44 20 7946 0958",
        })
    return out


def sets(frame) -> list[dict]:
    """Rows of the export for the lines of a set-up."""
    comma = lambda value: None if value is None else f"{value:g}".replace(".", ",")
    return [{"Akten-Nr.": row["patient"], "Zahn/Stufe": f"{ {'upper': 'OK', 'lower': 'UK'}[row['arch']]} / {UNIVERSAL.get(row['position'], row['position'])} / {row['level']}",
             "Bemerkung": HIDDEN, "eingesetzt": own_date(row["fitted_on"]), "Art": {"ball": "Kugel", "stud": "Knopf"}[row["attachment"]],
             "Höhe": comma(row["height_mm"] and row["height_mm"] / 10), "Drehmoment": comma(row["torque_ncm"] and row["torque_ncm"] / 100), "Aufnahme": row["pick_up"], "Winkel": comma(row["divergence_deg"])}
            for row in _rows(frame)]


def write(path: Path, rows: list[dict], separator: str = ";") -> Path:
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]), delimiter=separator)
        writer.writeheader()
        writer.writerows(rows)
    return path


def _rows(frame) -> list[dict]:
    return frame.astype(object).where(frame.notna(), None).to_dict("records")
