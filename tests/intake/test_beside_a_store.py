"""New files beside a store: they may speak of what it holds, and a denture or site it knows needs no second telling."""

from __future__ import annotations

import pandas as pd
import pytest

from outcomes.store import open_store


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "clinic.duckdb", create=True) as store:
        yield store


@pytest.fixture
def begun(clinic, sheet, store):
    """A store that holds patient P1 with a pair of studs since 2021."""
    store.load(sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2022-05-04")))
    return store


def rows(store, table: str) -> pd.DataFrame:
    return store.connection.sql(f'SELECT * FROM "{table}" ORDER BY ALL').df()


def test_a_new_sheet_needs_no_old_lines(clinic, sheet, begun):
    checked = clinic.check({"day_sheet": [sheet.line("2023-01-10", inserts_changed="all", why="worn", worn_at="33", level_now="LIGHT")]}, store=begun)
    assert checked.error_count == 0, checked.problems
    made = checked.tables["parts_log"]
    assert made[["position", "denture_id", "level", "change_reason"]].astype(str).to_numpy().tolist() == [["33", "P1/lower/1", "light", "failed"], ["43", "P1/lower/1", "light", "with its pair"]]
    assert {name for name, frame in checked.tables.items() if len(frame)} == {"visits", "parts_log"}


def test_the_same_sheet_again_changes_nothing(clinic, sheet, begun):
    before = begun.revision
    report = begun.load(clinic.check(sorted(clinic.folder.glob("*.csv")), store=begun))
    assert begun.revision == before and report.sentences[0].startswith("Nothing new")


def test_a_renewal_in_a_later_sheet_retires_the_denture_of_the_store(clinic, sheet, begun):
    lines = [sheet.line("2024-02-01", "delivery", denture="remade"), sheet.line("2024-03-01", parts_checked="listed only", housings="fine")]
    checked = clinic.check({"day_sheet": lines}, store=begun)
    assert checked.error_count == 0, checked.problems
    assert set(checked.tables["parts_log"]["denture_id"]) == {"P1/lower/2"}
    begun.load(checked)
    dentures = rows(begun, "dentures")
    assert dentures["denture_id"].tolist() == ["P1/lower/1", "P1/lower/2"]
    assert dentures["retired_on"].tolist()[0] == pd.Timestamp(2024, 2, 1) and pd.isna(dentures["retired_on"].tolist()[1])


def test_an_older_sheet_loaded_again_does_not_bring_a_retired_denture_back(clinic, sheet, begun):
    old = [(path, path.read_bytes()) for path in clinic.folder.glob("*.csv")]
    begun.load(clinic.check({"day_sheet": [sheet.line("2024-02-01", "delivery", denture="remade")]}, store=begun))
    for path, content in old:
        path.write_bytes(content)
    before = begun.revision
    begun.load(clinic.check([path for path, _ in old], store=begun))
    assert begun.revision == before


def test_a_word_taken_back_takes_the_retirement_back(clinic, sheet, begun):
    both = [sheet.line("2021-05-04", "delivery"), sheet.line("2024-02-01", denture="remade")]
    begun.load(clinic.check({"day_sheet": both, "set_up": sheet.pair()}, store=begun))
    assert rows(begun, "dentures")["retired_on"].notna().sum() == 1
    both[1] = sheet.line("2024-02-01", denture="adjusted")
    begun.load(clinic.check({"day_sheet": both, "set_up": sheet.pair()}, store=begun), withdraw=True)
    dentures = rows(begun, "dentures")
    assert dentures["denture_id"].tolist() == ["P1/lower/1"] and dentures["retired_on"].isna().all()


def test_a_lost_implant_of_the_store_is_not_put_back_in_use_by_the_set_up(clinic, sheet, begun):
    begun.load(clinic.check({"implants": [{"patient_id": "P1", "position": "33", "state": "lost", "state_on": "2023-06-01"}]}, store=begun))
    begun.load(clinic.check({"day_sheet": [sheet.line("2021-05-04", "delivery"), sheet.line("2022-05-04")], "set_up": sheet.pair(divergence_deg="8")}, store=begun))
    implants = rows(begun, "implants").set_index("position")
    assert implants["state"].tolist() == ["lost", "in use"] and implants["divergence_deg"].tolist() == [8.0, 8.0]
    assert implants.loc["33", "state_on"] == pd.Timestamp(2023, 6, 1)


def test_rules_see_what_the_store_holds(clinic, sheet, begun):
    fitted = {"visit_id": "P1/2023-01-10", "position": "33", "part": "insert", "finding": "not present", "action": "fitted", "level": "light"}
    visit = {"patient_id": "P1", "visited_on": "2023-01-10", "reason": "recall", "parts_checked": "all"}
    checked = clinic.check({"visits": [visit, dict(visit, patient_id="P9", visited_on="2023-01-11")], "parts_log": [fitted]}, store=begun)
    assert set(checked.problems.query("severity == 'error'")["rule"]) == {"fitted where one is in place", "patient not listed"}


def test_a_corrected_row_is_judged_instead_of_the_one_the_store_holds(clinic, sheet, begun):
    checked = clinic.check({"patients": [{"patient_id": "P1", "audit_consent": "yes", "left_on": "2022-01-01", "left_reason": "moved"}]}, store=begun)
    assert checked.problems["rule"].tolist() == ["left before the last examined visit"]
    moved = clinic.check({"patients": [{"patient_id": "P1", "audit_consent": "yes", "left_on": "2022-06-01", "left_reason": "moved"}]}, store=begun)
    assert not len(moved.problems)


def test_a_part_row_may_speak_of_a_visit_in_the_store(clinic, begun):
    row = {"visit_id": "P1/2022-05-04", "position": "33", "part": "insert", "finding": "worn", "action": "none"}
    checked = clinic.check({"parts_log": [row]}, store=begun)
    assert checked.error_count == 0 and checked.tables["parts_log"]["denture_id"].tolist() == ["P1/lower/1"]


def test_a_store_open_for_reading_is_enough(clinic, sheet, begun):
    path = begun.path
    begun.close()
    with open_store(path, read_only=True) as store:
        checked = clinic.check({"day_sheet": [sheet.line("2023-01-10")]}, store=store)
        assert checked.error_count == 0 and len(checked.tables["visits"]) == 1


def test_a_later_sheet_that_tells_of_an_old_set_again_makes_no_second_denture(clinic, sheet, begun):
    begun.load(clinic.check({"day_sheet": [sheet.line("2024-02-01", "delivery", denture="remade")]}, store=begun))
    checked = clinic.check({"set_up": sheet.pair("2021"), "day_sheet": [sheet.line("2025-02-01")]}, store=begun)
    assert checked.error_count == 0, checked.problems
    assert not len(checked.tables["dentures"]) and set(checked.tables["parts_log"]["denture_id"]) == {"P1/lower/2"}


def test_dentures_typed_into_their_own_table_stand_when_only_the_sheet_comes_again(clinic, sheet, store):
    dentures = [{"patient_id": "P1", "arch": "lower", "delivered_on": "2021-05-04", "base": "metal", "retired_on": "2023-05-04", "retired_reason": "remade"},
                {"patient_id": "P1", "arch": "lower", "delivered_on": "2023-05-04", "base": "acrylic"}]
    lines = [sheet.line("2021-05-04", "delivery"), sheet.line("2024-01-10", inserts_changed="33", why="routine", level_now="light")]
    store.load(sheet(*lines, dentures=dentures))
    before = store.revision
    checked = clinic.check({"day_sheet": lines, "set_up": sheet.pair()}, store=store)
    assert checked.error_count == 0, checked.problems
    store.load(checked)
    assert store.revision == before
    assert rows(store, "parts_log")["denture_id"].tolist().count("P1/lower/2") == 1


def test_an_implant_typed_without_its_divergence_gets_it_from_the_set_up(clinic, sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sets=sheet.pair(divergence_deg="8"), implants=[{"patient_id": "P1", "position": "33", "placed_on": "2020"}])
    assert checked.tables["implants"][["position", "divergence_deg"]].to_numpy().tolist() == [["33", 8.0], ["43", 8.0]]


def test_where_a_corrected_row_is_set_aside_the_stored_one_still_counts(clinic, begun):
    rows = [{"visit_id": "P1/2021-05-04", "patient_id": "P1", "visited_on": "2021-05-04", "reason": "delivry", "parts_checked": "all"},
            {"visit_id": "P1/2023-05-04", "patient_id": "P1", "visited_on": "2023-05-04", "reason": "recall", "parts_checked": "all"}]
    part = {"visit_id": "P1/2023-05-04", "position": "33", "part": "insert", "finding": "not present", "action": "fitted", "level": "light"}
    checked = clinic.check({"visits": rows, "parts_log": [part]}, store=begun)
    assert checked.problems["rule"].tolist() == ["code not known", "fitted where one is in place"]
    assert checked.tables["visits"]["visit_id"].tolist() == ["P1/2023-05-04"] and not len(checked.tables["parts_log"])
