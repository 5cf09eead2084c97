"""What a load or an undo changes is shown, cell by cell, before it is done."""

from __future__ import annotations

import csv
import os
import stat

import pandas as pd
import pytest

from outcomes.store import Declined, open_store


def visits(rows, **values):
    return [{**row, **values} if place == 1 else row for place, row in enumerate(rows)]


@pytest.fixture
def correction(clinic, rows_of_the_clinic):
    """A workbook with one visit corrected and the pull test taken out."""
    return clinic(visits=visits(rows_of_the_clinic["visits"], minutes=25.0, clinician="B", visited_on_precision="month", visited_on=pd.Timestamp("2023-03-01")), pull_tests=None)


def test_a_preview_shows_each_changed_cell_old_and_new_and_each_row_that_goes(store, clinic, correction):
    store.load(clinic())
    before, history = store.revision, store.history()
    found = store.preview(correction, withdraw=True)
    assert found.cells[["table", "key", "column", "old", "new", "file", "sheet", "line"]].to_numpy().tolist() == [
        ["visits", "0042/2023-03-02", "clinician", "(blank)", "B", "log.xlsx", "Visits", 3],
        ["visits", "0042/2023-03-02", "minutes", "20", "25", "log.xlsx", "Visits", 3],
        ["visits", "0042/2023-03-02", "visited_on", "2023-03-02", "2023-03", "log.xlsx", "Visits", 3]]
    assert found.rows[["table", "key", "what", "line"]].to_numpy().tolist() == [["pull_tests", "0042/2023-03-02, 0042/lower/1", "withdrawn", 2]]
    assert found.headline() == "This load changes 1 row (3 cells) and withdraws 1 row no longer in its file."
    assert found.lines(values=True)[1] == "Visits, 0042/2023-03-02: minutes 20 → 25 (log.xlsx, Visits, line 3)"
    assert store.revision == before
    pd.testing.assert_frame_equal(store.history(), history)


def test_lines_without_values_name_the_place_only(store, clinic, correction):
    store.load(clinic())
    lines = store.preview(correction, withdraw=True).lines(values=False)
    assert lines == ["log.xlsx, Visits, line 3: clinician of visits changes", "log.xlsx, Visits, line 3: minutes of visits changes",
                     "log.xlsx, Visits, line 3: visited_on of visits changes", "log.xlsx, Pull tests, line 2: row of pull tests withdrawn"]
    assert store.preview(correction, withdraw=True).lines(values=False, most=1) == [lines[0], "… and 3 more."]


def test_rows_that_stay_though_their_file_lists_them_no_more_are_shown_too(store, clinic, correction):
    store.load(clinic())
    found = store.preview(correction)
    assert found.rows["what"].tolist() == ["kept"]
    assert found.headline() == "This load changes 1 row (3 cells). 1 row no longer in its file stays (--withdraw takes it out)."


def test_what_the_preview_shows_is_what_the_load_does(store, clinic, correction):
    store.load(clinic())
    foreseen = store.preview(correction, withdraw=True)
    done = store.load(correction, withdraw=True)
    assert foreseen.tables == done.tables
    past = store.changes(done.load_id)
    pd.testing.assert_frame_equal(past.cells, foreseen.cells)
    pd.testing.assert_frame_equal(past.rows, foreseen.rows)
    assert store.preview(correction, withdraw=True).headline() == "This load changes nothing: 17 rows were in the store already."


def test_a_load_that_only_adds_is_harmless(store, clinic):
    found = store.preview(clinic())
    assert found.harmless and found.headline() == "This load adds 2 patients, 2 dentures, 1 insert level, 4 visits, 8 part rows and 1 pull test."
    assert store.history().empty


def test_whoever_says_no_changes_nothing(store, clinic, correction):
    store.load(clinic())
    before = store.revision
    with pytest.raises(Declined):
        store.load(correction, withdraw=True, confirm=lambda _: False)
    with pytest.raises(Declined):
        store.undo(confirm=lambda _: False)
    assert store.revision == before and len(store.history()) == 1
    assert store.load(correction, withdraw=True, confirm=lambda _: True).changed == 1


def test_an_undo_shows_what_it_takes_back(store, clinic, correction):
    store.load(clinic())
    store.load(correction, withdraw=True)
    shown = []
    with pytest.raises(Declined):
        store.undo(confirm=lambda found: shown.append(found) or False)
    assert shown[0].headline() == "This takes back load 2: 3 cells are again what they had been and 1 row that it withdrew stands again."
    assert "Visits, 0042/2023-03-02: minutes 25 → 20" in shown[0].lines(values=True)[1]
    store.undo()
    assert store.changes(2).lines(values=True) == []
    with pytest.raises(Declined):
        store.undo(confirm=lambda found: shown.append(found) or False)
    assert shown[1].headline() == ("This takes back load 1: 2 patients, 2 dentures, 1 insert level, 4 visits, 8 part rows and 1 pull test that it added go.")


def test_the_list_of_changes_is_for_its_owner_and_no_spreadsheet_runs_it(store, clinic, several, tmp_path):
    def level(system):
        return several({"l.csv": {"insert_levels": [{"level": "light", "system": system, "retention": 6.7, "unit": "N"}]}})

    store.load(level("A"))
    path = store.preview(level("=HYPERLINK(1)")).write(tmp_path / "changes.csv")
    with open(path, encoding="utf-8-sig", newline="") as file:
        assert list(csv.reader(file))[1:] == [["changed", "insert_levels", "light", "system", "A", "'=HYPERLINK(1)", "l.csv", "", "2"]]
    assert os.name != "posix" or stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_preview_leaves_the_file_as_it_was(path, clinic, correction):
    with open_store(path, create=True) as store:
        store.load(clinic())
    before = path.read_bytes()
    with open_store(path) as store:
        store.preview(correction, withdraw=True)
    assert path.read_bytes() == before
    assert [one.name for one in path.parent.iterdir()] == ["clinic.duckdb"]
