"""The simulated log obeys its declarations and the rules of order that any log must obey."""

import pandas as pd
import pytest

from outcomes import schemas
from outcomes.synthetic_data import simulate

DATE = r"\d{4}|\d{4}-\d\d|\d{4}-\d\d-\d\d|not known"
UPPER, LOWER = range(11, 29), range(31, 49)


@pytest.fixture(params=["demo", "every_habit", "perfect", "failures_only"])
def clinic(request):
    if request.param in ("perfect", "failures_only"):
        return simulate(request.param, patients=200, seed=2)
    return request.getfixturevalue(request.param)


@pytest.fixture
def log(clinic):
    return clinic.stored_tables()


def test_every_table_has_its_declared_columns_and_codes(clinic):
    for form in ("long", "day sheet"):
        for name, frame in clinic.tables(form).items():
            table = schemas.tables()[name]
            assert list(frame.columns) == [column.name for column in table.columns], name
            for column in table.columns:
                cells = frame[column.name].dropna()
                if column.required:
                    assert len(cells) == len(frame), (name, column.name)
                if column.code_list:
                    assert set(cells) <= set(column.code_list), (name, column.name)
                if column.type == "date":
                    assert cells.str.fullmatch(DATE).all(), (name, column.name)
                if column.plausible:
                    assert cells.between(*column.plausible).all(), (name, column.name)


def test_keys_are_unique_and_resolve(log):
    levels = set(log["insert_levels"]["level"]) | {"unknown"}
    for name, table in schemas.stored_tables().items():
        if name not in log:
            continue
        assert not log[name].duplicated(list(table.key)).any(), name
        for column in table.columns:
            if column.references:
                of, key = column.references.split(".")
                known = levels if of == "insert_levels" else set(log[of][key])
                assert set(log[name][column.name].dropna()) <= known, (name, column.name)


def test_the_keys_are_those_made_when_they_are_left_out(clinic):
    visits = clinic.long_tables()["visits"]
    made = visits["patient_id"] + "/" + visits["visited_on"] + ("/" + visits["arch"]).fillna("")
    assert (visits["visit_id"] == made).all()
    dentures = clinic.stored_tables()["dentures"].sort_values(["patient_id", "arch", "delivered_on"], kind="stable")
    count = dentures.groupby(["patient_id", "arch"]).cumcount() + 1
    assert (dentures["denture_id"] == dentures["patient_id"] + "/" + dentures["arch"] + "/" + count.astype(str)).all()


def test_nothing_lies_in_the_future_and_nobody_comes_after_leaving(clinic, log):
    closing = pd.Timestamp(clinic.scenario.clinic.closing)
    dates = {"visits": "visited_on", "dentures": "delivered_on", "questionnaires": "answered_on", "patients": "left_on", "parts_log": "noticed_on"}
    for frame, column in dates.items():
        assert (log[frame][column].dropna() <= closing).all(), (frame, column)
    visits = log["visits"].merge(log["patients"][["patient_id", "left_on", "left_on_precision"]], on="patient_id")
    exact = visits[visits["left_on_precision"] == "day"]
    assert (exact["visited_on"] <= exact["left_on"]).all()
    by_month = visits[visits["left_on_precision"] == "month"]
    assert (by_month["visited_on"] < by_month["left_on"]).all()


def test_positions_belong_to_the_jaw_of_their_denture(log):
    rows = log["parts_log"].merge(log["dentures"][["denture_id", "arch"]], on="denture_id")
    rows = rows[rows["position"] != "midline"]
    upper = rows["position"].astype(int).isin(UPPER)
    assert (upper == (rows["arch"] == "upper")).all()
    assert rows["position"].astype(int).isin([*UPPER, *LOWER]).all()


def test_parts_are_fitted_where_none_sits_and_replaced_where_one_does(log):
    rows = log["parts_log"].merge(log["visits"][["visit_id", "patient_id", "visited_on"]], on="visit_id").sort_values("visited_on", kind="stable")
    in_denture = rows["part"] != "abutment"
    carrier = rows["denture_id"].where(in_denture, rows["patient_id"])
    first = ~rows.assign(carrier=carrier).duplicated(["carrier", "position", "part"])
    assert (rows["action"][first].isin(["fitted"]) | rows["in_place_since_precision"][first].notna()).all(), "the first row fits a part or enters it as already in place"
    assert not (rows["action"][~first] == "fitted").any(), "nothing is fitted where a part sits"
    assert rows["in_place_since_precision"][~first].isna().all()


def test_no_part_is_handled_at_a_lost_implant(log):
    lost = log["implants"].loc[log["implants"]["state"] == "lost", ["patient_id", "position", "state_on"]]
    visits = log["visits"][["visit_id", "patient_id", "visited_on", "visited_on_precision"]]
    rows = log["parts_log"].merge(visits, on="visit_id").merge(lost, on=["patient_id", "position"])
    entering = rows["in_place_since_precision"].notna() & (rows["action"] == "none")  # lost when first seen: it still enters the log
    exact = rows[(rows["visited_on_precision"] == "day") & ~entering]
    assert len(exact) and (exact["visited_on"] < exact["state_on"]).all() or not len(lost)


def test_what_was_noticed_lies_before_the_visit_and_after_the_part_was_fitted(clinic, log):
    rows = log["parts_log"].merge(log["visits"][["visit_id", "visited_on"]], on="visit_id")
    rows = rows[rows["noticed_on_precision"].notna()]
    assert (rows["noticed_on"] <= rows["visited_on"]).all()
    assert rows["finding"].isin(["worn", "torn", "lost", "debonded", "loose in its seat"]).all()
    assert set(rows["part"]) <= {"insert", "housing"}


def test_laboratory_lines_and_calls_check_nothing_and_handle_no_part(log):
    quiet = log["visits"][log["visits"]["reason"].isin(["laboratory", "contact only"])]
    assert (quiet["parts_checked"] == "none").all()
    assert not log["parts_log"]["visit_id"].isin(quiet["visit_id"]).any()


def test_a_log_of_failures_only_holds_no_visit_without_a_handling(every_habit):
    clinic = simulate("failures_only", patients=300, seed=3)
    log = clinic.stored_tables()
    handled = set(log["parts_log"]["visit_id"]) | set(log["denture_log"]["visit_id"])
    assert set(log["visits"]["visit_id"]) <= handled
    assert len(log["visits"]) < 0.75 * len(simulate("demo", patients=300, seed=3).long_tables()["visits"])


def test_coarse_visits_share_their_month_with_no_other_visit(every_habit):
    visits = every_habit.stored_tables()["visits"]
    assert (visits["visited_on_precision"] == "month").mean() > 0.05
    visits["month"] = visits["visited_on"].dt.strftime("%Y-%m")
    coarse = visits[visits["visited_on_precision"] == "month"][["patient_id", "month"]].drop_duplicates()
    together = coarse.merge(visits, on=["patient_id", "month"])
    assert (together["visited_on_precision"] == "month").all()
    assert not visits[visits["visited_on_precision"] == "month"]["reason"].isin(["delivery", "conversion"]).any()
