"""The tables for other programs: CSV, Parquet and the data package that describes them."""

from __future__ import annotations

import csv
import hashlib
import json

import pandas as pd
import pytest

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.store import open_store
from outcomes.store.export import export


@pytest.fixture
def exported(path, tmp_path, clinic, rows_of_the_clinic):
    c = rows_of_the_clinic
    people = c["patients"] + [{"patient_id": strange, "audit_consent": "yes"} for strange in ("=1+1", " @home", "-7", "＋x", 'a "b", c')]
    dentures = c["dentures"] + [{**c["dentures"][0], "denture_id": "0042/lower/2", "follows": "0042/lower/1"}]
    with open_store(path, create=True) as store:
        store.load(clinic(patients=people, dentures=dentures))
    with open_store(path, read_only=True) as store:
        described = export(store, tmp_path / "out")
        return described.parent, json.loads(described.read_text(encoding="utf-8")), store.revision


def lines(folder, name):
    with open(folder / name, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def resource(package, name):
    return next(one for one in package["resources"] if one["name"] == name)


def field(package, table, column):
    return next(one for one in resource(package, table)["schema"]["fields"] if one["name"] == column)


def test_every_table_is_written_both_ways_and_described(exported):
    folder, package, revision = exported
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json" and "profile" not in package  # Data Package 2.0, changelog of June 2024
    assert package["version"] == revision
    for part in (folder, folder / "parquet"):
        package = json.loads((part / "datapackage.json").read_text(encoding="utf-8"))
        assert [one["name"] for one in package["resources"]] == list(schemas.stored_tables())
        for one in package["resources"]:
            body = (part / one["path"]).read_bytes()
            assert one["type"] == "table" and one["bytes"] == len(body)
            assert one["hash"] == "sha256:" + hashlib.sha256(body).hexdigest()
            assert {field["type"] for field in one["schema"]["fields"]} <= {"string", "integer", "number", "date"}


def test_the_fields_are_the_columns_of_the_files_in_their_order(exported):
    folder, package, _ = exported
    for one in package["resources"]:
        names = [field["name"] for field in one["schema"]["fields"]]
        table = schemas.stored_tables()[one["name"]]
        assert names == (folder / one["path"]).read_text(encoding="utf-8").splitlines()[0].replace('"', "").split(",") == [column.name for column in table.columns]
    for one in json.loads((folder / "parquet" / "datapackage.json").read_text(encoding="utf-8"))["resources"]:
        names = [field["name"] for field in one["schema"]["fields"]]
        assert names == list(pd.read_parquet(folder / "parquet" / one["path"]).columns) == [name for name, _ in schemas.stored_tables()[one["name"]].stored_columns]


def test_csv_dates_are_as_precise_as_they_are_known_and_parquet_dates_are_typed(exported):
    folder, package, _ = exported
    left = {row["patient_id"]: row["left_on"] for row in lines(folder, "patients.csv")}
    assert (left["P2"], left["0042"]) == ("2024-03", "")
    assert field(package, "patients", "left_on")["type"] == "string" and field(package, "visits", "visited_on")["type"] == "date"
    typed = pd.read_parquet(folder / "parquet/patients.parquet").set_index("patient_id")
    assert (str(typed.loc["P2", "left_on"]), typed.loc["P2", "left_on_precision"]) == ("2024-03-01", "month")


def test_text_stays_text_and_numbers_stay_numbers(exported):
    folder, _, _ = exported
    raw = (folder / "patients.csv").read_bytes()
    assert b'"0042",1948,' in raw and raw.count(b"\r\n") == 8
    assert lines(folder, "pull_tests.csv")[0]["force_n"] == "7.5"


def test_text_that_a_spreadsheet_would_take_for_a_formula_is_neutralised(exported):
    folder, _, _ = exported
    found = {row["patient_id"] for row in lines(folder, "patients.csv")}
    assert found == {"0042", "P2", "'=1+1", "' @home", "'-7", "'＋x", 'a "b", c'}
    assert "=1+1" in set(pd.read_parquet(folder / "parquet/patients.parquet")["patient_id"])


def test_codes_carry_their_meaning_and_keys_and_references_are_declared(exported):
    _, package, _ = exported
    consent = field(package, "patients", "audit_consent")
    assert {"value": "yes", "label": "agreed"} in consent["categories"] and consent["constraints"]["enum"][0] == "yes"
    assert resource(package, "parts_log")["schema"]["primaryKey"] == ["visit_id", "position", "part"]
    assert "primaryKey" not in resource(package, "pull_tests")["schema"]  # its position may be blank
    keys = {key["fields"][0]: key["reference"] for key in resource(package, "dentures")["schema"]["foreignKeys"]}
    assert keys == {"patient_id": {"resource": "patients", "fields": ["patient_id"]}, "follows": {"fields": ["denture_id"]}}


def test_a_reference_that_does_not_hold_is_not_promised(path, tmp_path, clinic, rows_of_the_clinic):
    parts = [{**rows_of_the_clinic["parts_log"][0], "level": "unknown"}]
    with open_store(path, create=True) as store:
        store.load(clinic(parts_log=parts))
        package = json.loads(export(store, tmp_path / "out").read_text(encoding="utf-8"))
    assert {key["fields"][0] for key in resource(package, "parts_log")["schema"]["foreignKeys"]} == {"visit_id", "denture_id"}


def test_the_same_content_gives_the_same_bytes_whatever_order_it_was_loaded_in(tmp_path, clinic, several, rows_of_the_clinic):
    c = rows_of_the_clinic
    for name, load in {"one": clinic(), "two": several({f"{table}.csv": {table: list(reversed(rows))} for table, rows in c.items()})}.items():
        with open_store(tmp_path / f"{name}.duckdb", create=True) as store:
            store.load(load)
            export(store, tmp_path / name)
    files = sorted(one.relative_to(tmp_path / "one") for one in (tmp_path / "one").rglob("*.*"))
    assert len(files) == 2 * len(schemas.stored_tables()) + 2
    for name in files:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes(), name


def test_a_file_in_the_place_of_the_folder_is_told(path, tmp_path):
    (tmp_path / "out").write_text("a file")
    with open_store(path, create=True) as store, pytest.raises(Misuse, match="out"):
        export(store, tmp_path / "out")
