"""Worked by hand: what a report on a few patients rests on."""

import numpy as np
import pytest
from scipy import stats

from outcomes import longevity

# Three patients, two inserts each; days to the visit that found wear.
DAYS = [100, 200, 300, 300, 400, 400]
WORN = [1, 0, 0, 1, 0, 0]
PATIENT = ["p", "p", "q", "q", "r", "r"]


def test_clustered_error_by_hand():
    """S(100) = 5/6. Influence −S·[dN_i − Y_i/6]/5: for the worn −(5/6)(5/6)/5 = −5/36, for each other +1/36.
    Patients: −5/36 + 1/36 = −4/36, 2/36, 2/36; variance (16 + 4 + 4)/1296 = 24/1296."""
    curve = longevity.kaplan_meier(DAYS, WORN, cluster=PATIENT)
    assert curve.survival_at(100) == pytest.approx(5 / 6)
    np.testing.assert_allclose(curve.influence_at(100), np.array([-5, 1, 1, 1, 1, 1]) / 36)
    assert curve.standard_error_at(100) == pytest.approx(np.sqrt(24) / 36)


def test_small_sample_limits_by_hand():
    """V·3/2 and Student's t on 2 degrees of freedom, on the log–log scale."""
    curve = longevity.kaplan_meier(DAYS, WORN, cluster=PATIENT, small_sample=True)
    share, q = 5 / 6, stats.t.ppf(0.975, 2)
    spread = np.exp(q * np.sqrt(24 / 1296 * 1.5) / (share * abs(np.log(share))))
    assert curve.interval_at(100) == pytest.approx((share**spread, share ** (1 / spread)))
    assert curve.standard_error_at(100) == pytest.approx(np.sqrt(24) / 36)  # the factor enters limits only


def test_exact_limit_before_the_first_failure_counts_patients_not_parts():
    curve = longevity.kaplan_meier(DAYS, WORN, cluster=PATIENT, small_sample=True)
    assert curve.people_at_risk(50) == 3 and curve.interval_at(50) == pytest.approx((0.025 ** (1 / 3), 1))
    parts = longevity.kaplan_meier(DAYS, WORN, small_sample=True)
    assert parts.people_at_risk(50) == 6 and parts.interval_at(50) == pytest.approx((0.025 ** (1 / 6), 1))


def test_patients_at_risk_by_day():
    assert longevity.kaplan_meier(DAYS, WORN, cluster=PATIENT).table().clusters_at_risk.tolist() == [3, 3, 2, 1]


def test_effective_sample_by_hand():
    """S = 0.8, V = 0.004: 0.16/0.004 = 40 independent parts; with 11 patients times (1.96/2.228)² = 31.0."""
    interval = longevity.effective_sample_interval(0.8, 0.004, parts=60, at_risk=11, clusters=11)
    n = 40 * (stats.norm.ppf(0.975) / stats.t.ppf(0.975, 10)) ** 2
    assert interval.low == pytest.approx(stats.beta.ppf(0.025, 0.8 * n, 0.2 * n + 1))
    assert interval.high == pytest.approx(stats.beta.ppf(0.975, 0.8 * n + 1, 0.2 * n))
    assert "31.0" in interval.note
    capped = longevity.effective_sample_interval(0.8, 0.004, parts=20, at_risk=11)
    assert capped.low == pytest.approx(stats.beta.ppf(0.025, 16, 5))  # Clopper and Pearson's limits for 16 of 20


def test_mean_difference_in_small_samples():
    """Two independent groups: Welch–Satterthwaite; a patient in both: the factor on all, G − 1 degrees of freedom."""
    days, worn = [5, 8, 9, 4, 6, 9], [1, 0, 1, 1, 1, 0]
    apart = longevity.restricted_mean_difference(days, worn, list("aaabbb"), horizon=8, cluster=range(6), small_sample=True)
    areas = [longevity.kaplan_meier(days[i:i + 3], worn[i:i + 3], cluster=range(3)).restricted_mean(8) for i in (0, 3)]
    each = np.array([area.se**2 * 1.5 for area in areas])
    df = each.sum() ** 2 / (each**2 / 2).sum()
    assert apart.high - apart.value == pytest.approx(stats.t.ppf(0.975, df) * np.sqrt(each.sum()))
    shared = longevity.restricted_mean_difference(days, worn, list("aaabbb"), horizon=8, cluster=[0, 1, 2, 0, 1, 2], small_sample=True)
    assert shared.high - shared.value == pytest.approx(stats.t.ppf(0.975, 2) * shared.se * np.sqrt(1.5))


