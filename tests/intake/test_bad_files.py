"""Files that cannot be used: each a clear sentence with what to do, never a trace, and nothing from them among the good rows."""

from __future__ import annotations

import os
import re

import pytest

from outcomes import intake
from outcomes.errors import Misuse

PATIENTS = "patient_id,audit_consent\nP1,yes\n"
VISITS = "patient_id,visited_on,reason,parts_checked\n"


def refusal(clinic, *paths) -> str:
    with pytest.raises(Misuse) as refused:
        clinic.check(list(paths))
    return str(refused.value)


def whole(checked) -> list[str]:
    """The problems that keep a whole file out, as sentences; nothing may be good beside them."""
    assert checked.refused and checked.error_count
    assert not any(len(frame) for frame in checked.tables.values())
    assert "nothing will be loaded" in intake.summary(checked)[-1]
    return [intake.sentence(one) for one in checked.problems[checked.problems["severity"] == "error"].itertuples()]


def test_a_file_that_is_not_there(clinic):
    assert refusal(clinic, clinic.folder / "visits.csv") == "There is no file visits.csv. Check the name and the folder."


def test_no_file_at_all(clinic):
    assert "No file was given" in refusal(clinic)


@pytest.mark.parametrize("name, content, words", [
    ("log.xlsx", b"PK\x03\x04 and then nothing a workbook has", "damaged or incomplete"),
    ("log.xlsx", b"patient_id,audit_consent\nP1,yes\n", "save it anew as .xlsx"),
    ("log.xlsx", b"", "no readable workbook"),
    ("log.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "take the password off"),
    ("visits.csv", b"PK\x03\x04" + b"\0" * 50, "is a workbook by its content"),
    ("log.xls", b"anything", "save it as .xlsx or .csv"),
    ("log.ods", b"anything", "save it as .xlsx or .csv"),
    ("letter.pdf", b"%PDF-1.7", "neither a workbook"),
    ("~$log.xlsx", b"x", "Close the workbook"),
])
def test_a_file_of_the_wrong_kind(clinic, name, content, words):
    message = refusal(clinic, clinic.text(name, content))
    assert name in message and words in message


def test_a_workbook_cut_off_in_the_middle(clinic):
    path = clinic.workbook({"patients": [{"patient_id": f"P{n}", "audit_consent": "yes"} for n in range(500)]})
    path.write_bytes(path.read_bytes()[:-400])
    assert "damaged or incomplete" in refusal(clinic, path)


def test_a_workbook_with_a_damaged_sheet(clinic):
    import zipfile

    path = clinic.workbook({"patients": [{"patient_id": "P1", "audit_consent": "yes"}]})
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(path, "w") as new:
        for name, data in parts.items():
            new.writestr(name, data[: len(data) // 2] if "sheet1" in name else data)
    assert "damaged or incomplete" in refusal(clinic, path)


@pytest.mark.skipif(os.name == "nt" or (hasattr(os, "geteuid") and os.geteuid() == 0), reason="this user may read every file")
def test_a_file_that_may_not_be_read(clinic):
    path = clinic.text("patients.csv", PATIENTS)
    path.chmod(0)
    assert "another program holds it" in refusal(clinic, path)


def test_a_file_that_another_program_holds(clinic, monkeypatch):
    from pathlib import Path

    def held(self):
        raise PermissionError(13, "held")

    path = clinic.text("patients.csv", PATIENTS)
    monkeypatch.setattr(Path, "read_bytes", held)
    assert refusal(clinic, path) == "patients.csv cannot be opened: another program holds it, or you may not read it. Close it elsewhere and try again."


def test_every_unreadable_file_is_named_at_once(clinic):
    message = refusal(clinic, clinic.folder / "visits.csv", clinic.text("log.xls", b"x"))
    assert "visits.csv" in message and "log.xls" in message


def test_a_workbook_without_a_known_sheet(clinic):
    (sentence,) = whole(clinic.check([clinic.workbook({"Tabelle1": [{"a": 1}], "Budget": [{"b": 2}]})]))
    assert "no sheet named like a table of the log (it has Tabelle1, Budget)" in sentence and "Day sheet" in sentence


def test_a_sheet_with_nearly_the_right_name_is_pointed_out(clinic):
    checked = clinic.check([clinic.workbook({"patients": [{"patient_id": "P1", "audit_consent": "yes"}], "Visits 2023": [{"patient_id": "P1"}]})])
    assert checked.error_count == 0
    assert checked.problems["remedy"].item() == "If it holds the table Visits, give it just that name."


def test_a_csv_file_whose_name_says_nothing(clinic):
    (sentence,) = whole(clinic.check([clinic.text("export.csv", PATIENTS)]))
    assert "does not say which table it holds" in sentence and "day_sheet.csv" in sentence


def test_a_missing_column_is_named_with_the_one_it_may_be(clinic):
    (sentence,) = whole(clinic.check([clinic.text("patients.csv", "patient,audit_consent\nP1,yes\n")]))
    assert "lacks the column patient_id (patient may be patient_id)" in sentence


def test_every_missing_column_is_named(clinic):
    (sentence,) = whole(clinic.check([clinic.text("visits.csv", "patient_id,visited_on\nP1,2024-01-01\n")]))
    assert "lacks the columns reason, parts_checked" in sentence


def test_a_heading_that_stands_twice(clinic):
    (sentence,) = whole(clinic.check([clinic.text("patients.csv", "patient_id,audit_consent,Patient ID\nP1,yes,P1\n")]))
    assert "patients.csv, C1" in sentence and "in columns A and C" in sentence


@pytest.mark.parametrize("content", ["", "\n\n", "   \n"])
def test_an_empty_file(clinic, content):
    (sentence,) = whole(clinic.check([clinic.text("patients.csv", content)]))
    assert "is empty" in sentence


def test_an_empty_log(clinic):
    (sentence,) = whole(clinic.check([clinic.text("patients.csv", "patient_id,audit_consent\n"), clinic.text("visits.csv", VISITS)]))
    assert "there is no row in any table" in sentence


def test_an_empty_template(clinic):
    from outcomes.intake.template import write_template

    write_template(clinic.folder / "clinic_log.xlsx")
    (sentence,) = whole(clinic.check([clinic.folder / "clinic_log.xlsx"]))
    assert "there is no row in any table" in sentence


def test_a_log_with_one_patient_and_one_visit_is_a_log(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"))
    assert len(checked.problems) == 0 and len(checked.tables["visits"]) == 1


def test_dates_that_may_be_day_first_or_month_first(clinic):
    (sentence,) = whole(clinic.check([clinic.text("patients.csv", "patient_id,audit_consent,left_on,left_reason\nP1,yes,03/04/2024,moved\nP2,yes,05/05/2024,moved\n")]))
    assert "the one in C2 may be day first or month first" in sentence and '--date-order "day first"' in sentence


def test_the_option_settles_the_date_order(clinic):
    path = clinic.text("patients.csv", "patient_id,audit_consent,left_on,left_reason\nP1,yes,03/04/2024,moved\n")
    for order, month in (("day first", 4), ("month first", 3)):
        assert clinic.check([path], date_order=order).tables["patients"]["left_on"].dt.month.tolist() == [month]


def test_dates_in_both_orders(clinic):
    path = clinic.text("patients.csv", "patient_id,audit_consent,left_on,left_reason\nP1,yes,13/04/2024,moved\nP2,yes,04/13/2024,moved\n")
    (sentence,) = whole(clinic.check([path]))
    assert "only be day first (C2)" in sentence and "only month first (C3)" in sentence
    with_option = clinic.check([path], date_order="day first")
    assert with_option.problems["cell"].tolist() == ["C3"] and with_option.tables["patients"]["patient_id"].tolist() == ["P1"]


def test_a_decimal_mark_that_cannot_be_told(clinic):
    path = clinic.text("insert_levels.csv", "level;system;retention;unit\nlight;A;1,500;gf\n")
    (sentence,) = whole(clinic.check([path]))
    assert "the one in C2 may" in sentence and "1,500" not in sentence and "--decimal" in sentence
    assert clinic.check([path], decimal=",").tables["insert_levels"]["retention"].tolist() == [1.5]


def test_numbers_with_both_marks(clinic):
    (sentence,) = whole(clinic.check([clinic.text("insert_levels.csv", "level;system;retention;unit\nlight;A;6,7;N\nfirm;A;9.5;N\n")]))
    assert "decimal comma (C2)" in sentence and "decimal point (C3)" in sentence


def test_the_wrong_encoding_option(clinic):
    (sentence,) = whole(clinic.check([clinic.text("patients.csv", PATIENTS.replace("P1", "Ü1").encode("cp1252"))], encoding="utf-8"))
    assert "cannot be read as text in the encoding utf-8" in sentence


def test_bytes_that_are_no_text(clinic):
    (sentence,) = whole(clinic.check([clinic.text("patients.csv", bytes(range(256)) * 20)]))
    assert "cannot be read as text" in sentence


def test_a_quotation_mark_that_is_never_closed_loses_no_row_silently(clinic):
    checked = clinic.check([clinic.text("patients.csv", 'patient_id,audit_consent\nP1,yes\n"P2,yes\nP3,yes\n')])
    assert checked.error_count >= 1
    assert checked.problems["line"].iloc[0] == 3


def test_a_file_in_universal_numbering_is_refused_as_a_whole(clinic):
    sets = [{"patient": "P1", "arch": "lower", "position": at, "fitted_on": "2021-05-04", "attachment": "stud", "level": "unknown"} for at in ("22", "27")]
    sentences = whole(clinic.check({"patients": [{"patient_id": "P1", "audit_consent": "yes"}], "set_up": sets}))
    assert any("look like Universal numbering" in one for one in sentences)


def test_universal_numbering_is_seen_across_files_where_one_file_leaves_doubt(clinic):
    tables = {
        "patients": [{"patient_id": f"P{n}", "audit_consent": "yes"} for n in range(3)],
        "dentures": [{"patient_id": f"P{n}", "arch": "lower", "delivered_on": "2021-05-04"} for n in range(3)],
        "visits": [{"patient_id": f"P{n}", "visited_on": "2021-05-04", "reason": "recall", "parts_checked": "all"} for n in range(3)],
        "parts_log": [{"visit_id": f"P{n}/2021-05-04", "position": at, "part": "insert", "finding": "sound", "action": "none"} for n in range(3) for at in ("22", "27")],
    }
    sentences = whole(clinic.check(tables))
    assert any("parts_log.csv" in one and "Universal" in one for one in sentences)


def test_a_refused_file_does_not_drown_its_own_reason(clinic):
    """Rows that rest on the refused file are not each called wrong as well."""
    tables = {"patients": [{"patient_id": "P1", "audit_consent": "yes"}], "dentures": [{"patient_id": "P1", "arch": "lower", "delivered_on": "2021-05-04"}],
              "visits": [{"patient_id": "P1", "visited_on": f"0{n}/04/2024", "reason": "recall", "parts_checked": "all"} for n in range(1, 4)],
              "parts_log": [{"visit_id": f"P1/2024-04-0{n}", "position": "33", "part": "insert", "finding": "sound", "action": "none"} for n in range(1, 4)]}
    assert len(whole(clinic.check(tables))) == 1


def test_other_faults_of_a_refused_file_are_listed_in_the_same_run(clinic):
    path = clinic.text("patients.csv", "patient_id,audit_consent,left_on,left_reason\nP1,yse,03/04/2024,moved\nP2,yes,05/06/2024,mvoed\n")
    rules = clinic.check([path]).problems["rule"].tolist()
    assert sorted(rules) == ["code not known", "code not known", "date order"]


@pytest.mark.parametrize("content", [b"\xef\xbb\xbf", b"\xff\xfe", b"\n" * 10, b";;;;\n;;;;\n", b"patient_id\n", b'"', b"patient_id,audit_consent\n" + b'"' * 999, b"\0" * 100, b"\xff" * 100, b'"' + b"x" * 200_000 + b'"\n', b"patient_id,audit_consent\n" + b"x" * 200_000 + b",yes\n\nP1,yes\n",
                                     b"patient_id,audit_consent\r\nP1,yes\r\n\x1a"])
def test_strange_bytes_never_end_in_a_trace(clinic, content):
    try:
        checked = clinic.check([clinic.text("patients.csv", content)])
    except Misuse as refusal:
        assert re.search(r"\. [A-Z]", str(refusal))
    else:
        assert intake.summary(checked)


def test_cells_of_odd_kinds_in_a_workbook_are_named_not_fatal(clinic):
    from datetime import time, timedelta

    rows = [{"patient_id": "P1", "audit_consent": True, "birth_year": timedelta(hours=30), "left_on": time(10, 30), "left_reason": 7.5},
            {"patient_id": 3.25, "audit_consent": "yes", "birth_year": 1948.5, "left_on": 1.5, "left_reason": "#DIV/0!"}]
    checked = clinic.check([clinic.workbook({"patients": rows})])
    assert {(one.cell, one.rule) for one in checked.problems.itertuples()} == {
        ("B2", "code not known"), ("C2", "number not readable"), ("D2", "date not readable"), ("E2", "code not known"),
        ("C3", "number not readable"), ("D3", "date not readable"), ("E3", "code not known")}
