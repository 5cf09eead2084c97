"""The list of problems and the marked copy that go back to the clinic."""

from __future__ import annotations

import csv
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from outcomes import intake
from outcomes.errors import Misuse
from outcomes.neutral import neutral

BAD = {"patients": [{"patient_id": "P1", "audit_consent": "yes", "sex": "femal"}, {"patient_id": "=HYPERLINK(1)", "audit_consent": "maybe", "sex": "female"}],
       "visits": [{"patient_id": "P1", "visited_on": "2023-02-29", "reason": "recall", "parts_checked": "all"}]}


def test_every_problem_is_one_line_of_the_csv_file(clinic):
    checked = clinic.check(BAD)
    path = intake.write_problems(checked, clinic.folder / "problems.csv")
    rows = list(csv.DictReader(open(path, encoding="utf-8-sig", newline="")))
    assert len(rows) == len(checked.problems) == 3
    assert {row["where"] for row in rows} == {"patients.csv, C2", "patients.csv, B3", "visits.csv, B2"}
    assert rows[0]["value"] == "femal" and rows[0]["remedy"].startswith("Did you mean female")


def test_the_list_is_separated_as_the_clinics_own_files_are(clinic):
    checked = clinic.check(clinic.csv(BAD, separator=";"))
    assert intake.write_problems(checked, clinic.folder / "problems.csv").read_text(encoding="utf-8-sig").startswith("where;severity;")


@pytest.mark.parametrize("text", ["=1+1", "+1+1", "-1+1", "@SUM(1)", "\t=1", "\r=1", " =1", "＝1+1", "＋1", "－1", "＠x", "\u00a0=1", "\n=1", "\x00=1"])
def test_a_text_that_a_spreadsheet_would_run_is_neutralised(text):
    # signs: OWASP, CSV injection; CWE-1236
    assert neutral(text) == "'" + text


@given(st.one_of(st.integers(), st.floats(allow_nan=False, allow_infinity=False), st.none()))
def test_numbers_stay_numbers(value):
    assert neutral(value) is value


@pytest.mark.parametrize("text", ["-0.137", "-5", "+3,5", "P0042", "2024-03-14", "33-43", ""])
def test_numbers_as_text_and_ordinary_words_stay_as_they_are(text):
    assert neutral(text) == text


@given(st.text(max_size=20))
def test_no_neutralised_text_starts_like_a_formula(text):
    out = neutral(text)
    start = out.lstrip("\u00a0\u3000 \t\r\n\v\f\x00")[:1]
    assert out == text or out[0] == "'"
    assert start not in tuple("=@＝＋－＠")


def test_the_copy_colours_each_cell_and_leads_to_it(clinic):
    path = clinic.workbook({**BAD, "patients": [BAD["patients"][0], dict(BAD["patients"][1], patient_id="P2")]})
    before = path.read_bytes()
    checked = clinic.check([path])
    (copy,) = intake.marked_copy(checked, clinic.folder / "marked.xlsx")
    book = load_workbook(copy)
    assert book.sheetnames[0] == "To do" and path.read_bytes() == before
    assert book["Patients"]["C2"].fill.fgColor.rgb.endswith("F2B8A6") and "Did you mean female" in book["Patients"]["C2"].comment.text
    assert book["Patients"]["C3"].fill.fgColor.rgb == "00000000"
    listed = {row[2].value: row for row in book["To do"].iter_rows(min_row=2)}
    assert set(listed) == {"Patients!C2", "Patients!B3", "Visits!B2"}
    assert "'Visits'!B2" in (listed["Visits!B2"][2].hyperlink.location or listed["Visits!B2"][2].hyperlink.target)
    assert all(cell.data_type != "f" for row in book["To do"].iter_rows() for cell in row)


def test_the_copy_checks_like_the_original_and_can_be_marked_again(clinic):
    checked = clinic.check([clinic.workbook(BAD)])
    (copy,) = intake.marked_copy(checked, clinic.folder / "marked.xlsx")
    again = clinic.check([copy])
    assert again.problems["message"].tolist() == checked.problems["message"].tolist()
    (second,) = intake.marked_copy(again, clinic.folder / "again.xlsx")
    assert load_workbook(second).sheetnames.count("To do") == 1


