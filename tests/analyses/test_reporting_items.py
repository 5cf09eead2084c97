"""STROBE for cohorts (von Elm et al. 2007): each item that a report can fill by itself stands on the demo clinic's page, with the store's own numbers."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

import duckdb
import pytest

from outcomes import __version__
from outcomes.cli import main
from outcomes.plan import read_plan

AUDITED = "(SELECT patient_id FROM patients WHERE coalesce(audit_consent, 'unknown') <> 'no')"


class Page(HTMLParser):
    """A page by section: its words, its pairs of name and value, its tables by caption, the names of its drawings."""

    def __init__(self, html: str):
        super().__init__()
        self.sections, self.facts, self.tables, self.drawings = {"": []}, {}, {}, []
        self._where, self._tag, self._caption, self._name = "", "", "", ""
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self._tag = tag
        if tag == "h2":
            self._where = found["id"] if "id" in found else "contents"
            self.sections[self._where] = []
        if found.get("role") == "img":
            self.drawings.append(found["aria-label"])
        if tag == "p" and found.get("class") == "caption":
            self._caption, self._name = "", "caption"
        if tag == "table":
            self.tables[self._caption] = []
        if tag == "tr":
            self.tables[self._caption].append([])
        if tag in ("td", "th"):
            self.tables[self._caption][-1].append("")
        if tag == "dt":
            self._name = ""
        if tag == "style":
            self._where = "style"
            self.sections["style"] = []

    def handle_data(self, data):
        self.sections[self._where].append(data)
        if self._tag == "span" and self._name == "caption":
            self._caption, self._name = data, ""
        elif self._tag in ("td", "th"):
            self.tables[self._caption][-1][-1] += data
        elif self._tag == "dt":
            self._name = self._name + data
        elif self._tag == "dd" and self._name:
            self.facts[self._where, self._name], self._name = data, ""

    def handle_endtag(self, tag):
        self._tag = ""

    def words(self, section: str) -> str:
        return " ".join(" ".join(self.sections[section]).replace("\u00a0", " ").split())

    def fact(self, name: str) -> str:
        return self.facts["record", name].replace("\u00a0", " ")

    def rows(self, caption: str) -> list[dict[str, str]]:
        head, *rest = self.tables[caption]
        return [dict(zip(head, [cell.replace("\u00a0", " ") for cell in row])) for row in rest]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    out = tmp_path_factory.mktemp("demo")
    assert main(["demo", "--quiet", "--out", str(out)]) == 0
    return out


@pytest.fixture(scope="module")
def page(demo):
    return Page((demo / "index.html").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def store(demo):
    with duckdb.connect(str(demo / "demo.duckdb"), read_only=True) as connection:
        yield lambda query: connection.execute(query).fetchone()


def day(date) -> str:
    return f"{date.day} {date:%B %Y}"


def number(text: str) -> int:
    return int(re.match(r"[\d,]+", text).group().replace(",", ""))


def test_item_1a_and_4_the_design_is_named(page):
    assert page.fact("Design").startswith("audit of one clinic's log of visits, looked back on")
    assert "Design: audit of one clinic's log" in page.words("methods")


def test_item_5_dates_of_first_and_last_delivery_and_visit_and_of_the_log_closing(page, store):
    first, last = store(f"SELECT min(delivered_on), max(delivered_on) FROM dentures WHERE delivered_on_precision = 'day' AND coalesce(\"use\", 'everyday') <> 'spare' AND patient_id IN {AUDITED}")
    assert page.fact("First and last delivery") == f"{day(first)} and {day(last)}"
    first, last = store(f"SELECT min(visited_on), max(visited_on) FROM visits WHERE patient_id IN {AUDITED}")
    assert page.fact("First and last visit") == f"{day(first)} and {day(last)}"
    assert page.fact("The log was closed on") == day(last)


def test_item_6a_who_was_eligible_and_how_they_were_found(page):
    assert page.fact("How the patients were found") == read_plan()["audit"]["cohort"]


def test_item_7_and_8_each_endpoint_with_its_definition_and_how_it_is_found(page):
    from outcomes import schemas

    rows = page.rows("What counted as an event, and how long it was watched for")
    assert [row["endpoint"] for row in rows] == list(read_plan()["report"]["endpoints"])
    for row in rows:
        declared = schemas.endpoints()[row["endpoint"]]
        assert row["an event is"] == declared["definition"]
        assert {"examination": "looking", "patient": "the patient", "record": "its own entry"}[declared["noticed_by"]] in row["found by"]


def test_item_8_who_recorded(page, store):
    assert re.search(r"(\d+) clinicians? named", page.fact("Who recorded")) and "no second reading" in page.fact("Who recorded")


def test_item_9_the_ways_in_which_the_log_may_mislead(page):
    assert "Associations are not effects unless the design says so." in page.words("plan")  # the cautions follow the last section
    assert any("silence means sound" in cell for cell in page.tables["What silence could do"][0])


def test_item_10_the_size_was_not_calculated_and_the_precision_is_on_the_page(page):
    assert "no size was calculated beforehand" in page.fact("Size")
    assert page.words("answers").count("likely range") >= 5


def test_item_11_and_12_cut_points_methods_missing_data_loss_and_sensitivity(page):
    methods = page.words("methods")
    assert "Turnbull 1976" in methods and "Kaplan–Meier" in methods
    assert '"firm_n": 17.0' in page.words("plan") and '"notice_days": 30' in page.words("plan")
    assert "patients not seen in the last 18 months" in page.fact("Lost")
    assert "if silent notes mean sound" in page.tables["What silence could do"][0]


def test_item_13_numbers_and_reasons_at_each_stage_add_up_and_are_drawn(page, store):
    rows = page.rows("Who was left out at each stage, and why")
    stages = [number(row["stage"]) for row in rows if row["left out"] == "–"]
    (everybody,) = store("SELECT count(*) FROM patients")
    (audited,) = store(f"SELECT count(*) FROM {AUDITED}")
    assert stages[0] == everybody and stages[1] == audited
    reasons = {row["why"]: number(row["left out"]) for row in rows if row["left out"] != "–"}
    assert reasons["did not agree to audit"] == everybody - audited > 0
    inserts = int(re.search(r"([\d,]+) inserts over time", rows[3]["stage"]).group(1).replace(",", ""))
    followed = int(re.search(r"([\d,]+) first inserts followed", rows[-1]["stage"]).group(1).replace(",", ""))
    assert inserts - sum(amount for why, amount in reasons.items() if why not in ("did not agree to audit", "no overdenture in the log")) == followed
    assert any("patients in the log; followed:" in name for name in page.drawings)


def test_item_14a_and_b_patients_and_dentures_are_described_with_what_is_missing(page, store):
    described = {row["what"]: row["value"] for row in page.rows("Patients and dentures")}
    (lower,) = store(f"SELECT count(*) FROM dentures WHERE arch = 'lower' AND coalesce(\"use\", 'everyday') <> 'spare' AND patient_id IN {AUDITED}")
    assert int(described["of the lower jaw"]) == lower
    missing = {row["what"]: row for row in page.rows("What the log does not say")}
    for what, query in {
        "birth year": f"SELECT count(*) FILTER (WHERE birth_year IS NULL), count(*) FROM patients WHERE patient_id IN {AUDITED}",
        "sex": f"SELECT count(*) FILTER (WHERE sex IS NULL OR sex = 'unknown'), count(*) FROM patients WHERE patient_id IN {AUDITED}",
        "the snap in the patient's words": f"SELECT count(*) FILTER (WHERE snap IS NULL OR snap = 'not asked'), count(*) FROM visits WHERE visited_on IS NOT NULL AND reason NOT IN ('laboratory', 'contact only') AND patient_id IN {AUDITED}",
        "chair minutes": f"SELECT count(*) FILTER (WHERE minutes IS NULL), count(*) FROM visits WHERE visited_on IS NOT NULL AND reason NOT IN ('laboratory', 'contact only') AND patient_id IN {AUDITED}",
        "day of delivery": f"SELECT count(*) FILTER (WHERE delivered_on_precision IS DISTINCT FROM 'day'), count(*) FROM dentures WHERE coalesce(\"use\", 'everyday') <> 'spare' AND patient_id IN {AUDITED}",
    }.items():
        assert (int(missing[what]["not known"]), number(missing[what]["of"])) == store(query), what
    assert int(missing["the snap in the patient's words"]["not known"]) > 0


def test_item_14c_follow_up_in_all_and_typical(page):
    found = re.fullmatch(r"(\d+) patient-years, from delivery .*; middle patient ([\d.]+) years?", page.fact("Followed in all"))
    assert int(found.group(1)) == int(page.facts["about-upkeep", "Years followed, together"]) > 100 and float(found.group(2)) > 0
    for row in page.rows("What counted as an event, and how long it was watched for"):
        assert number(row["watched in all, in years"]) > 0 and re.match(r"[\d.]+ years?", row["as a rule"])


def test_item_15_and_16_events_with_intervals_absolute_and_adjusted_for_who_came_back(page):
    rows = {row["endpoint"]: row for row in page.rows("What counted as an event, and how long it was watched for")}
    for anchor, name in {"about-first-repair": "first repair", "about-housing-bond-failure": "housing bond failure"}.items():
        assert page.facts[anchor, "With the event"].replace("\u00a0", " ") == rows[name]["with the event"]
    for caption in ("Dentures without a repair: shares at the plan's horizons", "Housings firmly in the denture: shares at the plan's horizons"):
        assert page.rows(caption) and all(" to " in row["likely range (95 %)"] for row in [{key.replace("\u00a0", " "): value for key, value in one.items()} for one in page.rows(caption)])


def test_item_17_other_analyses_stand_beside_the_first(page):
    assert len(page.rows("Ways of counting wear: share not worn")) == 4
    assert page.rows("Whatever would have become of inserts that were changed for other reasons: share not worn, by the day found")


def test_item_19_limitations_are_on_the_first_side(page):
    assert len(page.words("sure")) > 200 and "depends on who came back" in page.words("sure")


def test_items_that_only_people_can_fill_are_named_as_such(page):
    assert all(word in page.words("record") for word in ("by hand", "funding", "approval"))


def test_software_is_named_with_its_versions_as_in_the_manifest(page, demo):
    versions = json.loads((demo / "manifest.json").read_text(encoding="utf-8"))["versions"]
    assert f"outcomes {__version__}" in page.fact("Software")
    assert all(f"{name} {version}" in page.fact("Software") for name, version in versions.items())


@pytest.mark.parametrize("patients", [0, 1, 25])
def test_a_poor_log_still_gets_its_record(handmade, tmp_path, patients):
    from outcomes.analyses import reporting
    from outcomes.present.folder import Folder

    log = handmade.log(patients)
    section = reporting.section(log, [log.lifetime(name) for name in log.plan["report"]["endpoints"]], Folder(tmp_path))
    facts = dict(section.blocks[0].pairs)
    text = " ".join(facts.values())
    assert "nan" not in text.lower().split() and "NaT" not in text
    assert facts["First and last visit"] == "not known" if not patients else " and " in facts["First and last visit"]
    assert len(section.blocks) == (2 if patients == 0 else 5)
