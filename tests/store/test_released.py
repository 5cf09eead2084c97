"""Stores of every released version open today: nothing lost, history and undo as they were, verified; and a step to a next version is a step of real stores."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import duckdb
import pytest

from outcomes.errors import Misuse
from outcomes.store import layout, open_store

HERE = Path(__file__).resolve().parent / "released"
VERSIONS = sorted(int(one.name.split("_")[1].split(".")[0]) for one in HERE.glob("version_*.json"))


@pytest.fixture(params=VERSIONS)
def released(request, path):
    """A store as a released version wrote it, and what it held then."""
    path.write_bytes(gzip.decompress((HERE / f"version_{request.param}.duckdb.gz").read_bytes()))
    return path, json.loads((HERE / f"version_{request.param}.json").read_text(encoding="utf-8"))


def rows(store, said):
    return {name: [list(map(str, row)) for row in store.connection.execute(f"SELECT {layout.names(columns)} FROM {name} ORDER BY ALL").fetchall()] for name, columns in said["columns"].items()}


def test_every_version_has_a_store_to_try():
    """A raised version number needs the fixture of the one before: released/make.py writes it."""
    assert VERSIONS == list(range(1, layout.VERSION + 1))


@pytest.mark.parametrize("read_only", [True, False])
def test_what_it_held_it_holds(released, read_only):
    path, said = released
    with open_store(path, read_only=read_only) as store:
        assert rows(store, said) == said["rows"] and said["wrong"] == []
        assert store.history_sentences() == said["history"]
        assert store.verify() == []
    with open_store(path) as store:
        assert store.notes == []


def test_its_loads_can_be_taken_back_and_altered_rows_are_found_from_now_on(released):
    path, said = released
    with open_store(path) as store:
        assert store.connection.execute("SELECT count(*) FROM kept.counts WHERE low IS NULL AND added + changed > 0").fetchall() == [(0,)]
        assert store.connection.execute("SELECT minutes FROM visits WHERE visit_id = 'P1/2023-03-02'").fetchall() == [(18.0,)]
        assert store.undo().undone == 4
        assert store.connection.execute("SELECT minutes FROM visits WHERE visit_id = 'P1/2023-03-02'").fetchall() == [(15.5,)]
        assert store.undo().undone == 1 and store.counts() == {} and store.verify() == []
        store.connection.execute("UPDATE kept.visits SET minutes = 1 WHERE visit_id = 'P1/2022-03-01'")
        assert store.verify() == ["Visits: rows of load 1 are not what was loaded then."]


@pytest.fixture
def next_version(monkeypatch):
    """A program one version on, in which recalls are called reviews and visits no longer keep minutes as they were."""
    here = layout.VERSION
    monkeypatch.setattr(layout, "VERSION", here + 1)
    monkeypatch.setitem(layout.MIGRATIONS, here, ("UPDATE kept.visits SET reason = 'review' WHERE reason = 'recall'", "UPDATE kept.visits SET minutes = round(minutes)"))
    return here


@pytest.mark.parametrize("read_only", [True, False])
def test_a_step_to_the_next_version_carries_every_released_store_and_keeps_a_copy(released, next_version, read_only, monkeypatch):
    path, said = released
    with open_store(path, read_only=read_only) as store:
        assert layout.version(store.connection) == next_version + 1
        assert store.connection.execute("SELECT reason, minutes FROM visits WHERE visit_id = 'P1/2023-03-02'").fetchall() == [("review", 18.0)]
        assert store.connection.execute("SELECT minutes FROM kept.visits WHERE visit_id = 'P1/2023-03-02' ORDER BY _load").fetchall()[0] == (16.0,)  # what lies in the history steps on too
        assert store.verify() == [] and store.history_sentences() == said["history"]
    copies = sorted((path.parent / "clinic_backups").iterdir())
    monkeypatch.setattr(layout, "VERSION", next_version)
    with open_store(copies[-1], read_only=True) as store:
        assert rows(store, said) == said["rows"] and store.verify() == []
    with pytest.raises(Misuse, match="written by a newer version"):
        open_store(path)


def test_a_step_that_fails_leaves_the_store_as_it_was(released, next_version, monkeypatch):
    path, said = released
    with monkeypatch.context() as broken:
        broken.setitem(layout.MIGRATIONS, next_version, ("UPDATE kept.visits SET reason = 'review'", "SELECT no_such_function(1)"))
        with pytest.raises(Misuse):
            open_store(path)
    connection = duckdb.connect(str(path), read_only=True)
    assert connection.execute("SELECT version FROM kept.store").fetchall() == [(next_version,)]
    assert connection.execute("SELECT count(*) FROM kept.visits WHERE reason = 'review'").fetchall() == [(1,)]  # the one that always was a review
    connection.close()
