"""Upkeep rates compared: against statsmodels and R, by hand, coverage with several visits of one mouth, refusals."""

from __future__ import annotations

import doctest
import importlib
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from outcomes.longevity import ArgumentError, negative_binomial_upkeep, poisson_upkeep

COLUMNS = dict(events="visits", exposure="years")


def patients(seed: int, n: int = 200, variance: float = 0.6) -> pd.DataFrame:
    """Two stretches of time per patient; visits vary between stretches beyond chance; 0.3 per year, half again as many with a bar."""
    rng = np.random.default_rng(seed)
    bar, age, years = rng.integers(0, 2, n), rng.normal(65, 8, n).round(1), rng.uniform(0.5, 6, n).round(2)
    factor = rng.gamma(1 / variance, variance, n) if variance else np.ones(n)
    visits = rng.poisson(factor * years * 0.3 * np.exp(np.log(1.5) * bar + 0.01 * (age - 65)))
    return pd.DataFrame({"patient": np.arange(n) // 2, "bar": bar, "age": age, "years": years, "visits": visits})


@pytest.mark.parametrize("mixed", [False, True])
def test_statsmodels_gives_the_same_estimates_errors_and_sandwich(mixed):
    import statsmodels.api as sm

    frame = patients(1)
    x = sm.add_constant(frame[["bar", "age"]])
    model = sm.NegativeBinomial(frame["visits"], x, exposure=frame["years"]) if mixed else sm.Poisson(frame["visits"], x, exposure=frame["years"])
    how = dict(disp=0, maxiter=500, method="newton")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = model.fit(**how)
        robust = model.fit(cov_type="cluster", cov_kwds={"groups": frame["patient"], "use_correction": False}, **how)
    call = negative_binomial_upkeep if mixed else poisson_upkeep
    plain, clustered = call(frame, "bar + age", **COLUMNS), call(frame, "bar + age", cluster="patient", **COLUMNS)
    assert plain.coefficients["estimate"].tolist() == pytest.approx(theirs.params[:3].tolist(), rel=1e-5)
    assert plain.coefficients["se"].tolist() == pytest.approx(theirs.bse[:3].tolist(), rel=1e-5)
    assert clustered.coefficients["se"].tolist() == pytest.approx(robust.bse[:3].tolist(), rel=1e-5)
    assert (plain.log_likelihood, plain.aic) == pytest.approx((theirs.llf, theirs.aic), rel=1e-8)
    if mixed:
        assert plain.dispersion.value == pytest.approx(theirs.params.iloc[3], rel=1e-5)


@pytest.mark.needs_r
def test_r_gives_the_same_poisson_regression(r):
    frame = patients(2)
    theirs = r("""fit <- glm(visits ~ bar + age + offset(log(years)), poisson, d, control = list(epsilon = 1e-14))
      list(estimate = coef(fit), se = sqrt(diag(vcov(fit))), loglik = as.numeric(logLik(fit)))""", d=frame)
    ours = poisson_upkeep(frame, "bar + age", **COLUMNS)
    assert ours.coefficients["estimate"].tolist() == pytest.approx(theirs["estimate"], rel=1e-7)
    assert ours.coefficients["se"].tolist() == pytest.approx(theirs["se"], rel=1e-6)
    assert ours.log_likelihood == pytest.approx(theirs["loglik"], rel=1e-10)


def test_without_covariates_the_robust_error_is_the_formula_for_one_rate():
    """SE of log r = sqrt(G/(G - 1) sum (E_c - r Y_c)^2) / (r sum Y), limits by t on G - 1 degrees of freedom."""
    frame = patients(3, 60)
    fitted = poisson_upkeep(frame, "1", cluster="patient", small_sample=True, **COLUMNS)
    sums = frame.groupby("patient")[["visits", "years"]].sum()
    rate = sums["visits"].sum() / sums["years"].sum()
    se = np.sqrt(30 / 29 * ((sums["visits"] - rate * sums["years"]) ** 2).sum()) / sums["years"].sum() / rate
    assert fitted.coefficients["se"].iloc[0] == pytest.approx(se, rel=1e-9)
    low, high = fitted.rate_interval_at()
    assert (low[0], fitted.rate_at()[0], high[0]) == pytest.approx((rate * np.exp(-stats.t.ppf(0.975, 29) * se), rate, rate * np.exp(stats.t.ppf(0.975, 29) * se)))


def test_the_published_rates_of_remission_come_back():
    """9 relapses in 359 weeks on 6-MP, 21 in 182 on placebo (Freireich et al. 1963); the ratio's error is sqrt(1/9 + 1/21)."""
    arms = pd.DataFrame({"drug": [1, 0], "visits": [9, 21], "years": [359, 182]})
    row = poisson_upkeep(arms, "drug", **COLUMNS).table().set_index("term").loc["drug"]
    assert row["rate_ratio"] == pytest.approx((9 / 359) / (21 / 182))
    assert row["se"] == pytest.approx(np.sqrt(1 / 9 + 1 / 21))


def test_robust_limits_hold_their_level_where_naive_ones_do_not():
    """Four stretches of time per patient sharing one gamma factor, group by patient (400 sets of 40 patients, no difference)."""
    robust = naive = 0
    for k in range(400):
        rng = np.random.default_rng(k)
        patient = np.repeat(np.arange(40), 4)
        visits = rng.poisson(rng.gamma(1, 1, 40)[patient] * 1.5)
        frame = pd.DataFrame({"patient": patient, "bar": patient % 2, "visits": visits, "years": 1.0})
        naive += poisson_upkeep(frame, "bar", **COLUMNS).coefficients.loc["bar", "p"] < 0.05
        robust += poisson_upkeep(frame, "bar", cluster="patient", small_sample=True, **COLUMNS).coefficients.loc["bar", "p"] < 0.05
    assert 0.02 < robust / 400 < 0.085
    assert naive / 400 > 0.25


def test_counts_no_more_spread_than_chance_stand_at_the_edge_and_agree_with_poisson():
    frame = pd.DataFrame({"visits": [2, 3, 2, 3, 2, 3, 2, 3], "years": 1.0, "bar": [0, 0, 0, 0, 1, 1, 1, 1]})
    mixed, plain = negative_binomial_upkeep(frame, "bar", **COLUMNS), poisson_upkeep(frame, "bar", **COLUMNS)
    assert mixed.dispersion.value == 0 and mixed.dispersion.high > 0 and "edge" in mixed.note
    assert mixed.coefficients.to_numpy() == pytest.approx(plain.coefficients.to_numpy(), rel=1e-9)


def test_a_known_dispersion_comes_back():
    fits = [negative_binomial_upkeep(patients(10 + k, 800), "bar", **COLUMNS) for k in range(6)]
    assert np.mean([f.dispersion.value for f in fits]) == pytest.approx(0.6, abs=0.08)
    assert sum(f.dispersion.low < 0.6 < f.dispersion.high for f in fits) >= 4
    assert np.mean([f.coefficients.loc["bar", "estimate"] for f in fits]) == pytest.approx(np.log(1.5), abs=0.1)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 1000), factor=st.sampled_from([365.25, 1 / 12]), mixed=st.booleans())
