"""What a person reads first: causes with their counts, the most useful first; and the marked copy's list in the same order."""

from __future__ import annotations

import io
import re
import zipfile

from openpyxl import load_workbook

from outcomes import intake
from outcomes.intake.causes import causes
from outcomes.intake.template import write_template

PATIENTS = [{"patient_id": f"P{n}", "audit_consent": "yes"} for n in range(1, 41)]


def visits(count: int, **cells) -> list[dict]:
    return [{"patient_id": f"P{n}", "visited_on": "2023-05-04", "reason": "recall", "parts_checked": "all", **cells} for n in range(1, count + 1)]


def dentures(count: int) -> list[dict]:
    return [{"patient_id": f"P{n}", "arch": "lower", "delivered_on": "2023-06-01"} for n in range(1, count + 1)]


def test_one_cause_is_one_line_with_its_count_the_first_places_and_what_to_do(clinic):
    checked = clinic.check([clinic.workbook({"patients": PATIENTS, "dentures": dentures(31), "visits": visits(31)})])
    first = intake.summary(checked)[0]
    assert first.startswith("31 rows: the visit lies before the day the denture was fitted (Visits, visited on), first at clinic.xlsx, Visits!B2, then B3, B4 and 28 more.")
    assert first.endswith("Correct the day of the visit or of the delivery.")


def test_errors_come_before_warnings_and_what_mends_most_rows_first(clinic):
    rows = visits(30)
    for row in rows[:4]:
        row["reason"] = "recal"
    for row in rows[4:6]:
        row["visited_on"] = "soon"
    for row in rows[6:30]:
        row["minutes"] = 400  # unusual: a warning in 24 rows
    checked = clinic.check([clinic.workbook({"patients": PATIENTS, "dentures": dentures(0) or [{"patient_id": "P1", "arch": "lower", "delivered_on": "2020-06-01"}], "visits": rows})])
    said = intake.summary(checked)
    assert said[0].startswith("4 cells: a word that is not in the list (Visits, reason), the same entry each time, first at")
    assert said[1].startswith("2 cells: a date that cannot be read (Visits, visited on), first at")
    assert said[2].startswith("Warning: 24 cells: a value outside the usual range")
    assert "may bring others to light" in said[3]
    assert not any("recal," in line or "soon" in line for line in said)


def test_what_keeps_a_whole_file_out_comes_before_all_else(clinic):
    files = clinic.csv({"patients": [{**row, "sex": "femal"} for row in PATIENTS], "visits": visits(3)})
    broken = clinic.text("dentures.csv", "patient_id,delivered_on\nP1,2020-06-01\n")
    said = intake.summary(clinic.check([*files, broken]))
    assert "lacks the column arch" in said[0]


def test_of_equal_counts_that_which_hides_other_problems_comes_first(clinic):
    rows = visits(3)
    rows[0]["minutes"] = 700
    rows[1]["reason"] = "recal"
    found = causes(clinic.check([clinic.workbook({"patients": PATIENTS, "visits": rows})]).problems)
    assert [cause.rule for cause in found if cause.severity == "error"] == ["code not known", "too large"]


def test_ten_causes_are_shown_and_the_rest_counted(clinic):
    columns = ("sex", "bruxism", "dry_mouth", "limited_dexterity", "smoker", "cleanser", "worn_at_night", "left_reason", "left_on", "birth_year")
    wrong = [{**row, **dict.fromkeys(columns, "x"), "audit_consent": "x"} for row in PATIENTS[:2]]
    said = intake.summary(clinic.check([clinic.workbook({"patients": wrong, "visits": visits(2, reason="x")})]))
    assert sum(" cells: " in line for line in said) == 10
    assert any(re.match(r"And \d+ more kinds of problem", line) for line in said)


