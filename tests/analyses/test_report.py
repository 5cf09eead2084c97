"""The whole audit on logs made by hand: every page stands, says what it cannot say, and comes out the same twice."""

from __future__ import annotations

import csv
import hashlib
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from outcomes.analyses import clinic_audit, methods
from outcomes.present import words

ROOT = Path(__file__).resolve().parents[2]
GUARD = "The log lists failures but not the visits where nothing was wrong."


class Text(HTMLParser):
    """A page's words, those of Methods apart."""

    def __init__(self, html: str):
        super().__init__()
        self.open, self.outside, self.inside = [], [], []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        if tag in ("section", "article", "style", "title"):
            self.open.append((tag, "methods" in (dict(attributes).get("class") or "").split()))
        label = dict(attributes).get("aria-label")
        if label and not any(methods for _, methods in self.open):
            self.outside.append(label)

    def handle_endtag(self, tag):
        if self.open and self.open[-1][0] == tag:
            self.open.pop()

    def handle_data(self, data):
        if not any(tag == "style" for tag, _ in self.open):
            (self.inside if any(methods for _, methods in self.open) else self.outside).append(data)


def write(handmade, monkeypatch, log, out) -> Path:
    monkeypatch.setattr(clinic_audit, "read_log", lambda connection, plan: log)
    return clinic_audit.report(handmade.NoStore(), log.plan, out)


@pytest.fixture(scope="module")
def whole(handmade, tmp_path_factory):
    """One full report, written twice into two folders from two logs made alike."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        return [write(handmade, monkeypatch, handmade.log(report={"draws": 200}), tmp_path_factory.mktemp(name)).parent for name in ("one", "two")]


def test_two_runs_in_two_folders_are_the_same_to_the_byte(whole):
    one, two = ({path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()} for folder in whole)
    assert one.keys() == two.keys() and len(one) > 30
    assert [name for name in one if one[name] != two[name]] == []


def test_the_manifest_names_every_file_written_and_the_day_the_log_closes(whole):
    body = json.loads((whole[0] / "manifest.json").read_text())
    written = {path.relative_to(whole[0]).as_posix() for path in whole[0].rglob("*") if path.is_file()} - {"manifest.json"}
    assert set(body["outputs"]) == written
    assert all(hashlib.sha256((whole[0] / name).read_bytes()).hexdigest() == digest for name, digest in body["outputs"].items())
    assert body["date"] == "2024-12-31" and body["seed"] and body["plan_digest"] and body["inputs"] == [{"name": "log.xlsx", "sha256": "ab" * 32}]


def test_no_method_is_named_outside_methods_and_no_count_of_parts_stands_for_people(whole):
    text = Text((whole[0] / "index.html").read_text(encoding="utf-8"))
    outside, inside = " ".join(text.outside).lower(), " ".join(text.inside).lower()
    assert [name for name in words.METHOD_NAMES if name in outside] == []
    assert "kaplan–meier" in inside and "turnbull" in inside
    assert not re.search(r"\bn\s*=\s*\d", outside)


def test_every_caution_is_on_the_page(whole):
    html = (whole[0] / "index.html").read_text(encoding="utf-8")
    assert len(methods.CAUTIONS) == 5
    assert all(caution.replace("'", "&#39;") in html for caution in methods.CAUTIONS)


def test_the_numbers_of_the_front_page_are_those_of_the_table_rounded_once(whole):
    html = (whole[0] / "index.html").read_text(encoding="utf-8")
    rows = list(csv.DictReader((whole[0] / "tables" / "answers.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert len(rows) == 7
    for row in rows:
        assert f">{row['number'].removeprefix(chr(39))}<" in html
        if row["number"].endswith("%") and row["value"]:
            assert words.percent(float(row["value"])) == row["number"]


def test_shares_in_a_section_are_those_of_its_table_rounded_once(whole):
    html = (whole[0] / "index.html").read_text(encoding="utf-8")
    for row in csv.DictReader((whole[0] / "tables" / "housing_bond_failure_shares.csv").read_text(encoding="utf-8-sig").splitlines()):
        assert words.percent(float(row["share"])) == row["shown"]
        assert f">{row['shown']}</td>" in html and words.percent_range(float(row["low"]), float(row["high"])) in html


def test_every_figure_comes_in_three_formats(whole):
    stems = {path.stem for path in (whole[0] / "figures").iterdir()}
    assert {"first_repair", "insert_worn", "housing_bond_failure", "what_became_of_inserts", "starting_level", "unplanned_visits", "snap", "satisfaction", "who_is_in_it", "visits_calendar", "standards_by_year", "upkeep_by_kind"} == stems
    assert all((whole[0] / "figures" / f"{stem}.{kind}").is_file() for stem in stems for kind in ("png", "svg", "pdf"))


def test_pseudonyms_are_linked_from_their_counts_and_the_page_says_so(whole):
    html = (whole[0] / "index.html").read_text(encoding="utf-8")
    assert "not for sharing" in html
    for target in re.findall(r'href="#(list-[a-z-]+)"', html):
        assert f'id="{target}"' in html


@pytest.mark.parametrize(
    ("choice", "said"),
    [
        ({"patients": 0}, ["The log is empty", "none was followed from a known day", "There is nothing to judge yet"]),
        ({"patients": 1}, ["0 of 1", "cannot tell", "one patient gives no range"]),
        ({"patients": 25, "guard": GUARD}, [GUARD, "it lists failures but not the visits where nothing was wrong", "The log lists failures only"]),
        ({"patients": 25, "answered": False, "asked": False}, ["nobody was asked", "no questionnaire was answered", "The question on the snap was never asked"]),
        ({"patients": 25, "fail": float("inf")}, ["nothing has failed yet", "No curve: it takes 5 patients with the event, and 0 had it."]),
    ],
    ids=["empty", "one patient", "failures only", "no questionnaires", "only censored"],
)
def test_a_poor_log_gives_a_page_that_says_what_it_cannot_say(handmade, monkeypatch, tmp_path, choice, said):
    log = handmade.log(**choice, report={"draws": 100})
    html = write(handmade, monkeypatch, log, tmp_path).read_text(encoding="utf-8")
    text = " ".join(" ".join(Text(html).outside).split())
    for sentence in said:
        assert sentence in text
    assert "nan" not in re.findall(r"[a-z]+", text.lower()) and "inf" not in re.findall(r"[a-z]+", text.lower())
    assert not [name for name in words.METHOD_NAMES if name in text.lower()]
    if log.guard:
        assert not (tmp_path / "figures" / "insert_worn.png").exists() and not (tmp_path / "tables" / "insert_worn_shares.csv").exists()


def test_hostile_pseudonyms_are_escaped_on_the_page_and_harmless_in_tables(handmade, monkeypatch, tmp_path):
    log = handmade.log(8, names='=cmd|"<script>alert({})</script>')
    html = write(handmade, monkeypatch, log, tmp_path).read_text(encoding="utf-8")
    assert "<script" not in html
    for path in (tmp_path / "tables").glob("*.csv"):
        for row in csv.reader(path.read_text(encoding="utf-8-sig").splitlines()):
            assert not [cell for cell in row if cell.startswith(("=", "@"))]


def test_the_report_reads_as_a_story_of_ten_to_forty_lines():
    lines = [line for line in (ROOT / "analyses" / "clinic_audit.py").read_text().splitlines() if line.strip()]
    assert 10 <= len(lines) <= 45
    body = (ROOT / "analyses" / "clinic_audit.py").read_text().split("def report")[1]
    assert len([line for line in body.splitlines() if line.strip()]) <= 40
