"""Why an insert was changed: what was seen, else what the patient said, else nothing is made up."""

from __future__ import annotations

import pytest
from clinic_log import Clinic

THREE_WAYS = ("insert worn", "insert worn or reported loose", "insert worn, reported or unclear")


def changed(on="2021-01-01", finding="notes silent", reason="wanted firmer", snap="a bit loose", history=None, **rules):
    clinic = Clinic().fit("2020-01-01")
    clinic.visit(on, "recall", ("33", "insert", finding, "replaced", {"change_reason": reason}), snap=snap, snap_history=history)
    return clinic.build(**rules)


def counted(derived):
    return [derived.time(name)["observed"] for name in THREE_WAYS]


@pytest.mark.parametrize(("change", "cause", "headlines"), [
    ({"finding": "worn", "history": "never right"}, "worn, seen", [True, True, True]),
    ({"history": "was right before"}, "worn, by report", [False, True, True]),
    ({"finding": "sound", "history": "was right before"}, "worn, by report", [False, True, True]),
    ({"history": "never right"}, "wish", [False, False, False]),
    ({"history": None, "on": "2020-02-01"}, "wish", [False, False, False]),
    ({"history": "was right before", "on": "2020-02-01"}, "worn, by report", [False, True, True]),
    ({"history": None}, "cannot tell", [False, False, True]),
    ({"snap": "not asked"}, "cannot tell", [False, False, True]),
    ({"snap": "just right"}, "wish", [False, False, False]),
    ({"reason": "wanted lighter", "snap": None}, "wish", [False, False, False]),
    ({"reason": "routine", "history": "was right before"}, "routine", [False, False, False]),
    ({"reason": "with its pair", "finding": "sound"}, "with its pair", [False, False, False]),
    ({"reason": "with its pair", "finding": "torn"}, "worn, seen", [True, True, True]),
    ({"reason": "failed", "snap": None}, "worn, by report", [False, True, True]),
    ({"reason": "conversion"}, "other work", [False, False, False]),
    ({"reason": None, "snap": None}, "cannot tell", [False, False, True]),
])  # fmt: skip
def test_the_cause_of_a_change_and_the_three_headlines(change, cause, headlines):
    derived = changed(**change)
    assert derived.episodes()[0]["cause"] == cause
    assert counted(derived) == headlines


def test_settling_days_are_the_plans():
    assert changed("2020-06-01").episodes()[0]["cause"] == "cannot tell"
    assert changed("2020-06-01", settling_days=200).episodes()[0]["cause"] == "wish"


def test_a_coarse_date_never_turns_wear_into_a_wish():
    clinic = Clinic(delivered="2020-01").fit("2020-01")
    clinic.visit("2020-04-15", "recall", ("33", "insert", "notes silent", "replaced"), snap="a bit loose")
    assert clinic.build().episodes()[0]["cause"] == "cannot tell"  # 75 days after the last possible day of fitting, 105 after the first


def test_reported_wear_is_known_to_have_come_after_the_last_look():
    clinic = Clinic().fit("2020-01-01").visit("2020-07-01", checked="all")
    clinic.visit("2021-01-01", "recall", ("33", "insert", "sound", "replaced", {"change_reason": "wanted firmer"}), snap="a bit loose", snap_history="was right before")
    derived = clinic.build()
    reported, seen = derived.time("insert worn or reported loose"), derived.time("insert worn")
    assert (reported["left_day"], reported["right_day"]) == (182, 366)
    assert (seen["left_day"], seen["right_day"], seen["cause"]) == (366, None, "wanted firmer")


def test_wear_only_reported_rules_out_seen_wear_under_its_own_name():
    derived = changed(reason="failed", snap="a bit loose", history="was right before")
    assert derived.time("insert worn")["cause"] == "worn, by report"


def neighbours(days_later=0, reason="routine", finding="sound", **rules):
    clinic = Clinic().fit("2020-01-01", ("33", "43"))
    rows = [("33", "insert", "worn", "replaced"), ("43", "insert", finding, "replaced", {"change_reason": reason})]
    if days_later:
        clinic.visit("2021-01-01", "recall", rows[0]).visit(f"2021-01-{1 + days_later:02}", "recall", rows[1])
    else:
        clinic.visit("2021-01-01", "recall", *rows)
    return clinic.build(**rules).episodes(position="43")[0]


def test_a_routine_change_beside_a_failure_was_changed_with_a_neighbour():
    assert neighbours()["ending"] == "changed with a neighbour"
    assert neighbours(14)["ending"] == "changed with a neighbour"
    assert neighbours(15)["ending"] == "routine"
    assert neighbours(15, pair_days=20)["ending"] == "changed with a neighbour"


def test_a_neighbour_changed_with_its_pair_or_on_wish_keeps_its_own_ending():
    assert neighbours(reason="with its pair")["ending"] == "with its pair"
    assert neighbours(reason="wanted lighter")["ending"] == "wanted lighter"


def test_a_neighbour_nobody_looked_at_may_have_been_worn_too():
    row = neighbours(reason=None, finding="not checked")
    assert (row["ending"], row["cause"]) == ("changed with a neighbour", "cannot tell")
    row = neighbours(reason=None, finding="sound")
    assert (row["ending"], row["cause"]) == ("changed with a neighbour", "with its pair")


def test_a_failure_in_the_other_denture_makes_no_neighbour():
    clinic = Clinic().fit("2020-01-01", ("33",)).denture("2020-01-01", arch="upper").fit("2020-01-01", ("13",), arch="upper")
    clinic.visit("2021-01-01", "recall", ("13", "insert", "sound", "replaced", {"change_reason": "routine"}), arch="upper")
    clinic.in_use = "P1/lower/1"
    clinic.visit("2021-01-01", "recall", ("33", "insert", "worn", "replaced"), arch="lower")
    assert clinic.build().episodes(position="13")[0]["ending"] == "routine"


def test_a_neighbour_changed_rules_its_wear_out_on_its_own_day():
    clinic = Clinic().fit("2020-01-01", ("33", "43"))
    clinic.visit("2021-01-01", "recall", ("33", "insert", "worn", "replaced"), ("43", "insert", "sound", "replaced", {"change_reason": "routine"}))
    row = clinic.build().time("insert worn", position="43")
    assert (row["cause"], row["competing_day"], row["left_day"]) == ("changed with a neighbour", 366, 366)
