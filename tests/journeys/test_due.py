"""``outcomes due`` as an assistant types it: on a clean store, on awkward ones, and with what cannot be asked."""

from __future__ import annotations

import icalendar
import pytest

from outcomes.cli import main

PATIENTS = "patient_id;audit_consent;dry_mouth\nP1;yes;no\nP2;yes;yes\n=P3;yes;\n"
LEVELS = "level;system;retention;unit\nlight;A;6,7;N\nmedium;A;12;N\n"
SET_UP = "patient;arch;position;fitted_on;attachment;level\n" + "".join(f"{name};lower;{site};2022-03-01;stud;light\n" for name in ("P1", "P2", "=P3") for site in (33, 43))
DAYS = "patient;date;reason;parts_checked;snap;inserts_changed;why;worn_at;level_now\n" + "".join(f"{name};2022-03-01;delivery;all;just right;;;;\n" for name in ("P1", "P2", "=P3")) + "P1;2023-03-02;recall;all;a bit loose;all;worn;33;light\nP2;2024-02-01;recall;all;just right;none;;;\n=P3;2022-03-10;review;all;just right;none;;;\n"


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clinic")
    for name, text in (("patients", PATIENTS), ("insert_levels", LEVELS), ("set_up", SET_UP), ("day_sheet", DAYS)):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    assert main(["load", "--quiet", *[str(path) for path in sorted(folder.glob("*.csv"))], "--store", str(folder / "clinic.duckdb")]) == 0
    return folder / "clinic.duckdb"


def test_three_patients_are_enough_for_a_list(store, run, tmp_path):
    status, said = run("due", "--store", store, "--on", "2024-09-01", "--out", tmp_path / "out")
    assert status == 0 and "On 1\u00a0September 2024" in said and "overdue by more than 60 days: 2 recalls" in said and "due now: 1 recall" in said
    assert "Cannot be said" in said
    events = icalendar.Calendar.from_ical((tmp_path / "out/due.ics").read_bytes()).walk("VEVENT")
    assert sorted(str(event["summary"]).rpartition(" ")[2] for event in events) == ["=P3", "P1", "P2"] and not any(event.walk("VALARM") for event in events)
    assert "'=P3" in (tmp_path / "out/due.csv").read_text(encoding="utf-8-sig")


def test_one_file_by_its_ending_and_alarms_only_when_asked(store, run, tmp_path):
    assert run("due", "--store", store, "--on", "2024-09-01", "--out", tmp_path / "a.ics", "--alarm", "7")[0] == 0
    assert len(icalendar.Calendar.from_ical((tmp_path / "a.ics").read_bytes()).walk("VALARM")) == 3
    for ending in (".csv", ".html"):
        assert run("due", "--store", store, "--out", tmp_path / f"b{ending}")[0] == 0 and (tmp_path / f"b{ending}").exists()


def test_a_day_in_the_past_shows_the_list_as_it_was(store, run):
    said = run("due", "--store", store, "--on", "2022-12-31")[1]
    assert "overdue by more than 60 days: 2 first reviews" in said


@pytest.mark.parametrize(("words", "answer"), [(("--on", "31/12/2024"), "YYYY-MM-DD"), (("--on", "2020-01-01"), "had not begun"), (("--within", "-1"), "--within"), (("--alarm", "9999"), "--alarm"), (("--out", "list.pdf"), ".csv, .ics, .html")])
def test_what_cannot_be_asked_is_misuse(store, run, words, answer):
    status, said = run("due", "--store", store, *words)
    assert status == 2 and answer in said


def test_a_plan_with_a_rule_nobody_knows_is_misuse_and_writes_nothing(store, run, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text('[[recall.shorter]]\nwhen = "dry moth"\ndays = 90\n')
    status, said = run("due", "--store", store, "--plan", plan, "--out", tmp_path / "out")
    assert status == 2 and "Did you mean “dry mouth”" in said and not (tmp_path / "out").exists()
    plan.write_text("[recall]\nwithin_day = 3\n")
    status, said = run("due", "--store", store, "--plan", plan)
    assert status == 2 and "Did you mean within_days?" in said


def test_an_empty_store_has_nobody_to_recall(run, tmp_path):
    from outcomes.store import open_store

    with open_store(tmp_path / "empty.duckdb", create=True):
        pass
    status, said = run("due", "--store", tmp_path / "empty.duckdb", "--out", tmp_path / "out")
    assert status == 1 and "holds no visit" in said and not (tmp_path / "out").exists()


def test_a_folder_with_a_dot_in_its_name_is_a_folder(store, run, tmp_path):
    (tmp_path / "week.41").mkdir()
    status, said = run("due", "--store", store, "--on", "2024-09-01", "--out", tmp_path / "week.41")
    assert status == 0 and {"due.csv", "due.html", "due.ics"} <= {path.name for path in (tmp_path / "week.41").iterdir()}
    assert run("due", "--store", store, "--out", tmp_path / "list.xlsx")[0] == 2
