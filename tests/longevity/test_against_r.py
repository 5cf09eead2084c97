"""Our numbers beside R's survival package, live, on random histories: ties, late entry, weights, clusters, heavy censoring,
groups with one event and with none, half days, and a curve that reaches 0."""

import json
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from outcomes import longevity

pytestmark = pytest.mark.needs_r
SCRIPT = Path(__file__).with_name("against_r.R")


def history(seed, n, *, top=60, censoring=0.4, unit=1.0, arms=2, events=None):
    """Rows with the columns every comparison needs; times are whole numbers of ``unit``."""
    r = np.random.default_rng(seed)
    frailty = r.gamma(2, 0.5, n)
    patient = r.integers(0, max(n // 3, 2), n)
    day = 1 + np.floor(np.minimum(r.exponential(top / 3, n) / frailty[patient % n], top - 1))
    cause = np.where(r.random(n) < censoring, "", r.choice(["worn", "lost", "wish"], n, p=[0.5, 0.3, 0.2]))
    if events is not None:
        cause[np.flatnonzero(cause != "")[events:]] = ""
    entry = np.where(r.random(n) < 0.5, 0, np.floor(r.random(n) * day * 0.9))
    frame = pd.DataFrame({"day": day * unit, "entry": entry * unit, "failed": (cause != "").astype(int), "cause": cause, "patient": patient,
                          "copies": r.integers(1, 4, n), "weight": r.uniform(0.3, 2.0, n).round(3), "arm": r.integers(0, arms, n), "clinic": r.integers(0, 3, n)})
    return frame


HISTORIES = {
    "many ties": history(1, 120, top=12),
    "few ties": history(2, 80, top=900),
    "heavy censoring": history(3, 150, censoring=0.9),
    "no censoring, falls to 0": history(4, 40, censoring=0.0),
    "half days": history(5, 60, unit=0.5),
    "thirds of a day": history(6, 60, top=30, unit=1 / 3),
    "four arms": history(7, 200, arms=4),
    "one event": history(8, 30, events=1),
    "no event": history(9, 25, events=0),
    "an arm without events": history(10, 90).assign(cause=lambda d: d.cause.where(d.arm == 1, ""), failed=lambda d: d.failed * (d.arm == 1)),
    "tiny": history(11, 6, top=8),
}


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    folder = tmp_path_factory.mktemp("r")
    pd.concat([frame.assign(set=name) for name, frame in HISTORIES.items()]).to_csv(folder / "rows.csv", index=False)
    done = subprocess.run(["Rscript", str(SCRIPT), str(folder / "rows.csv"), str(folder / "answers.json")], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return json.loads((folder / "answers.json").read_text())


def number(values):
    return np.array([np.nan if v in ("NA", "NaN") else float("inf") if v == "Inf" else v for v in np.atleast_1d(np.asarray(values, dtype=object))], dtype=float)


def close(ours, theirs, what, rel=1e-8):
    np.testing.assert_allclose(np.asarray(ours, dtype=float), number(theirs), rtol=rel, atol=1e-10, err_msg=what)


CURVES = {
    "plain_rows": {},
    "log": {"transform": "log"},
    "plain": {"transform": "plain"},
    "counts": {"weights": "copies"},
    "clustered": {"cluster": "patient"},
    "sampled": {"cluster": "patient", "weights": "weight"},
    "late": {"entry": "entry"},
    "late_clustered": {"entry": "entry", "cluster": "patient"},
}


def fit(frame, arguments):
    given = {name: frame[value].to_numpy() if value in frame else value for name, value in arguments.items()}
    return longevity.kaplan_meier(frame.day.to_numpy(), frame.failed.to_numpy(), **given)


@pytest.mark.parametrize("kind", CURVES)
@pytest.mark.parametrize("name", HISTORIES)
def test_curve_standard_errors_and_limits(answers, name, kind):
    theirs, ours = answers[name][kind], fit(HISTORIES[name], CURVES[kind])
    time = number(theirs["time"])
    within = time <= ours.time[-1]
    time = time[within]
    close(ours.survival_at(time), number(theirs["survival"])[within], "survival")
    alive = number(theirs["survival"])[within] > 1e-12
    close(ours.standard_error_at(time)[alive], number(theirs["se"])[within][alive], "standard error")
    defined = alive & ~np.isnan(number(theirs["low"])[within])
    for end, limit in zip(("low", "high"), ours.interval_at(time)):
        close(limit[defined], number(theirs[end])[within][defined], end)
        assert np.isnan(limit[alive & ~defined]).all(), "R leaves the limit open"


@pytest.mark.parametrize("kind", ["plain_rows", "clustered", "late", "counts"])
@pytest.mark.parametrize("name", HISTORIES)
def test_limits_of_quantiles_are_where_the_band_crosses(answers, name, kind):
    theirs, ours = answers[name][kind], fit(HISTORIES[name], CURVES[kind])
    for k, p in enumerate((0.1, 0.25, 0.5, 0.75)):
        for end, limit in zip(("q_low", "q_high"), ours.quantile_interval(p)):
            wanted = number(theirs[end])[k]
            assert limit == pytest.approx(float("inf") if np.isnan(wanted) else wanted, rel=1e-9), (end, p)


@pytest.mark.parametrize("name", HISTORIES)
def test_restricted_mean_and_its_clustered_error(answers, name):
    frame = HISTORIES[name]
    horizon = float(frame.day.median())
    area = fit(frame, {}).restricted_mean(horizon)
    close([area.value, area.se], answers[name]["mean"], "mean")
    if frame.failed.sum() > 1:
        close(fit(frame, {"cluster": "patient"}).restricted_mean(horizon).se, answers[name]["mean_clustered"], "clustered", 1e-7)


@pytest.mark.parametrize("kind", ["logrank", "peto", "stratified", "clustered_test", "clustered_strata"])
@pytest.mark.parametrize("name", [name for name, frame in HISTORIES.items() if frame.failed.any()])
def test_comparisons_of_arms(answers, name, kind):
    frame = HISTORIES[name]
    given = {"logrank": {}, "peto": {"weighting": "peto"}, "stratified": {"strata": frame.clinic},
             "clustered_test": {"cluster": frame.patient, "entry": frame.entry},
             "clustered_strata": {"cluster": frame.patient, "strata": frame.clinic}}[kind]
    ours = longevity.compare_curves(frame.day, frame.failed, frame.arm, **given)
    close(ours.statistic, answers[name][kind], kind, 1e-6 if "cluster" in kind else 1e-8)


@pytest.mark.parametrize("name", [name for name, frame in HISTORIES.items() if frame.cause[frame.cause != ""].nunique() > 1])
def test_incidence_by_cause(answers, name):
    frame, theirs = HISTORIES[name], answers[name]["incidence"]
    ours = longevity.cumulative_incidence(frame.day, frame.cause)
    clustered = longevity.cumulative_incidence(frame.day, frame.cause, cluster=frame.patient)
    late = longevity.cumulative_incidence(frame.day, frame.cause, entry=frame.entry)
    time = number(theirs["time"])
    for k, cause in enumerate(theirs["causes"]):
        close(ours.incidence_at(time, cause), np.array(theirs["value"])[:, k], cause)
        close(ours.standard_error_at(time, cause), [row[k] for row in theirs["se"]], "standard error", 1e-7)
        close(clustered.standard_error_at(time, cause), np.array(theirs["clustered"])[-len(time):, k], "clustered", 1e-7)
        when = number(answers[name]["incidence_late"]["time"])
        close(late.incidence_at(when, cause), np.array(answers[name]["incidence_late"]["value"])[:, k], "late entry")


def test_mean_cumulative_function_with_repeats_on_one_day(r):
    generator = np.random.default_rng(12)
    rows = []
    for unit in range(60):
        day, last = 0, 0
        while day < 40:
            day += int(generator.integers(1, 15))
            rows.append((unit, last, day, int(generator.integers(0, 3))))
            last = day
    frame = pd.DataFrame(rows, columns=["unit", "start", "stop", "event"]).assign(patient=lambda d: d.unit // 3)
    theirs = r("""
        once <- history[rep(seq_len(nrow(history)), pmax(history$event, 1)), ]
        part <- ave(seq_len(nrow(once)), once$unit, once$stop, FUN = seq_along)   # R takes one event a row: split the day finely
        n <- ave(part, once$unit, once$stop, FUN = max)
        once$end <- ifelse(part == n, once$stop, once$stop - 1e-4 * (n - part))
        once$begin <- ifelse(part == 1, once$start, once$stop - 1e-4 * (n - part + 1))
        once$one <- as.integer(once$event > 0)
        fit <- survfit(Surv(begin, end, one) ~ 1, once, id = unit, cluster = patient, robust = TRUE)
        s <- summary(fit, times = c(5, 10, 20, 30, 39))
        list(mean = s$cumhaz, se = s$std.chaz)
        """, history=frame)
    ours = longevity.mean_cumulative_function(frame.unit, frame.start, frame.stop, frame.event, cluster=frame.patient)
    when = np.array([5, 10, 20, 30, 39.0])
    close(ours.mean_at(when), theirs["mean"], "mean", 1e-6)
    close(ours.standard_error_at(when), theirs["se"], "standard error", 1e-6)


def test_interval_censored_likelihood_is_never_below_theirs(r):
    generator = np.random.default_rng(13)
    left = generator.integers(0, 40, 120).astype(float)
    right = np.where(generator.random(120) < 0.4, np.inf, left + generator.integers(1, 20, 120))
    frame = pd.DataFrame({"left": left, "right": np.where(np.isinf(right), np.nan, right)})
    theirs = r("""
        fit <- survfit(Surv(left, right, type = "interval2") ~ 1, rows)
        # mass of R's steps inside each row's interval
        step <- -diff(c(1, fit$surv)); mass <- function(a, b) sum(step[fit$time > a & fit$time <= b])
        ends <- ifelse(is.na(rows$right), Inf, rows$right)
        p <- mapply(mass, rows$left, ends) + ifelse(is.infinite(ends), tail(fit$surv, 1), 0)
        list(log_likelihood = sum(log(p)), time = fit$time, survival = fit$surv)
        """, rows=frame)
    ours = longevity.turnbull(left, right)
    assert theirs["log_likelihood"] - 1e-9 <= ours.log_likelihood <= theirs["log_likelihood"] + 0.1
    known = [t for t in (5.0, 15.0, 25.0, 35.0) if np.subtract(*ours.survival_bounds_at(t)) == 0]
    assert known
    for t in known:
        place = np.searchsorted(theirs["time"], t, side="right") - 1
        assert ours.survival_at(t) == pytest.approx(theirs["survival"][place], abs=5e-3)
