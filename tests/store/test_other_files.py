"""Files that are no store, stores under other names, damaged ones, newer and older ones: each is named, and none is harmed."""

from __future__ import annotations

import duckdb
import pytest

from outcomes.errors import Misuse
from outcomes.store import layout, open_store


def foreign(path):
    connection = duckdb.connect(str(path))
    connection.execute("CREATE TABLE visits (a INTEGER)")
    connection.close()


WRONG_FILES = {
    "a letter": lambda path: path.write_text("Dear colleague, " * 400),
    "an empty file": lambda path: path.write_bytes(b""),
    "another kind of database": lambda path: path.write_bytes(b"SQLite format 3\0" + b"\0" * 8000),
    "a database of another program": foreign,
}


@pytest.mark.parametrize("read_only", [True, False])
@pytest.mark.parametrize("what", WRONG_FILES)
def test_a_file_that_is_no_store_is_named_and_left_untouched(path, what, read_only):
    WRONG_FILES[what](path)
    before = path.read_bytes()
    for create in (False, True):
        with pytest.raises(Misuse, match="clinic.duckdb is no store of this program"):
            open_store(path, create=create, read_only=read_only)
    assert path.read_bytes() == before


def test_a_folder_a_missing_file_and_a_missing_folder_are_named(tmp_path):
    (tmp_path / "folder.duckdb").mkdir()
    with pytest.raises(Misuse, match="folder.duckdb is a folder, not a store"):
        open_store(tmp_path / "folder.duckdb", create=True)
    for read_only in (True, False):
        with pytest.raises(Misuse, match="There is no store none.duckdb here"):
            open_store(tmp_path / "none.duckdb", read_only=read_only)
    with pytest.raises(Misuse, match="There is no store"):
        open_store(tmp_path / "none.duckdb", create=True, read_only=True)
    with pytest.raises(Misuse, match="There is no folder nowhere"):
        open_store(tmp_path / "nowhere" / "x.duckdb", create=True)
    with pytest.raises(Misuse, match="cannot be called kept.duckdb"):
        open_store(tmp_path / "kept.duckdb", create=True)


@pytest.mark.parametrize("name", ["o'brien \"x\" ü.duckdb", "main.duckdb", "temp.duckdb", "a.b.c", "no_ending", "visits.duckdb", "x;y.duckdb"])
def test_a_store_may_have_any_other_name(tmp_path, clinic, name):
    with open_store(tmp_path / name, create=True) as store:
        store.load(clinic())
        store.load(clinic(pull_tests=None), withdraw=True)
        assert store.verify() == []
        assert store.revision
    assert len(list(tmp_path.glob("*_backups/*"))) == 1


def test_a_damaged_store_says_where_its_copies_are(path, clinic, many):
    with open_store(path, create=True) as store:
        store.load(many)
    whole = path.read_bytes()
    told = []
    for place in range(9000, len(whole) - 200, len(whole) // 7):
        path.write_bytes(whole[:place] + b"\x5a" * 200 + whole[place + 200:])
        try:
            with open_store(path, read_only=True) as store:
                store.verify()
        except Misuse as problem:
            told.append(str(problem))
    assert len(told) > 2 and all("clinic.duckdb is damaged. Put the last copy from the folder clinic_backups" in one for one in told)
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(Misuse, match="is damaged"):
        with open_store(path) as store:
            store.verify()


def test_what_a_vanished_store_left_is_not_taken_into_a_new_one(path, tmp_path):
    (tmp_path / "clinic.duckdb.wal").write_bytes(b"something")
    with pytest.raises(Misuse, match=r"clinic.duckdb.wal belongs to a store that is no longer here"):
        open_store(path, create=True)


def test_a_store_from_a_newer_version_is_left_alone(path, clinic):
    with open_store(path, create=True) as store:
        store.load(clinic())
    for harm in ("UPDATE kept.store SET version = 99", "UPDATE kept.store SET version = 1; ALTER TABLE kept.visits ADD COLUMN mood VARCHAR"):
        connection = duckdb.connect(str(path))
        connection.execute(harm)
        connection.close()
        for read_only in (True, False):
            with pytest.raises(Misuse, match="written by a newer version of this program. Update the program"):
                open_store(path, read_only=read_only)


def test_a_store_that_lacks_a_column_declared_later_is_completed_when_opened(path, clinic):
    with open_store(path, create=True) as store:
        store.load(clinic())
        before = store.revision
    connection = duckdb.connect(str(path))  # a store as it was made before visits had a clinician and before there were pull tests
    connection.execute("DROP VIEW visits; DROP VIEW pull_tests; ALTER TABLE kept.visits DROP COLUMN clinician; DROP TABLE kept.pull_tests; DELETE FROM kept.listed WHERE in_table = 'pull_tests'")
    connection.execute("DELETE FROM kept.counts WHERE in_table = 'pull_tests'")
    connection.close()
    with open_store(path, read_only=True) as store:  # reading is enough: it is brought up to date first
        assert store.connection.execute("SELECT count(clinician), count(*) FROM visits").fetchall() == [(0, 4)]
    with open_store(path) as store:
        assert store.load(clinic()).added == 1
        assert store.revision == before and store.verify() == []
    assert len(list((path.parent / "clinic_backups").iterdir())) == 2


def test_an_older_store_is_brought_forward_step_by_step_after_a_copy(path, clinic, monkeypatch):
    with open_store(path, create=True) as store:
        store.load(clinic())
        before = store.revision
    connection = duckdb.connect(str(path))  # an invented version 0, in which the reason for a visit was called cause
    connection.execute("DROP VIEW visits; ALTER TABLE kept.visits RENAME COLUMN reason TO cause; UPDATE kept.visits SET cause = upper(cause); UPDATE kept.store SET version = 0")
    connection.close()
    with pytest.raises(Misuse, match="too old"):
        open_store(path)
    monkeypatch.setitem(layout.MIGRATIONS, 0, ("ALTER TABLE kept.visits RENAME COLUMN cause TO reason", "UPDATE kept.visits SET reason = no_such_function(reason)"))
    with pytest.raises(Misuse):
        open_store(path)  # a step that fails leaves the store at version 0
    monkeypatch.setitem(layout.MIGRATIONS, 0, ("ALTER TABLE kept.visits RENAME COLUMN cause TO reason", "UPDATE kept.visits SET reason = lower(reason)"))
    with open_store(path) as store:
        assert store.notes == ["The store was brought up to date for this version of the program."]
        assert store.revision == before and store.verify() == []
    with open_store(path) as store:
        assert store.notes == []
    copy = max((path.parent / "clinic_backups").iterdir())
    connection = duckdb.connect(str(copy), read_only=True)
    assert connection.execute("SELECT version FROM kept.store").fetchall() == [(0,)]
    connection.close()
