"""The report on inserts: what it compares and what it refuses to, known effects found and absent ones not, first against later inserts."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from outcomes import longevity
from outcomes.analyses import factors_declared, factors_groups, factors_models, factors_sections, insert_longevity, wear_alike, wear_estimands, wear_serial, wear_shapes
from outcomes.analyses.lifetimes import Lifetime
from outcomes.errors import Misuse
from outcomes.present import words

from html.parser import HTMLParser


class Words(HTMLParser):
    """A page's words outside Methods."""

    def __init__(self, html: str):
        super().__init__()
        self.open, self.outside = [], []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        if tag in ("section", "article", "style", "title"):
            self.open.append((tag, "methods" in (dict(attributes).get("class") or "").split()))

    def handle_endtag(self, tag):
        if self.open and self.open[-1][0] == tag:
            self.open.pop()

    def handle_data(self, data):
        if not any(methods or tag == "style" for tag, methods in self.open):
            self.outside.append(data)


def write(handmade, monkeypatch, log, out):
    monkeypatch.setattr(insert_longevity, "read_log", lambda connection, plan: log)
    return insert_longevity.report(handmade.NoStore(), log.plan, out)


def two_jaws(handmade, lower: float, upper: float, patients: int = 150, seed: int = 5):
    """A clinic in which upper inserts last as given: two simulated clinics, one for each jaw, put together."""
    one, other = handmade.log(patients, seed=seed, fail=lower), handmade.log(patients, seed=seed + 1, fail=upper, names="Q{:04d}")
    for log, arch in ((one, "lower"), (other, "upper")):
        log.times["arch"] = arch
    times = pd.concat([one.times, other.times], ignore_index=True)
    object.__setattr__(one, "times", times)
    return one


@pytest.fixture(scope="module")
def page(handmade, tmp_path_factory):
    with pytest.MonkeyPatch.context() as monkeypatch:
        return [write(handmade, monkeypatch, handmade.log(70), tmp_path_factory.mktemp(name)).parent for name in ("one", "two")]


def test_the_page_stands_says_no_method_outside_methods_and_carries_every_caution(page):
    html = (page[0] / "index.html").read_text(encoding="utf-8")
    outside = " ".join(Words(html).outside).lower()
    assert [name for name in words.METHOD_NAMES if name in outside] == []
    assert not re.search(r"\bn\s*=\s*\d", outside)
    for said in ("ranks no device", "Associations are not effects"):
        assert said in html


def test_two_runs_are_the_same_to_the_byte(page):
    one, two = ({path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()} for folder in page)
    assert one.keys() == two.keys() and [name for name in one if one[name] != two[name]] == []


def test_a_jaw_in_which_inserts_last_half_as_long_is_found_and_its_limits_hold_the_truth(handmade):
    log = two_jaws(handmade, 3.0, 1.5)
    life = log.lifetime("insert worn")
    found = factors_models.ratios(life, factors_sections.every(log, life, ["arch"]))
    upper = next(ratio for ratio in found.alone if ratio.group == "upper jaw")
    assert upper.low < 0.5 < upper.high < 1
    apart = factors_groups.apart(factors_groups.grouped(log, life, factors_declared.factor("arch")))[0]
    assert apart.view == "between looks" and apart.high < 0


def test_where_the_jaw_makes_no_difference_hardly_any_clinic_finds_one(handmade):
    # 60 clinics of twice 100 patients: limits held a ratio of 1 in 95 %, and a true ratio of 1/2 in 95 %.
    found = []
    for seed in range(8):
        log = two_jaws(handmade, 3.0, 3.0, patients=60, seed=10 * seed)
        life = log.lifetime("insert worn")
        ratios = factors_models.ratios(life, factors_sections.every(log, life, ["arch"]))
        upper = next(ratio for ratio in ratios.alone if ratio.group == "upper jaw")
        found.append(upper.low > 1 or upper.high < 1)
        assert (factors_sections.ratios_finding(ratios) == "None of the factors can be told from no difference.") == (not found[-1])
    assert sum(found) <= 2


def test_a_group_with_fewer_than_five_patients_with_the_event_gets_counts_and_no_ratio(handmade):
    log = handmade.log(60)
    log.times.loc[log.times["patient_id"].isin([f"P{n:04d}" for n in range(4)]), "arch"] = "upper"
    life = log.lifetime("insert worn")
    groups = factors_groups.grouped(log, life, factors_declared.factor("arch"))
    assert list(groups.speaking) == ["lower jaw"] and set(groups.lives) == {"lower jaw", "upper jaw"}
    shown, _ = factors_groups.table(groups)
    assert shown.set_index("jaw").loc["upper jaw"].iloc[3] == "too few to say"
    found = factors_models.ratios(life, [groups])
    assert found.alone == () and "Not compared: jaw" in found.notes[0]