# ------------------------------------------------------------------ late entry, serial parts, brackets

def test_risk_table_with_late_entry_adds_up():
    table = longevity.risk_table([10, 20, 30, 30], [1, 0, 1, 0], [0, 5, 10, 20, 31], entry=[0, 5, 10, 20])
    assert table.entered.tolist() == [1, 1, 2, 3, 4]
    assert (table.entered == table.at_risk + table.censored + table.failed).all()
    assert table.at_risk.tolist() == [1, 1, 2, 2, 0]
    by_hand = longevity.kaplan_meier([10, 20, 30, 30], [1, 0, 1, 0], entry=[0, 5, 10, 20])
    assert by_hand.at_risk.tolist() == [2, 2, 2]


def test_risk_table_by_group_and_patient():
    table = longevity.risk_table(DAYS, WORN, [0, 250], group=list("xxxyyy"), cluster=PATIENT)
    assert table.columns.tolist() == ["group", "time", "at_risk", "clusters_at_risk", "censored", "failed", "entered"]
    assert table.clusters_at_risk.tolist() == [2, 1, 2, 2] and table.at_risk.tolist() == [3, 1, 3, 3]
    counts = longevity.risk_table_from_counts(DAYS, WORN, 1 - np.array(WORN), [0, 250], group=list("xxxyyy"))
    assert counts.equals(table.drop(columns="clusters_at_risk"))


def test_every_patient_counts_once_when_asked():
    """Four parts of one patient failed, two of another did not: a third of the parts is left, half of the patients."""
    rows = dict(duration=[10, 10, 10, 10, 20, 20], observed=[1, 1, 1, 1, 0, 0], cluster=list("ppppqq"))
    assert longevity.kaplan_meier(**rows).survival_at(10) == pytest.approx(1 / 3)
    assert longevity.kaplan_meier(**rows, weights=longevity.per_patient(list("ppppqq"))).survival_at(10) == pytest.approx(1 / 2)


def test_serial_gaps_keep_the_first_complete_ones():
    """Three gaps, two complete: the two weigh a half each and the cut one is dropped; a site without a complete gap keeps its one."""
    weights = longevity.serial_gaps([1, 1, 1, 2, 3], [3, 1, 2, 1, 1], [0, 1, 1, 0, 1])
    assert weights.tolist() == [0, 0.5, 0.5, 1, 1]


def test_pooling_serial_gaps_makes_parts_look_short_lived():
    """Sites whose frailty is gamma with variance 1, gaps exponential within a site, five years: pooled gaps miss the truth, weighted
    ones do not. Truth for one gap: S(t) = 1/(1 + t/σ)."""
    r = np.random.default_rng(42)
    rows = []
    for site in range(3000):
        rate, now, serial, close = r.gamma(1, 1) / 3.0, 0.0, 1, r.uniform(1, 8)
        while True:
            gap = r.exponential(1 / rate)
            rows.append((site, serial, min(gap, close - now), now + gap < close))
            now, serial = now + gap, serial + 1
            if now >= close or serial > 200:
                break
    site, serial, gap, complete = (np.array(column) for column in zip(*rows))
    truth = 1 / (1 + 3 / 3.0)
    pooled = longevity.kaplan_meier(gap, complete).survival_at(3)
    weighted = longevity.kaplan_meier(gap, complete, weights=longevity.serial_gaps(site, serial, complete), cluster=site)
    assert abs(pooled - truth) > 0.08
    assert abs(weighted.survival_at(3) - truth) < 0.01 + 3 * weighted.standard_error_at(3)


def test_the_bracket_becomes_the_headline_when_it_is_wide():
    bracket = longevity.wear_bracket([10, 20, 30, 40, 50] * 4, ["worn", "wish", "", "worn", ""] * 4, "worn")
    assert bracket.bounds_at(15) == pytest.approx((0.8, 0.8)) and not bracket.is_headline_at(15)
    assert bracket.bounds_at(25) == pytest.approx((0.6, 0.8)) and bracket.is_headline_at(25)
    low, high = bracket.limits_at(25)
    assert low < 0.6 and high > 0.8


# ------------------------------------------------------------------ interval-censored

