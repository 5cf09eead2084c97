"""The marks of the workbook: computed by a spreadsheet program, each turns colour for the rule it is named after, and the checks find the same."""

from __future__ import annotations

import subprocess
from copy import deepcopy
from datetime import date, timedelta
from pathlib import Path

import pytest
from openpyxl import load_workbook
from openpyxl.formula.translate import Translator
from openpyxl.utils import get_column_letter

from outcomes import intake, schemas
from outcomes.intake import key_sheet, lists
from outcomes.intake.marks import FIRST, LAST, Mark, Places, marks
from outcomes.intake.template import SHEETS, write_template

CLEAN = key_sheet.LINES
DEAD = {"patient_id": "P0042", "audit_consent": "yes", "left_on": "2026-05", "left_reason": "died"}
# Each line breaks one rule of an otherwise clean log: (sheet, number of the line changed, what is written there, column that turns colour, rule).
# A number beyond the clean lines adds one.
PLANTED = [
    ("day_sheet", 2, {"patient": None}, "patient", "needed"),
    ("day_sheet", 2, {"snap": None}, "snap", "needed"),
    ("day_sheet", 2, {"patient": "P0043"}, "patient", "patient not listed"),
    ("day_sheet", 2, {"patient": "p0042"}, "patient", "patient not listed"),
    ("day_sheet", 2, {"patient": "Ann Example"}, "patient", "personal data"),
    ("day_sheet", 2, {"patient": "a@b.org"}, "patient", "personal data"),
    ("day_sheet", 2, {"clinician": "0123 456 7890"}, "clinician", "personal data"),
    ("day_sheet", 2, {"date": "2025-02-29"}, "date", "date not readable"),
    ("day_sheet", 2, {"date": "last week"}, "date", "date not readable"),
    ("day_sheet", 2, {"date": "14.3.25"}, "date", "date not readable"),
    ("day_sheet", 2, {"date": "32/12/2025"}, "date", "date not readable"),
    ("day_sheet", 2, {"date": 99999}, "date", "date not readable"),
    ("day_sheet", 4, {"date": "FUTURE"}, "date", "day in the future"),
    ("day_sheet", 4, {"date": 2098}, "date", "day in the future"),
    ("day_sheet", 1, {"date": "2024-03-13"}, "date", "visit before fitting"),
    ("day_sheet", 1, {"date": "2024-02"}, "date", "visit before fitting"),
    ("day_sheet", 1, {"date": date(2024, 3, 13)}, "date", "visit before fitting"),
    ("day_sheet", 1, {"date": "2024-03-14"}, "date", "second visit without order"),
    ("day_sheet", 5, {"patient": "P0042", "date": "2024-09-02", "reason": "delivery", "parts_checked": "all", "snap": "just right"}, "reason", "delivery without a set"),
    ("day_sheet", 2, {"reason": "recal"}, "reason", "code not known"),
    ("day_sheet", 2, {"snap": 3}, "snap", "code not known"),
    ("day_sheet", 2, {"minutes": 700}, "minutes", "too small or too large"),
    ("day_sheet", 2, {"minutes": 300}, "minutes", "outside the usual range"),
    ("day_sheet", 2, {"minutes": "a quarter"}, "minutes", "number not readable"),
    ("day_sheet", 2, {"reason": "laboratory"}, "parts_checked", "checked without the patient"),
    ("day_sheet", 3, {"inserts_changed": "33 53", "worn_at": None}, "inserts_changed", "position not known"),
    ("day_sheet", 3, {"inserts_changed": "3343 4", "worn_at": None}, "inserts_changed", "position not known"),
    ("day_sheet", 3, {"worn_at": "9"}, "worn_at", "position not known"),
    ("day_sheet", 3, {"arch": "lower", "inserts_changed": "33 13"}, "inserts_changed", "position in the other jaw"),
    ("day_sheet", 3, {"inserts_changed": "33 44", "worn_at": None}, "inserts_changed", "position not set up"),
    ("day_sheet", 3, {"worn_at": "31"}, "worn_at", "position not set up"),
    ("day_sheet", 3, {"why": None, "worn_at": None}, "why", "change without why"),
    ("day_sheet", 2, {"why": "worn"}, "why", "why without a change"),
    ("day_sheet", 3, {"level_now": None}, "level_now", "level blank at a change"),
    ("day_sheet", 3, {"level_now": "strong"}, "level_now", "level not declared"),
    ("day_sheet", 3, {"level_now": "33:light 43:strong"}, "level_now", "level not declared"),
    ("day_sheet", 3, {"housings": "well"}, "housings", "phrase not readable"),
    ("day_sheet", 3, {"housings": "replaced"}, "housings", "phrase not readable"),
    ("day_sheet", 3, {"denture": "nice"}, "denture", "phrase not readable"),
    ("day_sheet", 3, {"snap_lost": "2026-02-06"}, "snap_lost", "noticed after the visit"),
    ("day_sheet", 2, {"snap_lost": "2025-02"}, "snap_lost", "snap lost without a failing part"),
    ("day_sheet", 2, {"arch": "upper"}, "arch", "no denture in that jaw"),
    ("set_up", 1, {"position": "99"}, "position", "position not known"),
    ("set_up", 1, {"position": "13"}, "position", "position in the other jaw"),
    ("set_up", 1, {"level": "strong"}, "level", "level not declared"),
    ("set_up", 1, {"fitted_on": "2024-03-20"}, "fitted_on", "set without a visit line"),
    ("set_up", 1, {"position": "33"}, "position", "two sets at one position on one day"),
    ("set_up", 1, {"torque_ncm": 60}, "torque_ncm", "outside the usual range"),
    ("set_up", 1, {"height_mm": "-1"}, "height_mm", "too small or too large"),
    ("insert_levels", 1, {"retention": 75}, "retention", "retention unusual"),
    ("insert_levels", 1, {"retention": "14,1", "unit": "lbf"}, "retention", "retention unusual"),
    ("insert_levels", 1, {"retention": "0,4"}, "retention", "retention unusual"),
    ("insert_levels", 2, {"level": "medium", "system": "B", "retention": 9, "unit": "N"}, "level", "key twice"),
    ("insert_levels", 1, {"unit": None}, "unit", "needed"),
    ("patients", 1, {"patient_id": "P0042", "audit_consent": "no"}, "patient_id", "key twice"),
    ("patients", 0, {"left_on": "2026-05-02", "left_reason": "moved"}, "left_on", "left before the last examined visit"),
    ("patients", 0, {"left_reason": "moved"}, "left_on", "left without a day or reason"),
    ("patients", 0, {"left_on": "2026-07-01"}, "left_reason", "left without a day or reason"),
    ("patients", 0, {"birth_year": 1848}, "birth_year", "too small or too large"),
    ("questionnaires", 0, {"patient_id": "P1"}, "patient_id", "patient not listed"),
    ("questionnaires", 0, {"instrument": "card"}, "instrument", "instrument not known"),
    ("questionnaires", 0, {"item": 2}, "item", "item not in the instrument"),
    ("questionnaires", 0, {"response": 101}, "response", "response outside the range"),
    ("questionnaires", 0, {"response": "100,5"}, "response", "response outside the range"),
    ("questionnaires", 1, {**CLEAN["questionnaires"][0], "response": 80}, "item", "key twice"),
]
TWO_JAWS = ("day_sheet", "arch", "jaw not clear")
AFTER_DEATH = ("day_sheet", "date", "seen after death")
# Ways of writing that a mark must leave alone, in an otherwise clean log.
LEFT_ALONE = [
    {"date": "13.3.2025"}, {"date": "3/13/2025"}, {"date": "2025-3-13"}, {"date": "2025/03/13"}, {"date": "2025-03"}, {"date": "03.2025"}, {"date": "2025"}, {"date": 2025},
    {"date": "not known"}, {"date": date(2025, 3, 13)}, {"minutes": "12,5"}, {"minutes": "12.5"}, {"snap": -1}, {"snap": "-1"}, {"snap": "Just Right"}, {"reason": " recall "},
    {"inserts_changed": "All", "why": "routine", "level_now": "33:light, 43 : unknown"}, {"inserts_changed": "43, 33", "why": "routine", "level_now": "LIGHT"},
    {"inserts_changed": "33 and 43", "why": "routine", "level_now": "unknown"}, {"housings": "Fine"}, {"housings": "33 43 cleaned"}, {"abutments": "all tightened"}, {"denture": "sore spot, adjusted"},
    {"clinician": "0042"}, {"arch": "lower"},
]


