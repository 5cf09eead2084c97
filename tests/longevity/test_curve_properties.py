"""What must hold for every curve, whatever the history."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from histories import intervals, rows
from outcomes import longevity
from outcomes.longevity.constrained_newton import maximise
from outcomes.longevity.innermost import innermost_intervals

DAYS = np.arange(0.0, 13.0)
few = settings(max_examples=60, deadline=None)


def same(one, other, rel=1e-9):
    np.testing.assert_allclose(one, other, rtol=rel, atol=1e-12)


def pick(history, *names):
    return {name: history[name] for name in names}


@few
@given(rows(), st.sampled_from([1 / 7, 0.5, 30.4375, 365.25]))
def test_rescaling_time_moves_no_share(history, scale):
    given_rows = pick(history, "duration", "observed", "entry", "cluster")
    scaled = dict(given_rows, duration=history["duration"] * scale, entry=history["entry"] * scale)
    one, other = longevity.kaplan_meier(**given_rows), longevity.kaplan_meier(**scaled)
    same(one.survival, other.survival)
    same(one.se, other.se, 1e-7)
    same(one.quantile(0.5) * scale, other.quantile(0.5))
    horizon = history["duration"].max()
    same(one.restricted_mean(horizon).value * scale, other.restricted_mean(horizon * scale).value)


@few
@given(rows(), st.randoms(use_true_random=False))
def test_order_of_rows_does_not_matter(history, random):
    order = list(range(len(history["duration"])))
    random.shuffle(order)
    shuffled = {name: values[order] for name, values in history.items()}
    names = ("duration", "observed", "entry", "cluster", "weights")
    one, other = longevity.kaplan_meier(**pick(history, *names)), longevity.kaplan_meier(**pick(shuffled, *names))
    same(one.survival, other.survival)
    same(one.se, other.se, 1e-7)


@few
@given(rows())
def test_weights_count_as_repeated_rows(history):
    again = np.repeat(np.arange(len(history["weights"])), history["weights"].astype(int))
    names = ("duration", "observed", "entry")
    one = longevity.kaplan_meier(**pick(history, *names, "weights"))
    other = longevity.kaplan_meier(**{name: history[name][again] for name in names})
    same(one.survival, other.survival)
    same(one.se, other.se)
    horizon = history["duration"].max()
    assert one.restricted_mean(horizon).se == pytest.approx(other.restricted_mean(horizon).se, rel=1e-9)


@few
@given(rows())
def test_a_cluster_for_every_row_is_greenwood_when_all_are_there_from_the_start(history):
    plain = longevity.kaplan_meier(**pick(history, "duration", "observed"))
    alone = longevity.kaplan_meier(**pick(history, "duration", "observed"), cluster=np.arange(len(history["duration"])))
    same(plain.se, alone.se, 1e-7)
    horizon = history["duration"].max()
    assert plain.restricted_mean(horizon).se == pytest.approx(alone.restricted_mean(horizon).se, rel=1e-7, abs=1e-12)


@few
@given(rows(), st.integers(0, 12))
def test_influence_summed_within_clusters_squared_and_added_is_the_variance(history, day):
    assume(len(np.unique(history["cluster"])) > 1)
    curve = longevity.kaplan_meier(**pick(history, "duration", "observed", "entry", "cluster", "weights"))
    assume(day <= curve.time[-1])
    total = np.bincount(history["cluster"], weights=curve.influence_at(day))
    assert curve.standard_error_at(day) ** 2 == pytest.approx((total**2).sum(), rel=1e-7, abs=1e-14)
    assert total.sum() == pytest.approx(0, abs=1e-9)


@few
@given(rows(least=3), st.integers(1, 12))
def test_influence_is_the_derivative_of_the_curve_in_a_row_weight(history, day):
    names = ("duration", "observed", "entry")
    curve = longevity.kaplan_meier(**pick(history, *names))
    assume(day <= curve.time[-1])
    assume((curve.failed < curve.at_risk).all())
    step, n = 1e-6, len(history["duration"])
    for row in range(min(n, 4)):
        weights = np.ones(n)
        weights[row] += step
        moved = longevity.kaplan_meier(**pick(history, *names), weights=weights, cluster=np.arange(n)).survival_at(day)
        assert (moved - curve.survival_at(day)) / step == pytest.approx(curve.influence_at(day)[row], abs=1e-4)


@few
@given(rows())
def test_without_censoring_or_late_entry_the_curve_is_the_empirical_share(history):
    curve = longevity.kaplan_meier(history["duration"], np.ones(len(history["duration"])))
    same(curve.survival_at(DAYS), [(history["duration"] > t).mean() for t in DAYS])
    assert curve.quantile(0.5) == np.sort(history["duration"])[(len(history["duration"]) + 1) // 2 - 1]
    assert curve.restricted_mean(12).value == pytest.approx(np.minimum(history["duration"], 12).mean())


@few
@given(rows())
def test_a_risk_table_of_counts_gives_identical_numbers(history):
    duration, observed, entry, cluster = (history[name] for name in ("duration", "observed", "entry", "cluster"))
    time = np.concatenate([duration, entry])
    nothing = np.zeros(len(duration))
    lines = {"failed": np.append(observed * 1.0, nothing), "left": np.append(~observed * 1.0, nothing), "entered": np.append(nothing, nothing + 1)}
    for extra, column in (({}, None), ({"cluster": cluster}, np.append(cluster, cluster))):
        one = longevity.kaplan_meier(duration, observed, entry=entry, **extra)
        other = longevity.kaplan_meier_from_counts(time, **lines, cluster=column)
        same(one.survival, other.survival)
        same(one.se, other.se, 1e-7)
        same(one.at_risk, other.at_risk)
        assert one.table().equals(other.table()) or np.allclose(one.table().to_numpy(float), other.table().to_numpy(float), equal_nan=True)
        assert one.rows == other.rows
    if not entry.any():
        days = np.unique(duration)
        known = longevity.kaplan_meier_from_counts(days, [observed[duration == t].sum() for t in days], at_risk=[(duration >= t).sum() for t in days])
        same(known.se, one.se if not extra else longevity.kaplan_meier(duration, observed).se)


@few
@given(rows())
def test_limits_hold_the_curve_between_them_and_small_sample_widens_them(history):
    assume(len(np.unique(history["cluster"])) > 1)
    plain = longevity.kaplan_meier(**pick(history, "duration", "observed", "cluster"))
    careful = longevity.kaplan_meier(**pick(history, "duration", "observed", "cluster"), small_sample=True)
    inside = (plain.survival > 0) & (plain.survival < 1)
    assert (plain.low[inside] <= plain.survival[inside]).all() and (plain.survival[inside] <= plain.high[inside]).all()
    assert (careful.low[inside] <= plain.low[inside] + 1e-12).all() and (careful.high[inside] >= plain.high[inside] - 1e-12).all()
    assert not np.isnan(careful.low).any() and not np.isnan(careful.high).any()
    same(plain.se, careful.se)


# ------------------------------------------------------------------ interval-censored

@few
@given(intervals())
def test_no_curve_beats_the_certified_one(sample):
    left, right = sample
    cover = innermost_intervals(left, right)
    fit = maximise(cover.first, cover.after, np.ones(len(left)), cover.size)
    probability = np.add.accumulate(np.concatenate([[0.0], np.bincount(fit.support, weights=fit.mass, minlength=cover.size)]))
    mass = probability[cover.after] - probability[cover.first]
    gain = np.array([((cover.first <= k) & (k < cover.after)) @ (1 / mass) for k in range(cover.size)])
    assert gain.max() <= len(left) * (1 + 1e-9)
    same(gain[fit.support], len(left), 1e-7)
    assert fit.mass.sum() == pytest.approx(1)


@few
@given(intervals())
def test_masses_are_unique_because_rows_tell_innermost_intervals_apart(sample):
    cover = innermost_intervals(*sample)
    covers = (cover.first[:, None] <= np.arange(cover.size)) & (np.arange(cover.size) < cover.after[:, None])
    assert np.linalg.matrix_rank(covers) == cover.size


@few
@given(rows(events="some"))
def test_exact_and_right_censored_rows_give_the_kaplan_meier_curve(history):
    right = np.where(history["observed"], history["duration"], np.inf)
    one = longevity.turnbull(history["duration"], right)
    other = longevity.kaplan_meier(history["duration"], history["observed"])
    upto = DAYS[DAYS <= history["duration"].max()]
    same(one.survival_at(upto), other.survival_at(upto), 1e-7)
    assert one.quantile(0.5) == other.quantile(0.5)


@few
@given(intervals(), st.integers(2, 3))
def test_interval_weights_count_as_repeated_rows(sample, times):
    left, right = sample
    weights = np.where(np.arange(len(left)) % 2, times, 1)
    again = np.repeat(np.arange(len(left)), weights)
    one, other = longevity.turnbull(left, right, weights=weights), longevity.turnbull(left[again], right[again])
    assert one.log_likelihood == pytest.approx(other.log_likelihood, rel=1e-9, abs=1e-9)
    same(one.survival_at(DAYS), other.survival_at(DAYS), 1e-5)


@few
@given(intervals(), st.sampled_from([1 / 7, 30.4375]))
def test_rescaling_time_moves_no_interval_mass(sample, scale):
    left, right = sample
    one, other = longevity.turnbull(left, right), longevity.turnbull(left * scale, right * scale)
    same(one.mass, other.mass, 1e-6)
    same(one.right * scale, other.right)


@few
@given(intervals())
def test_the_curve_lies_between_its_bounds_and_the_mean_between_its_own(sample):
    curve = longevity.turnbull(*sample, draws=20)
    low, high = curve.survival_bounds_at(DAYS)
    assert (low <= high + 1e-12).all()
    same(curve.survival_at(DAYS), high)
    finite = np.concatenate([sample[0], sample[1][np.isfinite(sample[1])]]).max()
    assume(finite > 0)
    least, most = curve.restricted_mean_bounds(finite)
    assert least - 1e-9 <= curve.restricted_mean(finite).value <= most + 1e-9


@few
@given(intervals())
def test_a_row_without_information_changes_nothing(sample):
    left, right = sample[0] + 1, sample[1] + 1
    one, other = longevity.turnbull(left, right), longevity.turnbull(np.append(left, 0.0), np.append(right, np.inf))
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-8)
