"""The store's commands as typed: what changes is shown before it is done, nothing waits where nobody answers, and a store alone can be checked."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import sys

import pytest

from outcomes.cli import main
from outcomes.commands import asking
from outcomes.store import open_store

PATIENTS = "patient_id;audit_consent\nP1;yes\nP2;yes\n"
LEVELS = "level;system;retention;unit\nlight;A;6,7;N\nmedium;A;12;N\n"
SET_UP = "patient;arch;position;fitted_on;attachment;level\n" + "".join(f"P1;lower;{site};2022-03-01;stud;light\n" for site in (33, 43))
DAYS = ("patient;date;reason;parts_checked;snap;minutes\nP1;2022-03-01;delivery;all;just right;40\nP1;2022-03-08;review;all;just right;10\nP1;2023-03-02;recall;all;a bit loose;15\n")
CORRECTED = DAYS.replace("a bit loose;15", "far too loose;20").replace("P1;2022-03-08;review;all;just right;10\n", "")
COMMAND = [sys.executable, "-m", "outcomes"]
posix = pytest.mark.skipif(os.name != "posix", reason="a terminal as POSIX systems have it")


def write(folder, days=DAYS):
    folder.mkdir(exist_ok=True)
    for name, text in {"patients": PATIENTS, "insert_levels": LEVELS, "set_up": SET_UP, "day_sheet": days}.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def run(capsys):
    def go(*words) -> tuple[int, str, str]:
        try:
            status = main([str(word) for word in words])
        except SystemExit as stop:
            status = stop.code
        out = capsys.readouterr()
        assert "Traceback" not in out.out + out.err
        return status, out.out, out.err

    return go


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """A folder with a store and its files, loaded once; tests work on copies."""
    folder = tmp_path_factory.mktemp("loaded")
    assert main(["load", "--quiet", str(write(folder / "files")), "--store", str(folder / "clinic.duckdb")]) == 0
    return folder


@pytest.fixture
def corrected(loaded, tmp_path):
    """A store, and its files with a visit corrected and another taken out."""
    shutil.copytree(loaded, tmp_path, dirs_exist_ok=True)
    return write(tmp_path / "files", CORRECTED), tmp_path / "clinic.duckdb"


def content(path):
    with open_store(path, read_only=True) as store:
        return store.revision, len(store.history())


def test_a_preview_tells_what_a_load_would_do_and_does_nothing(corrected, run, tmp_path):
    files, store = corrected
    before = content(store)
    status, out, _ = run("load", files, "--store", store, "--withdraw", "--preview", "--changes", tmp_path / "changes.csv")
    assert status == 0 and content(store) == before
    assert out.startswith("This load changes 1 row (2 cells) and withdraws 1 row no longer in its file.")
    assert "day_sheet.csv, line 3: minutes of visits changes" in out and "Nothing was changed: this was a preview." in out
    assert "P1/" not in out and "far too loose" not in out  # not a terminal: no key and no value
    listed = (tmp_path / "changes.csv").read_text(encoding="utf-8-sig")
    assert "changed,visits,P1/2023-03-02,snap,a bit loose,far too loose,day_sheet.csv,,3" in listed and "withdrawn,visits,P1/2022-03-08" in listed


def test_a_preview_makes_no_store(tmp_path, run):
    status, out, err = run("load", write(tmp_path / "files"), "--store", tmp_path / "new.duckdb", "--preview")
    assert status == 0 and "There is no such store yet" in err and out.startswith("This load adds 2 patients, 1 denture")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["files"]


def test_where_nobody_sits_at_a_terminal_the_changes_are_told_and_made(corrected, run):
    files, store = corrected
    status, _, err = run("load", files, "--store", store, "--withdraw")
    assert status == 0 and "This load changes 1 row (2 cells) and withdraws 1 row" in err and "[y/N]" not in err and "P1" not in err
    status, _, err = run("undo", "--store", store)
    assert status == 0 and "This takes back load 2: 2 cells are again what they had been and 1 row that it withdrew stands again." in err


@pytest.mark.parametrize(("answer", "kept"), [("y\n", True), ("yes\n", True), ("n\n", False), ("\n", False), ("", False)])
def test_a_person_is_asked_and_only_a_yes_changes_anything(corrected, run, monkeypatch, answer, kept):
    files, store = corrected
    before = content(store)
    monkeypatch.setattr(asking, "person_is_there", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO(answer))
    status, _, err = run("load", files, "--store", store)
    assert "Do this? [y/N]" in err
    assert (status == 0, content(store) != before) == (kept, kept)
    assert kept or (status == 2 and "Nothing was changed." in err)


def test_yes_and_mere_additions_are_not_asked(corrected, run, monkeypatch):
    files, store = corrected
    monkeypatch.setattr(asking, "person_is_there", lambda: True)
    monkeypatch.setattr(sys, "stdin", None)  # a question would fail
    assert run("load", files, "--store", store, "--withdraw", "--yes")[0] == 0
    write(files, CORRECTED + "P1;2024-03-02;recall;all;just right;15\n")
    assert run("load", files, "--store", store)[0] == 0
    assert run("undo", "--store", store, "--yes")[0] == 0


@posix
def test_on_a_real_terminal_values_are_shown_and_the_answer_is_read(corrected):
    import pty

    files, store = corrected
    before = content(store)
    for answer, status in ((b"n\n", 2), (b"y\n", 0)):
        here, there = pty.openpty()
        running = subprocess.Popen([*COMMAND, "load", str(files), "--store", str(store), "--withdraw"], stdin=there, stderr=there, stdout=there)
        os.close(there)
        said = b""
        while b"[y/N]" not in said:
            said += os.read(here, 4000)
        assert "Visits, P1/2023-03-02: snap a bit loose → far too loose (day_sheet.csv, line 3)" in said.decode()
        assert content_refused(store)  # the store waits, locked, for the answer
        os.write(here, answer)
        assert running.wait(timeout=60) == status
        os.close(here)
        assert (content(store) != before) == (status == 0)


def content_refused(store):
    with pytest.raises(Exception, match="in use by another program"):
        content(store)
    return True


def test_a_load_without_any_standard_input_never_hangs(corrected):
    files, store = corrected
    done = subprocess.run([*COMMAND, "load", str(files), "--store", str(store), "--withdraw"], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0 and "withdraws 1 row" in done.stderr


def test_the_history_of_one_load_names_what_it_changed(corrected, run):
    files, store = corrected
    run("load", files, "--store", store, "--withdraw")
    status, out, _ = run("history", "--store", store, "--load", "2")
    assert status == 0 and "day_sheet.csv, line 3: snap of visits changes" in out and "row of visits withdrawn" in out and "P1" not in out
    assert "It changed no cell" in run("history", "--store", store, "--load", "1")[1]
    status, _, err = run("history", "--store", store, "--load", "9")
    assert status == 2 and "There is no load 9 in clinic.duckdb" in err


def test_a_store_alone_is_checked(corrected, run):
    files, store = corrected
    run("load", files, "--store", store)
    status, out, _ = run("check", "--store", store)
    assert status == 0 and out.startswith("clinic.duckdb is whole: 2 patients, 1 denture") and "from 2 entries of the history" in out


def test_a_store_that_was_altered_is_told_with_the_copy_that_is_whole(corrected, run):
    import duckdb

    files, store = corrected
    run("load", files, "--store", store)
    connection = duckdb.connect(str(store))
    connection.execute("UPDATE kept.visits SET minutes = 1 WHERE _ended IS NULL AND minutes = 40")
    connection.close()
    status, out, _ = run("check", "--store", store)
    assert status == 1 and out.startswith("Visits: rows of load 1 are not what was loaded then.")
    (copy,) = (store.parent / "clinic_backups").iterdir()
    assert f"The newest whole copy is clinic_backups/{copy.name}." in out


def test_a_damaged_store_is_told_with_status_one(corrected, run):
    _, store = corrected
    whole = store.read_bytes()
    store.write_bytes(whole[: len(whole) // 2])
    status, out, _ = run("check", "--store", store)
    assert status == 1 and "is damaged" in out and "No copy beside it is whole" in out


def test_check_without_anything_to_check_says_what_to_name(run, tmp_path):
    status, _, err = run("check")
    assert status == 2 and "Name the files to check" in err
    status, _, err = run("check", "--store", tmp_path / "none.duckdb")
    assert status == 2 and "There is no store none.duckdb here" in err


@pytest.mark.parametrize("words", ["history", "undo", "tell", "stock", "plan-size", "due --out x", "export --out x", "share --out x", "report --out x", "day-sheets --patients P1"])
def test_every_command_on_a_store_means_the_one_in_this_folder_and_says_alike_where_there_is_none(run, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    status, out, said = run(*words.split(), "--quiet")
    assert (status, out) == (2, "") and said == "There is no store clinic.duckdb here. Check the name and the folder, and give it with --store FILE; or load files to make one (outcomes load FILES --store clinic.duckdb).\n"
    assert not list(tmp_path.iterdir())


def test_a_store_in_this_folder_needs_no_name(run, loaded, tmp_path, monkeypatch):
    shutil.copytree(loaded, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    assert run("load", "files", "--quiet")[0] == 0 and len(run("history")[1].splitlines()) == 1
    assert run("undo", "--yes")[0] == 0 and len(run("history")[1].splitlines()) == 2