def test_bounds_inside_a_support_interval():
    curve = longevity.turnbull([0, 10], [10, 20])
    assert curve.survival_at(5) == 1 and curve.survival_bounds_at(5) == (0.5, 1) and curve.survival_bounds_at(10) == (0.5, 0.5)
    assert curve.restricted_mean(20).value == 10 and curve.restricted_mean_bounds(20) == (5, 15)


def test_a_single_day_is_not_the_day_interval_before_it():
    """Seen on day 5, and found between 4 and 5: the first is a point, the second reaches back; a part sound until 5 parts them."""
    seen, found = longevity.turnbull([5, 5], [5, np.inf]), longevity.turnbull([4, 5], [5, np.inf])
    assert seen.support.iloc[0].tolist() == [5, 5, 0.5] and found.support.iloc[0].tolist() == [4, 5, 0.5]
    assert seen.survival_bounds_at(4.5) == (1, 1) and found.survival_bounds_at(4.5) == (0.5, 1)


def test_the_note_names_what_the_curve_cannot_say():
    curve = longevity.turnbull([0, 0, 300, 300], [300, 300, np.inf, 700])
    assert "(0, 300]" in curve.note and "past 300" not in curve.note
    open_end = longevity.turnbull([0, 300], [300, np.inf])
    assert "past 300 nothing is known of the remaining 0.500" in open_end.note


def test_bootstrap_is_the_same_for_the_same_seed_and_near_the_exact_spread():
    """All found at one visit: S is a share of rows, whose standard error is binomial."""
    left, right = np.repeat([0.0, 30.0], [40, 60]), np.repeat([30.0, np.inf], [40, 60])
    one, again = (longevity.turnbull(left, right, seed=3).standard_error_at(30) for _ in range(2))
    assert one == again and one == pytest.approx(np.sqrt(0.6 * 0.4 / 100), rel=0.08)
    clustered = longevity.turnbull(left, right, cluster=np.arange(100) // 2, seed=3).standard_error_at(30)
    assert clustered == pytest.approx(np.sqrt(2 * 0.6 * 0.4 / 100), rel=0.08)  # pairs alike: half as many patients


def test_where_draws_are_all_or_none_the_limits_come_from_the_effective_sample():
    curve = longevity.turnbull([365, 365, 365, 0], [np.inf, np.inf, np.inf, 200], cluster=list("abcd"))
    assert curve.interval_at(100) == pytest.approx((0.025 ** (1 / 3), 1))


def test_mean_difference_from_intervals():
    """Everybody of one group found at the one visit, nobody of the other: means 15 (evenly over 30 days) and 30."""
    left, right, group = [0, 0, 30, 30], [30, 30, np.inf, np.inf], list("aabb")
    gap = longevity.interval_mean_difference(left, right, group, horizon=30, draws=50)
    assert gap.value == pytest.approx(15) and gap.se == pytest.approx(0, abs=1e-9)
    r = np.random.default_rng(5)
    left = r.integers(0, 50, 80).astype(float)
    right = left + r.integers(1, 30, 80)
    group = np.repeat(["a", "b"], 40)
    gap = longevity.interval_mean_difference(left, right, group, horizon=50, draws=200, seed=2)
    areas = [longevity.turnbull(left[group == g], right[group == g], draws=200, seed=[2, k]).restricted_mean(50) for k, g in enumerate("ab")]
    assert gap.value == pytest.approx(areas[1].value - areas[0].value) and gap.se == pytest.approx(np.hypot(areas[0].se, areas[1].se))


def test_a_few_draws_without_a_failure_do_not_set_the_limits_of_the_interval_curve():
    # Early in a small clinic some draws hold no failure yet; where they are clipped must not decide how wide the limits are.
    early = [(5 + i, 100 + 40 * i) for i in range(3)] + [(300 + 9 * i, 700 + 10 * i) for i in range(8)]
    left, right = np.array(early + [(400 + 9 * i, np.inf) for i in range(40)], dtype=float).T
    curve = longevity.turnbull(left, right, cluster=np.arange(len(left)))
    low, high = curve.interval_at(300)
    # Spreading log(-log S) over draws clipped at 0.999 gave a lower limit 8.8 standard errors away here.
    assert curve.survival_at(300) - low < 5 * curve.standard_error_at(300)
    assert low < curve.survival_at(300) < high
