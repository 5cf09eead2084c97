"""Who is left out and why, what the log lacks, and the guard against a log of failures only."""

from __future__ import annotations

import pytest
from clinic_log import Clinic

from outcomes.episodes.build import GUARD
from outcomes.errors import DataProblem, Misuse

WORN = ("33", "insert", "worn", "replaced")


def test_a_patient_who_said_no_is_counted_and_not_analysed():
    clinic = Clinic(audit_consent="no").fit("2020-01-01").visit("2021-01-01", "recall", WORN)
    derived = clinic.patient("P2", audit_consent="died before asked").fit("2020-01-01").build()
    excluded = {row["patient_id"]: row["excluded"] for row in derived.times("insert worn")}
    assert excluded == {"P1": "no consent", "P2": ""}
    assert all(row["left_look"] is None and row["right_look"] is None and row["found_day"] is None for row in derived.times("insert worn") if row["excluded"])
    assert derived.built.counts["patients_without_consent"] == 1


def test_spare_dentures_are_left_out():
    clinic = Clinic().fit("2020-01-01").denture("2020-01-01", use="spare")
    clinic.visit("2020-01-01", "delivery", ("33", "housing", "not present", "fitted"), ("33", "insert", "not present", "fitted"))
    excluded = [row["excluded"] for row in clinic.build().times("insert worn")]
    assert excluded == ["", "spare denture"]


def test_the_period_takes_dentures_by_their_delivery():
    clinic = Clinic().fit("2020-01-01")
    clinic.patient("P2", delivered="2022-01-01").fit("2022-01-01")
    derived = clinic.build(period_from="2021-01-01", period_to="2023-01-01")
    assert [row["excluded"] for row in derived.times("insert worn")] == ["outside the period", ""]


def test_every_unit_stands_in_the_flow_once_per_endpoint():
    clinic = Clinic(audit_consent="no").fit("2020-01-01", ("33", "43")).patient("P2").fit("2020-01-01").visit("2021-01-01", "recall", WORN)
    derived = clinic.build()
    for endpoint in ("insert worn", "housing bond failure", "first repair", "implant loss"):
        units = derived.rows("SELECT sum(units) AS units FROM flow WHERE endpoint = ?", endpoint)[0]["units"]
        assert units == len(derived.times(endpoint))


def test_the_flow_counts_patients_once():
    derived = Clinic().fit("2020-01-01", ("33", "43")).visit("2021-01-01", "recall", WORN, ("43", "insert", "worn", "replaced")).build()
    row = derived.rows("SELECT * FROM flow WHERE endpoint = 'insert worn'")[0]
    assert (row["units"], row["patients"], row["events"], row["patients_with_events"]) == (4, 1, 2, 1)


def silent(unlisted, listed=True, reason="recall"):
    clinic = Clinic().fit("2020-01-01", ("33", "43"))
    rows = (("43", "insert", "worn", "replaced"),) if listed else ()
    return clinic.visit("2021-01-01", reason, *rows, checked="notes silent").build(unlisted=unlisted)


def test_where_the_notes_are_silent_the_plan_decides():
    assert silent("not checked").time("insert worn")["left_day"] == 0
    assert silent("sound").time("insert worn")["left_day"] == 366
    asked = silent("ask")
    assert asked.time("insert worn")["left_day"] == 0
    assert any("notes do not say" in sentence for sentence in asked.built.warnings)


def test_unlisted_counts_as_sound_only_at_recalls_and_reviews_that_list_some_part():
    assert silent("sound", listed=False).time("insert worn")["left_day"] == 0
    assert silent("sound", reason="problem").time("insert worn")["left_day"] == 0
    assert silent("sound", reason="review").time("insert worn")["left_day"] == 366


def test_unlisted_sound_speaks_only_of_the_denture_that_was_listed():
    clinic = Clinic().fit("2020-01-01", ("33", "43")).denture("2020-01-01", arch="upper").fit("2020-01-01", ("13",), arch="upper")
    clinic.in_use = "P1/lower/1"
    derived = clinic.visit("2021-01-01", "recall", ("43", "insert", "worn", "replaced"), checked="notes silent").build(unlisted="sound")
    assert derived.time("insert worn", position="33")["left_day"] == 366
    assert derived.time("insert worn", position="13")["left_day"] == 0


