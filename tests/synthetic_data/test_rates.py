"""Rates of a large simulated clinic beside published ranges: plausibility of an invented clinic, never a target or a finding.

The published figures are named beside each check; "from memory" marks those nobody re-read.
"""

import numpy as np
import pandas as pd
import pytest

YEAR = 365.25


@pytest.fixture(scope="module")
def years(large, large_log):
    """Years from a patient's first line in the log to leaving or the closing day."""
    closing = pd.Timestamp(large.scenario.clinic.closing)
    first = large_log["visits"].groupby("patient_id")["visited_on"].min()
    left = large.truth.patients.set_index("patient_id")["left_on"].reindex(first.index).fillna(closing)
    return (left - first).dt.days / YEAR


@pytest.fixture(scope="module")
def dated(large, large_log):
    return large_log["parts_log"].merge(large_log["visits"][["visit_id", "patient_id", "visited_on", "reason"]], on="visit_id")


def test_insert_replacement_per_patient_year(dated, years):
    """Stud inserts roughly 0.3 to 1.5 per patient-year, several trials, from memory."""
    replaced = dated[(dated["part"] == "insert") & (dated["action"] == "replaced") & (dated["change_reason"] != "conversion")]
    assert 0.3 < len(replaced) / years.sum() < 1.5


def test_abutment_screws_loosening_in_five_years(large):
    """About 3 to 7 % cumulative: Goodacre et al. 2003 J Prosthet Dent 90:121 and later reviews, from memory."""
    assert 0.03 < 1 - large.truth.survival("abutment loosening", 5 * YEAR, attachment="stud")[0] < 0.07


def test_relines_in_five_years(large):
    """About 15 to 25 % cumulative: same reviews, from memory."""
    assert 0.15 < 1 - large.truth.survival("reline or rebase", 5 * YEAR)[0] < 0.25


def test_base_fractures_in_five_years(large):
    """About 5 to 12 % cumulative: same reviews, from memory."""
    assert 0.05 < 1 - large.truth.survival("denture fracture", 5 * YEAR)[0] < 0.12


@pytest.mark.parametrize(("arch", "low", "high"), [("lower", 0.17, 0.27), ("upper", 0.33, 0.53)])
def test_implants_lost_per_100_implant_years(large, arch, low, high):
    """Mandible 0.22 (0.17 to 0.27), maxilla 0.42 (0.33 to 0.53): Kern et al. 2016 Clin Oral Implants Res 27:174."""
    lost, implant_years = _implants(large, arch)
    rate = 100 * lost.notna().sum() / implant_years.sum()
    assert low < rate < high


def test_implants_are_lost_early(large):
    """80 % of 2.78 % returned implants came back within 157 days: Seemann et al. 2017 PLoS ONE 12:e0171128. Here: a falling hazard, most losses in half a year."""
    lost, _ = _implants(large, "lower")
    assert 0.45 < (lost.dropna() <= 157).mean() < 0.85
    assert large.scenario.implant.shape < 1


def _implants(large, arch):
    closing = pd.Timestamp(large.scenario.clinic.closing)
    rows = large.truth.implants[large.truth.implants["fresh"] & (large.truth.implants["arch"] == arch)]
    left = rows["patient_id"].map(large.truth.patients.set_index("patient_id")["left_on"]).fillna(closing)
    stop = rows["found_on"].fillna(left)
    return (rows["found_on"] - rows["started_on"]).dt.days, (stop - rows["started_on"]).dt.days / YEAR


def test_repairs_in_the_first_year_lie_between_those_of_bars_and_of_balls(large):
    """At least one repair in year 1 on two implants: bar 20 %, ball 84 %, 64 patients: Walton, MacEntee & Glick 2002 Int J Oral Maxillofac Implants 17:391."""
    assert 0.15 < 1 - large.truth.survival("first repair", YEAR, sites=2)[0] < 0.84


