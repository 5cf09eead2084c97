"""How many parts will be needed: against counts that can be worked out by formula, and against what is known to be coming."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from outcomes import longevity
from outcomes.longevity import ArgumentError, PartHistory, replacement_forecast

YEAR = 365.25


def clinic(patients=200, *, rate=0.5, sites=1, together=False, years=4.0, seed=1, next_level=None, cause="worn", gone=0.0, deliveries=0.0):
    """Parts whose chance of a change is the same at any age, ``rate`` a year and part (or denture, where they go together); closing on day 0."""
    chance, parts, people, dentures = np.random.default_rng(seed), [], [], []
    begin = -years * YEAR
    for number in range(patients):
        name, stop = f"P{number:04d}", 0.0
        if gone:
            stop = min(0.0, begin + chance.exponential(YEAR / gone))
        level = {site: "light" for site in range(sites)}
        fitted = {site: begin for site in range(sites)}
        changes = [(begin + day, site) for site in range(1 if together else sites) for day in np.cumsum(chance.exponential(YEAR / rate, 200)) if begin + day < stop] if rate else []
        for day, one in sorted(changes):
            for site in range(sites) if together else (one,):
                to = (next_level or {}).get(level[site], level[site])
                parts.append((name, name, site, fitted[site] == begin, level[site], fitted[site], fitted[site], day, cause if site == one else "with its pair", to, False))
                level[site], fitted[site] = to, day
        parts += [(name, name, site, fitted[site] == begin, level[site], fitted[site], fitted[site], stop, "", "", stop == 0.0) for site in range(sites)]
        people.append((name, begin, stop, stop < 0))
        dentures.append((name, name, begin, begin, stop, False, False))
    for number in range(int(deliveries * 2)):
        name, day = f"N{number:04d}", -chance.uniform(0, 2 * YEAR)
        parts += [(name, name, site, True, "light", day, day, 0.0, "", "", True) for site in range(sites)]
        people.append((name, day, 0.0, False))
        dentures.append((name, name, day, day, 0.0, False, True))
    frame = lambda rows, names: pd.DataFrame(rows, columns=list(names))  # noqa: E731
    from outcomes.longevity.replacement import CARRIERS, PARTS, PEOPLE

    return PartHistory(frame(parts, PARTS), frame(dentures, CARRIERS), frame(people, PEOPLE), 0.0, 2 * YEAR)


def row(forecast, level="all"):
    return forecast.table().set_index("level").loc[level]


def test_parts_of_one_age_less_chance_are_needed_as_the_rate_says():
    # Counts given the past are negative binomial: gamma(O, T) for the rate, Poisson given it (mean O t / T; Gelman et al., Bayesian Data Analysis, section 2.6, from memory).
    # The forecast reads the chance by age and patient too, so it follows chance there: over several clinics that evens out.
    said, meant = [], []
    for seed in range(6):
        history = clinic(300, seed=seed)
        law = stats.nbinom(history.changes, 8 / 9)
        forecast = row(replacement_forecast(history, 0.5 * YEAR, draws=250, seed=3))
        said.append([forecast["replaced"], forecast["replaced_low"], forecast["replaced_high"]])
        meant.append([law.mean(), law.ppf(0.1), law.ppf(0.9)])
        assert forecast["new"] == 0 and forecast["total"] == forecast["replaced"]
    assert np.mean(said, axis=0) == pytest.approx(np.mean(meant, axis=0), rel=0.04)


def test_pairs_that_are_always_changed_together_come_in_twos_and_need_a_wider_range():
    # A little of "one at a time" is mixed in where the log shows none (half a change's worth in some 600).
    said, meant = [], []
    for seed in range(6):
        history = clinic(300, sites=2, together=True, seed=seed)
        law = stats.nbinom(history.changes / 2, 8 / 9)
        forecast = row(replacement_forecast(history, 0.5 * YEAR, draws=250, seed=3))
        said.append([forecast["replaced"], forecast["replaced_low"], forecast["replaced_high"]])
        meant.append([2 * law.mean(), 2 * law.ppf(0.1), 2 * law.ppf(0.9)])
    assert np.mean(said, axis=0) == pytest.approx(np.mean(meant, axis=0), rel=0.045)


def test_patients_who_leave_need_nothing_more():
    history = clinic(500, gone=0.3)
    staying = history.patients_in_place
    seen = (history.parts["stop"] - history.parts["seen_from"]).sum() / YEAR
    rate, leaving = history.changes / seen, history.patients["gone"].sum() / seen
    expected = staying * rate * (1 - np.exp(-leaving)) / leaving  # the integral over a year of exp(-leaving t)
    assert row(replacement_forecast(history, YEAR, draws=400, seed=2))["replaced"] == pytest.approx(expected, rel=0.04)


def test_every_part_that_steps_up_is_needed_at_the_next_level():
    history = clinic(300, next_level={"light": "medium", "medium": "medium"})
    forecast = replacement_forecast(history, 0.5 * YEAR, draws=300, seed=4)
    assert row(forecast, "medium")["replaced"] > 0.98 * row(forecast)["replaced"] and row(forecast, "light")["replaced"] < 0.02 * row(forecast)["replaced"]


def test_new_sets_come_at_the_rate_of_the_last_years_and_stand_apart():
    history = clinic(100, sites=2, rate=0.2, deliveries=30)
    forecast = row(replacement_forecast(history, YEAR, draws=500, seed=5))
    # 30 sets a year of two, and their own changes in what is left of the year: 60 (1 + 0.2 / 2).
    assert forecast["new"] == pytest.approx(66, rel=0.06) and forecast["new_low"] < 60 < forecast["new_high"]
    assert forecast["total"] == pytest.approx(forecast["new"] + forecast["replaced"])


def test_a_patient_with_many_changes_behind_is_expected_to_need_more():
    # Two kinds of patients, six times apart: who had many changes weighs more, so the range must follow who is still here.
    often, seldom = clinic(100, rate=1.8, seed=1), clinic(100, rate=0.3, seed=2)
    both = lambda name, mark: pd.concat([getattr(often, name).assign(patient="A" + getattr(often, name)["patient"], **mark(often, name, "A")), getattr(seldom, name).assign(patient="B" + getattr(seldom, name)["patient"], **mark(seldom, name, "B"))], ignore_index=True)  # noqa: E731
    label = lambda one, name, letter: {} if name == "patients" else {"denture": letter + getattr(one, name)["denture"]}  # noqa: E731
    parts, dentures, patients = (both(name, label) for name in ("parts", "dentures", "patients"))
    parts.loc[parts["patient"].str.startswith("B"), "in_place"] = False
    forecast = replacement_forecast(PartHistory(parts, dentures, patients, 0.0, YEAR), YEAR, draws=300, seed=1)
    assert forecast.spread > 0.3
    assert row(forecast)["replaced"] == pytest.approx(180, rel=0.12)  # not the 105 of an average patient


def test_the_same_seed_gives_the_same_numbers_and_names_of_patients_do_not_matter():
    history = clinic(60, sites=2)
    one, two = (replacement_forecast(history, 180, draws=100, seed=9).table() for _ in range(2))
    pd.testing.assert_frame_equal(one, two)
    shuffled = PartHistory(history.parts.sample(frac=1, random_state=1), history.dentures.sample(frac=1, random_state=1), history.patients.sample(frac=1, random_state=1), 0.0, history.recent_days)
    pd.testing.assert_frame_equal(one, replacement_forecast(shuffled, 180, draws=100, seed=9).table())


def test_days_at_risk_and_changes_add_up():
    from outcomes.longevity.replacement import sums

    history = clinic(80, sites=3)
    found = sums(history)
    assert found.exposure.sum() == pytest.approx((history.parts["stop"] - history.parts["seen_from"]).sum())
    assert found.events.sum() == pytest.approx(history.parts[history.parts["cause"] != ""].groupby(["denture", "stop"]).ngroups)
    assert found.moves.sum() == pytest.approx(found.events.sum()) and found.sets.sum() == pytest.approx(found.events.sum())


@pytest.mark.parametrize(("change", "days"), [({"rate": 0.0}, 100), ({}, 0), ({}, float("nan"))])
def test_without_a_change_or_a_day_ahead_there_is_nothing_to_forecast(change, days):
    with pytest.raises(ArgumentError):
        replacement_forecast(clinic(20, **change), days, draws=10)


def test_a_part_that_ends_before_it_starts_is_refused():
    history = clinic(5)
    with pytest.raises(ArgumentError, match="before it starts"):
        PartHistory(history.parts.assign(stop=-99999.0), history.dentures, history.patients, 0.0, YEAR)
    with pytest.raises(ArgumentError, match="lacks the columns level"):
        PartHistory(history.parts.drop(columns="level"), history.dentures, history.patients, 0.0, YEAR)
    assert longevity.PartHistory is PartHistory
