"""The truth is known: true lives follow the declared law, and the log never contradicts them."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from outcomes.errors import Misuse
from outcomes.synthetic_data import scenario, simulate

YEAR = 365.25


@pytest.fixture(scope="module")
def textbook():
    return simulate("textbook", patients=4000, seed=21)


def first_inserts(clinic):
    parts = clinic.truth.parts
    return parts[(parts["part"] == "insert") & (parts["serial"] == 1) & (parts["arrival"] == "fitted")]


def test_given_the_frailty_true_lives_are_weibull_with_the_parameters_set(textbook):
    inserts = first_inserts(textbook)
    shape, years = textbook.scenario.insert.shape, textbook.scenario.insert.years
    given_frailty = inserts["life_days"] * inserts["frailty"] ** (1 / shape)
    found_shape, _, found_scale = stats.weibull_min.fit(given_frailty, floc=0)
    n = len(inserts)
    assert found_shape == pytest.approx(shape, abs=4 * 0.78 * shape / np.sqrt(n))  # asymptotic se of the Weibull shape: 0.78 k / sqrt(n)
    assert found_scale == pytest.approx(years * YEAR, abs=4 * 1.05 * years * YEAR / (shape * np.sqrt(n)))


def test_the_frailty_is_gamma_with_mean_one_and_the_variance_set(textbook):
    frailty = textbook.truth.patients["frailty"]
    variance = textbook.scenario.frailty.variance
    assert stats.kstest(frailty, stats.gamma(1 / variance, scale=variance).cdf).pvalue > 0.001
    assert simulate("textbook", patients=50, seed=1).truth.patients["frailty"].nunique() == 50
    unshared = simulate(scenario("textbook", frailty={"variance": 0.0}), patients=50, seed=1)
    assert (unshared.truth.patients["frailty"] == 1).all()


def test_true_survival_is_the_law_of_the_textbook(textbook):
    t = np.array([0.0, 365.25, 1096, 2192])
    h = (t / (4.0 * YEAR)) ** 1.5
    assert textbook.truth.survival("insert worn", t) == pytest.approx(1 / (1 + h), rel=1e-12)  # variance 1
    halved = simulate(scenario("textbook", frailty={"variance": 0.5}), patients=30, seed=1)
    assert halved.truth.survival("insert worn", t) == pytest.approx((1 + 0.5 * h) ** -2, rel=1e-12)
    alone = simulate(scenario("textbook", frailty={"variance": 0.0}), patients=30, seed=1)
    assert alone.truth.survival("insert worn", t) == pytest.approx(np.exp(-h), rel=1e-12)


@pytest.mark.parametrize("endpoint", ["insert worn", "housing bond failure", "abutment loosening", "denture fracture", "reline or rebase", "implant loss"])
def test_true_lives_of_the_demo_follow_the_true_survival(large, endpoint):
    truth = large.truth
    units = truth.failures[(truth.failures["endpoint"] == endpoint) & truth.failures["fresh"]]
    for days in (365, 1096, 1826):
        alive = units.assign(alive=units["life_days"] > days).groupby("patient_id")["alive"].agg(["sum", "count"])
        share = alive["sum"].sum() / alive["count"].sum()
        residual = alive["sum"] - share * alive["count"]
        se = np.sqrt((residual**2).sum()) / alive["count"].sum()
        assert share == pytest.approx(truth.survival(endpoint, days)[0], abs=4 * se), days


def test_true_survival_can_be_narrowed_to_a_group(large):
    light, firm = (large.truth.survival("insert worn", 1096, level=level)[0] for level in ("light", "firm"))
    assert light > firm
    assert large.truth.survival("housing bond failure", 730, pick_up="laboratory")[0] > large.truth.survival("housing bond failure", 730, pick_up="chairside")[0]
    with pytest.raises(Misuse, match="not a single clock"):
        large.truth.survival("any insert change", 365)


def test_first_repair_comes_sooner_than_any_of_its_causes(large):
    first = large.truth.survival("first repair", 365)[0]
    assert first < min(large.truth.survival(name, 365)[0] for name in ("insert worn", "housing bond failure", "denture fracture"))


LOOKED_AT = {
    "insert worn": ["all", "inserts only"],
    "housing bond failure": ["all"],
    "abutment loosening": ["all"],
    "attachment wear": ["all"],
}


@pytest.mark.parametrize("endpoint", LOOKED_AT)
def test_a_part_called_checked_and_not_listed_had_not_failed(every_habit, middling, endpoint):
    """At a visit that checked it, a part in service whose clock has run out is found then or was found before."""
    for clinic in (every_habit, middling):
        end = clinic.truth.parts.set_index("part_id")["ended_on"].fillna(pd.Timestamp.max)
        clocks = clinic.truth.failures[clinic.truth.failures["endpoint"] == endpoint]
        visits = clinic.stored_tables()["visits"][["visit_id", "parts_checked"]].merge(clinic.truth.visits)
        looks = visits[visits["parts_checked"].isin(LOOKED_AT[endpoint])].merge(clocks.dropna(subset="failed_on"), on=["patient_id", "arch"])
        looks = looks[(looks["started_on"] < looks["visited_on"]) & (looks["visited_on"] <= looks["unit_id"].map(end))]
        failed = looks["failed_on"] <= looks["visited_on"]
        missed = looks[failed & ~(looks["found_on"] <= looks["visited_on"])]
        assert failed.sum() > 20
        assert len(missed) <= (0.001 * failed.sum() if endpoint == "abutment loosening" else 0), missed  # a ball newly worn and newly loose at one conversion


def test_a_part_recorded_failed_had_failed(every_habit, middling):
    for clinic in (every_habit, middling):
        found = clinic.truth.failures.dropna(subset="found_on")
        assert len(found) > 500
        assert (found["failed_on"] <= found["found_on"]).all()
        log = clinic.stored_tables()
        worn = log["parts_log"].merge(clinic.truth.visits[["visit_id", "visited_on"]], on="visit_id")
        worn = worn[(worn["part"] == "insert") & worn["finding"].isin(["worn", "torn", "lost"])]
        true = found[found["endpoint"] == "insert worn"]
        matched = worn.merge(true, left_on=["denture_id", "position"], right_on=["denture_id", "position"])
        matched = matched[matched["found_on"] <= matched["visited_on"]]
        assert matched[["visit_id", "position"]].drop_duplicates().shape[0] == len(worn)


def test_what_the_patient_noticed_is_when_it_failed(every_habit):
    log = every_habit.stored_tables()
    rows = log["parts_log"].merge(every_habit.truth.visits[["visit_id", "visited_on"]], on="visit_id")
    rows = rows[rows["noticed_on_precision"].notna() & (rows["part"] == "insert")]
    true = every_habit.truth.parts
    rows = rows.merge(true[true["part"] == "insert"], on=["denture_id", "position"])
    rows = rows[rows["ended_on"] == rows["visited_on"]]
    assert len(rows) > 20
    by_day = rows["noticed_on_precision"] == "day"
    assert (rows["failed_on"] == rows["noticed_on"])[by_day].all()
    assert (rows["failed_on"].dt.strftime("%Y-%m") == rows["noticed_on"].dt.strftime("%Y-%m")).all()


def test_in_a_perfect_log_every_failure_in_service_is_found_on_its_day():
    clinic = simulate("perfect", patients=300, seed=8)
    parts, failures = clinic.truth.parts, clinic.truth.failures
    end = parts.set_index("part_id")["ended_on"].fillna(pd.Timestamp(clinic.scenario.clinic.closing))
    gone = failures["unit_id"].map(end)
    served = failures[gone.notna() & (failures["failed_on"] <= gone)]
    on_time = served["found_on"] == served["failed_on"]
    # a failure on the very day on which its part went for another reason may stay unseen, as may one on the day of leaving
    assert on_time[served["failed_on"] < gone[served.index]].all()
    assert on_time.mean() > 0.97 and len(served) > 300


def test_every_part_of_the_log_has_one_true_life(every_habit):
    log, parts = every_habit.stored_tables(), every_habit.truth.parts
    arrivals = log["parts_log"]["action"].isin(["fitted", "replaced"])
    assert arrivals.sum() == (parts["arrival"] == "fitted").sum()
    entering = log["parts_log"]["in_place_since_precision"].notna()
    assert entering.sum() == (parts["arrival"] == "already in place").sum()
    assert parts["part_id"].is_unique
    assert not (parts["ended_on"] < parts["fitted_on"]).any()


def test_parts_already_in_place_are_those_that_outlived_the_time_before_the_log(every_habit):
    parts, start = every_habit.truth.parts, pd.Timestamp(every_habit.scenario.clinic.start)
    old = parts[parts["arrival"] == "already in place"]
    assert (old["fitted_on"] < start).all() and not (old["ended_on"] < start).any()
    known = every_habit.stored_tables()["parts_log"]
    known = known[(known["in_place_since_precision"] == "day") & (known["part"] == "insert")].merge(every_habit.truth.visits[["visit_id", "denture_id"]])
    true = known.merge(old[old["part"] == "insert"], on=["denture_id", "position"])
    assert len(true) and (true["in_place_since"] == true["fitted_on"]).all()
