"""Logs with known truth: a perfectly kept log gives every part back, and no log, however sloppy, is read as saying what is not so."""

from __future__ import annotations

import datetime

from clinic_log import Derived, connect
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from simulated_log import START, Clinic, calendar

from outcomes.episodes import build
from outcomes.plan import read_plan

QUICK = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow], "derandomize": True}
ENDPOINT_OF = {"insert": "insert worn", "housing": "housing bond failure", "abutment": "abutment loosening"}


def derive(clinic: Clinic) -> Derived:
    plan = {key: dict(value) if isinstance(value, dict) else value for key, value in read_plan().items()}
    plan["audit"]["closing_day"] = calendar(clinic.closing)
    connection = connect(clinic.tables)
    return Derived(connection, build(connection, plan, endpoints=list(ENDPOINT_OF.values())))


def owner_of(row) -> str:
    return row["patient_id"] if row.get("part", row.get("unit_kind")) == "abutment" else row["denture_id"]


@given(st.integers(0, 10**6))
@settings(max_examples=4, **QUICK)
def test_a_perfectly_kept_log_gives_back_every_true_episode(seed):
    clinic = Clinic(seed, patients=30)
    derived = derive(clinic)
    got = {}
    for row in derived.rows("SELECT * FROM episodes ORDER BY serial"):
        got.setdefault((owner_of(row), row["position"], row["part"]), []).append((row["fitted_on"], row["ended_on"], row["ending"]))
    true = {}
    for site, parts in clinic.parts.items():
        true[site] = [(on(part.fitted), on(part.ended), part.how) for part in parts]
    assert got == true


def on(day: int | None) -> datetime.date | None:
    return None if day is None else START + datetime.timedelta(days=day)


def true_clocks(clinic: Clinic, kind: str):
    """(owner, position) to the true (start, failing day, start in the log) of each unit, in order; a housing has one for each bond."""
    for (owner, position, part_kind), parts in clinic.parts.items():
        if part_kind != kind:
            continue
        seen = [part for part in parts if part.mentioned]
        if kind == "housing":
            yield owner, position, [(start, fails, part.logged_start or number > 0) for part in seen for number, (start, fails, _) in enumerate(part.bonds)]
        else:
            yield owner, position, [(part.fitted, part.bonds[0][1] if part.bonds else part.fails, part.logged_start) for part in seen]


def check_no_falsehood(clinic: Clinic, derived: Derived) -> int:
    """No true failure outside its (L, R], no failed part claimed sound; returns how many failures were held against their interval."""
    found = 0
    for kind, endpoint in ENDPOINT_OF.items():
        rows = {}
        for row in derived.times(endpoint):
            rows.setdefault((owner_of(row), row["position"]), {})[row["serial"]] = row
        for owner, position, clocks in true_clocks(clinic, kind):
            for number, (start, fails, known) in enumerate(clocks):
                row = rows[owner, position][number + 1]
                life = fails - start
                if not known:
                    assert row["excluded"] == "unknown start"
                if row["excluded"]:
                    continue
                where = (endpoint, owner, position, number + 1, life, row)
                assert life > row["entry_day"], where
                for rule in ("look", "care") if kind == "housing" else ("look",):
                    assert life > row[f"left_{rule}"], where
                    assert row[f"right_{rule}"] is None or life <= row[f"right_{rule}"], where
                if row["observed"]:
                    found += 1
                    assert row["noticed_left"] < life <= row["noticed_right"], where
                    assert row["left_day"] < row["right_day"] and not row["noticed_outside"], where
    return found


@given(st.integers(0, 10**6), st.sampled_from([180, 365, 730]), st.booleans())
@settings(max_examples=8, **QUICK)
def test_no_log_is_read_as_saying_what_is_not_so(seed, recall, late):
    clinic = Clinic(seed, patients=40, perfect=False, recall=recall, late=late)
    check_no_falsehood(clinic, derive(clinic))


def test_the_check_against_falsehood_sees_many_failures_and_late_entries():
    clinic = Clinic(20260, patients=120, perfect=False, late=True)
    derived = derive(clinic)
    assert check_no_falsehood(clinic, derived) > 250
    assert derived.rows("SELECT count(*) AS n FROM endpoint_times WHERE excluded = '' AND NOT fresh")[0]["n"] > 50
    assert derived.built.counts["visits_in_unknown_order"] > 0


def test_a_perfect_log_finds_every_failure_that_lasted_to_the_next_look():
    clinic = Clinic(7, patients=60)
    derived = derive(clinic)
    assert check_no_falsehood(clinic, derived) == sum(
        len(part.bonds) - (part.how != "failed") if kind == "housing" else part.tightened or part.how == "failed"
        for (_, _, kind), parts in clinic.parts.items() for part in parts)  # fmt: skip