def test_the_unit_of_exposure_moves_the_intercept_only(seed, factor, mixed):
    call = negative_binomial_upkeep if mixed else poisson_upkeep
    frame = patients(seed, 120)
    a = call(frame, "bar", cluster="patient", **COLUMNS)
    b = call(frame.assign(years=frame["years"] * factor).sample(frac=1, random_state=seed), "bar", cluster="patient", **COLUMNS)
    assert b.coefficients.loc["bar"].tolist() == pytest.approx(a.coefficients.loc["bar"].tolist(), rel=1e-4, abs=1e-8)
    assert b.coefficients.loc["Intercept", "estimate"] == pytest.approx(a.coefficients.loc["Intercept", "estimate"] - np.log(factor), rel=1e-5, abs=1e-6)


def test_every_row_its_own_cluster_is_the_row_robust_error():
    frame = patients(4).assign(row=lambda f: np.arange(len(f)))
    fitted = poisson_upkeep(frame, "bar + age", cluster="row", **COLUMNS)
    assert fitted.coefficients["se"].tolist() == pytest.approx(np.sqrt((fitted.influence**2).sum(axis=0)), rel=1e-9)
    assert np.abs(fitted.influence.sum(axis=0)).max() < 1e-8


@pytest.mark.parametrize("call", [poisson_upkeep, negative_binomial_upkeep])
@pytest.mark.parametrize(("change", "argument", "position"), [
    ({"visits": -1.0}, "events", 1), ({"visits": 0.5}, "events", 1), ({"visits": np.nan}, "events", 1), ({"years": 0.0}, "exposure", 1),
    ({"years": np.nan}, "exposure", 1), ({"age": np.nan}, "formula", 1), ({"cluster": "one"}, "cluster", None), ({"formula": "colour"}, "formula", None),
    ({"small_sample": True}, "small_sample", None), ({"events": "calls"}, "events", None),
])
def test_bad_input_is_refused(call, change, argument, position):
    frame = patients(20).assign(one=1).astype(float)
    arguments = {"formula": "bar + age", **COLUMNS}
    for key, value in change.items():
        if key in ("visits", "years", "age"):
            frame.loc[1, key] = value
        else:
            arguments[key] = value
    with pytest.raises(ArgumentError) as caught:
        call(frame, **arguments)
    assert caught.value.argument == argument and caught.value.remedy and caught.value.position == position


@pytest.mark.parametrize("call", [poisson_upkeep, negative_binomial_upkeep])
def test_no_event_at_all_and_a_group_without_any_are_refused(call):
    frame = patients(21)
    with pytest.raises(ArgumentError, match="0 in every row"):
        call(frame.assign(visits=0), "bar", **COLUMNS)
    frame.loc[frame["bar"] == 1, "visits"] = 0
    with pytest.raises(ArgumentError, match="do not bound the effect of bar"):
        call(frame, "bar", **COLUMNS)


@pytest.mark.parametrize("name", ["upkeep_models"])
def test_the_examples_in_the_docstrings_hold(name):
    outcome = doctest.testmod(importlib.import_module(f"outcomes.longevity.{name}"))
    assert outcome.attempted and not outcome.failed
