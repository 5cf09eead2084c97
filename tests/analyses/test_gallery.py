"""The gallery, the log's calendar and the clinicians: every figure of every report named, and sentences where a log is too small."""

from __future__ import annotations

import inspect
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from importlib import import_module

import numpy as np
import pandas as pd
import pytest

from outcomes.commands.report import REPORTS
from outcomes.analyses import clinicians, gallery, visits_calendar
from outcomes.plan import read_plan
from outcomes.present import folder as folders
from outcomes.present.canvas import PAGE, TALK
from outcomes.present.curves import CannotDraw

DAY = pd.Timestamp


class Figures(HTMLParser):
    """Captions of a page's figures, and its notices."""

    def __init__(self, html: str):
        super().__init__()
        self.captions, self.notices, self.inside = [], [], ""
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        if tag == "figcaption":
            self.captions.append("")
            self.inside = tag
        elif tag == "p" and dict(attributes).get("class") == "notice":
            self.notices.append("")
            self.inside = tag

    def handle_endtag(self, tag):
        if tag == self.inside:
            self.inside = ""

    def handle_data(self, data):
        if self.inside:
            (self.captions if self.inside == "figcaption" else self.notices)[-1] += data


def quick_plan():
    plan = read_plan()
    plan._body["report"] = {**plan._body["report"], "draws": 50}
    return plan


@pytest.fixture(scope="module")
def drawn(simulated, tmp_path_factory):
    """The gallery of two reports of a small simulated clinic."""
    store, out, asked, collect = simulated(24, 4), tmp_path_factory.mktemp("gallery"), {}, gallery.figures_of

    def remembered(name, store, plan):
        asked[name] = collect(name, store, plan)
        return asked[name]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(gallery, "REPORTS", ("clinic_audit", "retention_changes"))
        patch.setattr(gallery, "figures_of", remembered)
        return gallery.report(store, quick_plan(), out), asked


def test_the_gallery_covers_every_report_there_is():
    assert set(gallery.REPORTS) == set(REPORTS) - {"gallery"}


def test_every_figure_asked_for_is_drawn_or_said_why_not(drawn):
    page, asked = drawn
    read = Figures(page.read_text(encoding="utf-8"))
    wanted = sum(len(figures) for figures in asked.values())
    unsaid = [one for one in read.notices if re.match(r"[A-Z][a-z ]+\. ", one)]
    assert wanted > 10 and len(read.captions) + len(unsaid) == wanted


def test_each_figure_states_its_sentence_and_names_a_function_that_is_there(drawn):
    page, asked = drawn
    read = Figures(page.read_text(encoding="utf-8"))
    findings = [figure.finding for figures in asked.values() for figure in figures]
    for caption in read.captions:
        assert any(caption.strip().startswith(finding) for finding in findings), caption
        module, name = re.search(r"Drawn by ([\w.]+)\.(\w+)\.", caption).groups()
        assert inspect.isfunction(getattr(import_module(module), name)) and module.startswith("outcomes.present.")


def test_the_manifest_of_the_gallery_names_its_files_and_nothing_of_the_reports_own_folders(drawn):
    page, _ = drawn
    outputs = json.loads((page.parent / "manifest.json").read_text())["outputs"]
    assert set(outputs) == {path.relative_to(page.parent).as_posix() for path in page.parent.rglob("*") if path.is_file()} - {"manifest.json"}
    assert [name for name in outputs if name.endswith(".html")] == ["index.html"]


def test_figures_are_drawn_again_once_the_gathering_is_over(handmade, tmp_path):
    with folders.gathering() as asked:
        folders.Folder(tmp_path).picture("one", lambda shape: 1 / 0, "A finding.", "")
    assert [figure.stem for figure in asked] == ["one"]
    with pytest.raises(ZeroDivisionError):
        folders.Folder(tmp_path).picture("one", lambda shape: 1 / 0, "A finding.", "")


def visit(patient, day, reason="recall", looked=True, precision="day"):
    return {"visit_id": f"{patient}/{day}", "patient_id": patient, "day": DAY(day), "precision": precision, "reason": reason, "seen": reason not in ("laboratory", "contact only"), "looked": looked}


@pytest.fixture
def three_months(handmade):
    """Two patients from January to April 2024: nobody in March, one visit at which nothing was looked at, one known by its year."""
    visits = pd.DataFrame([visit("A", "2024-01-10", "delivery"), visit("A", "2024-01-10", "problem"), visit("B", "2024-01-20"), visit("B", "2024-02-02", looked=False), visit("A", "2024-03-05", "contact only", looked=False),
                           visit("A", "2024-04-01", "problem"), visit("B", "2024-01-01", precision="year")])  # fmt: skip
    return replace(handmade.log(2), visits=visits, closing=DAY("2024-04-30").date())


