"""From the clinic's files through the check into the store: both doors, again, and out and in again."""

from __future__ import annotations

from datetime import date
from shutil import copyfile

import pytest

from outcomes.store import open_store
from outcomes.store.export import export

intake = pytest.importorskip("outcomes.intake")
synthetic_data = pytest.importorskip("outcomes.synthetic_data")
TODAY = date(2030, 1, 1)


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """The demo clinic's log of 40 patients, written as a day sheet and as long tables."""
    folder = tmp_path_factory.mktemp("clinic")
    clinic = synthetic_data.simulate("demo", patients=40, seed=5)
    return {"day sheet": synthetic_data.write(clinic, folder / "day", form="day sheet", file="xlsx"), "long": synthetic_data.write(clinic, folder / "long", form="long", file="csv")}


@pytest.fixture(scope="module")
def loaded(files, tmp_path_factory):
    """A store for each door."""
    out = {}
    for door, paths in files.items():
        out[door] = tmp_path_factory.mktemp("store") / "clinic.duckdb"
        with open_store(out[door], create=True) as store:
            checked = intake.check(paths, today=TODAY)
            assert checked.error_count == 0, intake.summary(checked)
            assert store.load(checked).added == sum(len(frame) for frame in checked.tables.values()) > 500
            assert store.verify() == []
    return out


def test_both_doors_give_the_same_store(loaded):
    revisions = set()
    for path in loaded.values():
        with open_store(path, read_only=True) as store:
            revisions.add(store.revision)
    assert len(revisions) == 1


@pytest.mark.parametrize("door", ["day sheet", "long"])
def test_the_same_files_checked_against_the_store_they_are_in_change_nothing(files, loaded, tmp_path, door):
    with open_store(copyfile(loaded[door], tmp_path / "clinic.duckdb")) as store:
        before = store.revision
        done = store.load(intake.check(files[door], store=store, today=TODAY))
        assert (done.load_id, done.added, done.changed, done.gone) == (None, 0, 0, 0), done.sentences
        assert store.revision == before


def test_files_of_the_other_door_add_nothing(files, loaded, tmp_path):
    with open_store(copyfile(loaded["day sheet"], tmp_path / "clinic.duckdb")) as store:
        before = store.revision
        done = store.load(intake.check(files["long"], today=TODAY))
        assert (done.added, done.changed, done.gone) == (0, 0, 0)
        assert store.revision == before and store.verify() == []
        store.undo()
        assert store.revision == before


def test_every_row_of_the_day_sheet_door_knows_its_line(loaded):
    with open_store(loaded["day sheet"], read_only=True) as store:
        for table in ("visits", "parts_log", "dentures", "patients"):
            blank, lowest = store.connection.execute(f"SELECT count(*) FILTER (_source IS NULL OR _line IS NULL OR _sheet IS NULL), min(_line) FROM kept.{table}").fetchall()[0]
            assert (blank, lowest >= 2) == (0, True), table


def test_what_is_exported_can_be_loaded_again_into_the_same_store(loaded, tmp_path):
    with open_store(loaded["long"], read_only=True) as store:
        before = store.revision
        folder = export(store, tmp_path / "out").parent
    checked = intake.check(sorted(folder.glob("*.csv")), today=TODAY)
    assert checked.error_count == 0, intake.summary(checked)
    with open_store(tmp_path / "again.duckdb", create=True) as store:
        store.load(checked)
        assert store.revision == before


def write(folder, **tables):
    folder.mkdir()
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return sorted(folder.iterdir())


def test_a_later_file_knows_from_the_store_what_was_in_place(tmp_path):
    first = write(tmp_path / "first", patients="patient_id;audit_consent\nP1;yes\n", insert_levels="level;system;retention;unit\nlight;A;6.7;N\nfirm;A;12;N\n",
                  set_up="patient;arch;position;fitted_on;attachment;level\nP1;lower;33;2022-03-01;ball;light\nP1;lower;43;2022-03-01;ball;light\n",
                  day_sheet="patient;date;reason;parts_checked;snap\nP1;2022-03-01;delivery;all;just right\n")
    later = write(tmp_path / "later", set_up="patient;arch;position;fitted_on;attachment;level\nP1;lower;33;2024-03-05;stud;firm\nP1;lower;43;2024-03-05;stud;firm\n",
                  day_sheet="patient;date;reason;parts_checked;snap\nP1;2024-03-05;conversion;all;just right\n")
    with open_store(tmp_path / "clinic.duckdb", create=True) as store:
        store.load(intake.check(first, store=store, today=TODAY))
        for again in (False, True):
            checked = intake.check(later, store=store, today=TODAY)
            assert checked.error_count == 0, intake.summary(checked)
            done = store.load(checked)
            assert (done.added, done.changed) == ((0, 0) if again else (7, 0)), done.sentences
        found = store.connection.execute("SELECT visit_id, part, action, change_reason FROM parts_log WHERE position = '33' ORDER BY ALL").fetchall()
        assert found[3:] == [("P1/2024-03-05", part, "replaced", "conversion") for part in ("abutment", "housing", "insert")]
        assert [row[2] for row in found[:3]] == ["fitted"] * 3
        assert store.verify() == []
