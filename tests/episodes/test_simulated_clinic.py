"""The package's simulated clinic, whose truth is known: every part comes back from a log without a gap, and none is misread from one full of them."""

from __future__ import annotations

import pandas as pd
import pyarrow as pa
import pytest
from clinic_log import ARROW, SOURCES, connect

from outcomes import schemas
from outcomes.episodes import build
from outcomes.episodes.build import GUARD
from outcomes.plan import read_plan
from outcomes.synthetic_data import scenario, simulate

# Endings the truth tells and a log without a gap cannot: who gives up the denture keeps the abutment, and nobody writes that a patient has stopped coming.
SAME_ENDING = {"left unseen": "", "changed to plain denture": "changed to plain denture"}


def stored(clinic):
    """A connection holding the clinic's log as a store would."""
    connection = connect()
    for name, frame in clinic.stored_tables().items():
        if name not in SOURCES:
            continue
        columns = dict(schemas.stored_tables()[name].stored_columns)
        for column, kind in columns.items():
            if kind == "DATE":
                frame[column] = pd.to_datetime(frame[column]).dt.date
        table = pa.Table.from_pandas(frame[list(columns)], pa.schema([(c, ARROW[kind]) for c, kind in columns.items()]), preserve_index=False)
        connection.register("given", table)
        connection.execute(f"INSERT INTO {name} SELECT * FROM given")
    return connection


@pytest.fixture(scope="module")
def without_a_gap():
    clinic = simulate("perfect", patients=250, seed=4)
    connection = stored(clinic)
    return clinic, connection, build(connection, read_plan())


@pytest.fixture(scope="module")
def full_of_gaps():
    habits = scenario(
        "demo",
        cast={"already_in_place": 0.4, "both_jaws": 0.4, "upper_only": 0.2, "ball_in_log": 0.3},
        recording={"visit_by_month": 0.2, "why_unwritten": 0.2, "level_unwritten": 0.2, "housings_too": 0.5},
        housing={"years_chairside": 8.0, "years_laboratory": 12.0, "lost": 0.2},
        implant={"lost_in_5_years_lower": 0.2},
        decisions={"left_in": 0.4, "remake": 0.5, "remake_from_years": 0.5},
    )
    clinic = simulate(habits, patients=500, seed=12)
    connection = stored(clinic)
    return clinic, connection, build(connection, read_plan())


def with_truth(clinic, connection):
    """Every true part beside its episode; parts are named alike, abutments by their patient."""
    episodes = connection.execute("SELECT * FROM episodes").df()
    own = episodes["denture_id"] + "/" + episodes["position"] + "/" + episodes["part"] + "/" + episodes["serial"].astype(str)
    parts = clinic.truth.parts.set_index("part_id")
    assert sorted(own) == sorted(parts.index)
    return parts.join(episodes.set_index(own), rsuffix="_read")


def test_every_part_of_a_log_without_a_gap_comes_back(without_a_gap):
    both = with_truth(*without_a_gap[:2])
    assert len(both) > 2500
    assert (both["fitted_on"] == both["fitted_on_read"]).all()
    true_ending = both["ending"].replace(SAME_ENDING)
    assert (true_ending == both["ending_read"]).all()
    over = both[both["ending"] != ""]
    by_month = over["ending"] == "died"  # a death is often known to the month only, and then counts from its first day
    assert (over["ended_on"] == pd.to_datetime(over["ended_on_read"]))[~by_month].all()
    assert ((over["ended_on"] - pd.to_datetime(over["ended_on_read"])).dt.days[by_month].between(0, 30)).all()
    fitted = both[both["part"] == "insert"]
    assert (fitted["level"] == fitted["level_read"]).all() and fitted["retention_n_read"].to_numpy() == pytest.approx(fitted["retention_n"].to_numpy())


def test_a_log_full_of_gaps_still_names_every_part_that_served(full_of_gaps):
    both = with_truth(*full_of_gaps[:2])
    known = both["arrival_read"] == "fitted"
    assert (both["arrival"] == both["arrival_read"]).mean() > 0.99 and known.sum() > 4000
    first, last = pd.to_datetime(both["fitted_on_read"])[known], pd.to_datetime(both["fitted_on_last"])[known]
    true = both["fitted_on"][known]
    assert ((first <= true) & (true <= last)).all()


def clocks(clinic, connection, endpoint):
    """Included rows of an endpoint beside the true life of their unit, where the unit's clock started as the log says."""
    rows = connection.execute("SELECT * FROM endpoint_times WHERE endpoint = ? AND excluded = ''", [endpoint]).df()
    true = clinic.truth.failures
    true = true[true["endpoint"] == endpoint].sort_values("started_on")
    if endpoint == "housing bond failure":  # bonds are counted from the one in place when the log began
        begins = clinic.truth.visits.groupby("patient_id")["visited_on"].min()
        following = true.groupby(["denture_id", "position"])["started_on"].shift(-1)
        true = true[following.isna() | (following >= true["patient_id"].map(begins))]
        true = true.assign(serial=true.groupby(["denture_id", "position"]).cumcount() + 1)
        rows = rows[rows["fresh"]]
    else:
        true = true[true["first"]].assign(serial=lambda f: 1 if endpoint == "denture fracture" else f["unit_id"].str.rsplit("/").str[-1].astype(int))
    if endpoint == "denture fracture":
        rows, keys = rows[rows["fresh"]].drop(columns="serial"), ["denture_id"]
        true = true.drop(columns="serial")
    else:
        keys = ["patient_id" if endpoint in ("abutment loosening", "attachment wear") else "denture_id", "position", "serial"]
    both = rows.merge(true, on=keys, how="left", suffixes=("", "_true"), validate="1:1")
    assert both["started_on"].notna().all()
    return both.assign(life=(both["failed_on"] - both["started_on"]).dt.days.fillna(10**6))


@pytest.mark.parametrize("endpoint", ["insert worn", "housing bond failure", "abutment loosening", "attachment wear", "denture fracture"])
def test_no_true_failure_lies_outside_its_interval_and_no_failed_part_is_called_sound(full_of_gaps, endpoint):
    both = clocks(*full_of_gaps[:2], endpoint)
    assert (both["life"] > both["left_look"]).all()
    assert (both["life"] > both["entry_day"]).all()
    found = both[both["observed"]]
    assert len(found) >= {"insert worn": 500, "housing bond failure": 300, "abutment loosening": 20, "attachment wear": 10, "denture fracture": 5}[endpoint]
    assert (found["life"] <= found["right_look"]).all()
    narrowed = found[(found["noticed_left"] > found["left_day"]) | (found["noticed_right"] < found["right_day"])]
    assert ((narrowed["noticed_left"] < narrowed["life"]) & (narrowed["life"] <= narrowed["noticed_right"])).all()
    assert len(narrowed) > 20 or endpoint not in ("insert worn", "housing bond failure")


def test_in_a_log_without_a_gap_every_failure_that_happened_is_found(without_a_gap):
    both = clocks(*without_a_gap[:2], "insert worn")
    assert both["observed"].equals(both["found_on"].notna())
    assert ((both["right_day"] - both["left_day"])[both["observed"]] >= 1).all()


def test_a_log_of_failures_only_is_seen_for_what_it_is():
    connection = stored(simulate("failures_only", patients=150, seed=2))
    assert build(connection, read_plan()).guard == GUARD


def test_neither_of_the_other_logs_is_mistaken_for_one(without_a_gap, full_of_gaps):
    assert without_a_gap[2].guard is None and full_of_gaps[2].guard is None
