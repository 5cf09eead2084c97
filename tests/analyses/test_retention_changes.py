"""Changes of level: the path of each denture by hand, shares that add up, and a step that does nothing looks like nothing."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
import pytest

from outcomes.analyses import retention_changes
from outcomes.analyses.cohort import Log, read_log
from outcomes.analyses.levels_paths import paths
from outcomes.analyses.retention import settling
from outcomes.analyses.retention_alive import still_with_denture
from outcomes.analyses.retention_figures import columns
from outcomes.analyses.retention_steps import DOWN, UP, felt, steps
from outcomes.plan import read_plan
from outcomes.present import words

START = pd.Timestamp("2020-01-01")
FORCE = {"light": 6.7, "medium": 13.3, "firm": 20.0, None: np.nan}


def plan(**report):
    body = read_plan()
    body._body["report"] = {**body["report"], "draws": 60, **report}
    return body


def day(number) -> pd.Timestamp:
    return pd.NaT if number is None else START + pd.Timedelta(days=number)


def log(inserts, *, left=None, retired=None, said=(), scores=(), closing=1000, conversions=()) -> Log:
    """A log from (patient, position, level, fitted, ended) per insert; ``left``: patient to (day, reason); ``said``: (patient, day, word)."""
    left, retired = left or {}, retired or {}
    serial: dict = {}
    rows = []
    for patient, position, level, fitted, ended in inserts:
        serial[patient, position] = serial.get((patient, position), 0) + 1
        number = serial[patient, position]
        rows.append((f"{patient}/{position}/{number}", patient, f"{patient}/lower/1", "lower", position, "insert", float(number), number == 1, day(fitted), day(ended), "", level, FORCE[level]))
    people = sorted({row[1] for row in rows})
    visits = [(f"{p}/{d}", p, day(d), "recall", 20.0, word, True, False, True) for p, d, word in said] + [(f"{p}/{d}/c", p, day(d), "conversion", 60.0, None, True, False, True) for p, d in conversions]
    answers = [(p, day(d), "day", "yearly", "mouth", "satisfaction_card", 1, float(score), "patient", "home") for p, d, score in scores]
    names = {"visits": ["visit_id", "patient_id", "day", "reason", "minutes", "snap", "seen", "problem", "looked"], "answers": ["patient_id", "answered_on", "answered_on_precision", "occasion", "about", "instrument", "item", "response", "filled_by", "where"]}
    frame = lambda data, columns: pd.DataFrame(data, columns=columns)  # noqa: E731
    return Log(
        plan(), (START + pd.Timedelta(days=closing)).date() if closing else datetime.date(1970, 1, 1), len(people), 0,
        frame([(p, 1950, "female", day(left[p][0]) if p in left else pd.NaT, left[p][1] if p in left else None) for p in people], ["patient_id", "birth_year", "sex", "left_on", "left_reason"]).astype({"left_on": "datetime64[ns]"}).assign(ends_on=lambda frame: frame["left_on"]),
        frame([(f"{p}/lower/1", p, "lower", START, "day", day(retired.get(p)), None, None) for p in people], ["denture_id", "patient_id", "arch", "delivered_on", "delivered_on_precision", "retired_on", "retired_reason", "existing"]).astype({"retired_on": "datetime64[ns]"}),
        frame(visits, names["visits"]).astype({"day": "datetime64[ns]", "seen": bool}), pd.DataFrame(), pd.DataFrame(), frame(answers, names["answers"]).astype({"answered_on": "datetime64[ns]"}),
        frame(rows, ["episode_id", "patient_id", "denture_id", "arch", "position", "part", "serial", "first_insert", "fitted_on", "ended_on", "ending", "level", "retention_n"]).astype({"fitted_on": "datetime64[ns]", "ended_on": "datetime64[ns]"}),
        pd.DataFrame(), "",
    )  # fmt: skip


def spells(found, patient):
    rows = found.rows[found.rows["patient_id"] == patient]
    return [tuple(row) for row in rows[["start", "stop", "state", "became"]].itertuples(index=False)]


# ---------------------------------------------------------------- where people settle


def test_a_denture_is_at_the_firmest_of_its_inserts():
    found = paths(log([("A", "33", "light", 0, 100), ("A", "33", "medium", 100, None), ("A", "43", "light", 0, 300), ("A", "43", "firm", 300, 400), ("A", "43", "light", 400, None)]))
    assert spells(found, "A") == [(0, 100, "light", "medium"), (100, 300, "medium", "firm"), (300, 400, "firm", "medium"), (400, 1000, "medium", "")]


def test_replaced_on_the_same_day_is_never_without_an_insert_and_out_for_a_day_is():
    found = paths(log([("A", "33", "light", 0, 100), ("A", "33", "light", 100, None), ("B", "33", "light", 0, 100), ("B", "33", "light", 101, None)]))
    assert spells(found, "A") == [(0, 1000, "light", "")]
    assert spells(found, "B") == [(0, 100, "light", "without insert"), (100, 101, "without insert", "light"), (101, 1000, "light", "")]


def test_death_and_a_denture_out_of_use_are_states_and_moving_away_is_not():
    one = [(name, "33", "light", 0, None) for name in "ABC"]
    found = paths(log(one, left={"A": (200, "died"), "B": (300, "moved")}, retired={"C": 400}))
    assert spells(found, "A") == [(0, 200, "light", "patient died")]
    assert spells(found, "B") == [(0, 300, "light", "")]
    assert spells(found, "C") == [(0, 400, "light", "denture gone")]


def test_an_unknown_start_is_counted_and_an_unknown_later_level_is_a_state():
    found = paths(log([("A", "33", None, 0, None), ("B", "33", "light", 0, 50), ("B", "33", None, 50, None)]))
    assert found.unknown == 1 and spells(found, "A") == []
    assert spells(found, "B") == [(0, 50, "light", "level not known"), (50, 1000, "level not known", "")]


def many(n=40):
    rng = np.random.default_rng(5)
    inserts, left = [], {}
    for number in range(n):
        name, first, second = f"P{number:02}", int(rng.integers(20, 500)), int(rng.integers(520, 900))
        if rng.random() < 0.5:
            inserts += [(name, "33", "light", 0, first), (name, "33", "medium", first, second), (name, "33", "light" if rng.random() < 0.3 else "firm", second, None)]
        else:
            inserts.append((name, "33", "light", 0, None))
        if rng.random() < 0.4:
            left[name] = (int(rng.integers(100, 900)), "died" if rng.random() < 0.5 else "moved")
    return log(inserts, left=left)


def test_columns_are_the_shares_over_time_and_streams_lead_from_one_to_the_next():
    found = paths(many())
    what = columns(found, 5)
    assert [column.title for column in what.columns] == ["delivery", "3 months", "1 year", "2 years"]
    for column, time in zip(what.columns, (0, 91, 365.25, 730.5)):
        assert sum(column.shares.values()) == pytest.approx(1)
        for state, share in column.shares.items():
            assert share == pytest.approx(found.occupancy.probability_at(time, state), abs=1e-9)
    for place, flow in enumerate(what.flows):
        for end, side in ((place, 0), (place + 1, 1)):
            for state, share in what.columns[end].shares.items():
                assert sum(part for pair, part in flow.items() if pair[side] == state) == pytest.approx(share, abs=1e-9)


def test_of_those_with_the_denture_the_share_is_over_those_who_still_have_it():
    # ten light dentures; five step at 100; of the other five, three die at 200: of all started 5/10 unchanged, with denture 2 of 7
    inserts, left = [], {}
    for number in range(10):
        name = f"P{number}"
        inserts += [(name, "33", "light", 0, 100), (name, "33", "medium", 100, None)] if number < 5 else [(name, "33", "light", 0, None)]
        if number in (5, 6, 7):
            left[name] = (200, "died")
    made = log(inserts, left=left)
    rule = plan(minimum_patients=2)
    found = still_with_denture(settling(made), paths(made), rule).set_index("after")
    assert found.loc["3 months", "share"] == 1.0
    assert found.loc["1 year", "share"] == pytest.approx(2 / 7)
    assert settling(made).still_at(1)[0] == pytest.approx(0.5)


# ---------------------------------------------------------------- before and after a step


def test_the_word_before_is_that_of_the_day_and_the_word_after_the_first_asked_within_a_year():
    made = log(
        [("A", "33", "light", 0, 100), ("A", "33", "medium", 100, None), ("B", "33", "medium", 0, 90), ("B", "33", "light", 90, None), ("C", "33", "light", 0, 50), ("C", "33", "firm", 50, None)],
        said=[("A", 100, "a bit loose"), ("A", 190, "just right"), ("A", 400, "far too firm"), ("B", 90, "far too firm"), ("B", 500, "just right"), ("C", 80, "a bit firm")],
    )
    found = steps(made)
    up, down = found.first(UP).set_index("patient_id"), found.first(DOWN).set_index("patient_id")
    assert (up.loc["A", "before"], up.loc["A", "after"], up.loc["A", "days_after"]) == ("a bit loose", "just right", 90)
    assert up.loc["C", "before"] is None and up.loc["C", "after"] == "a bit firm"
    assert down.loc["B", "before"] == "far too firm" and down.loc["B", "after"] is None  # asked 410 days later
    assert list(found.asked(UP)["patient_id"]) == ["A"]


def test_a_conversion_and_an_insert_of_unknown_level_are_no_steps():
    made = log([("A", "33", "light", 0, 100), ("A", "33", "medium", 100, None), ("B", "33", "light", 0, 100), ("B", "33", None, 100, None)], conversions=[("A", 100)])
    assert steps(made).rows.empty


def scored(effect, seed, people=100, visits=6):
    """Patients answer every half year and are stepped up on bad days by their score alone; each step adds ``effect`` to later scores."""
    rng = np.random.default_rng(seed)
    inserts, scores = [], []
    for number in range(people):
        name, own, level, since = f"P{number:03}", rng.normal(75, 15 * 0.6**0.5), 0, 0
        for visit in range(visits):
            when = 90 + 180 * visit + int(rng.integers(-20, 21))
            score = own + effect * level + rng.normal(0, 15 * 0.4**0.5)
            scores.append((name, when, float(np.clip(score, 0, 100))))
            if level < 2 and rng.random() < (0.6 if score < 60 else 0.03):
                inserts.append((name, "33", list(FORCE)[level], since, when))
                level, since = level + 1, when
        inserts.append((name, "33", list(FORCE)[level], since, None))
    return log(inserts, scores=scores, closing=1200)


def through_the_log(effect, seeds):
    found = [felt(made, steps(made)).change for made in (scored(effect, seed) for seed in seeds)]
    return np.array([one.effect.value for one in found]), np.array([one.observed_rise for one in found]), np.array([one.expected_rise for one in found])


def test_a_step_that_does_nothing_looks_like_a_rise_and_is_shown_to_be_none():
    effect, rise, expected = through_the_log(0.0, range(12))
    assert rise.mean() > 0.4 * 15  # what the naive reading finds
    assert abs(effect.mean()) <= 0.1 * 15 + 3 * effect.std() / len(effect) ** 0.5
    assert expected.mean() == pytest.approx(rise.mean(), abs=0.15 * 15)


def test_a_step_that_helps_is_found():
    effect, _, _ = through_the_log(6.0, range(20, 32))
    assert effect.mean() == pytest.approx(6.0, abs=0.1 * 15 + 3 * effect.std() / len(effect) ** 0.5)


# ---------------------------------------------------------------- the page


def text_of(page) -> str:
    import re

    html = re.sub(r"<(style|svg).*?</\1>", "", page.read_text(encoding="utf-8"), flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_the_page_of_the_demo_clinic_prints_the_expected_rise_and_never_says_because(simulated, tmp_path):
    store = simulated(90, 46)
    page = retention_changes.report(store, plan(), tmp_path)
    text = text_of(page)
    assert "expected had nothing been done" in text and "Only" in text and "it takes 10 for a comparison" in text
    before_methods = text.split(" Methods Levels over time:")[0].lower()
    assert "because" not in before_methods and "lifetime" not in before_methods
    assert [name for name in words.METHOD_NAMES if name in before_methods] == []
    assert {path.name for path in (tmp_path / "figures").glob("*.svg")} >= {"paths_of_level.svg", "levels_over_time.svg", "snap_step_up.svg"}
    with_shares = pd.read_csv(tmp_path / "tables/levels.csv")
    assert with_shares.groupby("years")["share"].sum().to_numpy() == pytest.approx(1.0)
    assert read_log(store.connection, plan()).everybody == 90


def test_nobody_who_agreed_gives_a_page_that_says_so(simulated, tmp_path):
    store = simulated(20, 3, cast={"consent": {"no": 1.0}})
    assert "The log cannot say" in text_of(retention_changes.report(store, plan(), tmp_path))


@pytest.mark.parametrize(("patients", "seed"), [(1, 1), (2, 5), (12, 9)])
def test_a_handful_of_patients_gives_a_page(simulated, tmp_path, patients, seed):
    assert "too few" in text_of(retention_changes.report(simulated(patients, seed), plan(), tmp_path)).lower()