def office(folder: Path, path: Path, form: str) -> Path:
    """The workbook as a spreadsheet program saves it in another form, everything computed."""
    out = folder / "saved"
    subprocess.run(["soffice", "--headless", f"-env:UserInstallation=file://{folder}/profile", "--convert-to", form, "--outdir", str(out), str(path)], check=True, capture_output=True, timeout=300)
    return out / f"{path.stem}.{form}"


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    path = tmp_path_factory.mktemp("marks") / "log.xlsx"
    write_template(path)
    return path


def fill(book, tables: dict[str, list[dict]]) -> None:
    for name, rows in tables.items():
        sheet = book[schemas.tables()[name].title]
        places = {cell.value.replace(" ", "_"): cell.column for cell in sheet[1]}
        for number, row in enumerate(rows, FIRST):
            for column, value in row.items():
                if value is not None:
                    sheet.cell(number, places[column], tomorrow() if value == "FUTURE" else value)


def tomorrow() -> str:
    return (date.today() + timedelta(days=40)).isoformat()


def changed(name: str, at: int, cells: dict) -> dict[str, list[dict]]:
    tables = deepcopy(CLEAN)
    tables[name].extend([{}] * (at + 1 - len(tables[name])))
    tables[name][at] = {**tables[name][at], **cells}
    return tables