def test_fewer_than_ten_patients_with_the_event_are_not_compared_at_all(handmade):
    log = handmade.log(14, fail=9.0)
    life = log.lifetime("insert worn")
    assert life.patients_with_events < 10
    found = factors_models.ratios(life, factors_sections.every(log, life, ["level", "arch"]))
    assert found.alone == () and found.together == () and "10 are needed" in found.notes[0]
    assert wear_shapes.shapes(life) is None and wear_alike.alike(life).fit is None


def test_factors_are_taken_together_only_from_thirty_patients_with_the_event_and_in_the_plans_order(handmade):
    log = two_jaws(handmade, 3.0, 1.5, patients=60)
    half = log.times["patient_id"].str[-1].isin(list("02468"))
    log.times["attachment"] = np.where(half, "stud", "ball")
    life = log.lifetime("insert worn")
    found = factors_models.ratios(life, factors_sections.every(log, life, ["attachment", "arch"]))
    assert life.patients_with_events >= 30 and {ratio.factor for ratio in found.together} == {"attachment", "arch"}
    fewer = Lifetime(life.endpoint, life.rows, {}, {**life.plan, "wear": {**life.plan["wear"], "model_patients": life.patients_with_events + 1}})
    alone = factors_models.ratios(fewer, factors_sections.every(log, fewer, ["attachment", "arch"]))
    assert alone.together == () and any("Taking factors together" in note for note in alone.notes)


def test_levels_are_grouped_by_their_newtons_whatever_the_system_calls_them(handmade):
    log = handmade.log(5)
    rows = pd.DataFrame({"retention_n": [6.7, 8.0, 10.0, 12.0, 20.0, np.nan]})
    groups = factors_declared.values(log, Lifetime(log.lifetime("insert worn").endpoint, rows, {}, log.plan), factors_declared.factor("level"))
    assert [str(name).replace("\u00a0", " ") for name in groups] == ["up to 8 N", "up to 8 N", "8 to 12 N", "12 N or more", "12 N or more", "nan"]


def test_a_factor_missing_in_many_is_a_group_of_its_own_and_in_few_is_left_out_and_counted(handmade):
    log = handmade.log(60)
    log.times["attachment"] = "stud"
    log.times.loc[log.times["patient_id"] < "P0020", "attachment"] = None
    life = log.lifetime("insert worn")
    assert "not known" in factors_groups.grouped(log, life, factors_declared.factor("attachment")).lives
    log = handmade.log(60)
    log.times["attachment"] = "stud"
    log.times.loc[log.times["patient_id"] < "P0002", "attachment"] = None
    few = factors_groups.grouped(log, log.lifetime("insert worn"), factors_declared.factor("attachment"))
    assert "not known" not in few.lives and few.left_out == 4


def test_a_factor_nobody_declared_is_refused_by_name(handmade):
    log = handmade.log(5)
    with pytest.raises(Misuse, match="colour in .wear. of the plan is no factor"):
        factors_sections.every(log, log.lifetime("insert worn"), ["colour"])


def test_a_p_value_stands_in_methods_only_and_only_for_the_plans_comparison(handmade, monkeypatch, tmp_path):
    log = two_jaws(handmade, 3.0, 1.5, patients=60)
    body = {**log.plan["wear"], "insert_primary": "arch"}
    log.plan._body["wear"] = body
    html = write(handmade, monkeypatch, log, tmp_path).read_text(encoding="utf-8")
    assert html.count("p = ") + html.count("p below") == 1 and "Comparison named in the plan" in html
    assert "p = " not in " ".join(Words(html).outside)


def test_the_smooth_curve_is_not_read_beyond_the_last_failure_found(handmade):
    life = handmade.log(80, fail=14.0).lifetime("insert worn")
    found = wear_shapes.shapes(life)
    assert found.until == life.rows["right_day"].max()
    assert found.smooth()["years"].max() * 365.25 <= found.until + 1e-6
    _, exact = wear_shapes.percentiles(found)
    beyond = float(found.fit.quantile(0.5)[0]) > found.until
    assert np.isnan(exact.set_index("share_gone").loc[0.5, "smooth_days"]) == beyond and beyond


def test_the_shape_is_the_plans_and_no_other_even_where_another_fits_better(handmade):
    log = handmade.log(60)
    log.plan._body["wear"] = {**log.plan["wear"], "shape": "exponential"}
    found = wear_shapes.shapes(log.lifetime("insert worn"))
    assert found.fit.distribution == "exponential" and min(found.fits, key=lambda name: found.fits[name].aic) != "exponential"
    log.plan._body["wear"]["shape"] = "normal"
    with pytest.raises(Misuse, match="weibull"):
        wear_shapes.shapes(log.lifetime("insert worn"))