def failures_only(recalls=False):
    clinic = None
    for number in range(6):
        name = f"P{number}"
        clinic = Clinic(name=name) if clinic is None else clinic.patient(name)
        clinic.fit("2018-01-01").visit("2018-01-08", "review", checked="all")
        if recalls:
            clinic.visit("2019-06-01", "recall", checked="all")
        if number < 2:
            clinic.visit("2020-01-01", "problem", WORN)
    return clinic.build(closing_day="2022-01-01")


def test_a_log_of_failures_only_withholds_curves():
    assert failures_only().built.guard == GUARD == "The log lists failures but not the visits where nothing was wrong"


def test_a_log_with_its_recalls_withholds_nothing():
    derived = failures_only(recalls=True)
    assert derived.built.guard is None


def test_a_log_too_young_for_recalls_withholds_nothing():
    clinic = Clinic().fit("2021-06-01").visit("2021-06-08", "review", checked="all").visit("2021-09-01", "problem", WORN)
    assert clinic.build(closing_day="2021-12-01").built.guard is None


def test_recalls_that_look_at_inserts_only_are_recalls_and_the_rest_is_warned_of():
    clinic = Clinic().fit("2018-01-01", ("33", "43"))
    clinic.visit("2019-01-01", "problem", WORN, ("43", "housing", "debonded", "picked up again")).visit("2020-01-01", "problem", ("33", "insert", "worn", "replaced"))
    for name in ("P2", "P3"):
        clinic.patient(name).fit("2018-01-01", ("33", "43")).visit("2021-06-01", "recall", checked="inserts only")
    derived = clinic.visit("2021-06-01", "recall", checked="inserts only").build(closing_day="2022-01-01")
    withheld = {row["part"]: row["withheld"] for row in derived.rows("SELECT * FROM guard")}
    assert withheld == {"insert": False, "housing": True, "abutment": False}
    assert derived.built.guard is None
    assert any("housings still serving were not recorded sound" in sentence for sentence in derived.built.warnings)


def test_the_log_says_how_well_it_looked():
    clinic = Clinic().fit("2018-01-01").visit("2019-01-01", "problem", WORN)
    clinic.patient("P2").fit("2018-01-01").visit("2018-07-01", checked="all").visit("2019-01-01", "recall", WORN).visit("2021-12-01", checked="all")
    clinic.patient("P3").fit("2018-01-01")
    row = clinic.build(closing_day="2022-01-01").rows("SELECT * FROM endpoint_counts WHERE endpoint = 'insert worn'")[0]
    assert (row["units"], row["patients"], row["events"], row["found_at_problem"]) == (5, 3, 2, 1)
    assert (row["gap_median"], row["gap_90"]) == (274.5, pytest.approx(346.9))  # gaps of 184 and 365 days, linear between
    assert (row["watched"], row["not_seen_lately"], row["never_seen"], row["patients_without_recall"]) == (3, 2, 2, 2)


def test_care_ends_for_everybody_at_the_first_long_gap():
    clinic = Clinic().fit("2018-01-01").visit("2018-12-01", checked="all").visit("2021-01-01", "recall", WORN)
    clinic.patient("P2").fit("2018-01-01").visit("2018-12-01", checked="all").visit("2021-01-01", checked="all")
    clinic.patient("P3").fit("2018-01-01").visit("2019-01-01", checked="all").visit("2020-01-01", "recall", WORN).visit("2021-01-01", checked="all")
    derived = clinic.build(under_care=True, closing_day="2021-02-01")
    main, cut = derived.times("insert worn"), derived.times("insert worn", "endpoint_times_under_care")
    assert [(r["patient_id"], r["left_day"], r["right_day"]) for r in main if r["serial"] == 1] == [("P1", 334, 1096), ("P2", 1096, None), ("P3", 365, 730)]
    assert [(r["patient_id"], r["left_day"], r["right_day"]) for r in cut if r["serial"] == 1] == [("P1", 334, None), ("P2", 334, None), ("P3", 365, 730)]
    bonds = derived.times("housing loss", "endpoint_times_under_care")
    assert [r["left_care"] for r in bonds] == [334 + 550 - 30, 334 + 550 - 30, 1127 - 30]
    late = [r for r in cut if r["patient_id"] == "P1" and r["serial"] == 2]
    assert late[0]["excluded"] == "after the first gap in care"


def test_without_asking_care_is_not_cut():
    derived = Clinic().fit("2018-01-01").visit("2021-01-01", "recall", WORN).build()
    assert derived.times("insert worn") == derived.times("insert worn", "endpoint_times_under_care")