def test_a_day_of_a_patient_counts_once_and_the_problem_names_it(three_months):
    found = visits_calendar.recorded(three_months)
    assert found.calendar.visits.loc["2024-01-01"].to_dict() == {"recall": 1, "problem": 1, "contact only": 0}
    assert int(found.calendar.visits.to_numpy().sum()) == len(found.days) == 5


def test_a_month_with_nothing_but_a_telephone_call_is_silent(three_months):
    found = visits_calendar.recorded(three_months)
    assert found.silent == 1 and found.calendar.seen.loc["2024-03-01"] == 0 and found.unlooked == 1
    assert visits_calendar.finding(found) == "5 visits in 4 months: nobody was seen in 1 of them, and at 1 of 4 visits with the patient no part was looked at."


def test_a_visit_known_by_its_year_is_in_no_month(three_months):
    assert visits_calendar.recorded(three_months).by_year_only == 1


def test_the_years_add_up_to_the_visits(clinic):
    table = visits_calendar.by_year(visits_calendar.recorded(clinic))
    reasons = [name for name in table if name not in ("year", "all", "months with nobody seen", "nothing looked at")]
    assert (table[reasons].sum(axis=1) == table["all"]).all() and table["all"].sum() == len(clinic.visits.drop_duplicates(["patient_id", "day"]))


def test_an_empty_log_has_no_calendar_and_says_so(handmade, tmp_path):
    section = visits_calendar.section(handmade.log(0), folders.Folder(tmp_path))
    assert "no calendar" in section.blocks[0].text


def with_clinicians(log, names):
    """The log with its patients shared out among clinicians, in the way a store would say it."""
    patients = sorted(log.patients["patient_id"])
    share = {patient: names[i % len(names)] for i, patient in enumerate(patients)}
    life = log.lifetime("insert worn")
    episodes = pd.DataFrame({"episode_id": life.rows["unit_id"], "clinician": life.rows["patient_id"].map(share)})
    return replace(log, episodes=episodes), life


@pytest.fixture(scope="module")
def large(handmade):
    return handmade.log(150, fail=1.5, recalls=True)


def test_six_clinicians_with_enough_patients_have_a_funnel_in_the_order_of_their_codes(large, tmp_path):
    log, life = with_clinicians(large, ["F", "B", "A", "E", "D", "C"])
    found = clinicians.compared(log, life)
    assert found.speaks and found.observed.sum() == pytest.approx(found.expected.sum())
    assert clinicians.points(found)["unit"].tolist() == list("ABCDEF")
    folder = folders.Folder(tmp_path)
    section = clinicians.section(log, [life], folder)
    assert [block.kind for block in section.blocks] == ["prose", "picture", "grid"]
    assert not re.search(r"rank|worse|best|worst|league", " ".join([*section.blocks[0].paragraphs, section.blocks[1].finding]).replace("nobody is ranked", ""))


def test_four_clinicians_are_too_few_and_a_sentence_says_so(large, tmp_path):
    log, life = with_clinicians(large, ["A", "B", "C", "D"])
    section = clinicians.section(log, [life], folders.Folder(tmp_path))
    assert [block.kind for block in section.blocks] == ["prose", "notice"] and "It takes 5 clinicians" in section.blocks[1].text and "4 have so many" in section.blocks[1].text
    assert not (tmp_path / "tables").exists()  # nothing of few clinicians is written anywhere


def test_a_talk_names_no_clinician(large, tmp_path):
    log, life = with_clinicians(large, ["Dr =1+1", "<script>", "B", "A'; DROP TABLE visits;--", "C", "D"])
    with folders.gathering() as asked:
        clinicians.section(log, [life], folders.Folder(tmp_path))
    said = {shape.name: " ".join(label.get_text() for label in asked[0].draw(shape).labels) for shape in (PAGE, TALK)}
    assert "<script>" in said["page"] and not re.search(r"<script>|DROP|Dr =", said["talk"])


def test_where_nobody_was_followed_there_is_no_funnel(handmade):
    log = handmade.log(0)
    assert clinicians.compared(log, log.lifetime("insert worn")) is None
    with pytest.raises(CannotDraw):
        clinicians._none(clinicians.too_few(None, log.lifetime("insert worn")))


def test_parts_nobody_signed_for_count_in_what_is_expected(large):
    log, life = with_clinicians(large, ["A", None])
    found = clinicians.compared(log, life)
    assert found.units == ("A",) and found.unnamed > 0 and found.expected[0] < life.events
    assert np.isfinite(found.dispersion)
