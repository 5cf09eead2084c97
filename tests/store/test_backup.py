"""Copies before each change, and files that only their owner can read."""

from __future__ import annotations

import os
import stat
from types import SimpleNamespace

import pandas as pd
import pytest

from outcomes.store import backup, open_store, private
from outcomes.store import store as store_module

posix = pytest.mark.skipif(os.name != "posix", reason="owners of files as POSIX systems have them")


def mode(path):
    return stat.S_IMODE(path.stat().st_mode)


def visits_taking(rows, minutes):
    return [{**row, "minutes": float(minutes)} for row in rows]


def test_a_copy_is_made_before_each_load_and_the_last_ones_are_kept(path, clinic, rows_of_the_clinic, monkeypatch):
    assert backup.KEEP == 10
    monkeypatch.setattr(backup, "KEEP", 3)  # so that the test is short
    hours = iter(pd.date_range("2026-01-05 08:00", periods=50, freq="h").to_pydatetime())
    monkeypatch.setattr(store_module, "now", lambda: next(hours))
    revisions = {}
    with open_store(path, create=True) as store:
        for number in range(1, 7):
            revisions[number] = store.revision
            store.load(clinic(visits=visits_taking(rows_of_the_clinic["visits"], number)))
    copies = sorted((path.parent / "clinic_backups").iterdir())
    assert [copy.name.partition("-before-")[2] for copy in copies] == ["4.duckdb", "5.duckdb", "6.duckdb"]
    for number, copy in zip((4, 5, 6), copies, strict=True):
        with open_store(copy, read_only=True) as store:
            assert store.revision == revisions[number]
            assert store.verify() == [] and len(store.history()) == number - 1


def test_the_first_load_needs_no_copy(path, clinic):
    with open_store(path, create=True) as store:
        store.load(clinic())
    assert not (path.parent / "clinic_backups").exists()


def test_an_undo_is_copied_first_as_well(path, clinic):
    with open_store(path, create=True) as store:
        store.load(clinic())
        before = store.revision
        store.undo()
    (copy,) = (path.parent / "clinic_backups").iterdir()
    with open_store(copy, read_only=True) as store:
        assert store.revision == before


def test_a_copy_put_in_the_place_of_the_store_works_like_it(path, clinic):
    with open_store(path, create=True) as store:
        store.load(clinic())
        before = store.revision
        store.load(clinic(pull_tests=None), withdraw=True)
    (copy,) = (path.parent / "clinic_backups").iterdir()
    copy.replace(path)
    with open_store(path) as store:
        assert store.revision == before
        assert store.load(clinic(pull_tests=None), withdraw=True).withdrawn == 1


def test_of_a_large_store_fewer_copies_are_kept_the_newest(path, clinic, rows_of_the_clinic, monkeypatch):
    hours = iter(pd.date_range("2026-01-05 08:00", periods=50, freq="h").to_pydatetime())
    monkeypatch.setattr(store_module, "now", lambda: next(hours))
    with open_store(path, create=True) as store:
        for number in range(1, 7):
            if number == 6:
                monkeypatch.setattr(backup, "ROOM", 3 * path.stat().st_size + 1000)
            store.load(clinic(visits=visits_taking(rows_of_the_clinic["visits"], number)))
    assert [copy.name.partition("-before-")[2] for copy in backup.copies(path)] == ["4.duckdb", "5.duckdb", "6.duckdb"]
    assert backup.newest_whole(path) == backup.copies(path)[-1]


def test_ten_copies_up_to_256_megabytes_and_fewer_above():
    assert [backup.kept(megabytes * 2**20) for megabytes in (0, 1, 256, 257, 600, 5000)] == [10, 10, 10, 9, 4, 2]


def test_the_last_two_copies_are_kept_however_large_the_store(path, clinic, rows_of_the_clinic, monkeypatch):
    monkeypatch.setattr(backup, "ROOM", 1)
    hours = iter(pd.date_range("2026-01-05 08:00", periods=50, freq="h").to_pydatetime())
    monkeypatch.setattr(store_module, "now", lambda: next(hours))
    with open_store(path, create=True) as store:
        for number in range(1, 5):
            store.load(clinic(visits=visits_taking(rows_of_the_clinic["visits"], number)))
    assert [copy.name.partition("-before-")[2] for copy in backup.copies(path)] == ["3.duckdb", "4.duckdb"]


def test_where_the_disk_has_no_room_for_a_copy_the_user_is_told_and_older_copies_stay(path, clinic, rows_of_the_clinic, monkeypatch):
    with open_store(path, create=True) as store:
        store.load(clinic())
        store.load(clinic(visits=visits_taking(rows_of_the_clinic["visits"], 1)))
        (copy,) = backup.copies(path)
        monkeypatch.setattr(backup.shutil, "disk_usage", lambda _: SimpleNamespace(free=path.stat().st_size))
        done = store.load(clinic(pull_tests=None), withdraw=True)
        assert done.sentences[-1].startswith("No copy of the store was made before this change: it takes ") and "move old copies out of clinic_backups" in done.sentences[-1]
        assert store.undo().sentences[-1].startswith("No copy of the store was made")
        assert backup.copies(path) == [copy] and store.verify() == []


def test_other_files_in_the_folder_of_copies_are_left_alone(path, clinic):
    folder = path.parent / "clinic_backups"
    folder.mkdir()
    (folder / "my own copy.duckdb").write_text("mine")
    with open_store(path, create=True) as store:
        store.load(clinic())
        store.undo()
    assert (folder / "my own copy.duckdb").read_text() == "mine"


@posix
def test_store_and_copies_are_readable_by_their_owner_only(path, clinic):
    before = os.umask(0o022)
    try:
        with open_store(path, create=True) as store:
            assert mode(path) == 0o600
            store.load(clinic())
            for beside in path.parent.iterdir():  # the log of changes and the place for what spills, while it is open
                assert mode(beside) & 0o077 == 0, beside.name
            store.undo()
            assert os.umask(0o022) == 0o022  # the caller's own setting stands again
        folder = path.parent / "clinic_backups"
        assert mode(folder) == 0o700
        assert [mode(copy) for copy in folder.iterdir()] == [0o600]
        path.chmod(0o644)
        open_store(path).close()
        assert mode(path) == 0o600
    finally:
        os.umask(before)


def test_where_the_system_cannot_close_a_file_to_others_the_user_is_told(path, clinic, monkeypatch):
    open_store(path, create=True).close()
    path.chmod(0o666)
    monkeypatch.setattr(private.os, "chmod", lambda *_: None)  # a file system that keeps no owners takes the call and does nothing
    with open_store(path) as store:
        assert store.notes == ["This system could not close clinic.duckdb to other users. Keep it in a folder that only you can open."]
        assert store.notes[0] in store.load(clinic()).sentences


def test_nothing_is_left_beside_the_store_when_it_is_closed(path, clinic):
    with open_store(path, create=True) as store:
        store.load(clinic())
    with open_store(path, read_only=True) as store:
        store.verify()
    assert [one.name for one in path.parent.iterdir()] == ["clinic.duckdb"]


def test_what_a_killed_program_spilled_is_removed_at_the_next_opening(path, clinic):
    with open_store(path, create=True) as store:
        store.load(clinic())
    spilled = path.with_name("clinic.duckdb.tmp")
    spilled.mkdir()
    (spilled / "duckdb_temp_storage_DEFAULT-0.tmp").write_bytes(b"rows")
    open_store(path).close()
    assert not spilled.exists()
