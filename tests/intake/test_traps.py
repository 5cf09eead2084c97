"""What spreadsheets do to a log behind the typist's back: each trap on a workbook or text file written for it."""

from __future__ import annotations

import re
import zipfile
from datetime import datetime

import pandas as pd
import pytest
from openpyxl import load_workbook

from outcomes import intake
from outcomes.errors import Misuse

PATIENTS = {"patients": [{"patient_id": f"P{n}", "audit_consent": "yes", "cleanser": "tablets"} for n in range(1, 6)]}


def ids(checked) -> list[str]:
    return checked.tables["patients"]["patient_id"].tolist()


def edited(path, change):
    """The workbook with something done to it by the library."""
    book = load_workbook(path)
    change(book)
    book.save(path)
    return path


def rewritten(path, change, part: str = "sheet1.xml"):
    """The workbook with the XML of one part changed."""
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in parts.items():
            new.writestr(name, change(data) if name.endswith(part) else data)
    return path


def found(checked) -> set[tuple[str, str]]:
    return {(one.rule, one.cell) for one in checked.problems.itertuples()}


def test_merged_cells_are_named_and_their_lines_wait(clinic):
    """Only the first of merged cells holds a value: the other lines would silently say nothing."""
    path = edited(clinic.workbook(PATIENTS), lambda book: book["Patients"].merge_cells("C3:C4"))
    checked = clinic.check([path])
    assert found(checked) == {("merged cells", "C3")} and ids(checked) == ["P1", "P4", "P5"]
    assert "C3:C4 are merged" in checked.problems["message"].item()


def test_merged_cells_above_the_headings_and_beside_the_table_do_no_harm(clinic):
    def change(book):
        sheet = book["Patients"]
        sheet.insert_rows(1, 2)
        sheet["A1"] = "Our practice"
        sheet.merge_cells("A1:C1")
        sheet.merge_cells("G4:H9")

    checked = clinic.check([edited(clinic.workbook(PATIENTS), change)])
    assert len(checked.problems) == 0 and len(ids(checked)) == 5


def test_a_formula_without_a_saved_result_is_no_blank_cell(clinic):
    path = edited(clinic.workbook(PATIENTS), lambda book: book["Patients"].__setitem__("C3", '=IF(1=1,"tablets","")'))
    checked = clinic.check([path])
    assert found(checked) == {("formula without a result", "C3")} and ids(checked) == ["P1", "P3", "P4", "P5"]


def test_a_formula_is_read_by_its_saved_result_even_where_that_is_nothing(clinic):
    def change(xml):
        xml = re.sub(rb'<c r="C3"[^>]*>.*?</c>', b'<c r="C3" t="str"><f>A1&amp;""</f><v>other</v></c>', xml)
        return re.sub(rb'<c r="C4"[^>]*>.*?</c>', b'<c r="C4" t="str"><f>IF(1=2,"x","")</f><v></v></c>', xml)

    checked = clinic.check([rewritten(clinic.workbook(PATIENTS), change)])
    assert len(checked.problems) == 0
    assert checked.tables["patients"]["cleanser"].astype(object).where(checked.tables["patients"]["cleanser"].notna(), None).tolist() == ["tablets", "other", None, "tablets", "tablets"]


def test_a_workbook_that_was_never_calculated_is_refused_as_a_whole(clinic):
    rows = [{"patient_id": f"P{n}", "audit_consent": '="yes"'} for n in range(40)]
    checked = clinic.check([clinic.workbook({"patients": rows})])
    assert checked.refused and "results were never saved, first at B2" in checked.problems["message"].item()


def test_headings_over_two_rows_are_read_together_and_told(clinic):
    lines = ["patient,date,,parts,snap,inserts,,level", ",,reason,checked,,changed,worn at,now", "P1,2024-03-14,recall,all,just right,none,,"]
    checked = clinic.check([clinic.text("patients.csv", "patient_id,audit_consent\nP1,yes\n"), clinic.text("day_sheet.csv", "\n".join(lines) + "\n")])
    assert checked.error_count == 0, checked.problems
    assert "day_sheet.csv: the headings stand in lines 1 and 2, read together." in checked.decisions
    assert len(checked.tables["visits"]) == 1
    book = {"Day sheet": [dict(enumerate(line.split(","))) for line in lines]}
    path = edited(clinic.workbook({**PATIENTS, **book}), lambda book: book["Day sheet"].delete_rows(1))
    checked = clinic.check([path])
    assert checked.error_count == 0 and len(checked.tables["visits"]) == 1
    assert "clinic.xlsx: the headings of the sheet Day sheet stand in lines 1 and 2, read together." in checked.decisions


def test_a_second_line_that_explains_the_headings_is_left_out_and_told(clinic):
    content = "patient_id,audit_consent,sex,left_on\npseudonym,yes or no,female or male,day\nP1,yes,female,2024-03-14\n"
    checked = clinic.check([clinic.text("patients.csv", content)])
    assert ids(checked) == ["P1"] and checked.error_count == 0
    assert "reads like a second line of headings" in checked.problems["message"].iloc[0]


