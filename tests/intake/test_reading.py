"""CSV files and workbooks as clinics really keep them."""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from outcomes import intake, schemas
from outcomes.intake import delimited
from outcomes.intake.source import Options, Reading

PATIENTS = "patient_id,audit_consent,cleanser\nP1,yes,tablets\nP2,no,\n"


def ids(checked) -> list[str]:
    return checked.tables["patients"]["patient_id"].tolist()


@pytest.mark.parametrize("encoding, word", [("utf-8", "UTF-8"), ("utf-8-sig", "UTF-8"), ("utf-16", "UTF-16"), ("utf-16-le", "UTF-16"), ("utf-16-be", "UTF-16"), ("cp1252", "Windows-1252")])
def test_the_encoding_is_found_and_told(clinic, encoding, word):
    path = clinic.text("patients.csv", PATIENTS.replace("P2", "Ünal7").encode(encoding))
    checked = clinic.check([path])
    assert ids(checked) == ["P1", "Ünal7"]
    assert f"patients.csv: encoding {word}." in checked.decisions


@pytest.mark.parametrize("separator, word", [(",", "comma"), (";", "semicolon"), ("\t", "tab")])
def test_the_separator_is_found_and_told(clinic, separator, word):
    checked = clinic.check([clinic.text("patients.csv", PATIENTS.replace(",", separator))])
    assert ids(checked) == ["P1", "P2"] and f"patients.csv: separator {word}." in checked.decisions


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_lines_end_as_any_system_ends_them(clinic, ends):
    assert ids(clinic.check([clinic.text("patients.csv", PATIENTS.replace("\n", ends))])) == ["P1", "P2"]


def test_decimal_commas_are_found_once_for_a_file_and_told(clinic):
    content = "level;system;retention;unit\nlight;A;6,7;N\nfirm;A;1.500;gf\n"
    checked = clinic.check([clinic.text("insert_levels.csv", content)])
    assert checked.tables["insert_levels"]["retention"].tolist() == [6.7, 1500.0]
    assert "insert_levels.csv: decimal mark comma (C2 can be nothing else)." in checked.decisions


def test_the_date_order_is_found_once_for_a_file_and_told(clinic):
    content = "patient_id,audit_consent,left_on,left_reason\nP1,yes,03/04/2024,moved\nP2,yes,14/03/2024,moved\nP3,yes,2023-06,died\n"
    checked = clinic.check([clinic.text("patients.csv", content)])
    assert checked.tables["patients"]["left_on"].tolist() == [pd.Timestamp(2024, 4, 3), pd.Timestamp(2024, 3, 14), pd.Timestamp(2023, 6, 1)]
    assert checked.tables["patients"]["left_on_precision"].tolist() == ["day", "day", "month"]
    assert "patients.csv: dates are day first (C3 can be nothing else)." in checked.decisions


def test_headings_and_codes_may_differ_in_case_and_blanks(clinic):
    checked = clinic.check([clinic.text("Patients 2024.csv", " Patient ID , AUDIT-CONSENT ,Worn_At night\nP1, Yes ,NO\nP2,not  required,\n")])
    assert not len(checked.problems)
    assert checked.tables["patients"]["audit_consent"].tolist() == ["yes", "not required"]
    assert checked.tables["patients"]["worn_at_night"].tolist()[0] == "no"


def test_headings_may_stand_below_a_title(clinic):
    assert ids(clinic.check([clinic.text("patients.csv", "Our practice,,\n\n" + PATIENTS)])) == ["P1", "P2"]


def test_blank_lines_and_repeated_headings_are_left_out_and_lines_still_count(clinic):
    content = "patient_id,audit_consent\nP1,yes\n\nPatient ID,audit consent\nP2,maybe\n,\n,\n\n"
    checked = clinic.check([clinic.text("patients.csv", content)])
    assert ids(checked) == ["P1"]
    assert checked.problems.set_index("rule")["line"].to_dict() == {"heading repeated": 4, "code not known": 5}
    assert checked.problems.set_index("rule").loc["code not known", "cell"] == "B5"


def test_quotes_hold_separators_and_line_breaks(clinic):
    checked = clinic.check([clinic.text("patients.csv", 'patient_id,audit_consent,note\n"P1",yes,"a, ""b"""\nP2,yes,"one\ntwo"\nP3,,x\n')])
    assert ids(checked) == ["P1", "P2"]
    assert checked.problems.query("rule == 'needed'")[["cell", "line"]].to_numpy().tolist() == [["B4", 4]]


@pytest.mark.parametrize("row, words", [("P2,yes,tablets,extra", "4 cells where the headings have 3"), ("P2,yes", "2 cells where the headings have 3")])
def test_a_line_with_too_many_or_too_few_cells_is_set_aside(clinic, row, words):
    checked = clinic.check([clinic.text("patients.csv", PATIENTS.replace("P2,no,", row))])
    assert ids(checked) == ["P1"]
    assert words in checked.problems["message"].item()


