"""The report on what patients say: changes by hand, the silent counted both ways, dentures apart, forms that changed, too few to say."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from outcomes.analyses import satisfaction, satisfaction_front, satisfaction_scores, satisfaction_sections
from outcomes.analyses.satisfaction_scores import YEAR_ONE
from outcomes.present import words


def write(handmade, monkeypatch, log, out):
    monkeypatch.setattr(satisfaction, "read_log", lambda connection, plan: log)
    return satisfaction.report(handmade.NoStore(), log.plan, out)


def answered(handmade, scores: dict[str, tuple], about: str = "lower", instrument: str = "satisfaction_card", patients: int | None = None, occasion: str | None = None):
    """A log in which patient P000i has one denture since 2020-01-01 and answered as said: {patient: (before, 3 months, 1 year)}, None for no answer."""
    log = handmade.log(patients or len(scores), answered=False)
    rows = [(patient, pd.Timestamp("2020-01-01") + pd.Timedelta(days=day), "day", occasion, about, instrument, 1, float(score), "patient", "home")
            for patient, own in scores.items() for day, score in zip((-10, 90, 365, 730), own) if score is not None]  # fmt: skip
    object.__setattr__(log, "answers", pd.DataFrame(rows, columns=log.answers.columns).astype({"answered_on": "datetime64[ns]"}))
    log.dentures["delivered_on"] = pd.Timestamp("2020-01-01")
    log.patients["left_on"], log.patients["ends_on"], log.patients["left_reason"] = pd.NaT, pd.NaT, None
    log.visits.loc[:, "day"] = log.visits["day"].clip(lower=pd.Timestamp("2020-01-01"))
    log.visits.loc[log.visits.index[0], "day"] = pd.Timestamp("2020-01-01")
    return log


# Ten patients: eight answered both times and rose by 30 on average, two did not answer after a year.
TEN = {f"P{n:04d}": (40, 70, 40 + gain) for n, gain in enumerate((10, 20, 25, 30, 35, 40, 30, 50))} | {"P0008": (50, None, None), "P0009": (60, 70, None)}


def test_the_change_is_the_mean_within_patients_who_answered_both_times(handmade):
    one = satisfaction_scores.asked(answered(handmade, TEN))[0]
    value, low, high, people = one.changed(YEAR_ONE)
    gain = np.array([10, 20, 25, 30, 35, 40, 30, 50])
    assert (value, people, one.started) == (30.0, 8, 10)
    half = 2.364624 * gain.std(ddof=1) / np.sqrt(8)  # t quantile at 7 degrees of freedom, from a printed table
    assert (low, high) == pytest.approx((30 - half, 30 + half), abs=1e-4)


def test_the_silent_are_counted_as_missing_as_not_improved_and_as_improved(handmade):
    rows = satisfaction_scores.asked(answered(handmade, TEN))[0].improved(YEAR_ONE)
    plan = rows[(rows["threshold"] == 10) & (rows["meaning"] == "")].set_index("counted")
    assert [tuple(plan.loc[name, ["improved", "patients"]]) for name in ("answered only", "no answer as not improved", "no answer as improved")] == [(8, 8), (8, 10), (10, 10)]


def test_everybody_is_somewhere_in_the_bars(handmade):
    one = satisfaction_scores.asked(answered(handmade, TEN))[0]
    table = satisfaction_sections.fates(one)
    assert (table.drop(columns=["occasion", "people"]).sum(axis=1) == table["people"]).all()
    year = table.set_index("occasion").loc["1 year"]
    assert (year["people"], year["better by 10 or more"], year["no answer"]) == (10, 8, 2)


def test_fewer_than_five_pairs_give_counts_and_no_mean(handmade):
    few = satisfaction_scores.asked(answered(handmade, {name: TEN[name] for name in list(TEN)[:4]}))[0]
    assert few.changed(YEAR_ONE) is None and satisfaction_front.change(few, YEAR_ONE).number == "4 of 4"
    assert satisfaction_front.improved(few, YEAR_ONE).number == ""


def test_fewer_than_twenty_patients_are_not_modelled_and_more_are(handmade):
    assert np.isnan(satisfaction_scores.asked(answered(handmade, TEN))[0].course.within)
    chance = np.random.default_rng(1)
    many = {f"P{n:04d}": tuple(np.clip(chance.normal(mean, 10), 0, 100) for mean in (45, 75, 80)) for n in range(25)}
    assert satisfaction_scores.asked(answered(handmade, many))[0].course.within > 0


def test_upper_and_lower_dentures_are_never_put_together(handmade):
    log = answered(handmade, TEN)
    upper = log.answers[log.answers["patient_id"] == "P0000"].assign(about="upper", response=90.0)
    object.__setattr__(log, "answers", pd.concat([log.answers, upper], ignore_index=True))
    object.__setattr__(log, "dentures", pd.concat([log.dentures, log.dentures.iloc[[0]].assign(denture_id="P0000/upper/1", arch="upper")], ignore_index=True))
    found = satisfaction_scores.asked(log)
    assert [(one.about, one.patients) for one in found] == [("lower", 10), ("upper", 1)]


def test_the_dead_are_not_silent(handmade):
    log = answered(handmade, TEN)
    log.patients.loc[log.patients["patient_id"] == "P0008", ["left_on", "ends_on", "left_reason"]] = [pd.Timestamp("2020-06-01"), pd.Timestamp("2020-06-01"), "died"]
    one = satisfaction_scores.asked(log)[0]
    row = one.rates.loc[YEAR_ONE]
    assert (row["asked"], row["answered"], row["died"]) == (9, 8, 1)
    assert len(one.both(YEAR_ONE)) == 9


def test_less_than_six_in_ten_is_a_caution_with_what_would_turn_the_answer(handmade):
    log = answered(handmade, {f"P{n:04d}": (40, 70, 70 + n if n < 6 else None) for n in range(12)})
    one = satisfaction_scores.asked(log)[0]
    doubts = satisfaction_front.doubts(log, [one], 0)
    assert any("Only 6 of 12 who were due answered" in doubt.text for doubt in doubts)
    assert "the silent had answered" in satisfaction_front.turning(one) or "Even the worst" in satisfaction_front.turning(one)


def test_it_lasts_only_where_differences_that_matter_are_ruled_out(handmade):
    steady = {f"P{n:04d}": (40, 70, 80 + n % 3, 80 + (n + 1) % 3) for n in range(10)}
    assert "it lasts" in satisfaction_front.lasts(satisfaction_scores.asked(answered(handmade, steady))[0]).sentence
    falls = {f"P{n:04d}": (40, 70, 80, 60 + n) for n in range(10)}
    assert "did not last in full" in satisfaction_front.lasts(satisfaction_scores.asked(answered(handmade, falls))[0]).sentence
    wild = {f"P{n:04d}": (40, 70, 60, 60 + (30 if n % 2 else -30)) for n in range(10)}
    assert "cannot be told" in satisfaction_front.lasts(satisfaction_scores.asked(answered(handmade, wild))[0]).sentence


def test_another_form_later_is_counted_and_never_compared(handmade):
    log = answered(handmade, TEN)
    later = log.answers["answered_on"] > pd.Timestamp("2020-01-01")
    log.answers.loc[later & log.answers["patient_id"].isin(["P0000", "P0001"]), "instrument"] = "ohip_14"
    log.answers.loc[later & (log.answers["instrument"] == "ohip_14"), "response"] = 2.0
    assert satisfaction_scores.changed_forms(log) == 2
    card = next(one for one in satisfaction_scores.asked(log) if one.form.name == "satisfaction_card")
    assert card.changed(YEAR_ONE)[3] == 6


def test_items_that_seem_reversed_already_are_a_warning_on_the_page(handmade, monkeypatch, tmp_path):
    chance, log = np.random.default_rng(2), answered(handmade, TEN, patients=40)
    rows = []
    for number in range(40):
        level = chance.integers(1, 6)
        for item in range(1, 13):  # items 3, 5 and 7 were turned round before they were typed, so all run one way
            rows.append((f"P{number:04d}", pd.Timestamp("2019-12-20"), "day", "before", "mouth", "gohai", item, float(np.clip(level + chance.integers(-1, 2), 1, 5)), "patient", "home"))
    object.__setattr__(log, "answers", pd.concat([log.answers, pd.DataFrame(rows, columns=log.answers.columns)], ignore_index=True))
    html = write(handmade, monkeypatch, log, tmp_path).read_text(encoding="utf-8")
    assert "may have been reversed already when they were typed" in html


def test_where_lower_is_better_a_fall_is_an_improvement_and_nought_is_the_end_without_room(handmade, monkeypatch, tmp_path):
    chance, log = np.random.default_rng(3), answered(handmade, TEN, patients=40)
    rows = [(f"P{number:04d}", pd.Timestamp("2020-01-01") + pd.Timedelta(days=day), "day", None, "lower", "ohip_14", item, float(np.clip(round(level + chance.normal(0, 0.7)), 0, 4)) if level else 0.0, "patient", "home")
            for number in range(40) for day, level in ((-10, 1 + 2 * chance.random()), (365, 0 if number < 12 else 0.5 + chance.random())) for item in range(1, 15)]  # fmt: skip
    object.__setattr__(log, "answers", pd.DataFrame(rows, columns=log.answers.columns))
    one = satisfaction_scores.asked(log)[0]
    value, low, high, people = one.changed(YEAR_ONE)
    before, after = (one.both(YEAR_ONE)[name].mean() for name in ("before", "after"))
    assert value == pytest.approx(before - after) and 0 < low < value < high and people == 40
    assert one.at_best(YEAR_ONE)["count"] == 12 and one.at_best(YEAR_ONE)["crowded"]
    assert 0.7 < one.alpha.value < 1 and len(one.thresholds) == 2  # the smallest and the largest that studies give
    html = write(handmade, monkeypatch, log, tmp_path).read_text(encoding="utf-8")
    assert "lower is better" in html and "beyond what chance in answering gives" in html
    assert html.count("answered, with room to gain") > 1 and "The plan names no smallest difference that matters" in html
    assert "gave the best possible score" in html


def test_answers_given_around_a_change_of_level_are_pointed_out(handmade):
    log = answered(handmade, TEN, occasion="before step")
    one = satisfaction_scores.asked(log)[0]
    assert one.after_steps == len(one.rows)
    assert any("were not content" in doubt.text for doubt in satisfaction_front.doubts(log, [one], 0))


@pytest.fixture(scope="module")
def page(handmade, tmp_path_factory):
    with pytest.MonkeyPatch.context() as monkeypatch:
        return [write(handmade, monkeypatch, handmade.log(60), tmp_path_factory.mktemp(name)).parent for name in ("one", "two")]


def test_the_page_is_the_same_twice_and_names_no_method_outside_methods(page):
    one, two = ({path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()} for folder in page)
    assert one.keys() == two.keys() and [name for name in one if one[name] != two[name]] == []
    html = one["index.html"].decode()
    outside = re.sub(r'<section class="detail methods".*?</section>', " ", html, flags=re.S)
    outside = re.sub(r"<style.*?</style>|<[^>]*>", " ", outside, flags=re.S).lower()
    assert [name for name in words.METHOD_NAMES if name in outside] == []
    assert "speak of the old denture" in html and "different inner yardsticks" in html


@pytest.mark.parametrize("change", [dict(patients=0), dict(answered=False), dict(answered=False, asked=False), dict(patients=3)], ids=["empty", "no questionnaire", "nothing asked", "three"])
def test_a_log_with_few_or_no_answers_still_gives_a_page_that_says_so(handmade, monkeypatch, tmp_path, change):
    html = write(handmade, monkeypatch, handmade.log(**change), tmp_path).read_text(encoding="utf-8")
    assert "The log cannot say" in html or "too few" in html
    assert "nan" not in re.sub(r"<style.*?</style>|<[^>]*>", " ", html, flags=re.S).lower().split()
