"""Piecewise exponential hazards: against R's Poisson regression, brute force and known truth, joining of pieces, refusals."""

from __future__ import annotations

import doctest
import importlib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from outcomes.longevity import ArgumentError, accelerated_failure, piecewise_exponential
from outcomes.longevity.observations import observations
from outcomes.longevity.piecewise_fit import PiecewiseLikelihood

BETWEEN = dict(left="sound", right="worn")
CUTS = [200.0, 500.0, 1000.0]


def looks(seed: int, patients: int = 120, *, intervals: bool = True) -> pd.DataFrame:
    """Rates 0.0004, 0.0008, 0.0012, 0.0006 per day in the pieces, half again as fast where firm; about yearly looks, some entries late."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), rng.integers(1, 5, patients))
    n = len(patient)
    firm, age = rng.integers(0, 2, n), rng.normal(65, 8, n).round(1)
    target = rng.exponential(size=n) / np.exp(np.log(1.5) * firm)
    edges, rates = np.array([0.0, *CUTS]), np.array([4e-4, 8e-4, 12e-4, 6e-4])
    reached = np.concatenate([[0.0], np.cumsum(np.diff(edges) * rates[:-1])])
    piece = np.searchsorted(reached, target, side="right") - 1
    life = edges[piece] + (target - reached[piece]) / rates[piece]
    entry = np.where(rng.random(n) < 0.3, rng.uniform(50, 400, n), 0.0)
    closing = entry + rng.uniform(100, 2500, n)
    keep = life > entry
    if intervals:
        gap = rng.uniform(150, 420, n)
        sound = entry + np.floor((life - entry) / gap) * gap
        worn = sound + gap
        sound = np.where(worn > closing, entry + np.floor((closing - entry) / gap) * gap, sound)
        worn = np.where(worn > closing, np.inf, worn)
        keep &= np.isfinite(worn) | (sound > entry)
    else:
        sound, worn = np.minimum(life, closing), np.where(life <= closing, life, np.inf)
    return pd.DataFrame({"patient": patient, "firm": firm, "age": age, "sound": sound, "worn": worn, "entry": entry})[keep].reset_index(drop=True)


def theta(fitted) -> np.ndarray:
    return np.concatenate([np.log(fitted.hazards["rate"]), fitted.coefficients["estimate"]])


@pytest.mark.needs_r
def test_rs_poisson_regression_on_split_rows_gives_the_same_rates_and_effects(r):
    frame = looks(1, intervals=False)
    theirs = r("""
      d$dead <- is.finite(suppressWarnings(as.numeric(d$worn))) * 1
      s <- survSplit(Surv(entry, sound, dead) ~ firm + age, d, cut = c(200, 500, 1000), episode = "piece", start = "t0", end = "t1")
      fit <- glm(dead ~ factor(piece) - 1 + firm + age + offset(log(t1 - t0)), poisson, s, control = list(epsilon = 1e-14))
      list(estimate = coef(fit), se = sqrt(diag(vcov(fit))))""", d=frame)
    ours = piecewise_exponential(frame, "firm + age", entry="entry", cuts=CUTS, **BETWEEN)
    assert theta(ours).tolist() == pytest.approx(theirs["estimate"], rel=1e-6)
    assert np.sqrt(np.diag(ours.covariance)).tolist() == pytest.approx(theirs["se"], rel=1e-5)


def test_one_piece_is_the_exponential_accelerated_failure_model_turned_round():
    frame = looks(2)
    ours = piecewise_exponential(frame, "firm + age", entry="entry", cuts=[], cluster="patient", **BETWEEN)
    other = accelerated_failure(frame, "firm + age", entry="entry", distribution="exponential", cluster="patient", **BETWEEN)
    assert ours.log_likelihood == pytest.approx(other.log_likelihood, rel=1e-10)
    assert theta(ours).tolist() == pytest.approx((-other.coefficients["estimate"]).tolist(), rel=1e-7)
    assert ours.covariance.to_numpy() == pytest.approx(other.covariance.to_numpy(), rel=1e-6)
    new = pd.DataFrame({"firm": [0, 1], "age": [60, 70]})
    for a, b in zip(ours.survival_interval_at(900, new), other.survival_interval_at(900, new)):
        assert a.tolist() == pytest.approx(b.tolist(), rel=1e-6)


def test_no_other_rates_do_better_with_intervals_and_late_entry():
    frame = looks(3)
    fitted = piecewise_exponential(frame, "firm", entry="entry", cuts=CUTS, **BETWEEN)
    edges = np.array([0.0, *CUTS])

    def log_likelihood(x):
        """Written out: cumulative hazard at a time, survival differences, division by survival to entry."""
        def cumulated(t):
            lived = np.clip(np.minimum(t[:, None], np.append(CUTS, np.inf)) - edges, 0, None)
            return lived @ np.exp(x[:4]) * np.exp(x[4] * frame["firm"].to_numpy())
        left, right, entry = (frame[c].to_numpy() for c in ("sound", "worn", "entry"))
        late = np.where(np.isinf(right), 0.0, np.exp(-cumulated(np.where(np.isinf(right), 1.0, right))))
        return float(np.sum(np.log(np.exp(-cumulated(left)) - late) + cumulated(entry)))

    best = theta(fitted)
    assert log_likelihood(best) == pytest.approx(fitted.log_likelihood, rel=1e-9)
    found = optimize.minimize(lambda s: -log_likelihood(best + 0.1 * s), np.ones(5), method="Nelder-Mead", options={"maxiter": 4000, "xatol": 1e-8, "fatol": 1e-10})
    assert -found.fun <= fitted.log_likelihood + 1e-7


def test_score_and_curvature_are_derivatives_of_the_value():
    frame = pd.concat([looks(4, 20), looks(5, 20, intervals=False)], ignore_index=True)
    seen = observations(frame, "sound", "worn", "entry")
    weights = np.random.default_rng(0).uniform(0.5, 2, len(frame))
    target = PiecewiseLikelihood(seen, np.array(CUTS), np.column_stack([frame["firm"], (frame["age"] - 65) / 8]), weights)
    at, h = np.array([-7.5, -7, -7.2, -7.4, 0.3, -0.2]), 1e-5
    _, score, hessian = target(at)
    for k, step in enumerate(h * np.eye(6)):
        up, down = target(at + step), target(at - step)
        assert score[k] == pytest.approx((up[0] - down[0]) / (2 * h), rel=1e-5, abs=1e-6)
        assert hessian[k] == pytest.approx((up[1] - down[1]) / (2 * h), rel=1e-5, abs=1e-5)


def test_the_true_curve_lies_within_the_limits_at_every_horizon():
    fitted = piecewise_exponential(looks(6, 1200), "firm", entry="entry", cuts=CUTS, cluster="patient", **BETWEEN)
    times = np.array([200.0, 500.0, 1000.0, 1800.0])
    truth = np.exp(-np.array([0.08, 0.32, 0.92, 1.40]))
    low, high = fitted.survival_interval_at(times, pd.DataFrame({"firm": [0]}))
    assert (low[0] < truth).all() and (truth < high[0]).all()
    assert fitted.survival_at(times, pd.DataFrame({"firm": [0]}))[0] == pytest.approx(truth, abs=0.04)
    assert fitted.coefficients.loc["firm", "low"] < np.log(1.5) < fitted.coefficients.loc["firm", "high"]
    assert fitted.survival_at(0, pd.DataFrame({"firm": [1]})).tolist() == [1.0]


def test_ignoring_late_entry_flatters_the_parts():
    frame = looks(7, 600)
    right = piecewise_exponential(frame, "1", entry="entry", cuts=CUTS, **BETWEEN)
    wrong = piecewise_exponential(frame, "1", cuts=CUTS, **BETWEEN)
    assert wrong.survival_at(365)[0] > right.survival_at(365)[0] + 0.03


def test_pieces_are_joined_until_each_is_expected_to_hold_five_events():
    frame = looks(8, 40)
    fitted = piecewise_exponential(frame, "1", entry="entry", cuts=[30, 60, 90, 200, 400, 1000, 5000], **BETWEEN)
    assert (fitted.hazards["expected_events"] >= 5).all() and len(fitted.hazards) < 8
    assert "joined" in fitted.note
    assert fitted.hazards["expected_events"].sum() == pytest.approx(fitted.counts["events"])
    assert fitted.hazards["start"].tolist()[1:] == fitted.hazards["end"].tolist()[:-1] == fitted.cuts.tolist()


def test_a_handful_of_events_leaves_one_piece():
    frame = pd.DataFrame({"sound": [300.0, 500, 900, 1200, 1500], "worn": [600.0, 800, np.inf, np.inf, 1900]})
    assert piecewise_exponential(frame, "1", **BETWEEN).counts["pieces"] == 1


def test_pieces_no_interval_tells_apart_are_joined():
    """Looks at 1000 and 2000 only: a cut at 500 or 1500 means nothing, one at 1000 does."""
    frame = pd.DataFrame({"sound": 40 * [0.0] + 20 * [1000.0] + 20 * [2000.0], "worn": 40 * [1000.0] + 20 * [2000.0] + 20 * [np.inf]})
    fitted = piecewise_exponential(frame, "1", cuts=[500, 1000, 1500], **BETWEEN)
    assert fitted.cuts.tolist() == [1000] and "500, 1500" in fitted.note
    assert fitted.survival_at([1000, 2000])[0].tolist() == pytest.approx([0.5, 0.25])


def test_left_out_cuts_are_years_in_days():
    fitted = piecewise_exponential(looks(9, 900), "1", entry="entry", **BETWEEN)
    assert set(fitted.cuts) <= {0.5 * 365.25, 365.25, 730.5, 1095.75, 1826.25, 2922.0} and len(fitted.cuts) >= 4


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 1000), factor=st.sampled_from([1 / 365.25, 24.0]))
def test_the_unit_of_time_scales_the_rates_and_the_order_of_rows_changes_nothing(seed, factor):
    frame = looks(seed, 60)
    other = frame.assign(**{c: frame[c] * factor for c in ("sound", "worn", "entry")}).sample(frac=1, random_state=seed)
    a = piecewise_exponential(frame, "firm", entry="entry", cuts=CUTS, cluster="patient", **BETWEEN)
    b = piecewise_exponential(other, "firm", entry="entry", cuts=np.array(CUTS) * factor, cluster="patient", **BETWEEN)
    assert (b.hazards[["rate", "low", "high"]] * factor).to_numpy() == pytest.approx(a.hazards[["rate", "low", "high"]].to_numpy(), rel=1e-6)
    assert b.coefficients.to_numpy() == pytest.approx(a.coefficients.to_numpy(), rel=1e-5, abs=1e-9)


@settings(max_examples=5, deadline=None)
@given(seed=st.integers(0, 1000))
def test_a_weight_is_a_repetition_and_row_clusters_are_row_robust(seed):
    frame = looks(seed, 60).assign(times=lambda f: np.random.default_rng(seed).integers(1, 4, len(f)), row=lambda f: np.arange(len(f)))
    a = piecewise_exponential(frame, "firm", weights="times", cuts=CUTS, **BETWEEN)
    b = piecewise_exponential(frame.loc[frame.index.repeat(frame["times"])], "firm", cuts=CUTS, **BETWEEN)
    assert theta(b).tolist() == pytest.approx(theta(a).tolist(), rel=1e-7)
    robust = piecewise_exponential(frame, "firm", cluster="row", cuts=CUTS, **BETWEEN)
    assert np.diag(robust.covariance).tolist() == pytest.approx((robust.influence**2).sum(axis=0), rel=1e-9)
    assert np.abs(robust.influence.sum(axis=0)).max() < 1e-6


@pytest.mark.parametrize(("change", "call", "argument"), [
    ({"sound": np.nan}, {}, "left"), ({"worn": -5.0}, {}, "right"), ({"age": np.nan}, {}, "formula"), ({}, {"cuts": [5, 5]}, "cuts"),
    ({}, {"cuts": [0, 5]}, "cuts"), ({}, {"formula": "one"}, "formula"), ({}, {"cluster": "one"}, "cluster"), ({}, {"level": 5}, "level"),
])
def test_bad_input_is_refused(change, call, argument):
    frame = looks(20).assign(one=1.0)
    for column, value in change.items():
        frame.loc[1, column] = value
    with pytest.raises(ArgumentError) as caught:
        piecewise_exponential(frame, **{"formula": "firm + age", **BETWEEN, **call})
    assert caught.value.argument == argument and caught.value.remedy


def test_an_effect_without_bound_is_refused_by_name():
    frame = looks(21)
    frame.loc[frame["firm"] == 1, ["sound", "worn"]] = [3000.0, np.inf]
    with pytest.raises(ArgumentError, match="do not bound the effect of firm"):
        piecewise_exponential(frame, "firm + age", entry="entry", **BETWEEN)


@pytest.mark.parametrize("name", ["piecewise"])
def test_the_examples_in_the_docstrings_hold(name):
    outcome = doctest.testmod(importlib.import_module(f"outcomes.longevity.{name}"))
    assert outcome.attempted and not outcome.failed
