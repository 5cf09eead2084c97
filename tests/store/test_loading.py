"""What a load does to the rows: added, superseded, unchanged, gone; and that nothing is lost."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes.errors import DataProblem
from outcomes.store import open_store


def rows(store, sql):
    return store.connection.execute(sql).fetchall()


def changed(rows, number, **values):
    return [{**row, **values} if place == number else row for place, row in enumerate(rows)]


def test_a_first_load_adds_every_row_and_says_so(store, clinic):
    done = store.load(clinic())
    assert (done.load_id, done.added, done.changed, done.unchanged, done.withdrawn, done.gone) == (1, 18, 0, 0, 0, 0)
    assert done.sentences == ["Loaded 2 patients, 2 dentures, 1 insert level, 4 visits, 8 part rows and 1 pull test."]
    assert rows(store, "SELECT patient_id, birth_year FROM patients ORDER BY ALL") == [("0042", 1948), ("P2", None)]
    assert rows(store, "SELECT left_on::VARCHAR, left_on_precision FROM patients WHERE patient_id = 'P2'") == [("2024-03-01", "month")]


def test_every_stored_row_knows_its_file_sheet_line_and_load(store, clinic):
    store.load(clinic(file="/home/somebody/log.xlsx", sha256="c" * 64))
    assert rows(store, "SELECT s.name, s.sha256, s.kind, v._sheet, v._line, v._load, v._ended FROM kept.visits v JOIN kept.sources s ON s.source = v._source WHERE visit_id = 'P2/2022-03-01'") \
        == [("log.xlsx", "c" * 64, "xlsx", "Visits", 4, 1, None)]


def test_the_same_file_twice_changes_nothing_not_even_the_history(store, clinic, path):
    store.load(clinic())
    before, history = store.revision, store.history()
    done = store.load(clinic())
    assert (done.load_id, done.added, done.changed, done.unchanged, done.gone) == (None, 0, 0, 18, 0)
    assert done.sentences == ["Nothing new: all 18 rows were in the store already."]
    assert store.revision == before
    pd.testing.assert_frame_equal(store.history(), history)
    assert not (path.parent / "clinic_backups").exists()


def test_a_corrected_row_supersedes_the_old_one_which_stays_in_the_history(store, clinic, rows_of_the_clinic):
    store.load(clinic())
    done = store.load(clinic(visits=changed(rows_of_the_clinic["visits"], 1, minutes=25.0)))
    assert (done.added, done.changed, done.unchanged) == (0, 1, 17)
    assert done.sentences[0] == "1 row was changed; what stood there before stays in the history."
    assert rows(store, "SELECT minutes FROM visits WHERE visit_id = '0042/2023-03-02'") == [(25.0,)]
    versions = store.row_history("visits", "0042/2023-03-02")
    assert list(versions["minutes"]) == [20.0, 25.0]
    assert list(versions["state"]) == ["changed", "current"]
    assert list(versions["load"]) == [1, 2]
    assert versions["ended_at"].notna().tolist() == [True, False]


@pytest.mark.parametrize("values", [{"minutes": None}, {"clinician": "B"}, {"visited_on_precision": "month"}, {"visited_on": None, "visited_on_precision": "not known"}])
def test_a_value_that_becomes_blank_or_only_as_precise_as_a_month_is_a_change(store, clinic, rows_of_the_clinic, values):
    store.load(clinic())
    assert store.load(clinic(visits=changed(rows_of_the_clinic["visits"], 0, **values))).changed == 1


def test_a_blank_part_of_a_key_is_the_same_key(store, clinic, rows_of_the_clinic):
    whole = rows_of_the_clinic["pull_tests"]
    at_33 = [{**whole[0], "position": "33"}]
    store.load(clinic(pull_tests=whole + at_33))
    done = store.load(clinic(pull_tests=changed(whole + at_33, 0, force_n=8.0)))
    assert (done.tables["pull_tests"].changed, done.tables["pull_tests"].unchanged) == (1, 1)


def test_rows_gone_from_a_file_are_shown_and_kept(store, clinic, rows_of_the_clinic):
    store.load(clinic())
    before = store.revision
    for _ in range(2):  # the second time as well: they are still not withdrawn
        done = store.load(clinic(parts_log=rows_of_the_clinic["parts_log"][:6]))
        assert (done.gone, done.withdrawn, done.unchanged) == (2, 0, 16)
        assert done.sentences == ["Nothing new: all 16 rows were in the store already.", "2 rows no longer in log.xlsx were kept (use --withdraw to take them out)."]
        assert done.gone_rows.to_dict("list") == {
            "table": ["parts_log"] * 2, "file": ["log.xlsx"] * 2, "sheet": ["Parts log"] * 2, "line": [8, 9], "key": ["P2/2023-03-02, 33, insert", "P2/2023-03-02, 43, insert"]}
    assert store.revision == before


def test_rows_gone_from_a_file_are_withdrawn_only_on_request_and_stay_in_the_history(store, clinic, rows_of_the_clinic):
    store.load(clinic())
    shorter = clinic(parts_log=rows_of_the_clinic["parts_log"][:6])
    store.load(shorter)
    done = store.load(shorter, withdraw=True)
    assert (done.gone, done.withdrawn, len(done.gone_rows)) == (0, 2, 0)
    assert done.sentences == ["2 rows no longer in log.xlsx were withdrawn; the history keeps them."]
    assert rows(store, "SELECT count(*) FROM parts_log") == [(6,)]
    assert list(store.row_history("parts_log", ("P2/2023-03-02", "33", "insert"))["state"]) == ["withdrawn"]
    again = store.load(clinic())
    assert again.added == 2
    assert list(store.row_history("parts_log", ("P2/2023-03-02", "33", "insert"))["state"]) == ["withdrawn", "current"]


def test_a_table_gone_from_its_file_altogether_counts_as_its_rows_gone(store, clinic):
    store.load(clinic())
    assert store.load(clinic(pull_tests=None)).gone == 1
    assert store.load(clinic(pull_tests=None), withdraw=True).withdrawn == 1


def test_a_row_that_another_file_still_lists_has_not_gone(store, several, rows_of_the_clinic):
    patients = rows_of_the_clinic["patients"]
    store.load(several({"first.csv": {"patients": patients}}))
    store.load(several({"second.csv": {"patients": patients}}))
    done = store.load(several({"first.csv": {"patients": patients[:1]}}), withdraw=True)
    assert (done.withdrawn, done.gone) == (0, 0)
    assert rows(store, "SELECT count(*) FROM patients") == [(2,)]
    done = store.load(several({"second.csv": {"patients": patients[:1]}}), withdraw=True)
    assert done.withdrawn == 1


def test_a_row_moved_to_another_file_of_the_same_load_has_not_gone(store, several, rows_of_the_clinic):
    one, other = rows_of_the_clinic["patients"]
    store.load(several({"first.csv": {"patients": [one, other]}}))
    done = store.load(several({"first.csv": {"patients": [one]}, "second.csv": {"patients": [other]}}), withdraw=True)
    assert (done.withdrawn, done.gone, done.unchanged) == (0, 0, 2)


def test_files_not_in_the_load_lose_nothing(store, several, rows_of_the_clinic):
    one, other = rows_of_the_clinic["patients"]
    store.load(several({"first.csv": {"patients": [one]}}))
    done = store.load(several({"second.csv": {"patients": [other]}}), withdraw=True)
    assert (done.added, done.withdrawn, done.gone) == (1, 0, 0)


def test_a_withdrawal_that_would_leave_rows_speaking_of_nothing_is_refused(store, several, rows_of_the_clinic):
    c = rows_of_the_clinic
    store.load(several({"people.csv": {"patients": c["patients"]}, "rest.csv": {k: c[k] for k in ("dentures", "visits")}}))
    before = store.revision
    with pytest.raises(DataProblem, match="Dentures: 1 row would name, as patient_id, something that is not among the patients"):
        store.load(several({"people.csv": {"patients": c["patients"][:1]}}), withdraw=True)
    assert store.revision == before and len(store.history()) == 1


def test_a_visit_of_a_patient_who_is_not_there_is_refused_and_nothing_changes(store, clinic, rows_of_the_clinic):
    with pytest.raises(DataProblem, match="nothing was changed") as told:
        store.load(clinic(patients=rows_of_the_clinic["patients"][:1]))
    assert "P2" not in str(told.value)
    assert rows(store, "SELECT count(*) FROM visits") == [(0,)] and store.history().empty


def test_the_level_unknown_needs_no_row_among_the_levels(store, clinic, rows_of_the_clinic):
    assert store.load(clinic(parts_log=changed(rows_of_the_clinic["parts_log"], 0, level="unknown"))).added == 18


def test_the_same_row_from_two_files_of_one_load_is_one_row(store, several, rows_of_the_clinic):
    patients = rows_of_the_clinic["patients"]
    done = store.load(several({"first.csv": {"patients": patients}, "second.csv": {"patients": patients[1:]}}))
    assert done.added == 2
    assert store.load(several({"first.csv": {"patients": patients}, "second.csv": {"patients": patients[1:]}})).load_id is None


def test_one_key_with_two_contents_in_one_load_is_refused_with_its_place_but_no_value(store, several, rows_of_the_clinic):
    patients = rows_of_the_clinic["patients"]
    with pytest.raises(DataProblem, match=r"Patients: 1 of the rows repeat.*second.csv, line 2") as told:
        store.load(several({"first.csv": {"patients": patients}, "second.csv": {"patients": [{**patients[1], "smoker": "yes"}]}}))
    assert "P2" not in str(told.value)
    assert rows(store, "SELECT count(*) FROM patients") == [(0,)]


def test_rows_with_errors_stop_a_load_unless_the_good_rows_are_asked_for(store, clinic):
    checked = clinic()
    checked.error_count = 3
    with pytest.raises(DataProblem, match="3 errors"):
        store.load(checked)
    assert store.history().empty
    done = store.load(checked, good_rows=True)
    assert done.added == 18
    assert "Rows with errors were set aside (3 errors); mend what is wrong and load the file again." in done.sentences


def test_lines_set_aside_are_counted_as_the_check_counted_them(store, clinic):
    checked = clinic()
    checked.error_count, checked.lines_aside = 1, 4
    assert "4 lines were set aside (1 error); mend what is wrong and load the file again." in store.load(checked, good_rows=True).sentences


def test_a_load_without_rows_says_so(store, clinic):
    checked = clinic(patients=[], dentures=[], insert_levels=[], visits=[], parts_log=[], pull_tests=[])
    done = store.load(checked)
    assert (done.load_id, done.sentences) == (None, ["There is no row to load."])


def test_a_row_set_aside_for_an_error_is_never_taken_for_one_that_was_withdrawn(store, clinic, rows_of_the_clinic):
    store.load(clinic())
    shorter = clinic(parts_log=rows_of_the_clinic["parts_log"][:6])
    shorter.error_count = 2
    with pytest.raises(DataProblem, match="cannot be told"):
        store.load(shorter, good_rows=True, withdraw=True)
    done = store.load(shorter, good_rows=True)
    assert (done.gone, done.withdrawn) == (2, 0)
    assert "2 rows loaded from log.xlsx before were not among its good rows now and were kept." in done.sentences
    assert store.load(clinic()).load_id is None


def test_content_decides_the_revision_not_the_files_or_the_order(tmp_path, clinic, several, rows_of_the_clinic):
    c = rows_of_the_clinic
    ways = [
        [clinic()],
        [several({f"{name}.csv": {name: list(reversed(lines))} for name, lines in c.items()})],
        [several({"a.csv": {"patients": c["patients"]}, "b.csv": {"dentures": c["dentures"]}}),
         several({"c.csv": {k: v for k, v in c.items() if k not in ("patients", "dentures")}})],
        [clinic(visits=changed(c["visits"], 0, minutes=99.0)), clinic()],
    ]
    found = []
    for number, loads in enumerate(ways):
        with open_store(tmp_path / f"way{number}.duckdb", create=True) as store:
            for load in loads:
                store.load(load)
            found.append(store.revision)
    assert len(set(found)) == 1
    with open_store(tmp_path / "other.duckdb", create=True) as store:
        store.load(clinic(visits=changed(c["visits"], 0, minutes=99.0)))
        assert store.revision not in found


def test_values_that_run_into_each_other_do_not_share_a_revision(tmp_path, several):
    found = set()
    for number, (level, system) in enumerate([("a", "b:c"), ("a:b", "c"), ("a1:b", "c"), ("a", "1:b1:c")]):
        with open_store(tmp_path / f"{number}.duckdb", create=True) as store:
            store.load(several({"l.csv": {"insert_levels": [{"level": level, "system": system, "retention": 1.0, "unit": "N"}]}}))
            found.add(store.revision)
    assert len(found) == 4


@pytest.mark.parametrize("kind", ["object", "string", "category", "string[pyarrow]"])
def test_frames_may_hold_text_in_any_of_the_kinds_pandas_knows(store, clinic, kind):
    checked = clinic()
    for name, one in checked.tables.items():
        for column in one.columns:
            if one[column].dtype == object and not column.startswith("_"):
                one[column] = one[column].where(one[column].notna(), None if kind == "object" else np.nan).astype(kind) if column != "birth_year" else one[column].astype("Int64")
    store.load(checked)
    assert rows(store, "SELECT patient_id, birth_year, sex FROM patients ORDER BY ALL") == [("0042", 1948, None), ("P2", None, None)]
    assert store.load(clinic()).load_id is None


def test_a_minus_zero_is_a_zero(store, several):
    def level(force):
        return several({"l.csv": {"insert_levels": [{"level": "none", "system": "A", "retention": force, "unit": "N"}]}})

    store.load(level(0.0))
    before = store.revision
    assert store.load(level(-0.0)).changed == 0
    assert store.revision == before


def test_a_value_of_the_wrong_kind_is_refused_without_showing_it(store, clinic):
    checked = clinic()
    checked.tables["visits"]["minutes"] = ["a secret", None, None, None]
    with pytest.raises(DataProblem) as told:
        store.load(checked)
    assert "secret" not in str(told.value) and told.value.__cause__ is None
    assert store.history().empty


def test_a_frame_without_a_required_column_is_refused(store, clinic):
    checked = clinic()
    del checked.tables["visits"]["reason"]
    with pytest.raises(DataProblem, match="Visits lacks the column reason"):
        store.load(checked)


def test_a_load_leaves_a_result_that_is_being_fetched_and_temporary_tables_alone(store, clinic):
    store.load(clinic())
    store.connection.execute("CREATE TEMP TABLE mine AS SELECT 1 AS a")
    fetching = store.connection.execute("SELECT visit_id FROM visits ORDER BY ALL")
    first = fetching.fetchone()
    store.undo()
    store.load(clinic())
    assert [first, *fetching.fetchall()] == rows(store, "SELECT visit_id FROM visits ORDER BY ALL")
    assert rows(store, "SELECT a FROM mine") == [(1,)]
