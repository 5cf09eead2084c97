"""One of each kind of error seeded into one set of files: all of them come out of one run, each at its cell."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from outcomes import intake, schemas
from outcomes.intake.problems import SENTENCES

# Kinds found cell by cell: (table, row, column of the seeded cell, kind). The rows stand after those of the rules' examples.
CELLS = [
    ("patients", {"patient_id": "C1"}, "audit_consent", "needed"),
    ("patients", {"patient_id": "C2", "audit_consent": "yse"}, "audit_consent", "code not known"),
    ("patients", {"patient_id": "C3", "audit_consent": "yes", "birth_year": "19x8"}, "birth_year", "number not readable"),
    ("patients", {"patient_id": "C4", "audit_consent": "yes", "birth_year": "1745"}, "birth_year", "too small"),
    ("patients", {"patient_id": "C5", "audit_consent": "yes", "birth_year": "2945"}, "birth_year", "too large"),
    ("patients", {"patient_id": "C6", "audit_consent": "yes", "left_on": "2023-02-29", "left_reason": "moved"}, "left_on", "date not readable"),
    ("patients", {"patient_id": "C7", "audit_consent": "yes", "left_on": "1905-07-18", "left_reason": "moved"}, "left_on", "too early"),
    ("patients", {"patient_id": "someone@example.org", "audit_consent": "yes"}, "patient_id", "personal data"),
    ("patients", {"patient_id": "C8", "audit_consent": "#N/A"}, "audit_consent", "code not known"),
    ("implants", {"patient_id": "C9", "position": "55", "divergence_deg": "5"}, "position", "position not known"),
    ("implants", {"patient_id": "C9", "position": "31", "divergence_deg": "60"}, "divergence_deg", "outside the usual range"),
    ("visits", {"visit_id": "#REF!", "patient_id": "C9", "visited_on": "2024-01-01", "reason": "recall", "parts_checked": "all"}, "visit_id", "spreadsheet error"),
    ("day_sheet", {"patient": "C9", "date": "2024-01-01", "reason": "recall", "parts_checked": "all", "snap": "just right", "housings": "33 replaed"}, "housings", "phrase not readable"),
    ("day_sheet", {"patient": "C9", "date": "2024-01-02", "reason": "recall", "parts_checked": "all", "snap": "just right", "inserts_changed": "33 99"}, "inserts_changed", "position not known"),
    ("day_sheet", {"patient": "C9", "date": "2024-01-03", "reason": "recall", "parts_checked": "all", "snap": "just right", "level_now": "33:"}, "level_now", "phrase not readable"),
    ("visits", {"visit_id": "unclear", "visited_on": "2024-01-01", "reason": "recall", "parts_checked": "all"}, "patient_id", "needed"),
    ("visits", {"patient_id": "C9", "visited_on": "not known", "reason": "recall", "parts_checked": "all"}, "visited_on", "visit without a key"),
    ("patients", {"patient_id": "C11\u202e7", "audit_consent": "yes"}, "patient_id", "characters not shown"),
    ("patients", {"patient_id": "C10", "audit_consent": "yes"}, "patient_id", "same row twice"),
    ("patients", {"patient_id": "C10", "audit_consent": "yes"}, "patient_id", "same row twice"),
    ("patients", {column.name: column.name.replace("_", " ") for column in schemas.tables()["patients"].columns}, "", "heading repeated"),
]
LINES = {"ragged line", "column not known"}  # seeded below as text
# Kinds that need a workbook or a mapping: where their seed stands.
ELSEWHERE = {"merged cells": "test_traps.py", "formula without a result": "test_traps.py", "no meaning in the mapping": "test_mapping.py",
             "does not fit the mapping": "test_mapping.py", "pieces do not match": "test_mapped_export.py", "rows do not agree": "test_mapped_export.py"}  # fmt: skip


def of_rule(number: int, rule: dict):
    """(table, row) of a rule's failing example, with names that no other rule's example has."""
    for table, rows in rule["failing_example"].items():
        for row in rows:
            yield table, {column: re.sub(r"\blight\b", f"light{number}", re.sub(r"\bP(\d)\b", rf"R{number}P\1", value)) for column, value in row.items()}


def seeded() -> dict[str, list[dict]]:
    """The failing example of every rule, each with patients and levels of its own, and the rows of CELLS."""
    tables: dict[str, list[dict]] = {}
    for number, rule in enumerate(schemas.rules().values()):
        for table, row in of_rule(number, rule):
            tables.setdefault(table, []).append(row)
    for table, row, _, _ in CELLS:
        tables.setdefault(table, []).append(row)
    return tables


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    import csv

    folder = tmp_path_factory.mktemp("seeded")
    paths = []
    for name, rows in seeded().items():
        columns = [column.name for column in schemas.tables()[name].columns]
        path = folder / f"{name}.csv"
        with open(path, "w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, columns)
            writer.writeheader()
            writer.writerows(rows)
        paths.append(path)
    implants = folder / "implants.csv"
    implants.write_text(implants.read_text(encoding="utf-8").replace("state_on", "state_on,Remarks", 1).replace("\n", ",\n").replace("Remarks,\n", "Remarks\n") + "C9,48\n", encoding="utf-8")
    (folder / "dentures.csv").write_text((folder / "dentures.csv").read_text(encoding="utf-8").replace("retired_reason", "retired_reason,Phone", 1).replace("\n", ",\n").replace("Phone,\n", "Phone\n"), encoding="utf-8")
    from datetime import date

    return intake.check(paths, today=date(2026, 1, 1))


@pytest.mark.parametrize("rule", schemas.rules())
def test_every_rule_across_tables_is_found_beside_all_the_others(checked, rule):
    own = list(of_rule(list(schemas.rules()).index(rule), schemas.rules()[rule]))
    mine = checked.problems[checked.problems["rule"] == rule]
    lines = {table: {2 + at for at, row in enumerate(rows) if (table, row) in own} for table, rows in seeded().items()}
    assert any(line in lines.get(file.removesuffix(".csv"), ()) for file, line in zip(mine["file"], mine["line"])), mine


@pytest.mark.parametrize("place", range(len(CELLS)), ids=[f"{table} {kind}" for table, _, _, kind in CELLS])
def test_every_kind_of_cell_error_is_found_at_its_cell(checked, place):
    table, row, column, kind = CELLS[place]
    line = 2 + max(at for at, one in enumerate(seeded()[table]) if one is row or one == row)
    letter = "" if not column else chr(65 + [one.name for one in schemas.tables()[table].columns].index(column))
    found = checked.problems[(checked.problems["file"] == f"{table}.csv") & (checked.problems["line"] == line)]
    assert (f"{letter}{line}" if letter else "", kind) in set(zip(found["cell"], found["rule"])), found


@pytest.mark.parametrize("kind, file", [("ragged line", "implants.csv"), ("column not known", "implants.csv"), ("personal data", "dentures.csv")])
def test_faults_of_lines_and_headings_are_found_as_well(checked, kind, file):
    assert ((checked.problems["rule"] == kind) & (checked.problems["file"] == file)).any()


def test_no_kind_is_left_without_a_seed():
    seeds = {kind for _, _, _, kind in CELLS} | LINES | set(ELSEWHERE)
    assert set(SENTENCES) <= seeds
    for kind, file in ELSEWHERE.items():
        assert f'"{kind}"' in (Path(__file__).parent / file).read_text(encoding="utf-8"), kind


def test_every_problem_says_where_what_and_what_to_do(checked):
    problems = checked.problems
    assert set(problems["severity"]) == {"error", "warning"}
    for name in ("rule", "file", "message", "remedy"):
        assert problems[name].str.len().gt(0).all()
    for one in problems.itertuples():
        text = intake.sentence(one)
        assert one.file in text and text.endswith((".", "?", ".)"))
        assert one.line > 0 or one.rule in ("personal data",)


def test_the_summary_is_ten_lines_then_what_else_there_is(checked):
    lines = intake.summary(checked)
    assert len(lines) == 13
    assert "more kinds of problem" in lines[10]
    assert "check again afterwards" in lines[11]
    assert f"{checked.error_count:,} errors and {checked.warning_count:,} warnings" in lines[12]


def test_good_rows_hold_no_row_with_an_error_and_none_that_rests_on_one(checked):
    errors = checked.problems[checked.problems["severity"] == "error"]
    bad = set(zip(errors["file"], errors["line"]))
    names = [source.name for source in checked.sources]
    for name, table in schemas.stored_tables().items():
        frame = checked.tables[name]
        assert not bad & set(zip((names[at] for at in frame["_file"]), frame["_line"]))
        for column in table.columns:
            target, _, key = (column.references or "").partition(".")
            if target in checked.tables:
                values = frame[column.name].dropna()
                assert set(values[values != "unknown"]) <= set(checked.tables[target][key]), (name, column.name)