def test_the_risk_table_holds_what_the_units_hold():
    clinic = Clinic().fit("2020-01-01", ("33", "43")).visit("2020-07-01", checked="all").visit("2021-01-01", "recall", WORN)
    derived = clinic.build()
    rows = derived.rows("SELECT first_insert, day, entered, failed, \"left\" FROM risk_table WHERE endpoint = 'insert worn' ORDER BY ALL")
    assert rows == [
        {"first_insert": False, "day": 0, "entered": 1, "failed": 0, "left": 1},
        {"first_insert": True, "day": 0, "entered": 2, "failed": 0, "left": 0},
        {"first_insert": True, "day": 182, "entered": 0, "failed": 0, "left": 1},
        {"first_insert": True, "day": 366, "entered": 0, "failed": 1, "left": 0},
    ]
    intervals = derived.rows("SELECT left_day, right_day, units FROM interval_table WHERE endpoint = 'insert worn' AND first_insert ORDER BY ALL")
    assert intervals == [{"left_day": 182, "right_day": 366.0, "units": 1}, {"left_day": 182, "right_day": float("inf"), "units": 1}]


def test_a_denture_whose_patient_never_came_is_counted():
    derived = Clinic().fit("2020-01-01").patient("P2").build()
    assert derived.built.counts["dentures_without_a_visit"] == 1
    assert any("without any dated visit" in sentence for sentence in derived.built.warnings)


def test_an_empty_log_builds_to_nothing():
    derived = Clinic(delivered="").build()
    assert derived.rows("SELECT * FROM episodes") == [] and derived.built.guard is None


def test_a_second_build_takes_the_place_of_the_first():
    from outcomes.episodes import build
    from outcomes.plan import read_plan

    derived = Clinic().fit("2020-01-01").visit("2021-01-01", "recall", WORN).build()
    before = derived.times("insert worn")
    build(derived.connection, read_plan())
    assert derived.times("insert worn") == before


def test_a_log_that_may_only_be_read_can_be_built(tmp_path):
    import duckdb
    from clinic_log import SOURCES

    from outcomes.episodes import build
    from outcomes.plan import read_plan

    derived = Clinic().fit("2020-01-01").visit("2021-01-01", "recall", WORN).build()
    path = tmp_path / "log.duckdb"
    derived.connection.execute(f"ATTACH '{path}' AS kept")
    for name in SOURCES:
        derived.connection.execute(f"CREATE TABLE kept.{name} AS SELECT * FROM main.{name}")
    derived.connection.execute("DETACH kept")
    with duckdb.connect(str(path), read_only=True) as connection:
        build(connection, read_plan())
        assert connection.execute("SELECT count(*) FROM episodes").fetchone()[0] == 4


def test_a_code_the_codebook_does_not_know_is_a_plain_sentence():
    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "recall", ("33", "insert", "eaten", "replaced"))
    with pytest.raises(DataProblem, match="codebook") as problem:
        clinic.build()
    assert "eaten" not in str(problem.value)


def test_a_row_that_stands_twice_is_a_plain_sentence():
    clinic = Clinic().fit("2020-01-01").visit("2021-01-01", "recall", WORN)
    clinic.tables["parts_log"].append(dict(clinic.tables["parts_log"][-1]))
    with pytest.raises(DataProblem, match="twice"):
        clinic.build()


@pytest.mark.parametrize(("changes", "message"), [
    ({"unit": "crown"}, "unit"), ({"findings": ["melted"]}, "melted"), ({"noticed_by": "luck"}, "noticed_by"), ({"any_of": ["first repair"]}, "no endpoint of its own"),
])  # fmt: skip
def test_an_endpoint_that_means_nothing_is_refused(changes, message):
    from outcomes.episodes.declared import chosen_endpoints

    row = {"name": "mine", "unit": "denture", "noticed_by": "record"} | changes
    with pytest.raises(Misuse, match=message):
        chosen_endpoints({"endpoints": [row]})


def test_an_unknown_endpoint_or_rule_is_refused():
    with pytest.raises(Misuse, match="no endpoint"):
        Clinic().build(endpoints=["insert melted"])
    with pytest.raises(Misuse, match="unlisted"):
        Clinic().build(unlisted="maybe")
    with pytest.raises(Misuse, match="closing_day"):
        Clinic().build(closing_day="last week")