def test_a_csv_file_gets_a_workbook_with_its_cells_at_their_places_and_nothing_that_was_not_read(clinic):
    path = clinic.text("patients.csv", "patient_id,Phone,audit_consent\nP1,555,yes\n=1+1,556,maybe\n")
    (copy,) = intake.marked_copy(clinic.check([path]), clinic.folder / "marked.xlsx")
    sheet = load_workbook(copy)["patients"]
    assert [[cell.value for cell in row] for row in sheet.iter_rows()] == [["patient_id", None, "audit_consent"], ["P1", None, "yes"], ["'=1+1", None, "maybe"]]
    assert sheet["C3"].comment and sheet["B1"].comment


def test_a_log_is_never_overwritten(clinic):
    path = clinic.workbook(BAD)
    checked = clinic.check([path])
    for write in (intake.marked_copy, intake.write_problems):
        with pytest.raises(Misuse, match="Give another name"):
            write(checked, path)


def test_a_place_that_cannot_be_written_is_named(clinic):
    checked = clinic.check([clinic.workbook(BAD)])
    for write, name in ((intake.marked_copy, "x.xlsx"), (intake.write_problems, "x.csv")):
        with pytest.raises(Misuse, match=f"{name} cannot be written"):
            write(checked, clinic.folder / "nowhere" / name)


@pytest.mark.needs_office
@pytest.mark.slow
def test_the_copy_opens_in_a_spreadsheet_program(clinic):
    (copy,) = intake.marked_copy(clinic.check([clinic.workbook(BAD)]), clinic.folder / "marked.xlsx")
    subprocess.run(["soffice", "--headless", "--convert-to", "pdf", "--outdir", str(clinic.folder), str(copy)], check=True, capture_output=True, timeout=180)
    assert (clinic.folder / "marked.pdf").stat().st_size > 1000


def with_chart_and_shape(clinic):
    """A workbook with a chart, which a copy keeps, and a text box, which it does not."""
    import shutil
    import zipfile

    from openpyxl.chart import BarChart, Reference

    path = clinic.workbook(BAD)
    book = load_workbook(path)
    chart = BarChart()
    chart.add_data(Reference(book.worksheets[0], min_col=1, min_row=1, max_row=2))
    book.worksheets[0].add_chart(chart, "H2")
    book.save(path)
    box = b'<xdr:sp macro="" textlink=""><xdr:nvSpPr><xdr:cNvPr id="9" name="Note"/><xdr:cNvSpPr txBox="1"/></xdr:nvSpPr><xdr:spPr><a:xfrm xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"/></xdr:spPr></xdr:sp>'
    anchor = b"<xdr:oneCellAnchor><xdr:from><xdr:col>1</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>1</xdr:row><xdr:rowOff>0</xdr:rowOff></xdr:from><xdr:ext cx=\"9\" cy=\"9\"/>" + box + b"<xdr:clientData/></xdr:oneCellAnchor>"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(clinic.folder / "with_box.xlsx", "w") as new:
        for item in old.infolist():
            body = old.read(item.filename)
            if item.filename == "xl/drawings/drawing1.xml":
                body = body.replace(b"<wsDr ", b"<xdr:wsDr ").replace(b"</wsDr>", anchor + b"</xdr:wsDr>")
                body = body.replace(b'xmlns="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"', b'xmlns="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing" xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"')
            new.writestr(item, body)
    shutil.move(clinic.folder / "with_box.xlsx", path)
    return path


def test_a_copy_says_what_it_lost_beside_the_cells(clinic):
    path = with_chart_and_shape(clinic)
    (copy,) = intake.marked_copy(clinic.check([path]), clinic.folder / "marked.xlsx")
    assert intake.left_behind(path, copy) == ["1 shape or text box"]
    assert load_workbook(copy)[load_workbook(path).sheetnames[0]]._charts, "a chart is kept"
    assert intake.left_behind(path, path) == [] and intake.left_behind(clinic.text("a.csv", "a,b\n"), copy) == []
