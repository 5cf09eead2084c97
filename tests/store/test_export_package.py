"""The export as others meet it: an independent validator accepts it, derived tables come with it, and it loads back identical."""

from __future__ import annotations

import csv
import json
import os
import stat
import warnings

import pandas as pd
import pyarrow.parquet
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from outcomes import episodes, intake, schemas, synthetic_data
from outcomes.cli import main
from outcomes.neutral import freed, guarded
from outcomes.intake.privacy import content
from outcomes.plan import read_plan
from outcomes.store import open_store, private
from outcomes.store.export import digits, export, open_to_others

HOSTILE = ["=1+1", "'=1+1", "''+2", "@SUM(A1)", "+41", "-7", "＝x", "|calc", "'tis", "a,b;c", 'say "ah"', "<script>alert(1)</script>", "x'; DROP TABLE visits; --", "NULL", "NaN", "null", "true", "0042",
           "1e5", "2e-3", "éß漢字", "#VALUE", "\\N", "None", "-", "'", "O'Brien & Co", "{{7*7}}", "../../etc", "C:\\x", "unknown"]


def loaded(path, checked):
    assert checked.error_count == 0, intake.summary(checked)
    with open_store(path, create=True) as store:
        store.load(checked)
        assert store.verify() == []
        return store.revision