@pytest.mark.parametrize("line", ["abc,maybe,female,", "abc,yes,femal,", "P1,maybe,femal,", "abc,perhaps,,"])
def test_a_first_row_with_mistakes_is_still_a_row(clinic, line):
    checked = clinic.check([clinic.text("patients.csv", f"patient_id,audit_consent,sex,left_on\n{line}\nP2,yes,,\n")])
    assert checked.error_count >= 1 and ids(checked) == ["P2"]


def test_a_million_blank_rows_at_the_end_are_no_rows(clinic):
    rows = b"".join(b'<row r="%d"><c r="A%d" s="0"/></row>' % (n, n) for n in range(7, 200_000)) + b'<row r="1048576"/>'
    path = rewritten(clinic.workbook(PATIENTS), lambda xml: xml.replace(b"</sheetData>", rows + b"</sheetData>"))
    checked = clinic.check([path])
    assert len(ids(checked)) == 5 and len(checked.problems) == 0


def test_hidden_sheets_rows_and_columns_are_read_and_told(clinic):
    def change(book):
        sheet = book["Patients"]
        sheet.sheet_state = "hidden"
        sheet.row_dimensions[3].hidden = True
        sheet.column_dimensions["C"].hidden = True
        book.create_sheet("Notes")

    checked = clinic.check([edited(clinic.workbook(PATIENTS), change)])
    assert len(ids(checked)) == 5 and checked.tables["patients"]["cleanser"].notna().all()
    told = " ".join(checked.decisions)
    assert "the sheet Patients is hidden; it was read like the others" in told
    assert "1 row of the sheet Patients is hidden (somebody hid them)" in told and "has hidden columns" in told


def test_filtered_rows_are_read_and_told(clinic):
    def change(book):
        sheet = book["Patients"]
        sheet.auto_filter.ref = "A1:C6"
        sheet.auto_filter.add_filter_column(0, ["P1"])
        for row in range(3, 7):
            sheet.row_dimensions[row].hidden = True

    checked = clinic.check([edited(clinic.workbook(PATIENTS), change)])
    assert len(ids(checked)) == 5
    assert any("4 rows of the sheet Patients are hidden (a filter is on)" in one for one in checked.decisions)


def test_a_number_where_zeros_at_the_front_are_known_is_pointed_out_and_never_guessed(clinic):
    tables = {"patients": [{"patient_id": "0042", "audit_consent": "yes"}], "visits": [{"patient_id": 42, "visited_on": "2024-03-14", "reason": "recall", "parts_checked": "all"}]}
    checked = clinic.check([clinic.workbook(tables)])
    one = checked.problems[checked.problems["rule"] == "patient not listed"].iloc[0]
    assert one["severity"] == "error" and one["cell"] == "A2"
    assert one["remedy"].startswith("Did you mean 0042?") and "0042 is not 42" in one["remedy"]
    assert not len(checked.tables["visits"])


def test_two_patients_that_differ_by_zeros_only_are_a_warning(clinic):
    checked = clinic.check({"patients": [{"patient_id": "0042", "audit_consent": "yes"}, {"patient_id": "42", "audit_consent": "yes"}]})
    assert checked.problems[["rule", "severity", "cell"]].to_numpy().tolist() == [["leading zeros lost", "warning", "A3"]]
    assert ids(checked) == ["0042", "42"]


LEFT = {"audit_consent": "yes", "left_reason": "moved"}


# Day numbers: 2024-01-01 is 45292 counted from 1900 and 43830 counted from 1904 (1,462 days between the two); day 60 of the former is
# 29 February 1900, which never was (a known fault of spreadsheet programs, kept for old files).
@pytest.mark.parametrize("value, day", [(45292, "2024-01-01"), ("45292", "2024-01-01"), (45292.0, "2024-01-01"), (25569, "1970-01-01")])
def test_day_numbers_are_read_from_1900_and_told(clinic, value, day):
    checked = clinic.check([clinic.workbook({"patients": [{"patient_id": "P1", "left_on": value, **LEFT}]})])
    assert checked.tables["patients"]["left_on"].tolist() == [pd.Timestamp(day)]
    (told,) = [one for one in checked.decisions if "is a spreadsheet's day number, counted from 1900" in one]
    assert "such as in Patients!B2," in told and "45292" not in told and "25569" not in told


def test_day_numbers_in_a_csv_file_are_told(clinic):
    checked = clinic.check([clinic.text("patients.csv", "patient_id,audit_consent,left_on,left_reason\nP1,yes,45292,moved\n")])
    assert "patients.csv: a number in a date column, such as in C2, is a spreadsheet's day number, counted from 1900." in checked.decisions


