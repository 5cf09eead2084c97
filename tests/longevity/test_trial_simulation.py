"""A confounded clinic whose truth is known: weighting finds it where a crude comparison does not, and refuses where it cannot.

Design after Morris, White and Crowther 2019 (Stat Med 38:2074; from memory). The full run is marked slow and writes
tests/simulations/strategy.csv, where its last result stands.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from outcomes.longevity import CountSoFar, Outcome, emulated_trial

YEAR = 365.25
RECORD = Path(__file__).resolve().parents[1] / "simulations" / "strategy.csv"


def patients(rng, n):
    """(what is known on day 0, visits a year on a light start): whoever needs more visits is likelier to start firmer."""
    known = {name: (rng.random(n) < share).astype(float) for name, share in (("upper", 0.2), ("four sites", 0.25), ("grinds", 0.15), ("dexterity", 0.15))}
    known |= {"age": rng.normal(0, 1, n), "year": rng.integers(0, 5, n).astype(float)}
    rate = rng.gamma(2, 0.5, n) * (0.5 + 0.35 * known["grinds"] + 0.25 * known["upper"] - 0.2 * known["dexterity"] + 0.12 * known["age"])
    return known, np.maximum(rate, 0.02)


@cache
def usual_rate() -> float:
    return float(patients(np.random.default_rng(0), 1_000_000)[1].mean())


def time_in_play() -> float:
    """Years in play within two, deaths falling on 15 % of the ends, which are uniform from 1 to 8 years: S(t) = ((8 − t)/7)^0.15 after year 1."""
    return 1 + (7**1.15 - 6**1.15) / (1.15 * 7**0.15)


def clinic(rng, effect=0.0, n=200, overlap=True):
    """A trial of one such clinic; ``effect``: true mean difference in visits within two years."""
    known, rate = patients(rng, n)
    if overlap:
        chance = -0.2 + 0.9 * (known["grinds"] - 0.15) + 0.6 * (known["upper"] - 0.2) - 0.9 * (known["dexterity"] - 0.15) + 0.24 * known["age"] + 0.1 * (known["year"] - 2)
        other = rng.random(n) < 1 / (1 + np.exp(-chance))
    else:
        other = rng.random(n) < np.where(known["year"] >= 3, 0.97, 0.03)  # the start was changed from one year to the next
    rate = rate * np.where(other, 1 + effect / (usual_rate() * time_in_play()), 1.0)
    end, died = np.round(rng.uniform(1, 8, n) * YEAR), rng.random(n) < 0.15
    count = rng.poisson(rate * end / YEAR)
    who = np.repeat(np.arange(n), count)
    day = np.ceil(rng.random(len(who)) * end[who])
    return other, pd.DataFrame(known), CountSoFar(end, died, who, day, np.ones(len(who)), 2 * YEAR)


def run(repetitions, seed, *, effect=0.0, overlap=True, draws=200):
    """Means over the clinics in which a comparison was printed, and the share refused."""
    rng, kept, spread = np.random.default_rng(seed), [], []
    for number in range(repetitions):
        other, known, measure = clinic(rng, effect, overlap=overlap)
        zero = np.zeros(len(other))
        found = emulated_trial(other, known, [Outcome("visits", measure)], decided=zero, begun=zero, draws=draws, seed=number)
        if found.fair:
            one = found.contrasts[0]
            kept.append((one.difference.value, one.crude_difference.value, one.difference.low <= effect <= one.difference.high))
            early = measure.day <= measure.horizon
            spread.append(np.bincount(measure.who[early], minlength=len(other))[measure.end >= measure.horizon].std())
    value, crude, held = (np.array(column, dtype=float) for column in zip(*kept)) if kept else (np.array([]),) * 3
    some = len(value) > 1
    return {
        "effect": effect, "overlap": overlap, "repetitions": repetitions, "refused": 1 - len(value) / repetitions, "sd": float(np.mean(spread)) if some else np.nan,
        "bias": float(value.mean() - effect) if some else np.nan, "bias_error": float(value.std(ddof=1) / len(value) ** 0.5) if some else np.nan,
        "crude_bias": float(crude.mean() - effect) if some else np.nan, "coverage": float(held.mean()) if some else np.nan,
    }  # fmt: skip


def test_the_truth_of_the_generator_is_what_it_says():
    rng = np.random.default_rng(12)
    values = [CountSoFar(m.end, m.gone, m.who, m.day, m.amount, m.horizon).at(np.ones(len(o))) for o, _, m in (clinic(rng, n=4000) for _ in range(15))]
    assert np.mean(values) == pytest.approx(usual_rate() * time_in_play(), abs=3 * np.std(values) / len(values) ** 0.5 + 0.004)


def test_a_confounded_clinic_with_no_effect_shows_none():
    found = run(60, seed=11, draws=60)
    assert found["crude_bias"] > 0.1  # the crude comparison finds one
    assert abs(found["bias"]) <= 0.05 * found["sd"] + 3 * found["bias_error"]
    assert found["coverage"] >= 0.93 - 3 * np.sqrt(0.95 * 0.05 / 40)


def test_where_the_start_was_changed_from_one_year_to_the_next_nothing_is_compared():
    assert run(40, seed=13, overlap=False, draws=2)["refused"] >= 0.9


@pytest.mark.slow
def test_strategy_in_full():
    # what it gave stands in tests/simulations/strategy.csv
    rows = [run(1000, seed=2100), run(1000, seed=2101, effect=-0.5), run(300, seed=2102, overlap=False, draws=2)]
    pd.DataFrame(rows).round(4).to_csv(RECORD, index=False, lineterminator="\n")
    for row in rows[:2]:
        assert abs(row["bias"]) <= 0.05 * row["sd"] + 3 * row["bias_error"]
        assert 0.93 - 3 * 0.0085 <= row["coverage"] <= 0.97 + 3 * 0.0085  # nominal with three Monte Carlo errors of about 600 printed
    assert rows[0]["crude_bias"] > 0.1
    assert rows[2]["refused"] >= 0.9
