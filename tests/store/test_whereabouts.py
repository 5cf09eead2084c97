"""Network drives are told, and what other systems answer becomes a sentence."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from outcomes.errors import Misuse
from outcomes.store import door, open_store, trouble, whereabouts
from outcomes.store.whereabouts import kind_of, linux_mounts, mac_mounts, network_note, on_network

LINUX = """/dev/sda1 / ext4 rw,relatime 0 0
server:/clinic /mnt/clinic nfs4 rw,vers=4.2 0 0
//server/files /mnt/our\\040files cifs rw 0 0
someone@host:/ /home/me/far fuse.sshfs rw 0 0
tmpfs /mnt/clinic/near tmpfs rw 0 0
"""
MAC = "/dev/disk3s1s1 on / (apfs, sealed, local, read-only)\n//me@server/clinic on /Volumes/clinic files (smbfs, nodev, nosuid, mounted by me)\n"  # form from memory


@pytest.mark.parametrize(("path", "kind", "far"), [
    ("/home/me/clinic.duckdb", "ext4", False), ("/mnt/clinic/clinic.duckdb", "nfs4", True), ("/mnt/clinics/x", "ext4", False), ("/mnt/our files/a/b.duckdb", "cifs", True),
    ("/home/me/far/x", "sshfs", True), ("/mnt/clinic/near/x", "tmpfs", False)])
def test_the_mount_table_tells_what_lies_on_another_computer(path, kind, far):
    assert kind_of(path, linux_mounts(LINUX)) == kind and (kind in whereabouts.NETWORK) == far


def test_mounts_as_another_system_lists_them():
    assert kind_of("/Volumes/clinic files/x.duckdb", mac_mounts(MAC)) == "smbfs" and kind_of("/Users/me/x", mac_mounts(MAC)) == "apfs"


def test_a_store_on_a_network_drive_is_told_at_each_load(path, clinic, monkeypatch):
    assert network_note(path) == "" or not on_network(path)
    monkeypatch.setattr(whereabouts, "on_network", lambda _: True)
    with open_store(path, create=True) as store:
        said = "clinic.duckdb lies on a network drive. Such drives do not always keep two programs apart"
        assert store.notes[-1].startswith(said) and store.load(clinic()).sentences[-1].startswith(said)


@pytest.mark.skipif(os.name != "posix", reason="locks as POSIX systems have them")
def test_a_busy_store_on_a_network_drive_may_be_held_by_another_computer(path, monkeypatch):
    open_store(path, create=True).close()
    holder = subprocess.Popen([sys.executable, "-c", f"import duckdb, sys\nc = duckdb.connect({str(path)!r})\nprint('held', flush=True)\nsys.stdin.read()"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "held\n"
        monkeypatch.setattr(whereabouts, "on_network", lambda _: True)
        with pytest.raises(Misuse, match="in use by another program.*another computer may hold it"):
            open_store(path)
    finally:
        holder.communicate("")


def test_a_system_that_does_not_tell_where_a_file_lies_is_no_trouble(path, monkeypatch):
    def silent(_):
        raise OSError("no table")

    monkeypatch.setattr(whereabouts, "on_network", silent)
    assert network_note(path) == ""


@pytest.mark.parametrize(("text", "sentence"), [
    ('IO Error: Could not set lock on file "/x": No locks available', "cannot keep other programs out"),
    ("IO Error: Cannot open file: Der Prozess kann nicht auf die Datei zugreifen.\nFile is already open in \nC:\\x.exe (PID 12)", "in use by another program"),  # wording from memory
    ('IO Error: Could not set lock on file "/x": Conflicting lock is held', "in use by another program"),
])
def test_what_drives_and_systems_answer(text, sentence):
    assert sentence in str(trouble.sentence(duckdb.IOException(text), "clinic.duckdb"))


def test_a_file_that_windows_will_not_open_may_be_held_or_barred():
    assert "another program holds it, or you may not read it" in str(door.barred("clinic.duckdb", "win32"))
    assert str(door.barred("clinic.duckdb", "linux")) == "You may not read clinic.duckdb. Ask whoever owns it."


def test_without_owners_masks_and_links_a_store_is_made_loaded_and_exported(path, clinic, tmp_path, monkeypatch):
    """What a Windows disk or a memory stick lacks: owners, chmod, hard links."""
    from outcomes.store import private
    from outcomes.store.export import export

    def none(*_, **__):
        raise OSError("not supported")

    monkeypatch.setattr(door.os, "link", none)
    monkeypatch.setattr(private.os, "chmod", none)
    monkeypatch.setattr(private.os, "umask", lambda mask: 0)
    with open_store(path, create=True) as store:
        store.load(clinic())
        store.undo()
        store.load(clinic())
        assert store.verify() == [] and any("could not close clinic.duckdb to other users" in note for note in store.notes)
        assert export(store, tmp_path / "out").exists()
    assert [one.name for one in path.parent.glob("*.part*")] == []


def test_no_name_that_the_store_gives_a_file_is_barred_on_windows(path, clinic):
    with open_store(path, create=True) as store:
        store.load(clinic())
        store.load(clinic(pull_tests=None), withdraw=True)
        names = [one.name for one in path.parent.rglob("*")]
    assert len(names) > 2 and not [name for name in names if set(name) & set('<>:"/\\|?*') or name.endswith((".", " "))]


def test_a_store_made_by_another_program_meanwhile_is_not_replaced(tmp_path):
    part, path = tmp_path / "part", tmp_path / "clinic.duckdb"
    part.write_text("mine")
    path.write_text("theirs")
    with pytest.raises(FileExistsError):
        door.named(part, path)
    assert path.read_text() == "theirs" and Path(part).read_text() == "mine"
