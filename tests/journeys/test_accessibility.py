"""Every report's page before a general accessibility engine in a real browser, light and dark, wide and narrow, and under the Tab key."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

from outcomes.cli import main
from outcomes.commands.report import REPORTS

AXE = Path(__file__).with_name("axe")
# Rules that must have found something to look at, or the engine has not looked at the page.
LOOKED = {"color-contrast", "document-title", "heading-order", "html-has-lang", "html-lang-valid", "landmark-one-main", "landmark-unique", "link-name", "page-has-heading-one", "region", "role-img-alt", "skip-link"}


@pytest.fixture(scope="session")
def engine(tmp_path_factory) -> Path:
    """A folder with the engine and the browser's driver, at the versions of axe/package.json."""
    folder = tmp_path_factory.mktemp("axe")
    shutil.copy(AXE / "package.json", folder)
    made = subprocess.run([shutil.which("npm"), "install", "--no-audit", "--no-fund", "--no-package-lock"], cwd=folder, capture_output=True, text=True, timeout=300)
    if made.returncode:
        reason = "npm could not fetch the packages of tests/journeys/axe/package.json (no network?): " + made.stderr.strip()[-300:]
        pytest.fail(reason, pytrace=False) if os.environ.get("CI") == "true" else pytest.skip(reason)
    return folder


EVERY = [("light", 1280), ("light", 390), ("dark", 1280), ("dark", 390)]
TWO = [("light", 1280), ("dark", 390)]  # colours and widths do not depend on each other: for most pages each of them once


def look(engine: Path, profiles: Path, views: list[tuple[str, int]], *pages: Path) -> list[dict]:
    """What the engine finds on each page, light or dark, so many pixels wide."""
    profiles.mkdir()
    done = subprocess.run([shutil.which("node"), str(AXE / "check.js"), shutil.which("chromium"), str(profiles), ",".join(f"{scheme}{width}" for scheme, width in views), *map(str, pages)], cwd=engine, capture_output=True, text=True, timeout=600)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.needs_node
@pytest.mark.needs_browser
@pytest.mark.parametrize("report", sorted(REPORTS))
def test_the_engine_finds_no_fault_and_the_keyboard_reaches_everything_in_reading_order(engine, page, tmp_path, report):
    views = EVERY if report == "clinic_audit" else TWO
    found = look(engine, tmp_path / "profiles", views, page(report))
    assert [(one["scheme"], one["width"]) for one in found] == views
    assert len({one["paper"] for one in found}) == 2, "dark mode has a paper of its own"
    pinned = json.loads((AXE / "package.json").read_text(encoding="utf-8"))["dependencies"]["axe-core"]
    for one in found:
        where = f"{report}, {one['scheme']}, {one['width']} pixels"
        assert one["engine"] == pinned
        assert one["violations"] == [], where
        assert one["unsure"] == [], f"{where}: neither a fault nor a pass"
        assert LOOKED - set(one["passes"]) == set(), where
        assert one["letters"]["seen"] > 20 and one["letters"]["faint"] == [], f"{where}: letters in drawings below 4.5 to 1"
        if one["stops"] is not None:
            places = [stop["place"] for stop in one["stops"]]
            assert len(places) == one["wanted"] > 10 and places == sorted(places), f"{where}: Tab leaves something out or jumps"
            assert [stop["words"] for stop in one["stops"] if not stop["outline"] or not stop["inside"]] == [], f"{where}: the place cannot be seen"
            assert one["stops"][0]["words"].startswith("Skip to the ")


@pytest.mark.needs_node
@pytest.mark.needs_browser
def test_the_engine_and_the_keyboard_would_find_faults_put_there_on_purpose(engine, page, tmp_path):
    html = page("housing_longevity").read_text(encoding="utf-8")
    faults = '<img src="data:,"><p style="color:#aaa;background:#fff">faint</p><svg width="90" height="20"><rect width="90" height="20" fill="#888"/><text x="2" y="15" fill="#fff">pale words</text></svg><a href="#title" tabindex="5" style="outline:none">first</a>'
    bad = tmp_path / "bad.html"
    bad.write_text(html.replace("</main>", faults + "<h5>gap</h5></main>").replace('<html lang="en">', "<html>"), encoding="utf-8")
    for one in look(engine, tmp_path / "profiles", TWO, bad):
        assert {"image-alt", "color-contrast", "heading-order", "html-has-lang", "tabindex"} <= {fault["rule"] for fault in one["violations"]}
        assert [faint["words"] for faint in one["letters"]["faint"]] == ["pale words"]
        if one["stops"] is not None:
            assert one["stops"][0]["words"] == "first" and not one["stops"][0]["outline"]


class Structure(HTMLParser):
    """Headings, landmarks, names and drawings of a page."""

    def __init__(self, html: str):
        super().__init__()
        self.headings, self.landmarks, self.names, self.tabs, self.language, self.title = [], [], [], [], None, ""
        self.drawings, self.findings, self._open = [], [], []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self._open.append(tag)
        if tag == "html":
            self.language = found.get("lang")
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag in ("main", "nav", "footer"):
            self.landmarks.append(tag)
        if tag == "section" and ("aria-label" in found or "aria-labelledby" in found):
            self.names.append(found.get("aria-label") or found["aria-labelledby"])
        if found.get("role") == "img":
            self.drawings.append(found.get("aria-label", ""))
        if tag == "b" and "figcaption" in self._open:
            self.findings.append("")
        self.tabs.append(found.get("tabindex", "0"))

    def handle_endtag(self, tag):
        while self._open and self._open.pop() != tag:
            pass

    def handle_data(self, data):
        if self._open[-2:] == ["figcaption", "b"]:
            self.findings[-1] += data
        if self._open[-1:] == ["title"]:
            self.title += data


@pytest.mark.parametrize("report", sorted(REPORTS))
def test_a_screen_reader_gets_one_outline_and_the_finding_of_each_figure(page, report):
    read = Structure(page(report).read_text(encoding="utf-8"))
    assert read.language == "en" and len(read.title) > 10
    assert read.headings[0] == 1 and read.headings.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(read.headings, read.headings[1:])), "a heading level is left out"
    assert read.landmarks == ["main", "nav", "footer"] and len(set(read.names)) == len(read.names)
    assert set(read.tabs) == {"0"}, "reading order is the order of the page"
    assert read.drawings and read.drawings == read.findings, "a figure's text is its finding, word for word"
    assert all(len(text.split()) >= 5 and text[-1] in ".!?" for text in read.drawings)


@pytest.mark.needs_node
@pytest.mark.needs_browser
def test_the_engine_finds_no_fault_on_the_sheets_for_the_desk_and_the_chair(engine, demo, tmp_path):
    sheets = [tmp_path / f"{name}.html" for name in ("due", "tell", "stock")]
    for sheet in sheets:  # stock writes its sheet into a folder
        assert main([sheet.stem, "--quiet", "--store", str(demo), "--out", str(tmp_path if sheet.stem == "stock" else sheet)]) == 0
    found = look(engine, tmp_path / "profiles", EVERY, *sheets)
    assert len(found) == 4 * len(sheets) and all("color-contrast" in one["passes"] for one in found)
    assert [one["violations"] for one in found] == [[]] * len(found)