def all_marks() -> list[Mark]:
    from openpyxl import Workbook

    letters = {name: {column.name: get_column_letter(at) for at, column in enumerate(schemas.tables()[name].columns, 1)} for name in SHEETS}
    return marks(Places(letters, lists.write(Workbook())), SHEETS)


def spread_out(clinics: list[dict[str, list[dict]]]) -> tuple[dict[str, list[dict]], list[dict[str, list[int]]]]:
    """Many small clinics in one workbook, told apart by their patients' numbers; and the rows of each."""
    together: dict[str, list[dict]] = {name: [] for name in SHEETS}
    rows = []
    for tables in clinics:
        own: dict[str, list[int]] = {}
        for name, lines in tables.items():
            own[name] = [FIRST + len(together[name]) + at for at in range(len(lines))]
            together[name] += lines
        rows.append(own)
    return together, rows


def computed(template: Path, folder: Path, tables: dict[str, list[dict]], wanted: dict[str, dict[int, str | None]]) -> dict[tuple[str, str, str, int], bool]:
    """(table, column, rule, row) of the marks wanted (of a row: those of one column, or all), as the spreadsheet program computes it in a cell of the same row."""
    book = load_workbook(template)
    fill(book, tables)
    places = {}
    for mark in all_marks():
        sheet = book[schemas.tables()[mark.table].title]
        at = places.setdefault(mark.table, len(schemas.tables()[mark.table].columns) + 3)
        places[mark.table] += 1
        letter = get_column_letter(at)
        for row in (row for row, only in wanted[mark.table].items() if only in (None, mark.column)):
            sheet.cell(row, at, Translator("=" + mark.formula, origin=f"{letter}{FIRST}").translate_formula(f"{letter}{row}")).number_format = "General"
        sheet.cell(1, at, "|".join((mark.table, mark.column, mark.rule)))
    path = folder / "planted.xlsx"
    book.save(path)
    answers = load_workbook(office(folder, path, "xlsx"), data_only=True)
    found = {}
    for name in SHEETS:
        sheet = answers[schemas.tables()[name].title]
        for cell in sheet[1]:
            if cell.value and "|" in str(cell.value):
                column = cell.value.split("|")[1]
                for row in (row for row, only in wanted[name].items() if only in (None, column)):
                    value = sheet.cell(row, cell.column).value
                    assert isinstance(value, bool), (cell.value, row, value)
                    found[(*cell.value.split("|"), row)] = value
    return found


def renamed(tables: dict[str, list[dict]], number: int) -> dict[str, list[dict]]:
    """The same small clinic with patient and levels of its own, so that many stand in one workbook without disturbing each other."""
    return {name: [{key: value.replace("P0042", f"Q{number:04d}").replace("p0042", f"q{number:04d}") if isinstance(value, str) else value for key, value in row.items()} for row in rows]
            for name, rows in tables.items()}


