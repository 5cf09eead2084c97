"""How long wear goes unnoticed: against formulas that can be worked by hand, and against parts simulated one by one."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes import longevity
from outcomes.longevity.unnoticed import failed_share, time_unnoticed, unnoticed_time

YEAR = 365.25


def weibull(scale: float, shape: float):
    return failed_share([np.log(scale)], [1 / shape], "weibull")


def simulated(scale, shape, interval, horizon, coming=0.0, within=0.0, parts=1_000_000, seed=5):
    """(mean, 90th centile, share of time) of parts worn and looked at one by one."""
    chance = np.random.default_rng(seed)
    wear = scale * chance.weibull(shape, parts)
    wait = np.ceil(wear / interval) * interval - wear
    wait = np.where(chance.random(parts) < coming, np.minimum(wait, within), wait)
    inside = wear <= horizon
    unseen = np.clip(np.minimum(wear + wait, horizon) - wear, 0, None)
    in_place = np.minimum(wear + wait, horizon)
    return wait[inside].mean(), np.quantile(wait[inside], 0.9), unseen.sum() / in_place.sum()


def test_wear_as_likely_on_any_day_waits_half_the_time_between_looks():
    # Uniform wear between looks: mean d/2, 90th centile 0.9 d. A uniform life over ten looks is exactly that.
    even = lambda t: np.clip(t / 3650.0, 0, 1)  # noqa: E731
    mean, upper, _ = unnoticed_time(even, 365.0, horizon=3650.0)
    assert mean[0] == pytest.approx(182.5, rel=1e-12)
    assert upper[0] == pytest.approx(0.9 * 365, rel=1e-9)


@pytest.mark.parametrize("interval", [91.0, 182.0, 365.0, 730.0])
def test_a_constant_chance_of_wear_waits_as_the_formula_says(interval):
    # T exponential: E[U] = d/(1 - exp(-d/m)) - m; worn unseen: 1 - (1 - exp(-d/m)) m/d of the time in place; P(U <= u) = (e^(u/m) - 1)/(e^(d/m) - 1).
    # By memorylessness the same up to any horizon that is a whole number of looks.
    m = 3 * YEAR
    rise = -np.expm1(-interval / m)
    mean, upper, time = unnoticed_time(weibull(m, 1.0), interval, horizon=6 * interval)
    assert mean[0] == pytest.approx(interval / rise - m, rel=1e-10)
    assert upper[0] == pytest.approx(m * np.log1p(0.9 * np.expm1(interval / m)), rel=1e-9)
    assert time[0] == pytest.approx(1 - rise * m / interval, rel=1e-10)


@pytest.mark.parametrize("horizon", [1200.0, 1461.0])
@pytest.mark.parametrize(("coming", "within"), [(0.0, 0.0), (0.4, 30.0), (0.95, 60.0), (1.0, 14.0)])
def test_parts_simulated_one_by_one_agree(horizon, coming, within):
    for shape, interval in ((1.6, 365.0), (0.8, 182.0)):
        found = unnoticed_time(weibull(4 * YEAR, shape), interval, horizon=horizon, coming=coming, within=within)[:, 0]
        mean, upper, time = simulated(4 * YEAR, shape, interval, horizon, coming, within)
        assert found[0] == pytest.approx(mean, rel=0.01)
        assert found[1] == pytest.approx(upper, rel=0.015)
        assert found[2] == pytest.approx(time, rel=0.01)


def test_whoever_comes_at_once_leaves_nothing_unnoticed_and_looking_twice_as_often_halves_it_at_most():
    failed = weibull(4 * YEAR, 1.6)
    assert unnoticed_time(failed, 365.0, horizon=1461.0, coming=1.0, within=0.0)[:, 0] == pytest.approx([0, 0, 0], abs=1e-6)
    year, half = (unnoticed_time(failed, days, horizon=1461.0)[:, 0] for days in (365.25, 182.625))
    assert (half < year).all() and half[0] == pytest.approx(year[0] / 2, rel=0.1)


def test_limits_come_from_the_fit_and_cover_what_refitting_shows():
    # Many clinics of 120 patients: the limits of the mean hold the true mean about as often as they should (binomial, 3 SE: 0.95 -+ 0.065 of 100).
    truth = unnoticed_time(weibull(4 * YEAR, 1.6), 365.0, horizon=1461.0)[2, 0]
    chance, inside = np.random.default_rng(8), 0
    for _ in range(100):
        wear = 4 * YEAR * chance.weibull(1.6, 120)
        looks = 365.0 * np.ceil(wear / 365.0)
        seen = looks <= 1461
        frame = pd.DataFrame({"left": np.where(seen, looks - 365, 1460.0), "right": np.where(seen, looks, np.inf)})
        fit = longevity.accelerated_failure(frame, "1", left="left", right="right")
        row = time_unnoticed(fit, [365.0], horizon=1461.0, draws=400).rows.iloc[0]
        assert row["share_of_time_low"] < row["share_of_time"] < row["share_of_time_high"]
        inside += row["share_of_time_low"] <= truth <= row["share_of_time_high"]
    assert 88 <= inside <= 100


def test_all_shapes_can_be_read_and_rows_stand_in_the_order_asked():
    chance = np.random.default_rng(1)
    wear = 900 * chance.weibull(1.5, 80)
    frame = pd.DataFrame({"left": 180 * np.floor(wear / 180) + 1, "right": 180 * np.ceil(wear / 180) + 1})
    for shape in ("weibull", "lognormal", "loglogistic", "exponential"):
        fit = longevity.accelerated_failure(frame, "1", left="left", right="right", distribution=shape)
        table = longevity.time_unnoticed(fit, [365, 91, 182], horizon=1000, draws=100, coming=0.3, within=30, coming_draws=np.full(100, 0.3)).table()
        assert table["interval"].tolist() == [365, 91, 182]
        assert (table["mean_low"] <= table["mean"]).all() and (table["mean"] <= table["mean_high"]).all()
        assert table.set_index("interval").loc[91, "mean"] < table.set_index("interval").loc[365, "mean"]


@pytest.mark.parametrize("wrong", [{"intervals": [0.0]}, {"intervals": []}, {"horizon": 0.0}, {"coming": 1.5}, {"quantile": 1.0}, {"intervals": [0.001]}])
def test_what_cannot_be_asked_is_refused(wrong):
    fit = longevity.accelerated_failure(pd.DataFrame({"left": [1.0, 100.0, 50], "right": [90.0, 300.0, np.inf]}), "1", left="left", right="right")
    with pytest.raises(longevity.ArgumentError):
        time_unnoticed(fit, **({"intervals": [365.0], "horizon": 700.0} | wrong))