def test_the_list_of_the_marked_copy_keeps_that_order_and_every_link_leads_to_its_cell(clinic):
    rows = visits(6)
    rows[0]["visited_on"], rows[1]["reason"], rows[2]["reason"], rows[3]["minutes"] = "soon", "recal", "recal", 400
    checked = clinic.check([clinic.workbook({"patients": PATIENTS, "visits": rows})])
    (copy,) = intake.marked_copy(checked, clinic.folder / "marked.xlsx")
    book = load_workbook(copy)
    listed = [[cell.value for cell in row] for row in book["To do"].iter_rows(min_row=2)]
    assert [line[2] for line in listed][:3] == ["Visits!C3", "Visits!C4", "Visits!B2"] and [line[6] for line in listed][:3] == [2, 2, 1]
    for row in book["To do"].iter_rows(min_row=2):
        title, _, place = row[2].hyperlink.location.rpartition("!")
        assert book[title.strip("'")][place].comment.text.startswith(("Error: ", "Warning: "))


def test_the_clinics_own_sheets_drop_downs_colours_and_notes_are_kept(clinic):
    path = clinic.folder / "log.xlsx"
    write_template(path)
    book = load_workbook(path)
    for row, patient in enumerate(PATIENTS, 2):
        book["Patients"].cell(row, 1, patient["patient_id"])
        book["Patients"].cell(row, 4, "yes" if row > 3 else "perhaps")
    own = book.create_sheet("Our telephone list's plan")
    own["B2"], own["B2"].number_format = 0.25, "0%"
    book.save(path)
    (copy,) = intake.marked_copy(clinic.check([path]), clinic.folder / "marked.xlsx")
    before, after = load_workbook(path), load_workbook(copy)
    assert after.sheetnames == ["To do", *before.sheetnames]
    for sheet in before:
        twin = after[sheet.title]
        assert {(str(v.sqref), v.formula1) for v in sheet.data_validations.dataValidation} == {(str(v.sqref), v.formula1) for v in twin.data_validations.dataValidation}
        assert {(str(f.sqref), tuple(rule.formula[0] for rule in f.rules)) for f in sheet.conditional_formatting} == {(str(f.sqref), tuple(rule.formula[0] for rule in f.rules)) for f in twin.conditional_formatting}
        assert twin.freeze_panes == sheet.freeze_panes and twin.sheet_state == sheet.sheet_state
    assert after["Our telephone list's plan"]["B2"].number_format == "0%"
    assert after["Patients"]["A1"].comment.text == before["Patients"]["A1"].comment.text
    assert after["Patients"]["D2"].comment and after["Patients"]["D2"].fill.fgColor.rgb.endswith("F2B8A6") and not after["Patients"]["D4"].comment


def test_drop_downs_that_a_newer_program_moved_into_the_extension_list_are_kept(clinic):
    """As a program writes them that keeps rules speaking of other sheets apart: [MS-XLSX] 2.2.4, elements x14:dataValidations and x14:conditionalFormattings."""
    path = clinic.workbook({"patients": [{"patient_id": "P1", "audit_consent": "perhaps"}]})
    extra = (b'<extLst xmlns:x14ac="urn:x"><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}" xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main">'
             b'<x14:dataValidations xmlns:xm="http://schemas.microsoft.com/office/excel/2006/main" count="1"><x14:dataValidation type="list" allowBlank="1" xr:uid="{1}" xmlns:xr="urn:r"><x14:formula1>'
             b"<xm:f>Lists!$A$2:$A$6</xm:f></x14:formula1><xm:sqref>B2:B6000</xm:sqref></x14:dataValidation></x14:dataValidations></ext><ext uri=\"{other}\"><other/></ext></extLst>")
    data = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(data, "w") as new:
        for name in old.namelist():
            body = old.read(name)
            new.writestr(name, body.replace(b"</worksheet>", extra + b"</worksheet>") if name == "xl/worksheets/sheet1.xml" else body)
    path.write_bytes(data.getvalue())
    (copy,) = intake.marked_copy(clinic.check([path]), clinic.folder / "marked.xlsx")
    with zipfile.ZipFile(copy) as package:
        sheets = {name: package.read(name) for name in package.namelist() if name.startswith("xl/worksheets/sheet")}
    (kept,) = [body for body in sheets.values() if b"dataValidations" in body and b"Lists!$A$2:$A$6" in body]
    assert b"B2:B6000" in kept and b"uid" not in kept and b"other" not in kept and kept.rstrip().endswith(b"</extLst></worksheet>")
    assert load_workbook(copy).sheetnames == ["To do", "Patients"]


