"""One endpoint's rows become the view, the shares and the counts that its way of being noticed asks for."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes import longevity, schemas
from outcomes.analyses import answers, certainty
from outcomes.analyses.drawings import became_of, ending_group, lines_of
from outcomes.analyses.lifetimes import LATER, YEAR, lifetime
from outcomes.analyses.sentences import saying
from outcomes.analyses.standards import of_endpoint
from outcomes.plan import read_plan


def life_of(rows, endpoint="housing bond failure", **settings):
    """A lifetime from short rows: (patient, found day, observed) and what they leave out."""
    plan = read_plan()
    plan._body["report"] = {**plan["report"], **settings}
    full = [{"endpoint": endpoint, "patient_id": patient, "found_day": float(found), "found_day_other": float(other if other is not None else found), "observed": observed, "entry_day": float(entry), "fresh": entry == 0,
             "excluded": "", "serial": 1, "first_insert": True, "left_look": 0.0, "right_look": float(found) if observed else np.nan, "left_care": float(found), "right_care": float(found) if observed else np.nan,
             "left_day": 0.0 if observed else float(found), "right_day": float(found) if observed else np.nan, "cause": "event" if observed else "", "competing_day": np.nan, "found_at": "problem"}
            for patient, found, observed, entry, other in rows]  # fmt: skip
    return lifetime(pd.DataFrame(full), schemas.endpoints()[endpoint], plan)


def some(patients=20, observed=8, entry=0):
    return [(f"P{i}", 400 + 20 * i, i < observed, entry, None) for i in range(patients)]


def test_failures_found_by_looking_are_read_between_looks_and_others_by_the_day_found(clinic):
    assert clinic.lifetime("insert worn").headline is clinic.lifetime("insert worn").between_looks
    assert clinic.lifetime("housing bond failure").headline is clinic.lifetime("housing bond failure").day_found


def test_the_share_is_the_estimators_own(clinic):
    life = clinic.lifetime("housing bond failure")
    rows = life.rows
    curve = longevity.kaplan_meier(rows["found_day"], rows["observed"], cluster=rows["patient_id"], small_sample=True)
    share = life.share_at(2)
    assert share.value == curve.survival_at(2 * YEAR)
    assert (share.low, share.high) == tuple(float(x) for x in curve.interval_at(2 * YEAR))


def test_counts_add_up_at_every_time_in_every_view(clinic):
    for name in ("insert worn", "housing bond failure", "first repair"):
        life = clinic.lifetime(name)
        for counts in (life.counts(), life.looks()):
            assert counts.sums() == counts.expected()
            assert counts.expected()[0] == counts.total


def test_counts_add_up_to_those_who_entered_where_parts_came_late():
    life = life_of([*some(), *[(f"Q{i}", 900 + i, i < 3, 500 + i, None) for i in range(10)]])
    counts = life.counts()
    assert counts.rows["entered"][0] == 20 and counts.rows["entered"][-1] == 30
    assert counts.sums() == counts.rows["entered"]


def test_a_day_found_curve_of_late_comers_starts_where_enough_patients_are_followed():
    life = life_of([(f"P{i}", 2000 + i, i < 6, 100 * i, None) for i in range(15)])
    assert life.starts_late == 900  # the tenth patient enters on day 900
    assert life.day_found.survival_at(900) == 1


def test_fewer_than_five_patients_with_the_event_give_counts_and_no_share():
    assert not life_of(some(observed=4)).speaks
    assert life_of(some(observed=5)).speaks


def test_five_to_nine_patients_with_the_event_get_the_cautious_limits():
    few, more = life_of(some(30, 9)), life_of(some(30, 12))
    cautious = few.day_found.share_interval(1.5 * YEAR)
    assert (few.share_at(1.5).low, few.share_at(1.5).high) == (cautious.low, cautious.high)
    assert more.share_at(1.5).low == float(more.day_found.interval_at(1.5 * YEAR)[0])


def test_the_headline_falls_back_to_a_horizon_that_enough_patients_reached():
    assert life_of([(f"P{i}", 1200 if i < 5 else 400, i > 8, 0, None) for i in range(20)]).horizon == 3
    assert life_of([(f"P{i}", 900, i < 6, 0, None) for i in range(20)]).horizon == 2
    assert life_of([(f"P{i}", 300, i < 6, 0, None) for i in range(20)]).horizon is None


def test_an_endpoint_depends_on_who_came_back_where_the_two_rules_part():
    apart = life_of([(f"P{i}", 700 if i < 8 else 1500, i < 8, 0, None) for i in range(16)] + [(f"Q{i}", 1600, False, 0, 30) for i in range(20)])
    together = life_of(some())
    assert apart.depends_on_who_came_back and not together.depends_on_who_came_back
    sound, nothing = apart.silence(apart.widest_silence)
    assert sound > nothing  # those nobody looked at again are taken as sound by one rule, and for nothing by the other
    assert "depends on who came back" in certainty._silence(apart)


def test_the_bracket_of_wear_holds_the_share_if_others_had_lasted_like_the_rest(clinic):
    bracket = clinic.lifetime("insert worn").bracket
    for years in (1, 2, 3):
        low, high = bracket.bounds_at(years * YEAR)
        assert low <= bracket.if_independent.survival_at(years * YEAR) <= high


def test_endings_that_are_no_failure_keep_their_own_day(clinic):
    life = clinic.lifetime("insert worn")
    day, cause = life.endings
    wished = (life.rows["cause"] == "wanted firmer").to_numpy()
    assert wished.any() and (day[wished] == life.rows["competing_day"][wished]).all()


def test_what_became_of_the_parts_adds_up_to_all_of_them(clinic):
    became = became_of(clinic.lifetime("insert worn"))
    ended = became.shares.drop(columns="years").sum(axis=1)
    assert ended.between(0, 1 + 1e-9).all() and ended.is_monotonic_increasing
    assert became.counts.sums() == became.counts.expected()


@pytest.mark.parametrize(("ending", "group"), [("event", "event"), ("wanted lighter", "wish"), ("changed with a neighbour", "with its pair"), ("cannot tell", "cannot tell"), ("implant lost", "gone"), ("denture retired", "gone"), ("routine", "work")])
def test_every_ending_has_its_place(ending, group):
    assert ending_group(ending) == group


def test_boxes_lie_where_the_curve_is_not_known(clinic):
    (line,) = lines_of(clinic.lifetime("insert worn"))
    curve = clinic.lifetime("insert worn").between_looks
    assert np.allclose(line.boxes["start"] * YEAR, curve.left[np.isfinite(curve.right)])
    for box in line.boxes.itertuples():
        low, high = curve.survival_bounds_at((box.start + box.end) / 2 * YEAR)
        assert low == pytest.approx(box.below) and high == pytest.approx(box.above)
    inside = [((line.band["years"] > box.start + 1e-9) & (line.band["years"] < box.end - 1e-9)).any() for box in line.boxes.itertuples()]
    assert not any(inside)  # no band across a box


def test_of_inserts_only_the_first_at_their_site_count(handmade):
    log = handmade.log(20)
    log.times.loc[log.times.index[:6], "first_insert"] = False
    first = log.lifetime("insert worn")
    assert first.parts == (log.times.loc[log.times["endpoint"] == "insert worn", "first_insert"]).sum()


def test_units_left_out_are_counted_by_reason(handmade):
    log = handmade.log(20)
    worn = log.times.index[log.times["endpoint"] == "insert worn"]
    log.times.loc[worn[:3], "excluded"] = "found failed on arrival"
    assert log.lifetime("insert worn").left_out == {"found failed on arrival": 3}


def test_sites_that_come_loose_again_and_again_do_not_speak_for_all_housings():
    # Frailty variance 1, bonds of 12 years on average: free of it after 3 years 1 / (1 + 3/12) = 0.8 (Laplace transform of the gamma frailty).
    chance = np.random.default_rng(8)
    rows = []
    for patient in range(4000):
        rate, day, serial = chance.gamma(1.0, 1.0) / (12 * 365.25), 0.0, 1
        while day < 8 * 365.25:
            bond = chance.exponential(1 / rate)
            failed = day + bond < 8 * 365.25
            rows.append({"endpoint": "housing bond failure", "patient_id": patient, "excluded": "", "serial": serial, "first_insert": False, "fresh": True, "entry_day": 0.0,
                         "found_day": np.ceil(min(bond, 8 * 365.25 - day)), "observed": failed})  # fmt: skip
            day, serial = day + bond, serial + 1
    times, plan = pd.DataFrame(rows), read_plan()
    declared = schemas.endpoints()["housing bond failure"]
    first, pooled = lifetime(times, declared, plan), lifetime(times, declared, plan, first_only=False)
    assert first.day_found.survival_at(3 * 365.25) == pytest.approx(0.8, abs=0.02)
    assert pooled.day_found.survival_at(3 * 365.25) < 0.77
    assert first.parts == 4000 and first.left_out == {LATER: pooled.parts - 4000}


def test_a_neighbour_changed_with_a_failure_can_be_counted_as_failed(handmade):
    log = handmade.log(30)
    worn = log.times.index[(log.times["endpoint"] == "insert worn") & (log.times["cause"] == "wanted firmer")]
    log.times.loc[worn, "cause"] = "changed with a neighbour"
    life = log.lifetime("insert worn")
    also = life.neighbours_failed()
    assert also.events == life.events + len(worn)
    assert also.headline.survival_at(730) < life.headline.survival_at(730)
    assert life.rows["observed"].sum() == life.events  # the rows themselves are left as they were


def test_the_day_a_patient_noticed_narrows_the_interval(handmade):
    log = handmade.log(30)
    log.times["noticed_left"], log.times["noticed_right"] = log.times["left_day"], log.times["right_day"]
    failed = log.times["observed"] & (log.times["endpoint"] == "insert worn")
    log.times.loc[failed, "noticed_left"] = log.times.loc[failed, "right_day"] - 1
    life = log.lifetime("insert worn")
    assert certainty.readings(log, life) == (certainty.NOTICED,)
    late = life.noticed.headline
    assert ((late.right - late.left)[np.isfinite(late.right)] <= 1).all()
    assert certainty.readings(log, log.lifetime("housing bond failure")) == ()


def test_every_patient_counted_once_weighs_sites_by_their_number():
    # Four sites in patient A all fail, one in each of the others does not: by site 4 of 6 failed, by patient 1 of 3.
    rows = [("A", 300, True, 0, None)] * 4 + [("B", 900, False, 0, None), ("C", 900, False, 0, None)]
    life = life_of(rows)
    assert life.day_found.survival_at(YEAR) == pytest.approx(2 / 6)
    assert life.per_patient(1) == pytest.approx(2 / 3)
    assert np.isnan(life_of(some()).per_patient(1))  # one site each: nothing to weigh


def test_all_inserts_of_a_site_stand_beside_the_first(handmade):
    from outcomes.analyses import changes

    log = handmade.log(30)
    base = log.times[(log.times["endpoint"] == "insert worn") & log.times["observed"]].assign(endpoint="any insert change")
    base["position"] = base["unit_id"].str[-2:]
    again = base.assign(serial=2, first_insert=False, found_day=100.0, observed=True, unit_id=base["unit_id"] + "/2")
    log.times.drop(log.times.index, inplace=True)
    for row in pd.concat([base, again]).to_dict("records"):
        log.times.loc[len(log.times)] = row
    log.times["serial"] = log.times["serial"].astype(int)
    for column in ("observed", "first_insert", "fresh"):
        log.times[column] = log.times[column].astype(bool)
    found = changes.changes(log)
    assert found.first_parts == len(base) and found.all_parts == 2 * len(base)
    assert found.every.survival_at(200) == pytest.approx(0.5 * found.first.survival_at(200), abs=0.02)  # each site's two gaps weigh a half


def test_a_curve_stops_where_too_few_are_under_observation_whoever_comes_later():
    fresh = [(f"P{i}", 300 + 50 * i, i < 6, 0, None) for i in range(12)]  # the last ten end from day 400 on
    late = [(f"Q{i}", 3000, False, 2000, None) for i in range(12)]
    stops = life_of([*fresh, *late]).stops()
    assert stops[10] == pytest.approx(400 / YEAR) and stops[5] == pytest.approx(650 / YEAR)
    assert life_of([("P1", 300, False, 0, None), ("P2", 500, False, 0, None)]).stops()[5] == pytest.approx(300 / YEAR)


@pytest.mark.parametrize(("apart", "shown"), [(365, True), (730, False)])
def test_ending_care_at_the_first_long_gap_is_read_only_where_patients_are_asked_back_sooner(apart, shown):
    import duckdb

    from outcomes.analyses.cohort import _usual_gap
    from outcomes.plan import read_plan

    connection = duckdb.connect()
    connection.execute(f"CREATE TABLE visits AS SELECT 'P' || i AS patient_id, DATE '2015-01-01' + ({apart} * k)::INTEGER AS visited_on FROM range(5) a(i), range(4) b(k)")
    assert (_usual_gap(connection) < read_plan()["rules"]["under_care_days"]) is shown


def test_no_share_is_given_for_the_years_before_a_curve_with_late_entry_starts():
    """Six parts watched from fitting for a year and a half, twelve that come under observation after two years: the curve starts there."""
    life = life_of([*((f"P{i}", 560, i < 5, 0, None) for i in range(6)), *((f"Q{i}", 1500 + 10 * i, i < 6, 800, None) for i in range(12))], headline_years=5, horizons_years=[1, 2, 5])
    assert life.starts_late == 800
    assert life.share_at(1) is None and life.share_at(2) is None  # 1 would be read there: nobody had failed of those who came later
    assert life.share_at(4).value == pytest.approx(float(life.day_found.survival_at(4 * YEAR))) and life.followed(4) == 12
    said = of_endpoint(life, {"name": "a year", "endpoint": life.name, "years": 1, "at_least": 0.9})
    assert said.verdict == "cannot tell" and "before the log began" in said.why


def test_a_curve_between_looks_counts_only_those_it_rests_on():
    """Two patients watched from fitting, twenty whose parts were in place before: the curve between looks takes the two, and says nothing."""
    rows = [(f"P{i}", 900, False, 0, None) for i in range(2)] + [(f"Q{i}", 1200 + i, i < 12, 300, None) for i in range(20)]
    life = life_of(rows, endpoint="attachment wear")
    assert (life.patients_with_events, life.patients_telling, life.followed(2)) == (12, 0, 2)
    assert not life.speaks and answers.of_lifetime(life).sentence.startswith("patients had a ball abutment worn: too few of them were watched from the start")


def test_clips_and_bars_have_their_words_and_only_the_first_at_a_site_counts():
    """Of parts other than inserts the first at a site is followed; a second one is counted as left out."""
    for endpoint, units, share in (("clip worn", "clips", "of first clips still held"), ("bar loosening", "bars", "of bars had stayed tight")):
        rows = life_of(some(observed=2), endpoint=endpoint).rows
        life = lifetime(pd.concat([rows, rows.assign(serial=2)], ignore_index=True), schemas.endpoints()[endpoint], read_plan())
        assert (life.units, life.parts, life.left_out) == (units, 20, {LATER: 20}) and saying(life).share == share


def test_where_the_day_falls_between_two_looks_both_edges_are_said_and_the_range_holds_them():
    """Everybody looked at after 400 and after 1,000 days, half found worn at the second look: after two years (730.5 days) anything from half to all may still hold."""
    life = life_of([(f"P{i}", 1000, i < 20, 0, None) for i in range(40)], endpoint="insert worn")
    life.rows.loc[life.rows["observed"], ["left_day", "left_care", "left_look"]] = 400.0
    share, after = life.share_at(2), life.share_at(1000 / YEAR)
    assert (share.value, share.below, share.open) == (pytest.approx(1.0), pytest.approx(0.5), True)
    assert not after.open and after.value == pytest.approx(0.5) and share.low == pytest.approx(after.low) and after.low < 0.5 and share.high == 1.0
    answer = answers.of_lifetime(life)
    assert answer.number == "50 to 100\u00a0%" and "between two looks" in answer.sentence and answer.low < 0.5 and answer.bar is not None
    found = of_endpoint(life, {"name": "half", "endpoint": "insert worn", "at_least": 0.6, "years": 2})
    assert found.verdict == "cannot tell" and found.low < 0.5
    assert certainty.horizons(life)[0]["share"].tolist()[-1] == "50 to 100\u00a0%"


def test_the_doctests_of_days_between_looks_hold():
    import doctest

    from outcomes.analyses import between_looks

    assert doctest.testmod(between_looks).failed == 0 < doctest.testmod(between_looks).attempted