def own_rules(rule: str) -> set[str]:
    return {"too small", "too large", "too early"} if rule == "too small or too large" else {rule, "key twice"} if rule == "second visit without order" else {rule}


@pytest.fixture(scope="module")
def clinics():
    """One clean clinic, one with both jaws, one whose patient died, then the harmless ways of writing and the planted faults; in one log, with the rows of each."""
    upper = {"day_sheet": [*CLEAN["day_sheet"]], "set_up": [*CLEAN["set_up"], *({**line, "arch": "upper", "position": position} for line, position in zip(CLEAN["set_up"], ("13", "23")))]}
    clinics = [CLEAN, {**deepcopy(CLEAN), **upper}, {**deepcopy(CLEAN), "patients": [DEAD]}]
    clinics += [changed("day_sheet", 2, cells) for cells in LEFT_ALONE]
    # Of levels there is one list for all, so lines that speak of levels are added to it with a name of their own.
    clinics += [changed(name, at, cells) if name != "insert_levels" else {name: [{**CLEAN[name][min(at, 1)], "level": f"level {number}", **cells}]} for number, (name, at, cells, _, _) in enumerate(PLANTED)]
    for number, tables in enumerate(clinics[1:], 1):
        if "day_sheet" in tables:
            clinics[number] = {name: rows for name, rows in renamed(tables, number).items() if name != "insert_levels"}
    return spread_out(clinics)


def planted_row(clinics, number: int) -> int:
    name, at, _, _, _ = PLANTED[number]
    return clinics[1][3 + len(LEFT_ALONE) + number][name][at if name != "insert_levels" else 0]


@pytest.fixture(scope="module")
def answers(clinics, template, tmp_path_factory):
    """Every mark of the rows that matter, computed in one run of the spreadsheet program."""
    together, rows = clinics
    wanted: dict[str, dict[int, str | None]] = {name: dict.fromkeys(rows[0][name]) for name in SHEETS}
    wanted["day_sheet"] |= dict.fromkeys(rows[1]["day_sheet"], "arch") | dict.fromkeys(rows[2]["day_sheet"], "date")
    wanted["day_sheet"] |= dict.fromkeys(own["day_sheet"][2] for own in rows[3:3 + len(LEFT_ALONE)])
    for number, (name, _, _, column, _) in enumerate(PLANTED):
        wanted[name][planted_row(clinics, number)] = column
    return computed(template, tmp_path_factory.mktemp("office"), together, wanted), rows


@pytest.fixture(scope="module")
def checked(clinics, template, tmp_path_factory):
    """The same log, checked."""
    book = load_workbook(template)
    fill(book, clinics[0])
    path = tmp_path_factory.mktemp("checked") / "planted.xlsx"
    book.save(path)
    return intake.check([path], options=intake.Options(date_order="day first", decimal=","))


def true_in(answers, number: int) -> set[tuple[str, str, str, int]]:
    """The marks that are true in the rows of one of the small clinics."""
    found, rows = answers
    return {key for key, value in found.items() if value and key[3] in rows[number].get(key[0], ())}


@pytest.mark.needs_office
def test_no_cell_of_the_examples_turns_colour(answers):
    assert {key for key in true_in(answers, 0) if key[:3] != ("insert_levels", "level", "key twice")} == set()


@pytest.mark.needs_office
@pytest.mark.parametrize("number", range(len(LEFT_ALONE)), ids=[str(list(cells.values())[0]) for cells in LEFT_ALONE])
def test_other_ways_of_writing_are_left_alone(answers, number):
    assert true_in(answers, 3 + number) == set()


@pytest.mark.needs_office
@pytest.mark.parametrize("number", range(len(PLANTED)), ids=[f"{name}-{column}-{rule}-{next(iter(cells.values()))}" for name, _, cells, column, rule in PLANTED])
def test_a_broken_rule_turns_its_cell_colour(answers, number):
    name, at, cells, column, rule = PLANTED[number]
    found = true_in(answers, 3 + len(LEFT_ALONE) + number)
    assert (name, column, rule) in {key[:3] for key in found}


