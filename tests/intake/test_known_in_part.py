"""Missing and coarse knowledge, from the sheet to the flow: months, years, changes on days not known, silent notes, consent."""

from __future__ import annotations

import pytest

from outcomes import episodes
from outcomes.plan import read_plan
from outcomes.store import open_store


@pytest.fixture
def log(clinic):
    """Loads what was checked and gives back the built connection's rows for a question."""
    stores = []

    def ask(checked, *questions):
        assert checked.error_count == 0, checked.problems
        with open_store(clinic.folder / "clinic.duckdb", create=True) as store:
            store.load(checked)
            stores.append(store)
            episodes.build(store.connection, read_plan())
            return [store.connection.execute(question).fetchall() for question in questions]

    return ask


def test_changed_three_times_on_days_not_known(sheet, log):
    """The set is of 2015 and its inserts were changed since: the abutments and housings are as old as the set, the inserts are of unknown age."""
    sets = sheet.pair("2015", changed_before="3")
    checked = sheet(sheet.line("2021-05-04", "recall"), sheet.line("2022-05-04", "recall", inserts_changed="all", why="worn", level_now="light"), sets=sets)
    rows, parts, lives, partly = log(checked,
        "SELECT part, in_place_since_precision, changed_before FROM parts_log WHERE position = '33' AND visit_id LIKE '%2021%' ORDER BY part",
        "SELECT part, start_known, excluded FROM episodes WHERE position = '33' ORDER BY part, serial",
        "SELECT excluded, count(*) FROM endpoint_times WHERE endpoint = 'insert worn' GROUP BY excluded ORDER BY excluded",
        "SELECT number, patients FROM known_in_part WHERE kind = 'inserts changed before, on days not known'")
    assert rows == [("abutment", "year", None), ("housing", "year", None), ("insert", "not known", 3)]
    assert [(part, known) for part, known, _ in parts] == [("abutment", True), ("housing", True), ("insert", False), ("insert", True)]
    assert lives == [("", 2), ("unknown start", 2)]  # the inserts of unknown age have no lifetime; those fitted later do
    assert partly == [(6, 1)]  # two sites, three changes each


def test_without_that_word_the_insert_counts_as_old_as_its_set(sheet, log):
    checked = sheet(sheet.line("2021-05-04", "recall"), sets=sheet.pair("2015"))
    (rows,) = log(checked, "SELECT in_place_since_precision, changed_before FROM parts_log WHERE part = 'insert'")
    assert rows == [("year", None)] * 2


def test_the_long_table_says_the_same(clinic, log):
    row = {"visit_id": "P1/2021-05-04", "position": "33", "finding": "sound", "action": "none"}
    tables = {"patients": [{"patient_id": "P1", "audit_consent": "yes"}], "dentures": [{"patient_id": "P1", "arch": "lower", "delivered_on": "2015", "existing": "yes"}],
              "visits": [{"patient_id": "P1", "visited_on": "2021-05-04", "reason": "recall", "parts_checked": "all"}],
              "parts_log": [{**row, "part": "abutment", "in_place_since": "2015"}, {**row, "part": "housing", "in_place_since": "2015"}, {**row, "part": "insert", "in_place_since": "not known", "changed_before": "3"}]}
    (partly,) = log(clinic.check(tables), "SELECT kind, number FROM known_in_part WHERE kind LIKE '%not known%' OR kind LIKE '%unknown%' ORDER BY kind")
    assert partly == [("inserts changed before, on days not known", 3), ("parts in place since an unknown day", 1)]


def test_a_line_without_any_date_is_an_error_and_never_dropped_in_silence(sheet):
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("not known", "problem", inserts_changed="all", why="worn", level_now="light"))
    one = checked.problems[checked.problems["severity"] == "error"].iloc[0]
    assert one["rule"] == "line without any date" and one["cell"] == "B3" and "changed_before" in one["remedy"]
    assert checked.set_aside == {"day_sheet": 1}


def test_changes_of_a_year_are_lines_of_that_year(sheet, log):
    """Known to the year, they are visits like others, and their days are held between those of their neighbours."""
    changes = [sheet.line("2021", "problem", parts_checked="listed only", snap="not asked", inserts_changed="all", why="worn", level_now="light", visit_order=order) for order in ("", "2", "3")]
    checked = sheet(sheet.line("2020-05-04", "delivery"), *changes, sheet.line("2022-05-04"), sets=sheet.pair("2020-05-04"))
    inserts, partly = log(checked, "SELECT count(*) FROM episodes WHERE part = 'insert' AND position = '33'", "SELECT number FROM known_in_part WHERE kind = 'visits known to the month or year'")
    assert inserts == [(4,)] and partly == [(3,)]


def test_every_kind_of_partial_knowledge_is_counted(sheet, log):
    people = [{"patient_id": f"P{n}", "audit_consent": word} for n, word in enumerate(["yes", "unknown", "died before asked", "not required", "no"], 1)]
    checked = sheet(sheet.line("2021-05-04", "delivery"), sheet.line("2021-11", "recall", parts_checked="notes silent", snap="not asked"), sheet.line("2022-05-04", "hygiene", parts_checked="none", snap="not asked"),
                    patients=people)
    (found,) = log(checked, "SELECT kind, number FROM known_in_part ORDER BY kind")
    assert dict(found) == {"consent not known": 1, "died before being asked for consent": 1, "consent not required": 1, "did not agree to audit": 1,
                           "visits known to the month or year": 1, "visits whose notes are silent": 1, "visits at which no part was looked at": 1}


def test_the_flow_tells_of_each(sheet, log, clinic):
    from outcomes.analyses import who
    from outcomes.analyses.cohort import read_log

    people = [{"patient_id": f"P{n}", "audit_consent": word} for n, word in enumerate(["yes", "unknown", "not required"], 1)]
    checked = sheet(sheet.line("2021-05-04", "recall"), sheet.line("2022-05-04", "recall", parts_checked="notes silent", snap="not asked"), sets=sheet.pair("2015", changed_before="2"), patients=people)
    with open_store(clinic.folder / "clinic.duckdb", create=True) as store:
        store.load(checked)
        told = [text for stage in who.stages(read_log(store.connection, read_plan())) for text in stage.in_part]
    assert told == ["1 patient of unknown consent", "1 patient of whom local rules ask none", "1 overdenture delivered in a month or year, no day known",
                    "4 changes of inserts before the log on days not known, in no rate", "1 visit whose notes do not say what was looked at"]
