"""Whether a whole file is written in Universal tooth numbering: seen from all its positions together, before any is read."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np

from outcomes import schemas
from outcomes.intake import positions
from outcomes.intake.source import Cells, Reading, Sheet
from outcomes.intake.typed import text_of
from outcomes.intake.words import fold

_KINDS = ("position", "positions")


def refuse_universal(readings: list[Reading]) -> None:
    """Refuse each file whose positions look like Universal numbering. Never converted: a mapping of columns may declare it."""
    jaws = None
    for reading in readings:
        found = [(sheet, name) for sheet in reading.sheets for name in sheet.columns if sheet.table in schemas.tables() and schemas.tables()[sheet.table].column(name).type in _KINDS]
        values = [text_of(value) for sheet, name in found for value in sheet.columns[name].values]
        numbers = [int(token) for value in values for token in re.findall(r"\d+", value)]
        if not numbers or max(numbers) > 32:
            continue
        jaws = _jaws(readings) if jaws is None else jaws
        named = [(value, jaw, count) for sheet, name in found for (value, jaw), count in _counted(sheet, name, jaws).items()]
        if positions.looks_universal(named):
            sheet, name = found[0]
            reading.fault("tooth numbering", "the positions look like Universal numbering (1 to 32), not ISO 3950 (11 to 48)",
                          "Write the positions by ISO 3950: the lower canines are 33 and 43. Numbers are never converted silently, for 22 and 27 are sites in both.",
                          refuses=True, sheet=sheet.name, table=sheet.table, column=name)


def _jaws(readings: list[Reading]) -> dict[str, str]:
    """The jaw of each patient for whom the files know one jaw only."""
    found: dict[str, set[str]] = {}
    for reading in readings:
        for sheet in reading.sheets:
            person, arch = _people(sheet), sheet.columns.get("arch")
            if person is None or arch is None:
                continue
            jaw = np.array([*(fold(text_of(value)) for value in arch.values), ""], dtype=object)[arch.index]
            for patient, one in set(zip(person, jaw)):
                if patient and one in ("upper", "lower"):
                    found.setdefault(patient, set()).add(one)
    return {patient: jaws.pop() for patient, jaws in found.items() if len(jaws) == 1}


def _people(sheet: Sheet) -> np.ndarray | None:
    """The patient of each row; of a visit_id, what stands before the first stroke."""
    for name in ("patient", "patient_id", "visit_id"):
        if name in sheet.columns:
            cells: Cells = sheet.columns[name]
            return np.array([*(text_of(value).split("/")[0] for value in cells.values), ""], dtype=object)[cells.index]
    return None


def _counted(sheet: Sheet, name: str, jaws: dict[str, str]) -> Counter:
    """How often each position is written for each jaw known of its row."""
    cells = sheet.columns[name]
    written = np.array([*(text_of(value) for value in cells.values), ""], dtype=object)[cells.index]
    arch = sheet.columns.get("arch")
    people = _people(sheet)
    jaw = [jaws.get(person) for person in people] if people is not None else [None] * len(written)
    if arch is not None:
        given = np.array([*(fold(text_of(value)) for value in arch.values), ""], dtype=object)[arch.index]
        jaw = [one if one in ("upper", "lower") else known for one, known in zip(given, jaw)]
    return Counter((text, one) for text, one in zip(written, jaw) if text and fold(text) not in ("none", "all", "midline"))