@given(st.lists(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\0\r", exclude_categories=["Cs"]), max_size=8), min_size=3, max_size=3), min_size=1, max_size=12))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)
def test_the_quick_and_the_careful_way_read_the_same(rows):
    import csv
    import io

    table, names = schemas.tables()["patients"], ["patient_id", "audit_consent", "cleanser"]
    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows([names, *rows])
    data, places = out.getvalue().encode("utf-8"), {name: at for at, name in enumerate(names)}
    quick = delimited.read_quickly(data, ",", 0, names, places)
    careful = delimited.read_with_care(Reading(0, "patients.csv", data, "csv"), table, data, ",", 0, names, places)

    def texts(found):
        columns, lines = found
        cells = {line: tuple(columns[name].values[columns[name].index[at]] if columns[name].index[at] >= 0 else None for name in names) for at, line in enumerate(lines.tolist())}
        return {line: row for line, row in cells.items() if any(row)}

    assert quick is None or texts(quick) == texts(careful)


def test_a_workbook_keeps_dates_numbers_and_text_apart(clinic):
    lines = [{"patient": "P1", "date": datetime(2024, 3, 14), "reason": "recall", "minutes": 15, "parts_checked": "all", "snap": "just right", "inserts_changed": None},
             {"patient": "P1", "date": 45400, "reason": "Recall ", "minutes": 20.5, "parts_checked": "all", "snap": -1, "inserts_changed": 33},
             {"patient": "P1", "date": "2024-05-02", "reason": "review", "minutes": "25", "parts_checked": "all", "snap": "not asked", "inserts_changed": "33 43"}]
    sets = [{"patient": "P1", "arch": "lower", "position": at, "fitted_on": 2020, "attachment": "stud", "level": "unknown"} for at in (33, "43")]
    path = clinic.workbook({"patients": [{"patient_id": "P1", "audit_consent": "yes"}], "set_up": sets, "day_sheet": lines})
    checked = clinic.check([path])
    assert checked.error_count == 0, checked.problems
    visits = checked.tables["visits"]
    assert visits["visited_on"].dt.date.tolist() == [date(2024, 3, 14), date(2024, 4, 18), date(2024, 5, 2)]
    assert visits["minutes"].tolist() == [15.0, 20.5, 25.0]
    assert visits["snap"].tolist() == ["just right", "a bit loose", "not asked"]
    assert checked.tables["dentures"]["delivered_on_precision"].tolist() == ["year"]


def test_leading_zeros_that_a_spreadsheet_only_shows_are_kept(clinic):
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    sheet.title = "Patients"
    sheet.append(["patient_id", "audit_consent"])
    sheet.append([42, "yes"])
    sheet.append(["0043", "yes"])
    sheet.append([44, "yes"])
    sheet["A2"].number_format = "0000"
    book.save(clinic.folder / "log.xlsx")
    assert ids(clinic.check([clinic.folder / "log.xlsx"])) == ["0042", "0043", "44"]


@pytest.mark.parametrize("shown, precision", [("mmm-yy", "month"), ('yyyy"-"mm', "month"), ("yyyy", "year"), ("yyyy-mm-dd", "day"), ("dd/mm/yy", "day")])
def test_a_month_that_a_spreadsheet_turned_into_its_first_day_stays_a_month(clinic, shown, precision):
    from openpyxl import load_workbook

    path = clinic.workbook({"patients": [{"patient_id": "P1", "audit_consent": "yes", "left_reason": "moved", "left_on": datetime(2024, 3, 1)}]})
    book = load_workbook(path)
    book["Patients"]["D2"].number_format = shown
    book.save(path)
    assert clinic.check([path]).tables["patients"]["left_on_precision"].tolist() == [precision]


def test_a_workbook_whose_days_count_from_1904_is_read_by_its_own_count(clinic):
    from openpyxl import load_workbook
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    path = clinic.workbook({"patients": [{"patient_id": "P1", "audit_consent": "yes", "left_reason": "moved", "left_on": 43830}]})
    book = load_workbook(path)
    book.epoch = CALENDAR_MAC_1904
    book.save(path)
    checked = clinic.check([path])
    assert checked.tables["patients"]["left_on"].dt.date.tolist() == [date(2024, 1, 1)]  # 45292 less the 1462 days between the two counts
    assert any("1904" in one for one in checked.decisions)


def test_the_size_a_file_states_for_its_sheet_is_not_believed(clinic):
    import re
    import zipfile

    path = clinic.workbook({"patients": [{"patient_id": f"P{n}", "audit_consent": "yes"} for n in range(5)]})
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(clinic.folder / "odd.xlsx", "w") as new:
        for name, data in parts.items():
            new.writestr(name, re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1"', data))
    assert len(ids(clinic.check([clinic.folder / "odd.xlsx"]))) == 5


def test_a_column_not_taken_is_never_kept(clinic):
    path = clinic.text("patients.csv", "patient_id,audit_consent,Hobbies\nP1,yes,chess with the neighbour\n")
    checked = clinic.check([path])
    assert "the column Hobbies is not known in Patients and was not read" in checked.problems["message"].tolist()
    assert "chess" not in repr([checked.problems.to_dict(), {k: v.to_dict() for k, v in checked.tables.items()}, checked.sources])


def test_a_misspelt_heading_gets_the_nearest_one(clinic):
    checked = clinic.check([clinic.text("patients.csv", "patient_id,audit_consent,bruxsim\nP1,yes,no\n")])
    assert checked.problems["remedy"].item().startswith("If it is meant as bruxism")


def test_two_files_of_one_table_follow_each_other_and_the_same_file_counts_once(clinic):
    first, second, again = clinic.text("patients.csv", PATIENTS), clinic.text("patients_2.csv", "patient_id,audit_consent\nP3,yes\n"), clinic.text("patients copy.csv", PATIENTS)
    checked = clinic.check([first, second, again])
    assert ids(checked) == ["P1", "P2", "P3"]
    assert checked.tables["patients"]["_file"].tolist() == [0, 0, 1] and checked.tables["patients"]["_line"].tolist() == [2, 3, 2]
    assert "patients copy.csv is the same file as patients.csv and was read once." in checked.decisions


def test_a_questionnaire_may_be_typed_wide(clinic):
    tables = {"patients": [{"patient_id": "P1", "audit_consent": "yes"}],
              "satisfaction_card": [{"patient_id": "P1", "answered_on": "2024-03-14", "about": "lower", "item 1": "85"}, {"patient_id": "P1", "answered_on": "2024-06-14", "about": "lower", "item 1": "850"}]}
    checked = clinic.check(tables)
    rows = checked.tables["questionnaires"]
    assert rows[["instrument", "item", "response"]].to_numpy().tolist() == [["satisfaction_card", 1, 85.0]]
    one = checked.problems.iloc[0]
    assert (one["rule"], one["file"], one["cell"], one["value"]) == ("response outside the range", "satisfaction_card.csv", "D3", "850")


def test_errors_of_a_wide_questionnaire_are_found_at_their_cells(clinic):
    rows = [{"patient_id": "P1", "answered_on": "2024-02-30", "about": "lower", "q1": "85"}, {"patient_id": "P1", "answered_on": "2024-03-14", "about": "lowre", "q1": "8o"},
            {"patient_id": "P1", "answered_on": "2024-04-14", "about": "lower", "q1": "70"}, {"patient_id": "P1", "answered_on": "", "about": "lower", "q1": "60"}]
    checked = clinic.check({"patients": [{"patient_id": "P1", "audit_consent": "yes"}], "satisfaction_card": rows})
    assert {(one.cell, one.rule) for one in checked.problems.itertuples()} == {("B2", "date not readable"), ("C3", "code not known"), ("D3", "number not readable"), ("B5", "needed")}
    assert checked.tables["questionnaires"]["response"].tolist() == [70.0]


def test_options_that_mean_nothing_are_refused():
    for wrong in ({"date_order": "european"}, {"decimal": ";"}, {"separator": "|"}, {"encoding": "utf-99"}):
        with pytest.raises(intake.checked.Misuse):
            Options(**wrong)


def test_the_template_filled_in_checks_clean(clinic):
    from openpyxl import load_workbook

    from outcomes.intake.template import write_template

    path = clinic.folder / "clinic_log.xlsx"
    write_template(path)
    book = load_workbook(path)
    for title, row in {"Patients": ["P1", 1948, "female", "yes"], "Insert levels": ["light", "A", 6.7, "N", "final"]}.items():
        for at, value in enumerate(row, 1):
            book[title].cell(2, at, value)
    headings = [cell.value.replace(" ", "_") for cell in book["Set-up"][1]]
    for at, position in enumerate(("33", "43"), 2):
        for name, value in {"patient": "P1", "arch": "lower", "position": position, "fitted_on": datetime(2024, 3, 14), "attachment": "stud", "level": "light"}.items():
            book["Set-up"].cell(at, headings.index(name) + 1, value)
    headings = [cell.value.replace(" ", "_") for cell in book["Day sheet"][1]]
    for name, value in {"patient": "P1", "date": datetime(2024, 3, 14), "reason": "delivery", "parts_checked": "all", "snap": "not asked"}.items():
        book["Day sheet"].cell(2, headings.index(name) + 1, value)
    book.save(path)
    checked = clinic.check([path])
    assert len(checked.problems) == 0, checked.problems
    assert len(checked.tables["parts_log"]) == 6