def test_balls_need_more_repairs_than_studs(large, dated):
    """Direction only: balls about 6.7 repairs per patient in 3 years, bars about 0.8, 68 patients: MacEntee et al. 2005 J Prosthet Dent 93:28 (numbers from memory)."""
    truth = large.truth
    fitted = (truth.parts["part"] == "abutment") & (truth.parts["arrival"] == "fitted")
    sets = truth.parts[fitted].drop_duplicates("denture_id")[["denture_id", "attachment", "fitted_on"]]
    repairs = dated[dated["finding"].isin(["worn", "torn", "lost", "loose in its seat", "debonded"])].merge(sets, on="denture_id", suffixes=("", "_of_set"))
    days = (repairs["visited_on"] - repairs["fitted_on"]).dt.days
    early = repairs[(days > 0) & (days <= 730)].drop_duplicates(["visit_id", "denture_id"])
    rate = early.groupby("attachment_of_set").size() / sets.groupby("attachment").size()
    assert 1.3 < rate["ball"] / rate["stud"] < 10


def test_balls_loosen_noticeably_after_five_to_six_years(large):
    """Common practice, no source."""
    loose = 1 - large.truth.survival("abutment loosening", [2 * YEAR, 6 * YEAR], attachment="ball")
    assert loose[0] < 0.05 and 0.15 < loose[1] < 0.5


def test_lost_retention_is_the_commonest_event_and_housings_come_next(dated):
    """Stud attachments, 47 patients: loss of retention, then housing events: Guédat et al. 2018 Clin Exp Dent Res 4:132."""
    stud = dated[~dated["patient_id"].isin(dated.loc[dated["attachment"] == "ball", "patient_id"])]
    retention = ((stud["part"] == "insert") & stud["finding"].isin(["worn", "torn", "lost"])).sum()
    housing = ((stud["part"] == "housing") & stud["finding"].isin(["debonded", "loose in its seat", "lost"])).sum()
    screw = ((stud["part"] == "abutment") & (stud["finding"] == "loose in its seat")).sum()
    assert retention > 3 * housing > 3 * screw > 0


def test_upper_inserts_wear_sooner(large):
    """Wear greater in the maxilla: Guédat et al. 2018, as above."""
    lower, upper = (large.truth.survival("insert worn", 3 * YEAR, arch=arch)[0] for arch in ("lower", "upper"))
    assert upper < lower - 0.02


def test_patients_still_followed_after_five_years(large):
    """106 randomised, 90 at 6 years, 69 at 8 (two-implant overdentures, a thesis from Otago): 85 % at 6 years."""
    people, closing = large.truth.patients, pd.Timestamp(large.scenario.clinic.closing)
    start = pd.Timestamp(large.scenario.clinic.start)
    old = people[people["before_log"]]
    kept = (old["left_on"].fillna(closing + pd.Timedelta(days=1)) > start + pd.Timedelta(days=1825)).mean()
    assert 0.78 < kept < 0.92


def test_two_thirds_still_wear_the_light_level_after_a_year(large, dated):
    """The story of the demo clinic, our own choice: no published figure."""
    inserts = dated[(dated["part"] == "insert") & dated["action"].isin(["fitted", "replaced"])].sort_values("visited_on", kind="stable")
    start = inserts[inserts["action"] == "fitted"].drop_duplicates("denture_id").set_index("denture_id")
    start = start[start["level"] == "light"]
    later = inserts[inserts["level"].notna() & (inserts["level"] != "light")].groupby("denture_id")["visited_on"].min()
    days = (later.reindex(start.index) - start["visited_on"]).dt.days
    closing = pd.Timestamp(large.scenario.clinic.closing)
    followed = start["visited_on"] <= closing - pd.Timedelta(days=365)
    assert 0.60 < 1 - (days[followed] <= 365).mean() < 0.74


def test_half_of_inserts_are_worn_by_about_three_years(large):
    """The story of the demo clinic, our own choice: no published figure."""
    t = np.arange(1, 2000)
    median = t[np.searchsorted(-large.truth.survival("insert worn", t), -0.5)] / YEAR
    assert 2.6 < median < 3.4


def test_chairside_pick_ups_hold_a_little_less_well(large):
    """The story of the demo clinic, our own choice: no published figure."""
    chairside, laboratory = (1 - large.truth.survival("housing bond failure", 2 * YEAR, pick_up=word)[0] for word in ("chairside", "laboratory"))
    assert 0.01 < laboratory < chairside < 0.10
