"""Whole reports on logs that would break a careless page: thirty levels with names in any script, of sixty letters and hostile; nothing fails;
everything fails on one day; one group is empty. Each gives a page, a deck and a front side of one sheet, or says in a sentence why not."""

from __future__ import annotations

import csv
import re
import zipfile
from pathlib import Path

import pytest

from outcomes import intake
from outcomes.cli import main
from outcomes.store import open_store

REPORTS = ("clinic_audit", "insert_longevity", "retention_changes", "strategy_comparison")
QUICK = "[report]\ndraws = 60\n[wear]\ngroup_draws = 40\n"
NAMES = ["<script>alert(1)</script>", '=HYPERLINK("x")', "'; DROP TABLE visits; --", "</text><b>x", "{{ 7*191 }}", "@SUM(1)&amp;", "ليّن", "мягкая", "μαλακό", "רך", "軽い", "größte Öffnung", "m" * 60, "level of retention as somebody with patience named it, very"]
EVIL = re.compile(r"<script|</text><b>")


def clinic(folder: Path, levels: list[str], worn: str, everybody_at: str = "") -> Path:
    """Thirty patients with two inserts each. ``worn``: "never", or "one day": everybody's inserts on the same day."""
    folder.mkdir(parents=True)
    people = [f"QX{number:02d}" for number in range(30)]
    of = {name: everybody_at or levels[place % len(levels)] for place, name in enumerate(people)}
    tables = {
        "patients": [["patient_id", "audit_consent"], *([name, "yes"] for name in people)],
        "insert_levels": [["level", "system", "retention", "unit"], *([name, "A", str(2 + place), "N"] for place, name in enumerate(levels))],
        "set_up": [["patient", "arch", "position", "fitted_on", "attachment", "level"], *([name, "lower", site, "2020-03-02", "stud", of[name]] for name in people for site in ("33", "43"))],
        "day_sheet": [["patient", "date", "reason", "parts_checked", "snap", "inserts_changed", "why", "worn_at", "level_now"]],
    }
    for place, name in enumerate(people):
        days = [("2020-03-02", "delivery"), ("2021-03-03", "recall"), ("2022-03-04", "recall"), ("2023-03-03", "recall")]
        for day, reason in days:
            bad = worn == "one day" and day == "2022-03-04"
            tables["day_sheet"].append([name, day, reason, "all", "a bit loose" if bad else "just right", *(["all", "worn", "33", levels[(place + 1) % len(levels)]] if bad else ["none", "", "", ""])])
    for name, rows in tables.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    store = folder / "clinic.duckdb"
    checked = intake.check(sorted(folder.glob("*.csv")))
    assert checked.error_count == 0, list(checked.problems["message"])[:3]
    with open_store(store, create=True) as opened:
        opened.load(checked)
    return store


LOGS = {
    "hard names and thirty levels": {"levels": [*NAMES, *(f"level {number}" for number in range(16))], "worn": "one day"},
    "nothing fails": {"levels": ["light", "firm"], "worn": "never", "everybody_at": "light"},
}


@pytest.fixture(scope="module", params=LOGS)
def written(request, tmp_path_factory) -> Path:
    """Every report of one log."""
    out = tmp_path_factory.mktemp("bad")
    store = clinic(out / "files", **LOGS[request.param])
    (out / "plan.toml").write_text(QUICK, encoding="utf-8")
    assert main(["report", *REPORTS, "--quiet", "--store", str(store), "--plan", str(out / "plan.toml"), "--out", str(out / "reports")]) == 0
    return out / "reports"


def test_every_report_stands_and_says_nothing_that_nobody_computed(written):
    for name in REPORTS:
        html = (written / name / "index.html").read_text(encoding="utf-8")
        text = re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<style.*?</style>|<pre.*?</pre>", "", html))
        assert not re.search(r"\b(nan|inf|NaT|None)\b", text), name
        assert not EVIL.search(html) and "1337" not in text, name
        assert (written / name / "talk.pptx").is_file()


def test_hostile_names_are_harmless_in_every_table_and_deck(written):
    for path in written.rglob("*.csv"):
        for row in csv.reader(path.read_text(encoding="utf-8-sig").splitlines()):
            assert not [cell for cell in row if cell.lstrip().startswith(("=", "@", "\t"))], path.name
    for path in written.rglob("*.svg"):
        assert not EVIL.search(path.read_text(encoding="utf-8")), path.name
    for path in written.rglob("talk.pptx"):
        with zipfile.ZipFile(path) as package:
            assert not [part for part in package.namelist() if part.endswith(".xml") and b"<script" in package.read(part)]
            assert not [part for part in package.namelist() if part.endswith(".xml") and re.search(rb"\bQX\d\d\b", package.read(part))]


@pytest.mark.needs_browser
def test_the_front_side_still_fits_one_sheet(written, tmp_path):
    import subprocess

    for name in REPORTS:
        html = (written / name / "index.html").read_text(encoding="utf-8")
        front = tmp_path / f"{name}.html"
        front.write_text(re.sub(r"(?s)</article>.*</main>.*</footer>", "</article></main>", html), encoding="utf-8")
        pdf = front.with_suffix(".pdf")
        subprocess.run(["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--print-to-pdf={pdf}", front.as_uri()], capture_output=True, timeout=180, check=True)
        assert len(re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+[\d.]+\s+[\d.]+\s*\]", pdf.read_bytes())) == 1, name