def test_the_false_leap_day_is_no_day(clinic):
    checked = clinic.check([clinic.workbook({"patients": [{"patient_id": "P1", "left_on": 60, **LEFT}, {"patient_id": "P2", "left_on": "1900-02-29", **LEFT}]})])
    said = checked.problems["message"].tolist()
    assert "29 February 1900, which never was" in said[0] and "no such day in the calendar" in said[1]


def test_dates_that_a_spreadsheet_half_turned_are_refused(clinic):
    """Typed day first into a program set to month first: 03/04 became 4 March, 14/03 stayed text."""
    rows = [{"patient_id": f"P{n}", "left_on": datetime(2024, n, 3), **LEFT} for n in range(1, 7)] + [{"patient_id": "P9", "left_on": "14/03/2024", **LEFT}]
    path = clinic.workbook({"patients": rows})
    checked = clinic.check([path])
    assert checked.refused and "may have swapped day and month" in checked.problems["message"].item()
    assert clinic.check([path], date_order="day first").error_count == 0
    few = clinic.check([clinic.workbook({"patients": rows[4:]})])
    assert few.error_count == 0 and few.problems["rule"].tolist() == ["dates half turned"]
    rows[0]["left_on"] = datetime(2024, 1, 30)
    assert len(clinic.check([clinic.workbook({"patients": rows})]).problems) == 0


def test_numbers_stored_as_text_are_numbers_and_a_text_id_keeps_its_zeros(clinic):
    rows = [{"patient_id": "0042", "audit_consent": "yes", "birth_year": "1948"}, {"patient_id": 43, "audit_consent": "yes", "birth_year": 1950.0}]
    checked = clinic.check([clinic.workbook({"patients": rows})])
    assert ids(checked) == ["0042", "43"] and checked.tables["patients"]["birth_year"].tolist() == [1948, 1950]


@pytest.mark.parametrize("written", ["6,7", "6.7", "６，７", "٦٫٧", "6,70", "\u00a06,7", "+6,7"])
def test_a_decimal_mark_in_any_script(clinic, written):
    checked = clinic.check([clinic.text("insert_levels.csv", f"level;system;retention;unit\nlight;A;{written};N\n")])
    assert checked.tables["insert_levels"]["retention"].tolist() == [6.7], checked.problems


@pytest.mark.parametrize("written", ["1 500,5", "1\u00a0500,5", "1\u202f500,5", "1'500,5", "1’500,5", "1.500,5", "1,500.5", "1500,5"])
def test_thousands_set_apart_in_any_way(clinic, written):
    checked = clinic.check([clinic.text("insert_levels.csv", f"level;system;retention;unit\nlight;A;{written};gf\n")])
    assert checked.tables["insert_levels"]["retention"].tolist() == [1500.5], checked.problems


def test_a_workbook_that_is_open_elsewhere_is_read_and_that_is_told(clinic):
    path = clinic.workbook(PATIENTS)
    clinic.text("~$clinic.xlsx", b"x")
    assert any("clinic.xlsx seems to be open in a spreadsheet program" in one for one in clinic.check([path]).decisions)


@pytest.mark.parametrize("inside, words", [("EncryptedPackage", "protected by a password"), ("Workbook", "in the old .xls form"), ("Nothing", "password or in the old .xls form")])
def test_old_containers_are_told_apart(clinic, inside, words):
    data = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 500 + inside.encode("utf-16-le") + b"\0" * 500
    with pytest.raises(Misuse, match=words):
        clinic.check([clinic.text("log.xlsx", data)])


@pytest.mark.needs_office
@pytest.mark.slow
def test_real_files_of_other_forms_are_refused_with_what_to_do(clinic):
    """Written by a real spreadsheet program: .ods, .xls and .xlsm, also under a false name."""
    import subprocess

    path = clinic.workbook(PATIENTS)
    for form, words in (("ods", "OpenDocument"), ("xls", "old .xls form"), ("xlsx", "")):
        subprocess.run(["soffice", "--headless", "--convert-to", form, "--outdir", str(clinic.folder / "out"), str(path)], check=True, capture_output=True, timeout=180)
        made = clinic.folder / "out" / f"clinic.{form}"
        if not words:
            assert len(ids(clinic.check([made]))) == 5
            continue
        with pytest.raises(Misuse, match="save it as .xlsx"):
            clinic.check([made])
        false = clinic.text("log.xlsx", made.read_bytes())
        with pytest.raises(Misuse, match=words):
            clinic.check([false])


def test_problems_of_a_trap_are_sentences(clinic):
    checked = clinic.check([edited(clinic.workbook(PATIENTS), lambda book: book["Patients"].merge_cells("C3:C4"))])
    assert intake.summary(checked)[0] == "clinic.xlsx, Patients!C3: the cells C3:C4 are merged, so that only the first of them holds what is meant for all. Unmerge them and write the value into each cell."
