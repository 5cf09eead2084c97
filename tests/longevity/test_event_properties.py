"""What must hold for tests, incidence, upkeep and occupancy, whatever the history."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from histories import rows
from outcomes import longevity

DAYS = np.arange(0.0, 13.0)
few = settings(max_examples=50, deadline=None)


def same(one, other, rel=1e-9):
    np.testing.assert_allclose(one, other, rtol=rel, atol=1e-11)


# ------------------------------------------------------------------ tests between groups

@few
@given(rows(events="some"), st.sampled_from(["logrank", "peto"]), st.booleans())
def test_counts_and_rows_give_the_same_test(history, weighting, clustered):
    assume(len(set(history["group"])) == 2)
    duration, observed, entry, group, cluster = (history[k] for k in ("duration", "observed", "entry", "group", "cluster"))
    nothing = np.zeros(len(duration))
    given_cluster = cluster if clustered else None
    one = longevity.compare_curves(duration, observed, group, entry=entry, cluster=given_cluster, weighting=weighting)
    other = longevity.compare_curves_from_counts(
        np.append(duration, entry), np.append(group, group), np.append(observed * 1.0, nothing), np.append(~observed * 1.0, nothing),
        entered=np.append(nothing, nothing + 1), cluster=np.append(cluster, cluster) if clustered else None, weighting=weighting)
    same(one.expected, other.expected)
    same(one.variance, other.variance, 1e-7)
    assert one.rows.tolist() == other.rows.tolist()


@few
@given(rows(events="some"))
def test_observed_and_expected_add_up_and_groups_may_be_renamed(history):
    assume(len(set(history["group"])) == 2)
    test = longevity.compare_curves(history["duration"], history["observed"], history["group"], entry=history["entry"])
    assert test.observed.sum() == pytest.approx(test.expected.sum())
    swapped = longevity.compare_curves(history["duration"], history["observed"], np.where(history["group"] == "a", "b", "a"), entry=history["entry"])
    same(test.statistic, swapped.statistic)
    assert np.isnan(test.p_value) == (test.df == 0)


@few
@given(rows(events="some"))
def test_a_stratum_for_every_row_compares_nothing(history):
    assume(len(set(history["group"])) == 2)
    test = longevity.compare_curves(history["duration"], history["observed"], history["group"], strata=np.arange(len(history["group"])))
    assert np.isnan(test.statistic) and test.note


@few
@given(rows(events="some", least=4), st.booleans())
def test_mean_difference_is_the_difference_of_means_with_patients_in_both_groups(history, in_both):
    group = history["group"]
    assume(len(set(group)) == 2)
    patient = history["cluster"] if in_both else np.where(group == "a", history["cluster"], history["cluster"] + 10)
    assume(min(len(set(patient[group == g])) for g in "ab") > 1)
    horizon = min(history["duration"][group == g].max() for g in "ab")
    answer = longevity.restricted_mean_difference(history["duration"], history["observed"], group, horizon=horizon, cluster=patient)
    areas = [longevity.kaplan_meier(history["duration"][group == g], history["observed"][group == g], cluster=patient[group == g]).restricted_mean(horizon)
             for g in "ab"]
    assert answer.value == pytest.approx(areas[1].value - areas[0].value)
    if not in_both:
        assert answer.se == pytest.approx(np.hypot(areas[0].se, areas[1].se), abs=1e-9)


# ------------------------------------------------------------------ incidence

@few
@given(rows(events="some"), st.booleans())
def test_one_cause_is_one_less_the_kaplan_meier_curve(history, clustered):
    cluster = {"cluster": history["cluster"]} if clustered else {}
    assume(not clustered or len(set(history["cluster"])) > 1)
    curve = longevity.kaplan_meier(history["duration"], history["observed"], **cluster)
    ends = longevity.cumulative_incidence(history["duration"], np.where(history["observed"], "worn", ""), **cluster)
    upto = DAYS[DAYS <= history["duration"].max()]
    same(1 - ends.incidence_at(upto, "worn"), curve.survival_at(upto))
    same(ends.standard_error_at(upto, "worn"), curve.standard_error_at(upto), 1e-6)


@few
@given(rows(events="some"))
def test_shares_by_cause_and_the_share_left_add_to_one(history):
    ends = longevity.cumulative_incidence(history["duration"], history["cause"], entry=history["entry"])
    same(ends.incidence.sum(axis=0) + ends.event_free, 1.0)
    assert (np.diff(ends.incidence, axis=1) >= -1e-12).all()


@few
@given(rows(events="some"), st.integers(0, 12))
def test_influence_on_incidence_adds_to_its_variance(history, day):
    assume(len(set(history["cluster"])) > 1)
    ends = longevity.cumulative_incidence(history["duration"], history["cause"], entry=history["entry"], cluster=history["cluster"], weights=history["weights"])
    assume(day <= ends.time[-1])
    for cause in ends.causes:
        total = np.bincount(history["cluster"], weights=ends.influence_at(day, cause))
        assert ends.standard_error_at(day, cause) ** 2 == pytest.approx((total**2).sum(), rel=1e-6, abs=1e-12)


@few
@given(rows(events="some"))
def test_weights_count_as_repeated_rows_for_incidence(history):
    again = np.repeat(np.arange(len(history["weights"])), history["weights"].astype(int))
    one = longevity.cumulative_incidence(history["duration"], history["cause"], entry=history["entry"], weights=history["weights"])
    other = longevity.cumulative_incidence(history["duration"][again], history["cause"][again], entry=history["entry"][again])
    same(one.incidence, other.incidence)
    same(one.se, other.se, 1e-6)


@few
@given(rows(events="some"))
def test_the_bracket_holds_the_curve_between_its_bounds(history):
    cause = history["cause"]
    assume("worn" in cause)
    bracket = longevity.wear_bracket(history["duration"], cause, "worn")
    table = bracket.table()
    assert (table.low <= table.if_independent + 1e-12).all() and (table.if_independent <= table.high + 1e-12).all()


# ------------------------------------------------------------------ upkeep

@few
@given(rows())
def test_one_event_per_subject_is_the_nelson_aalen_sum(history):
    subject = np.arange(len(history["duration"]))
    curve = longevity.mean_cumulative_function(subject, np.zeros(len(subject)), history["duration"], history["observed"] * 1)
    table = longevity.kaplan_meier(history["duration"], history["observed"])
    same(curve.mean, np.cumsum(table.failed / table.at_risk))


@few
@given(rows(), st.integers(2, 4))
def test_events_on_one_day_count_together_or_in_rows_of_zero_length(history, times):
    duration = history["duration"]
    subject = np.arange(len(duration))
    start = np.zeros(len(duration))
    one = longevity.mean_cumulative_function(subject, start, duration, history["observed"] * times)
    extra = np.repeat(np.flatnonzero(history["observed"]), times - 1)
    other = longevity.mean_cumulative_function(
        np.append(subject, subject[extra]), np.append(start, duration[extra]), np.append(duration, duration[extra]),
        np.append(history["observed"] * 1, np.ones(len(extra))))
    same(one.mean, other.mean)
    same(one.se, other.se, 1e-6)


@few
@given(rows(events="some"), st.booleans())
def test_influence_on_the_mean_count_adds_to_its_variance(history, per_started):
    n = len(history["duration"])
    subject, half = np.arange(n), np.floor(history["duration"] / 2)
    keep = half > 0
    start, stop = np.concatenate([np.zeros(n)[keep], half]), np.concatenate([half[keep], history["duration"]])
    unit, event = np.concatenate([subject[keep], subject]), np.concatenate([np.ones(keep.sum()), history["weights"]])
    ended = np.concatenate([np.zeros(keep.sum(), dtype=bool), history["observed"]]) if per_started else None
    cluster = history["cluster"][unit]
    assume(len(set(cluster)) > 1)
    curve = longevity.mean_cumulative_function(unit, start, stop, event, cluster=cluster, ended=ended)
    for day in (history["duration"].max() / 2, history["duration"].max()):
        total = np.bincount(cluster, weights=curve.influence_at(day))
        assert curve.standard_error_at(day) ** 2 == pytest.approx((total**2).sum(), rel=1e-6, abs=1e-12)


@few
@given(rows(events="some"))
def test_counts_per_unit_started_never_exceed_counts_per_unit_in_service(history):
    n = len(history["duration"])
    given_rows = (np.arange(n), np.zeros(n), history["duration"], history["weights"])
    in_service = longevity.mean_cumulative_function(*given_rows)
    started = longevity.mean_cumulative_function(*given_rows, ended=history["observed"])
    assert (started.mean <= in_service.mean + 1e-12).all()
    # with one event at each unit's end and nothing censored, every unit started has exactly its own count
    all_end = longevity.mean_cumulative_function(*given_rows, ended=np.ones(n))
    assert all_end.mean[-1] == pytest.approx(history["weights"].mean())


@few
@given(rows(events="some"))
def test_counting_one_cause_per_unit_started_is_its_cumulative_incidence(history):
    cause = history["cause"]
    assume("worn" in cause)
    subject = np.arange(len(cause))
    counts = longevity.mean_cumulative_function(subject, history["entry"], history["duration"], (cause == "worn") * 1, ended=cause != "")
    ends = longevity.cumulative_incidence(history["duration"], cause, entry=history["entry"])
    same(counts.mean, ends.incidence[list(ends.causes).index("worn")])
    same(counts.se, ends.se[list(ends.causes).index("worn")], 1e-6)


# ------------------------------------------------------------------ occupancy

@st.composite
def journeys(draw):
    """Rows of units that move between three states, or stay; several rows may pass without a change."""
    rows = []
    for unit in range(draw(st.integers(2, 12))):
        day, state = 0, draw(st.sampled_from(["light", "medium"]))
        for _ in range(draw(st.integers(1, 4))):
            last, day = day, day + draw(st.integers(1, 5))
            moved = draw(st.sampled_from(["", "light", "medium", "firm"]))
            rows.append((unit, last, day, state, moved))
            state = moved or state
    return [np.array(column) for column in zip(*rows)]


@few
@given(journeys())
def test_shares_of_states_add_to_one(history):
    unit, start, stop, held, became = history
    shares = longevity.state_occupancy(unit, start, stop, held, became)
    same(shares.probability.sum(axis=1) if len(shares.time) else 1.0, 1.0)
    assert shares.start.sum() == pytest.approx(1)


@few
@given(journeys())
def test_without_censoring_shares_are_counts_and_their_error_is_binomial(history):
    unit, start, stop, held, became = history
    end = float(stop.max())
    last = np.append(unit[1:] != unit[:-1], True)
    stays = last & (stop < end)  # go on in the last state until the end
    state = np.where(became != "", became, held)
    unit, start, stop = np.append(unit, unit[stays]), np.append(start, stop[stays]), np.append(stop, np.full(stays.sum(), end))
    held, became = np.append(held, state[stays]), np.append(became, np.full(stays.sum(), ""))
    shares = longevity.state_occupancy(unit, start, stop, held, became)
    n = len(set(unit))
    for t in (end / 4, end / 2, end - 0.5):
        now = held[(start <= t) & (t < stop)]
        for name in shares.states:
            share = (now == name).mean()
            assert shares.probability_at(t, name) == pytest.approx(share, abs=1e-9)
            assert shares.standard_error_at(t, name) == pytest.approx(np.sqrt(share * (1 - share) / n), abs=1e-8)


@few
@given(rows(events="some"))
def test_two_states_are_the_curve_and_its_complement(history):
    n = len(history["duration"])
    curve = longevity.kaplan_meier(history["duration"], history["observed"])
    shares = longevity.state_occupancy(np.arange(n), np.zeros(n), history["duration"], ["in place"] * n, np.where(history["observed"], "out", ""))
    upto = DAYS[DAYS <= history["duration"].max()]
    same(shares.probability_at(upto, "in place"), curve.survival_at(upto))
    same(shares.standard_error_at(upto, "in place"), curve.standard_error_at(upto), 1e-6)


@few
@given(rows(events="some"))
def test_states_that_nobody_leaves_are_the_cumulative_incidence(history):
    n, cause = len(history["duration"]), history["cause"]
    shares = longevity.state_occupancy(np.arange(n), np.zeros(n), history["duration"], ["in place"] * n, cause, cluster=history["cluster"])
    assume(len(set(history["cluster"])) > 1)
    ends = longevity.cumulative_incidence(history["duration"], cause, cluster=history["cluster"])
    upto = DAYS[DAYS <= history["duration"].max()]
    for name in ends.causes:
        same(shares.probability_at(upto, name), ends.incidence_at(upto, name))
        same(shares.standard_error_at(upto, name), ends.standard_error_at(upto, name), 1e-6)