@pytest.mark.needs_office
def test_a_patient_with_two_overdentures_must_name_the_jaw_and_a_visit_after_death_is_marked(answers):
    assert TWO_JAWS in {key[:3] for key in true_in(answers, 1)}
    assert AFTER_DEATH in {key[:3] for key in true_in(answers, 2)}


@pytest.mark.parametrize("number", range(len(PLANTED)), ids=[f"{name}-{column}-{rule}-{next(iter(cells.values()))}" for name, _, cells, column, rule in PLANTED])
def test_the_check_finds_what_the_mark_shows(checked, clinics, number):
    name, _, _, column, rule = PLANTED[number]
    found = checked.problems[(checked.problems["sheet"] == schemas.tables()[name].title) & (checked.problems["line"] == planted_row(clinics, number))]
    assert set(found["rule"]) & own_rules(rule), found[["rule", "cell", "message"]].to_string()


def test_the_examples_check_clean(clinic):
    checked = intake.check([clinic.workbook(CLEAN)])
    assert len(checked.problems) == 0, checked.problems["message"].tolist()


def test_every_mark_is_planted_at_least_once():
    planted = {(name, column, rule) for name, _, _, column, rule in PLANTED} | {TWO_JAWS, AFTER_DEATH}
    generic = {"needed", "code not known", "date not readable", "day in the future", "number not readable", "too small or too large", "outside the usual range", "personal data", "phrase not readable",
               "position not known"}  # one formula for every column of a kind: planted in one column of it
    rules = {rule for _, _, rule in planted}
    left = {(mark.table, mark.column, mark.rule) for mark in all_marks() if mark.rule not in generic} - planted
    assert left <= {("day_sheet", "worn_at", "position in the other jaw"), ("set_up", "patient", "patient not listed")} and generic <= rules, left


def test_marks_hold_for_every_row_of_the_sheet_and_fix_the_columns_they_speak_of(template):
    import re

    book = load_workbook(template)
    for name in SHEETS:
        for found in book[schemas.tables()[name].title].conditional_formatting:
            assert re.fullmatch(rf"[A-Z]+{FIRST}:[A-Z]+{LAST[name]}", str(found.sqref))
            for rule in found.rules:
                bare = re.sub(r'"[^"]*"', "", rule.formula[0])
                for reference in re.findall(r"\$?[A-Z]{1,2}\$?\d+", bare):
                    assert re.fullmatch(rf"\$[A-Z]+(\$\d+|{FIRST})", reference), (reference, rule.formula[0])


def test_no_rule_of_colour_and_no_drop_down_holds_what_spreadsheet_programs_refuse_there(template):
    """No other sheet, no array constant, no union or intersection (MS-XLSB 2.5.98.6 CFParsedFormula, 2.5.98.8 DVParsedFormula), at most 8,192 letters (a cell's own limit, from memory).

    Names may stand there, and every one of ours is a range of this workbook. A range between two functions is allowed by the
    document, but a message of spreadsheet programs (from memory) says otherwise, so there is none.
    """
    import re

    book = load_workbook(template)
    written = [rule.formula[0] for name in SHEETS for found in book[schemas.tables()[name].title].conditional_formatting for rule in found.rules]
    offered = [rule for name in SHEETS for rule in book[schemas.tables()[name].title].data_validations.dataValidation]
    assert all(len(rule.formula1) <= 255 and len(rule.errorTitle or "") <= 32 and len(rule.error or "") <= 225 for rule in offered)  # as documented by general libraries that write such files
    written += [rule.formula1 for rule in offered]
    called = set()
    for formula in written:
        bare = re.sub(r'"[^"]*"', '""', formula)
        assert not set("!{}\'") & set(bare), formula
        assert not re.search(r"\):|:[^$]|\) +\(|[$A-Z0-9] +[$A-Z]", bare), formula
        assert len(formula) <= 8192
        called |= set(re.findall(r"\b[a-z]+_[a-z_]+\b", bare.replace("_xlfn.", "")))
    assert called and called <= set(book.defined_names), called - set(book.defined_names)
    for name in called:
        assert "#REF!" not in book.defined_names[name].attr_text and not re.fullmatch(r"[A-Za-z]{1,3}\d+", name)