def test_what_was_mended_in_a_marked_copy_is_marked_no_more(clinic):
    checked = clinic.check([clinic.workbook({"patients": [{**row, "sex": "femal"} for row in PATIENTS[:2]]})])
    (copy,) = intake.marked_copy(checked, clinic.folder / "marked.xlsx")
    book = load_workbook(copy)
    book["Patients"]["C2"] = "female"
    book.save(copy)
    (second,) = intake.marked_copy(clinic.check([copy]), clinic.folder / "again.xlsx")
    sheet = load_workbook(second)["Patients"]
    assert sheet["C2"].comment is None and sheet["C2"].fill.fgColor.rgb == "00000000"
    assert sheet["C3"].comment.text.count("Error: ") == 1


def test_the_list_is_never_loaded_as_data(clinic):
    (copy,) = intake.marked_copy(clinic.check([clinic.workbook({"patients": [{**PATIENTS[0], "sex": "femal"}]})]), clinic.folder / "marked.xlsx")
    again = clinic.check([copy])
    assert not any("To do" in decision for decision in again.decisions) and set(again.problems["sheet"]) == {"Patients"}


def test_of_a_line_that_stands_twice_nothing_else_is_said(clinic):
    fitted = {"patient": "P1", "date": "2023-05-04", "reason": "delivery", "parts_checked": "all", "snap": "just right"}
    repair = {"patient": "P1", "date": "2024-05-04", "reason": "problem", "parts_checked": "all", "snap": "far too loose", "inserts_changed": "33", "why": "worn", "worn_at": "33", "level_now": "light", "snap_lost": "2024-05"}
    sets = [{"patient": "P1", "arch": "lower", "position": site, "fitted_on": "2023-05-04", "attachment": "stud", "level": "light"} for site in ("33", "43")]
    levels = [{"level": "light", "system": "A", "retention": "6.7", "unit": "N"}]
    checked = clinic.check({"patients": PATIENTS[:1], "insert_levels": levels, "set_up": sets, "day_sheet": [fitted, repair, repair]})
    assert checked.problems["rule"].tolist() == ["same row twice"]


def test_what_is_good_is_told_in_the_lines_that_were_typed(sheet):
    """Two lines of the day sheet, two of the set-up, one patient and one level make more rows of the store; nobody typed those."""
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2022-05-04"))
    assert (checked.lines, checked.lines_aside) == (6, 0) and sum(map(len, checked.tables.values())) > 7
    assert intake.summary(checked)[-1] == "No problems found. All 6 lines are good."


def test_a_line_with_an_error_counts_once_whatever_it_makes(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2023-01-10", minutes="fifteen", inserts_changed="all", why="worn", level_now="light", denture="relined"), sheet.line("yesterday"))
    assert intake.summary(checked)[-1] == "2 errors and 1 warning. Of 7 lines 2 would be set aside, those that rest on a line with an error included; 5 are good."


def test_a_line_that_could_not_be_read_at_all_is_one_of_those_set_aside(clinic):
    files = clinic.csv({"patients": PATIENTS[:2]})
    broken = clinic.text("visits.csv", "patient_id,visited_on,reason,parts_checked\nP1,2023-05-04,recall,all,more\nP2,2023-05-04,recall,all\n")
    checked = clinic.check([*files, broken])
    assert (checked.lines, checked.lines_aside) == (4, 1)


def test_a_line_that_stands_twice_is_no_error_and_still_good(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2022-05-04"), sheet.line("2022-05-04"))
    assert intake.summary(checked)[-1] == "No errors; 1 warning. All 7 lines are good."


def test_lines_whose_dates_could_not_be_read_are_no_repeats_of_each_other(sheet):
    """Told to delete one of the two, a person would lose a visit."""
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("4 May, 2022"), sheet.line("11 May, 2022"))
    assert set(checked.problems["rule"]) == {"date not readable"} and (checked.lines, checked.lines_aside) == (7, 2)


def test_nor_are_rows_of_a_long_table(clinic):
    checked = clinic.check([clinic.workbook({"patients": PATIENTS[:1], "visits": [{**visits(1)[0], "visited_on": day} for day in ("4 May, 2022", "11 May, 2022")]})])
    assert set(checked.problems["rule"]) == {"date not readable"}