def stays_log(handmade, sites: int = 400, seed: int = 2):
    """Inserts at sites that differ in how fast they go (gamma variance 1), each site followed 2 to 8 years."""
    chance, rows = np.random.default_rng(seed), []
    for site in range(sites):
        frail, end, day, serial = chance.gamma(1.0, 1.0), chance.uniform(2, 8) * 365.25, 0.0, 1
        while day < end:
            stay = 4 * 365.25 * (chance.exponential() / max(frail, 1e-9)) ** (1 / 1.5)
            last = day + stay >= end
            days = float(np.ceil(end - day if last else stay))
            rows.append({"endpoint": "any insert change", "excluded": "", "patient_id": f"P{site}", "denture_id": f"P{site}/lower/1", "position": "33", "serial": serial, "first_insert": serial == 1, "found_day": days, "observed": not last})
            day, serial = day + stay, serial + 1
            if last:
                break
    log = handmade.log(1)
    object.__setattr__(log, "times", pd.DataFrame(rows))
    return log


def test_each_site_counts_once_where_pooling_all_stays_would_make_inserts_short_lived(handmade):
    # The true share of first stays beyond 3 years is 1 / (1 + (3/4)^1.5) = 0.606, from integrating the gamma frailty out.
    found = wear_serial.stays(stays_log(handmade))
    truth = 1 / (1 + 0.75**1.5)
    pooled = longevity.kaplan_meier(found.rows["days"].to_numpy(float), found.rows["changed"].to_numpy(bool)).survival_at(3 * 365.25)
    low, high = found.weighted.interval_at(3 * 365.25)
    assert low < truth < high and pooled < truth - 0.06
    assert float(found.curves[2].survival_at(3 * 365.25)) < truth - 0.08  # second ones exist only where a first one went


def test_stays_after_a_cut_one_and_at_sites_entered_late_are_left_out(handmade):
    log = handmade.log(1)
    rows = [("A", 1, True, 100.0, True), ("A", 2, False, 50.0, False), ("A", 3, False, 80.0, True), ("B", 2, False, 60.0, True), ("C", 1, True, 30.0, False)]
    object.__setattr__(log, "times", pd.DataFrame([{"endpoint": "any insert change", "excluded": "", "patient_id": site, "denture_id": site, "position": "33", "serial": serial, "first_insert": first, "found_day": days, "observed": seen} for site, serial, first, days, seen in rows]))
    found = wear_serial.stays(log).rows
    assert list(zip(found["patient_id"], found["serial"])) == [("A", 1), ("A", 2), ("C", 1)]


def mouths(handmade, variance: float, patients: int = 250, seed: int = 4) -> Lifetime:
    """Two inserts in each mouth, found on the day they go; mouths differ by a gamma frailty of this variance."""
    chance, rows = np.random.default_rng(seed), []
    for patient in range(patients):
        frail, end = (chance.gamma(1 / variance, variance) if variance else 1.0), chance.uniform(1, 8) * 365.25
        for _ in range(2):
            life = np.ceil(4 * 365.25 * (chance.exponential() / max(frail, 1e-9)) ** (1 / 1.5))
            rows.append({"patient_id": f"P{patient}", "found_day": min(life, np.ceil(end)), "observed": life < end, "entry_day": 0.0})
    log = handmade.log(5)
    return Lifetime(log.lifetime("insert worn").endpoint, pd.DataFrame(rows), {}, log.plan)


def test_parts_in_one_mouth_that_are_alike_are_found_so_and_independent_ones_are_not(handmade):
    alike = wear_alike.alike(mouths(handmade, 1.0))
    assert alike.limits[0] < 2 < alike.limits[1] and alike.limits[0] > 1  # cross ratio: one plus the variance (Clayton 1978)
    apart = wear_alike.alike(mouths(handmade, 0.0))
    assert apart.limits[0] == pytest.approx(1, abs=0.005)
    assert "cannot be told" in wear_alike.sentences(apart, mouths(handmade, 0.0))[1]


def test_the_part_and_the_patient_differ_where_patients_with_many_parts_fare_worse(handmade):
    log, rows = handmade.log(5), []
    for patient in range(40):
        many = patient < 20
        for _ in range(4 if many else 1):
            rows.append({"patient_id": f"P{patient}", "fresh": True, "entry_day": 0.0, "left_day": 400.0 if not many else 200.0, "right_day": np.nan if not many else 400.0, "found_day": 1200.0 if not many else 400.0, "observed": many, "left_look": 0.0, "left_care": 0.0})
    life = Lifetime(log.lifetime("insert worn").endpoint, pd.DataFrame(rows), {}, log.plan)
    assert float(wear_estimands.per_patient(life).survival_at(400)) == pytest.approx(0.5) and float(life.between_looks.survival_at(400)) == pytest.approx(0.2)


@pytest.mark.parametrize("change", [dict(patients=0), dict(patients=3), dict(guard="The log lists failures but not the visits where nothing was wrong."), dict(fail=float("inf"))], ids=["empty", "three", "guard", "nothing fails"])
def test_a_log_that_can_say_little_still_gives_a_page_that_says_so(handmade, monkeypatch, tmp_path, change):
    log = handmade.log(**change)
    html = write(handmade, monkeypatch, log, tmp_path).read_text(encoding="utf-8")
    assert "The log cannot say" in html or "too few" in html
    assert "nan" not in re.sub(r"<[^>]*>", " ", html).lower().split()
