"""Several programs on one store at once, as commands: each does its work whole or says that the store is in use."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from outcomes.store import open_store

COMMAND = [sys.executable, "-m", "outcomes"]
pytestmark = pytest.mark.skipif(os.name != "posix", reason="locks as POSIX systems have them")


def entry(folder, patient):
    """One patient's log in files of its own name, so that no two programs load the same rows."""
    folder.mkdir()
    texts = {"patients": f"patient_id;audit_consent\n{patient};yes\n", "insert_levels": "level;system;retention;unit\nlight;A;6,7;N\n",
             "set_up": f"patient;arch;position;fitted_on;attachment;level\n{patient};lower;33;2022-03-01;stud;light\n{patient};lower;43;2022-03-01;stud;light\n",
             "day_sheet": f"patient;date;reason;parts_checked;snap\n{patient};2022-03-01;delivery;all;just right\n{patient};2023-03-01;recall;all;just right\n"}
    for name, text in texts.items():
        (folder / f"{patient}_{name}.csv").write_text(text, encoding="utf-8")
    return folder


def ended(running):
    out, err = running.communicate(timeout=120)
    assert "Traceback" not in out + err
    return running.returncode, out + err


def test_loads_started_together_are_each_whole_or_refused(tmp_path):
    store = tmp_path / "clinic.duckdb"
    running = [subprocess.Popen([*COMMAND, "load", str(entry(tmp_path / name, name)), "--store", str(store)], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
               for name in ("P1", "P2", "P3")]
    found = [ended(one) for one in running]
    done = {f"P{place}" for place, (status, _) in enumerate(found, 1) if status == 0}
    assert done  # at least one got through
    for place, (status, said) in enumerate(found, 1):
        assert status in (0, 2) and (status == 0 or "in use by another program" in said), said
    with open_store(store) as opened:
        assert opened.verify() == []
        assert {patient for (patient,) in opened.connection.execute("SELECT patient_id FROM patients").fetchall()} == done
        assert opened.counts()["visits"] == 2 * len(done)
    assert [one.name for one in tmp_path.glob("*.part*")] == []


def test_a_store_made_by_two_programs_at_once_is_one_whole_store(tmp_path):
    code = "import sys\nfrom outcomes.store import open_store\nprint('ready', flush=True)\nsys.stdin.readline()\ntry:\n    open_store(sys.argv[1], create=True).close()\n    print('made')\nexcept Exception as problem:\n    print(problem)"
    for turn in range(2):
        path = tmp_path / f"{turn}.duckdb"
        running = [subprocess.Popen([sys.executable, "-c", code, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(3)]
        for one in running:
            assert one.stdout.readline() == "ready\n"
        for one in running:
            one.stdin.write("go\n")
            one.stdin.flush()
        said = [one.communicate(timeout=120)[0].strip() for one in running]
        assert "made" in said and all(one == "made" or "in use by another program" in one for one in said), said
        with open_store(path) as store:
            assert store.verify() == []
    assert [one.name for one in tmp_path.glob("*.part*")] == []


def test_a_load_while_a_report_reads_is_refused_and_the_report_goes_on(tmp_path):
    store = tmp_path / "clinic.duckdb"
    assert ended(subprocess.Popen([*COMMAND, "load", str(entry(tmp_path / "P1", "P1")), "--store", str(store)], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True))[0] == 0
    with open_store(store, read_only=True) as reading:
        before = reading.revision
        status, said = ended(subprocess.Popen([*COMMAND, "load", str(entry(tmp_path / "P2", "P2")), "--store", str(store)], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True))
        assert status == 2 and "in use by another program" in said and "nothing was changed" in said
        assert reading.connection.execute("SELECT count(*) FROM visits").fetchall() == [(2,)]
    with open_store(store, read_only=True) as store:
        assert store.revision == before


@pytest.fixture
def small_disk(tmp_path):
    """A file system of its own of sixteen megabytes, where the system lets us make one."""
    place = tmp_path / "disk"
    place.mkdir()
    if sys.platform != "linux" or os.geteuid() != 0 or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", str(place)], capture_output=True).returncode:
        pytest.skip("this user may not make a file system; a limit on the size of files stands in for it in test_trouble.py")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


@pytest.mark.parametrize("free", [40_000, 5_000_000], ids=["no room for the copy", "no room for the rows"])
def test_a_disk_that_really_fills_up_is_told_and_the_store_is_as_it_was(tmp_path, small_disk, free):
    from outcomes import intake, synthetic_data
    from outcomes.errors import Misuse

    path, filler = small_disk / "clinic.duckdb", small_disk / "holiday.jpg"
    with open_store(path, create=True) as store:
        store.load(intake.check(sorted(entry(tmp_path / "P1", "P1").iterdir())))
        before = store.revision
    more = intake.check(synthetic_data.write(synthetic_data.simulate("demo", patients=700, seed=3), tmp_path / "files", form="long", file="csv"))
    disk = os.statvfs(small_disk)
    filler.write_bytes(os.urandom(disk.f_bavail * disk.f_frsize - free))
    with open_store(path) as store:
        with pytest.raises(Misuse, match="There is no room left on the disk for the store clinic.duckdb. Free some space, then try again; nothing was changed"):
            store.load(more)
        assert store.revision == before and store.verify() == []
    with open_store(path, read_only=True) as store:
        assert store.revision == before and len(store.history()) == 1
    filler.unlink()
    with open_store(path) as store:  # with room again, everything works on
        assert store.undo().undone == 1 and store.verify() == []
