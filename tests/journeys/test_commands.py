"""The commands as an assistant types them, on real files: what works, and what each kind of bad input answers."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


PATIENTS = "patient_id;audit_consent\nP1;yes\nP2;yes\n"
LEVELS = "level;system;retention;unit\nlight;A;6,7;N\nmedium;A;12;N\n"
SET_UP = ("patient;arch;position;fitted_on;attachment;level\n"
          "P1;lower;33;2022-03-01;stud;light\nP1;lower;43;2022-03-01;stud;light\n"
          "P2;lower;33;2022-05-10;stud;light\nP2;lower;43;2022-05-10;stud;light\n")
DAYS = ("patient;date;reason;parts_checked;snap;inserts_changed;why;worn_at;level_now\n"
        "P1;2022-03-01;delivery;all;just right;;;;\nP1;2022-03-08;review;all;just right;;;;\nP1;2023-03-02;recall;all;a bit loose;all;worn;33;light\n"
        "P2;2022-05-10;delivery;all;a bit loose;;;;\nP2;2022-05-17;review;all;a bit loose;all;wanted firmer;;medium\nP2;2023-05-09;recall;all;just right;none;;;\n")


def clinic(folder: Path, **changed: str | bytes | None) -> Path:
    """A small clean log as four CSV files in a folder; a keyword replaces one file's text, None leaves it out."""
    folder.mkdir(parents=True, exist_ok=True)
    files = {"patients": PATIENTS, "insert_levels": LEVELS, "set_up": SET_UP, "day_sheet": DAYS, **changed}
    for name, text in files.items():
        if text is not None:
            (folder / f"{name}.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


def test_a_clean_log_checks_loads_and_shows_its_history(tmp_path, run):
    files, store = clinic(tmp_path / "files"), tmp_path / "clinic.duckdb"
    status, said = run("check", files)
    assert status == 0, said
    assert run("load", files, "--store", store)[0] == 0
    status, said = run("history", "--store", store)
    assert status == 0 and "day_sheet.csv" in said


def test_the_same_files_twice_change_nothing(tmp_path, run):
    from outcomes.store import open_store

    files, store = clinic(tmp_path / "files"), tmp_path / "clinic.duckdb"
    run("load", files, "--store", store)
    with open_store(store, read_only=True) as opened:
        before = opened.revision
    assert run("load", files, "--store", store)[0] == 0
    with open_store(store, read_only=True) as opened:
        assert opened.revision == before


def test_undo_takes_back_the_last_load(tmp_path, run):
    from outcomes.store import open_store

    files, store = clinic(tmp_path / "files"), tmp_path / "clinic.duckdb"
    run("load", files, "--store", store)
    more = clinic(tmp_path / "more", day_sheet=DAYS + "P2;2024-05-09;recall;all;just right;none;;;\n")
    with open_store(store, read_only=True) as opened:
        before = opened.revision
    run("load", more, "--store", store)
    with open_store(store, read_only=True) as opened:
        assert opened.revision != before
    assert run("undo", "--store", store)[0] == 0
    with open_store(store, read_only=True) as opened:
        assert opened.revision == before


@pytest.mark.parametrize(
    ("what", "changed", "words"),
    [
        ("an unknown code", {"day_sheet": DAYS.replace("P1;2022-03-08;review;all", "P1;2022-03-08;reveiw;all")}, ["day_sheet.csv", "C3", "review"]),
        ("a missing column", {"day_sheet": DAYS.replace(";reason", ";x_reason")}, ["day_sheet.csv", "reason"]),
        ("a date that is none", {"day_sheet": DAYS.replace("2023-03-02", "2023-02-29")}, ["day_sheet.csv", "B4"]),
        ("a second line for one visit that says something else", {"day_sheet": DAYS + "P2;2023-05-09;problem;all;a bit loose;none;;;\n"}, ["day_sheet.csv"]),
        ("a visit before the first fitting with changes", {"day_sheet": DAYS + "P1;2021-01-01;recall;all;just right;all;worn;33;light\n"}, ["day_sheet.csv"]),
        ("a patient nobody declared", {"day_sheet": DAYS + "P9;2023-05-09;recall;all;just right;none;;;\n"}, ["day_sheet.csv", "A8"]),
        ("a position of the other jaw", {"set_up": SET_UP.replace("P1;lower;33", "P1;lower;13")}, ["set_up.csv"]),
        ("a number that is none", {"insert_levels": LEVELS.replace("6,7", "strong")}, ["insert_levels.csv", "C2"]),
        ("a level nobody declared", {"set_up": SET_UP.replace("P2;lower;33;2022-05-10;stud;light", "P2;lower;33;2022-05-10;stud;feather")}, ["set_up.csv"]),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_problems_in_the_data_are_named_with_their_place_and_nothing_is_loaded(tmp_path, run, what, changed, words):
    files, store = clinic(tmp_path / "files", **changed), tmp_path / "clinic.duckdb"
    listed = tmp_path / "problems.csv"
    status, said = run("check", files, "--problems", listed)
    told = said + (listed.read_text(encoding="utf-8-sig") if listed.exists() else "")
    assert status in (1, 2), what
    for word in words:
        assert word in told, told
    status, said = run("load", files, "--store", store)
    assert status in (1, 2)
    if store.exists():
        from outcomes.store import open_store

        with open_store(store, read_only=True) as opened:
            assert opened.connection.execute("SELECT count(*) FROM visits").fetchone() == (0,)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("letter.docx", b"not a table", ["letter.docx"]),
        ("day_sheet.xlsx", b"not a workbook at all", ["day_sheet.xlsx"]),
        ("day_sheet.xlsx", b"", ["day_sheet.xlsx"]),
        ("day_sheet.csv", b"", ["day_sheet.csv"]),
        ("holiday_photos.csv", b"a,b\n1,2\n", ["holiday_photos.csv"]),
    ],
)
def test_a_file_that_is_no_log_is_refused_by_name(tmp_path, run, name, content, words):
    (tmp_path / name).write_bytes(content)
    status, said = run("check", tmp_path / name)
    assert status in (1, 2)
    for word in words:
        assert word in said


def test_a_workbook_with_other_sheets_only_says_which_sheets_are_known(tmp_path, run):
    from openpyxl import Workbook

    book = Workbook()
    book.active.title = "Holidays"
    book.active.append(["a", "b"])
    book.save(tmp_path / "log.xlsx")
    status, said = run("check", tmp_path / "log.xlsx")
    assert status in (1, 2) and "log.xlsx" in said and "Day sheet" in said


def test_a_log_without_a_single_visit_is_an_empty_log(tmp_path, run):
    files = clinic(tmp_path / "files", day_sheet=DAYS.splitlines()[0] + "\n", set_up=SET_UP.splitlines()[0] + "\n")
    status, said = run("audit", files, "--store", tmp_path / "s.duckdb", "--out", tmp_path / "out")
    assert status == 1 and "no visit" in said
    assert not (tmp_path / "out").exists()


def test_a_log_of_one_patient_gives_a_page_that_claims_nothing(tmp_path, run):
    files = clinic(tmp_path / "files", patients="patient_id;audit_consent\nP1;yes\n",
                   set_up="\n".join(SET_UP.splitlines()[:3]) + "\n", day_sheet="\n".join(DAYS.splitlines()[:4]) + "\n")
    status, said = run("audit", files, "--store", tmp_path / "s.duckdb", "--out", tmp_path / "out")
    assert status == 0, said
    assert (tmp_path / "out" / "index.html").exists()


def test_an_ambiguous_date_order_is_refused_with_the_option_to_give(tmp_path, run):
    days = DAYS
    for written, other in {"2022-03-01": "01/03/2022", "2022-03-08": "08/03/2022", "2023-03-02": "02/03/2023", "2022-05-10": "10/05/2022",
                           "2022-05-17": "11/05/2022", "2023-05-09": "09/05/2023"}.items():
        days = days.replace(written, other)
    files = clinic(tmp_path / "files", day_sheet=days)
    status, said = run("check", files)
    assert status in (1, 2) and "--date-order" in said
    status, said = run("check", files, "--date-order", "day first")
    assert status == 0, said


def test_a_line_typed_twice_is_told_and_kept_once(tmp_path, run):
    from outcomes.store import open_store

    files, store = clinic(tmp_path / "files", day_sheet=DAYS + "P2;2023-05-09;recall;all;just right;none;;;\n"), tmp_path / "clinic.duckdb"
    status, said = run("check", files)
    assert status == 0 and "twice" in said, said
    assert run("load", files, "--store", store)[0] == 0
    with open_store(store, read_only=True) as opened:
        assert opened.connection.execute("SELECT count(*) FROM visits").fetchone() == (6,)


def test_a_store_held_by_another_program_is_named_with_the_remedy(tmp_path, run):
    files, store = clinic(tmp_path / "files"), tmp_path / "clinic.duckdb"
    run("load", files, "--store", store)
    code = f"import duckdb, sys\nc = duckdb.connect({str(store)!r})\nprint('held', flush=True)\nsys.stdin.read()"
    holder = subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "held\n"
        status, said = run("load", files, "--store", store)
    finally:
        holder.communicate("")
    assert status == 2 and "clinic.duckdb" in said and "another" in said


def test_what_is_no_store_is_refused(tmp_path, run):
    (tmp_path / "notes.duckdb").write_text("shopping list")
    status, said = run("report", "--store", tmp_path / "notes.duckdb", "--out", tmp_path / "out")
    assert status == 2 and "notes.duckdb" in said
    status, said = run("report", "--store", tmp_path / "nowhere.duckdb", "--out", tmp_path / "out")
    assert status == 2 and "nowhere.duckdb" in said


@pytest.mark.parametrize("words", [["report", "--store", "x.duckdb"], ["check"], ["audit", "no_such_file.xlsx"], ["dance"], ["demo", "--patients", "3"]])
def test_a_command_typed_wrong_ends_with_status_two(tmp_path, run, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    assert run(*words)[0] == 2


def test_a_plan_with_an_unknown_setting_suggests_the_nearest(tmp_path, run):
    plan = tmp_path / "plan.toml"
    plan.write_text("[rules]\nnotice_day = 20\n")
    status, said = run("audit", clinic(tmp_path / "files"), "--plan", plan, "--store", tmp_path / "s.duckdb", "--out", tmp_path / "out")
    assert status == 2 and "notice_days" in said
    assert not (tmp_path / "s.duckdb").exists()


def test_the_workbook_template_filled_in_audits(tmp_path, run):
    from openpyxl import load_workbook

    book_path = tmp_path / "log.xlsx"
    assert run("template", "--out", book_path)[0] == 0
    assert run("template", "--out", book_path)[0] == 2  # never over a log that is there
    book = load_workbook(book_path)
    for title, text in {"Patients": PATIENTS, "Insert levels": LEVELS, "Set-up": SET_UP, "Day sheet": DAYS}.items():
        sheet = book[title]
        places = {cell.value.replace(" ", "_"): cell.column for cell in sheet[1]}
        head, *lines = (line.split(";") for line in text.splitlines())
        for row, line in enumerate(lines, 2):
            for name, value in zip(head, line, strict=True):
                if value:
                    sheet.cell(row, places[name], float(value.replace(",", ".")) if name == "retention" else value)
    book.save(book_path)
    status, said = run("audit", book_path, "--store", tmp_path / "s.duckdb", "--out", tmp_path / "out")
    assert status == 0, said
    assert (tmp_path / "out" / "index.html").exists()