def written(folder, **tables):
    folder.mkdir()
    for name, rows in tables.items():
        with open(folder / f"{name}.csv", "w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    return sorted(folder.iterdir())


def there_and_back(tmp_path, checked):
    """The revision of a store, and that of a store into which its export was loaded by the command."""
    before = loaded(tmp_path / "one.duckdb", checked)
    assert main(["export", "--store", str(tmp_path / "one.duckdb"), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    assert main(["load", str(tmp_path / "out"), "--store", str(tmp_path / "two.duckdb"), "--quiet"]) == 0
    with open_store(tmp_path / "two.duckdb", read_only=True) as store:
        return before, store.revision


def accepted(descriptor, **skip):
    """What a general validator of data packages finds wrong (its own file reader, its own Table Schema)."""
    frictionless = pytest.importorskip("frictionless")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        report = frictionless.validate(str(descriptor), **skip)
    return [error.note for error in report.errors] + [f"{task.name}: {error.type} {error.note}" for task in report.tasks for error in task.errors]


@pytest.fixture(scope="module")
def clinic(tmp_path_factory):
    """The demo clinic of 20 patients, exported with its derived tables."""
    folder = tmp_path_factory.mktemp("clinic")
    files = synthetic_data.write(synthetic_data.simulate("demo", patients=20, seed=5), folder / "files", form="day sheet", file="xlsx")
    before, after = there_and_back(folder, intake.check(files))
    return folder, before, after


def test_the_demo_clinic_comes_back_identical(clinic):
    _, before, after = clinic
    assert before == after


def test_an_independent_validator_accepts_the_package_with_derived_tables_keys_and_digests(clinic):
    """frictionless-py 5, the reference implementation in Python: metadata, digest, size, types, constraints, primary and foreign keys of each CSV file."""
    folder, _, _ = clinic
    package = json.loads((folder / "out/datapackage.json").read_text(encoding="utf-8"))
    names = [one["name"] for one in package["resources"]]
    assert names == [*schemas.stored_tables(), *schemas.derived()]
    assert next(one for one in package["resources"] if one["name"] == "episodes")["schema"]["primaryKey"] == ["episode_id"]
    assert accepted(folder / "out/datapackage.json") == []


@pytest.mark.parametrize("harm", [("visits.csv", b"recall", b"recull"), ("visits.csv", b"20", b"2x"), ("patients.csv", b"yes", b"yes\r\n"), ("derived/episodes.csv", b"insert", b"inzert")])
def test_that_validator_does_find_what_is_wrong(clinic, tmp_path, harm):
    from shutil import copytree

    name, old, new = harm
    copytree(clinic[0] / "out", tmp_path / "out")
    body = (tmp_path / "out" / name).read_bytes()
    assert old in body
    (tmp_path / "out" / name).write_bytes(body.replace(old, new, 3))
    assert accepted(tmp_path / "out/datapackage.json")


def test_the_typed_files_are_described_as_they_are(clinic):
    """frictionless reads Parquet through pandas, where a blank makes whole numbers broken ones; so it judges the descriptor, and Arrow the files."""
    frictionless = pytest.importorskip("frictionless")
    folder = clinic[0] / "out/parquet"
    kinds = {"string": "string", "integer": "int", "number": "double", "date": "date32", "boolean": "bool"}
    assert len(frictionless.Package(str(folder / "datapackage.json")).resources) == len(schemas.stored_tables()) + len(schemas.derived())  # it raises where metadata is wrong
    for one in json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["resources"]:
        schema = pyarrow.parquet.read_schema(folder / one["path"])
        assert schema.names == [field["name"] for field in one["schema"]["fields"]]
        for field in one["schema"]["fields"]:
            assert str(schema.field(field["name"]).type).startswith(kinds[field["type"]]), (one["name"], field["name"])


def test_derived_tables_have_the_columns_that_are_described(clinic, tmp_path):
    with open_store(clinic[0] / "one.duckdb", read_only=True) as store:
        episodes.build(store.connection, read_plan())
        for name, about in schemas.derived().items():
            assert [row[0] for row in store.connection.execute(f"DESCRIBE {name}").fetchall()] == list(about["columns"]), name
            rows = store.connection.execute(f"SELECT count(*) FROM {name}").fetchall()[0][0]
            assert rows == len(pd.read_csv(clinic[0] / f"out/derived/{name}.csv")) == len(pd.read_parquet(clinic[0] / f"out/parquet/{name}.parquet")) > 0
        assert all(definition.key == tuple(schemas.derived()[name]["key"]) for name, definition in episodes.definitions.definitions().items() if name in schemas.derived())


def test_the_same_store_and_plan_give_the_same_bytes(clinic, tmp_path):
    folder = clinic[0]
    assert main(["export", "--store", str(folder / "two.duckdb"), "--out", str(tmp_path / "again"), "--quiet"]) == 0
    for one in (folder / "out").rglob("*.*"):
        assert one.read_bytes() == (tmp_path / "again" / one.relative_to(folder / "out")).read_bytes(), one.name


def test_hostile_text_coarse_dates_unknown_levels_signs_and_zeros_come_back_identical(tmp_path):
    people = [["0042", "1948", "yes", "2024-03", "moved"], ["=cmd", "", "yes", "not known", "died"], ["-7", "", "no", "2023", "lost to follow-up"], ["'@x", "", "unknown", "2024-02-29", "moved"]]
    levels = [[level, f"S{place}", f"{6.675 + place:.4f}", "N"] for place, level in enumerate(HOSTILE) if level != "unknown"]
    visits = [[f"{person[0]}/2022-03-01", person[0], day, "delivery", "all"] for person, day in zip(people, ("2022-03-01", "2022-03", "2022", "2022-03-01"), strict=True)]
    parts = [[visit[0], "33", "insert", "not present", "fitted", HOSTILE[place]] for place, visit in enumerate(visits)] + [[visits[0][0], "43", "insert", "not present", "fitted", "unknown"]]
    files = written(tmp_path / "in",
                    patients=[["patient_id", "birth_year", "audit_consent", "left_on", "left_reason"], *people],
                    insert_levels=[["level", "system", "retention", "unit"], *[[guarded(level), *rest] for level, *rest in levels]],
                    dentures=[["denture_id", "patient_id", "arch", "delivered_on"], *[[f"{person[0]}/lower/1", person[0], "lower", visit[2]] for person, visit in zip(people, visits, strict=True)]],
                    visits=[["visit_id", "patient_id", "visited_on", "reason", "parts_checked"], *visits],
                    parts_log=[["visit_id", "position", "part", "finding", "action", "level"], *[[*row[:5], guarded(row[5])] for row in parts]],
                    questionnaires=[["patient_id", "answered_on", "instrument", "item", "response"], ["0042", "2024-03", "change_question", "1", "-2"], ["0042", "not known", "denture_lines", "1", "0.00001"], ["0042", "2024", "denture_lines", "2", "1.1250"]],
                    pull_tests=[["visit_id", "denture_id", "position", "force_n"], ["0042/2022-03-01", "0042/lower/1", "", "6.1250"]])
    checked = intake.check(files)
    before, after = there_and_back(tmp_path, checked)
    assert before == after
    with open_store(tmp_path / "two.duckdb", read_only=True) as store:
        found = {level for (level,) in store.connection.execute("SELECT level FROM insert_levels").fetchall()}
        assert set(HOSTILE) - {"unknown"} <= found
        assert store.connection.execute("SELECT patient_id FROM patients ORDER BY 1").fetchall() == [("-7",), ("0042",), ("=cmd",), ("@x",)]
        assert {row[0] for row in store.connection.execute("SELECT response FROM questionnaires").fetchall()} == {-2.0, 0.00001, 1.125}
        assert store.connection.execute("SELECT force_n FROM pull_tests").fetchall() == [(6.125,)]
    with open(tmp_path / "out/insert_levels.csv", encoding="utf-8", newline="") as file:
        first = {row[0][:1] for row in csv.reader(file)}
    assert not first & set("=+-@＝")  # nothing that a spreadsheet would run
    assert accepted(tmp_path / "out/datapackage.json") == []


TEXT = st.text(st.characters(exclude_categories=["C", "Z"]) | st.just(" "), min_size=1, max_size=12)  # what cannot be shown is refused at the door


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.filter_too_much], phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(words=st.lists(TEXT.filter(lambda text: content(text, person=False) is None and text.strip()), min_size=30, max_size=60, unique=True))
def test_any_text_that_the_door_lets_in_comes_back_identical(tmp_path_factory, words):
    folder = tmp_path_factory.mktemp("words")
    checked = intake.check(written(folder / "in", insert_levels=[["level", "system", "retention", "unit"], *[[f"level {place}", guarded(word), "6.7", "N"] for place, word in enumerate(words)]]))
    with open_store(folder / "one.duckdb", create=True) as store:
        assert store.load(checked, good_rows=True).added > len(words) // 2  # a word that the door refuses stays out
        before = store.revision
        export(store, folder / "out")
    assert loaded(folder / "two.duckdb", intake.check(sorted((folder / "out").glob("*.csv")))) == before


@given(st.text(max_size=8))
def test_guarding_a_text_and_freeing_it_gives_the_text(text):
    assert freed(guarded(text)) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_written_in_digits_is_the_same_number_and_leaves_no_doubt(number):
    from outcomes.intake import numbers

    text = digits(number)
    assert numbers.parse(text, ".") == number and numbers.doubtful([text]) is None


def test_where_the_system_cannot_close_exported_files_the_user_is_told(clinic, tmp_path, monkeypatch):
    assert os.name != "posix" or stat.S_IMODE((clinic[0] / "out/visits.csv").stat().st_mode) == 0o600
    assert os.name != "posix" or open_to_others(clinic[0] / "out") == ""
    monkeypatch.setattr(private.os, "chmod", lambda *_, **__: None)  # a file system that keeps no owners takes the call and does nothing
    monkeypatch.setattr("outcomes.store.export.restrict", lambda path, was=private.restrict: was(tmp_path / path.name))
    (tmp_path / "datapackage.json").touch(mode=0o644)
    assert open_to_others(clinic[0] / "out") == "This system could not close the files in out to other users. Keep them in a folder that only you can open."
