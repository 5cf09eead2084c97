"""Who added what when, undo, the versions of a row, and what verify finds."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from outcomes.errors import Misuse
from outcomes.store import open_store
from outcomes.store import store as store_module


def other_minutes(rows, minutes):
    return [{**row, "minutes": minutes} if place == 0 else row for place, row in enumerate(rows)]


@pytest.fixture
def known_hour(monkeypatch):
    hours = iter(pd.date_range("2026-01-05 08:00", periods=50, freq="h").to_pydatetime())
    monkeypatch.setattr(store_module, "now", lambda: next(hours))
    monkeypatch.setattr(store_module, "who", lambda: "assistant")


def test_an_empty_store_has_an_empty_history(store):
    assert store.history().empty and store.history_sentences() == []
    with pytest.raises(Misuse, match="no load to take back"):
        store.undo()


def test_the_history_says_who_added_what_when_from_which_file(store, clinic, rows_of_the_clinic, known_hour):
    store.load(clinic())
    store.load(clinic(sha256="d" * 64, visits=other_minutes(rows_of_the_clinic["visits"], 30.0), pull_tests=None), withdraw=True)
    store.undo()
    history = store.history()
    assert list(history.columns) == ["load", "at", "by", "what", "files", "sha256", "mappings", "added", "changed", "withdrawn", "undone"]
    assert list(history["what"]) == ["load", "load", "undo of load 2"]
    assert list(history["undone"]) == [False, True, False]
    assert list(history["by"]) == ["assistant"] * 3
    assert history["at"].is_monotonic_increasing
    assert list(history["files"]) == [("log.xlsx",), ("log.xlsx",), ()]
    assert list(history["sha256"]) == [("a" * 64,), ("d" * 64,), ()]
    assert history["added"][0] == {"patients": 2, "dentures": 2, "insert_levels": 1, "visits": 4, "parts_log": 8, "pull_tests": 1}
    assert (history["changed"][1], history["withdrawn"][1]) == ({"visits": 1}, {"pull_tests": 1})
    sentences = store.history_sentences()
    assert sentences[1] == "2. 2026-01-05 09:00 UTC, assistant: loaded log.xlsx (SHA-256 dddddddddddd…): 1 visit changed; 1 pull test withdrawn. Taken back later."
    assert sentences[2].endswith("UTC, assistant: undo of load 2.")


def test_undo_takes_back_load_after_load(store, clinic, rows_of_the_clinic):
    c = rows_of_the_clinic
    loads = [clinic(), clinic(visits=other_minutes(c["visits"], 30.0)), clinic(visits=other_minutes(c["visits"], 31.0), pull_tests=None)]
    revisions = [store.revision]
    for place, load in enumerate(loads):
        store.load(load, withdraw=place == 2)
        revisions.append(store.revision)
    assert len(set(revisions)) == 4
    for number in (3, 2, 1):
        done = store.undo()
        assert done.undone == number
        assert store.revision == revisions[number - 1]
        assert store.verify() == []
    with pytest.raises(Misuse):
        store.undo()


def test_undo_says_what_it_took_back(store, clinic, rows_of_the_clinic, known_hour):
    store.load(clinic())
    store.load(clinic(visits=other_minutes(rows_of_the_clinic["visits"], 30.0)))
    assert store.undo().sentences == ["Took back load 2 of 2026-01-05 09:00 UTC (log.xlsx): 1 visit.", "1 row that it had changed or withdrawn stands again."]


def test_a_load_taken_back_can_be_loaded_again_and_taken_back_again(store, clinic, rows_of_the_clinic):
    store.load(clinic())
    correction = clinic(visits=other_minutes(rows_of_the_clinic["visits"], 30.0))
    for expected in (2, 4):
        assert store.load(correction).load_id == expected
        assert store.undo().undone == expected
    versions = store.row_history("visits", {"visit_id": "0042/2022-03-01"})
    assert list(versions["state"]) == ["current", "taken back", "taken back"]
    assert list(versions["minutes"]) == [20.0, 30.0, 30.0]


def test_undo_forgets_what_the_file_listed_so_that_nothing_is_wrongly_gone(store, several, rows_of_the_clinic):
    one, other = rows_of_the_clinic["patients"]
    store.load(several({"first.csv": {"patients": [one, other]}}))
    store.load(several({"second.csv": {"patients": [one, other]}}))
    store.undo()
    assert store.load(several({"first.csv": {"patients": [one]}}), withdraw=True).withdrawn == 1  # second.csv lists it no more
    store.undo()
    assert store.load(several({"first.csv": {"patients": [one, other]}})).load_id is None


def test_a_row_is_named_by_its_key(store, clinic):
    store.load(clinic())
    assert len(store.row_history("pull_tests", ("0042/2023-03-02", "0042/lower/1", None))) == 1
    assert len(store.row_history("parts_log", {"visit_id": "P2/2022-03-01", "position": "33", "part": "insert"})) == 1
    assert store.row_history("visits", "nobody").empty
    with pytest.raises(Misuse, match="no table visit in a store"):
        store.row_history("visit", "x")
    with pytest.raises(Misuse, match="named by visit_id, position, part"):
        store.row_history("parts_log", "P2/2022-03-01")


@pytest.mark.parametrize(
    ("harm", "found"),
    [
        ("INSERT INTO kept.visits BY NAME (SELECT * FROM kept.visits WHERE visit_id = 'P2/2022-03-01')", "Visits: 1 key stands in more than one current row"),
        ("DELETE FROM kept.parts_log WHERE position = '33'", "Parts log: the rows of load 1 are not as many as the history says"),
        ("UPDATE kept.visits SET _ended = 1 WHERE visit_id = 'P2/2022-03-01'", "Parts log: 2 rows with a visit_id that is not among the visits"),
        ("UPDATE kept.pull_tests SET position = '43'", "Pull tests: 2 rows whose file is not as recorded"),
        ("DELETE FROM kept.counts WHERE in_table = 'patients'", "Patients: the rows of load 1 are not as many as the history says"),
        ("UPDATE kept.visits SET minutes = 21 WHERE visit_id = 'P2/2022-03-01'", "Visits: rows of load 1 are not what was loaded then"),
        ("UPDATE kept.visits SET _line = 7 WHERE visit_id = 'P2/2022-03-01'", "Visits: rows of load 1 are not what was loaded then"),
        ("UPDATE kept.visits SET reason = 'curiosity' WHERE minutes = 20", "Visits: 4 rows with a reason that the codebook does not know"),
        ("UPDATE kept.visits SET _source = 9", "Visits: 4 rows whose load, file or line is not among the records"),
        ("UPDATE kept.visits SET _line = NULL", "Visits: 4 rows whose load, file or line is not among the records"),
        ("DELETE FROM kept.sources", "Patients: 2 rows whose load, file or line is not among the records"),
        ("UPDATE kept.sources SET sha256 = 'unknown'", "The list of files holds 1 row without the SHA-256 of the file"),
        ("UPDATE kept.sources SET load = 4", "The list of files holds 1 row of no load that the history knows"),
        ("UPDATE kept.loads SET load = 2", "The history lacks 1 row: loads are numbered without gaps"),
        ("INSERT INTO kept.loads VALUES (2, now()::TIMESTAMP, 'x', 'undo', 7, NULL, NULL)", "The history holds 1 row of an undo that takes back no load"),
    ],
)
def test_verify_finds_what_does_not_agree(path, clinic, harm, found):
    with open_store(path, create=True) as store:
        store.load(clinic())
        assert store.verify() == []
        store.connection.execute(harm)
        assert any(sentence.startswith(found) for sentence in store.verify()), store.verify()


def test_verify_finds_what_was_altered_in_the_history_too(store, clinic, rows_of_the_clinic):
    store.load(clinic())
    store.load(clinic(visits=other_minutes(rows_of_the_clinic["visits"], 30.0)))
    assert store.verify() == []
    store.connection.execute("UPDATE kept.visits SET minutes = 22 WHERE _ended = 2")
    assert store.verify() == ["Visits: rows of load 1 are not what was loaded then."]
    store.connection.execute("UPDATE kept.visits SET minutes = 20 WHERE _ended = 2")


def test_a_column_declared_later_leaves_the_revision_and_what_verify_knows_as_they_were(path, clinic, monkeypatch):
    from dataclasses import replace

    from outcomes import schemas
    from outcomes.store import layout

    with open_store(path, create=True) as store:
        store.load(clinic())
        before = store.revision
    visits = schemas.tables()["visits"]
    later = replace(visits, columns=(*visits.columns[:4], schemas.Column("mood", "text", "how the patient felt"), *visits.columns[4:]))
    monkeypatch.setattr(schemas, "stored_tables", lambda was=schemas.stored_tables(): {**was, "visits": later})
    assert "mood" in dict(layout.declared()["visits"])
    with open_store(path) as store:
        assert store.revision == before and store.verify() == []


PEOPLE = st.dictionaries(st.sampled_from("abcd"), st.sampled_from(["yes", "no"]), max_size=4)
STEPS = st.lists(st.one_of(st.just("undo"), st.tuples(st.sampled_from(["one.csv", "two.csv"]), PEOPLE, st.booleans())), max_size=7)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_any_run_of_loads_withdrawals_and_undos_agrees_with_a_plain_reckoning(tmp_path_factory, several, steps):
    """The reckoning: what each file listed last, and the rows; an undo goes back to the reckoning before."""
    rows, listed, past = {}, {}, []
    with open_store(tmp_path_factory.mktemp("run") / "clinic.duckdb", create=True) as store:
        for step in steps:
            if step == "undo":
                if past:
                    rows, listed = past.pop()
                    store.undo()
                continue
            file, people, withdraw = step
            before = (dict(rows), {name: set(keys) for name, keys in listed.items()})
            rows.update(people)
            for gone in listed.get(file, set()) - set(people):
                elsewhere = any(gone in keys for name, keys in listed.items() if name != file)
                if withdraw and not elsewhere:
                    del rows[gone]
                if withdraw or elsewhere:
                    listed[file].discard(gone)
            listed.setdefault(file, set()).update(people)
            done = store.load(several({file: {"patients": [{"patient_id": key, "audit_consent": value} for key, value in people.items()]}}), withdraw=withdraw)
            listed_before = {name: keys for name, keys in before[1].items() if keys}
            assert (done.load_id is None) == ((rows, {name: keys for name, keys in listed.items() if keys}) == (before[0], listed_before))
            if done.load_id is not None:
                past.append(before)
            assert dict(store.connection.execute("SELECT patient_id, audit_consent FROM patients").fetchall()) == rows
        assert dict(store.connection.execute("SELECT patient_id, audit_consent FROM patients").fetchall()) == rows
        assert store.verify() == []
