"""What estimators finish on: counts made in SQL give the very curve that the rows give."""

from __future__ import annotations

import numpy as np
import pytest
from clinic_log import connect
from simulated_log import Clinic, calendar

from outcomes import longevity
from outcomes.episodes import build
from outcomes.plan import read_plan


@pytest.fixture(scope="module")
def connection():
    clinic = Clinic(11, patients=150, perfect=False, late=True)
    plan = {key: dict(value) if isinstance(value, dict) else value for key, value in read_plan().items()}
    plan["audit"]["closing_day"] = calendar(clinic.closing)
    made = connect(clinic.tables)
    build(made, plan)
    return made


def included(connection, endpoint, more=""):
    return connection.execute(f"SELECT * FROM endpoint_times WHERE endpoint = ? AND excluded = '' {more} ORDER BY unit_id", [endpoint]).df()


@pytest.mark.parametrize("endpoint", ["insert worn", "housing bond failure", "first repair"])
def test_the_curve_from_counts_is_the_curve_from_rows(connection, endpoint):
    rows = included(connection, endpoint, "AND found_day > entry_day")
    assert (rows["entry_day"] > 0).any()
    of_rows = longevity.kaplan_meier(rows["found_day"], rows["observed"], entry=rows["entry_day"])
    counts = connection.execute("SELECT day, sum(failed) AS failed, sum(\"left\") AS \"left\", sum(entered) AS entered FROM risk_table WHERE endpoint = ? GROUP BY day ORDER BY day", [endpoint]).df()
    unseen = included(connection, endpoint, "AND found_day = 0")  # fresh and never looked at: they enter and leave on day 0
    counts.loc[counts["day"] == 0, ["left", "entered"]] -= len(unseen)
    of_counts = longevity.kaplan_meier_from_counts(counts["day"], counts["failed"], counts["left"], entered=counts["entered"])
    days = np.arange(0, 2500, 50)
    assert of_counts.survival_at(days) == pytest.approx(of_rows.survival_at(days), abs=1e-12)
    assert of_counts.standard_error_at(days) == pytest.approx(of_rows.standard_error_at(days), abs=1e-12)


def test_patient_robust_errors_come_out_of_counts_by_patient(connection):
    rows = included(connection, "insert worn", "AND fresh AND found_day > 0")
    of_rows = longevity.kaplan_meier(rows["found_day"], rows["observed"], cluster=rows["patient_id"])
    units = tuple(rows["patient_id"].unique())
    counts = connection.execute("SELECT patient_id, day, sum(failed) AS failed, sum(\"left\") AS \"left\" FROM risk_table_by_patient WHERE endpoint = 'insert worn' AND day > 0 GROUP BY ALL").df()
    late = included(connection, "insert worn", "AND NOT fresh")
    for row in late.itertuples():  # the late ones aside, to have everybody under observation from the start
        mine = (counts["patient_id"] == row.patient_id) & (counts["day"] == row.found_day)
        counts.loc[mine, "failed" if row.observed else "left"] -= 1
    counts = counts[(counts["failed"] + counts["left"]) > 0]
    assert set(counts["patient_id"]) == set(units)
    of_counts = longevity.kaplan_meier_from_counts(counts["day"], counts["failed"], counts["left"], cluster=counts["patient_id"])
    days = np.arange(50, 2000, 100)
    assert of_counts.standard_error_at(days) == pytest.approx(of_rows.standard_error_at(days), rel=1e-9)


def test_the_interval_censored_curve_from_distinct_intervals_is_that_from_rows(connection):
    rows = included(connection, "insert worn", "AND fresh")
    table = connection.execute("SELECT left_day, right_day, sum(units) AS units FROM interval_table WHERE endpoint = 'insert worn' GROUP BY ALL ORDER BY ALL").df()
    assert table["units"].sum() == len(rows) and len(table) < len(rows)
    of_rows = longevity.turnbull(rows["left_day"], rows["right_day"].astype(float).fillna(np.inf))
    of_counts = longevity.turnbull(table["left_day"], table["right_day"], weights=table["units"])
    days = np.arange(0, 2500, 50)
    assert of_counts.survival_at(days) == pytest.approx(of_rows.survival_at(days), abs=1e-6)
    assert of_counts.log_likelihood == pytest.approx(of_rows.log_likelihood, abs=1e-6)


@pytest.mark.parametrize("endpoint", ["insert worn", "housing bond failure", "abutment loosening", "first repair", "any insert change"])
def test_every_estimator_takes_the_rows_as_they_come(connection, endpoint):
    rows = included(connection, endpoint)
    late = ~rows["fresh"]
    assert (rows["found_day"] > rows["entry_day"])[late].all()
    assert (rows["left_day"] >= rows["entry_day"]).all()
    assert (rows["left_day"] < rows["right_day"]).loc[rows["observed"]].all()
    assert rows["right_day"].isna().equals(~rows["observed"])
    assert (rows["competing_day"].notna() == ~rows["cause"].isin(["", "event"])).all()
    assert (rows["cause"] == "event").equals(rows["observed"])
    assert (rows["competing_day"].dropna() >= 1).all()
