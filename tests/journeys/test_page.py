"""The page in a real browser: one A4 side in front, no sideways scrolling on a phone, dark mode, and the same bytes from two machines' settings."""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
A4 = (595, 842)  # points
BROWSER = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--allow-file-access-from-files", "--virtual-time-budget=4000"]

MAKE = """
import sys
from pathlib import Path
from outcomes import intake, synthetic_data
from outcomes.analyses import clinic_audit
from outcomes.plan import read_plan
from outcomes.store import open_store

out = Path(sys.argv[1])
clinic = synthetic_data.simulate("demo", patients=int(sys.argv[2]))
files = [Path(file) for file in synthetic_data.write(clinic, out / "files", form="long", file="xlsx")]
with open_store(out / "clinic.duckdb", create=True) as store:
    store.load(intake.check(files), good_rows=True)
with open_store(out / "clinic.duckdb", read_only=True) as store:
    clinic_audit.report(store, read_plan(), out / "report")
"""


def make(out: Path, patients: int, hash_seed: str) -> Path:
    """A report of the simulated clinic, made by a process of its own."""
    out.mkdir(parents=True, exist_ok=True)
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": hash_seed, "TZ": "UTC" if hash_seed == "1" else "Pacific/Auckland"}
    subprocess.run([sys.executable, "-c", MAKE, str(out), str(patients)], check=True, env=environment, cwd=out)
    return out / "report"


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    return make(tmp_path_factory.mktemp("demo"), 90, "1")


def browse(*arguments: str) -> str:
    return subprocess.run([*BROWSER, *arguments], capture_output=True, text=True, timeout=120, check=True).stdout


def pages(html: Path) -> list[tuple[int, int]]:
    """Size in points of every page that printing gives."""
    pdf = html.with_suffix(".pdf")
    browse("--no-pdf-header-footer", f"--print-to-pdf={pdf}", html.as_uri())
    return [(round(float(width)), round(float(height))) for width, height in re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]", pdf.read_bytes())]


def front_only(html: str) -> str:
    return re.sub(r"(?s)</article>.*</main>.*</footer>", "</article></main>", html)


def measured(html: Path, width: int) -> dict[str, int]:
    """How wide the page is laid out and how wide it wants to be, in a frame of ``width`` CSS pixels."""
    probe = html.with_name("probe.html")
    script = "<script>addEventListener('load', () => parent.postMessage([innerWidth, document.documentElement.scrollWidth, document.documentElement.scrollHeight, [...document.querySelectorAll('.scroll')].filter(one => one.scrollWidth > one.clientWidth + 1).length].join(' '), '*'))</script>"
    probe.write_text(html.read_text(encoding="utf-8").replace("</body>", script + "</body>"), encoding="utf-8")
    frame = html.with_name("frame.html")
    frame.write_text(f'<!doctype html><p id="said">nothing</p><script>addEventListener("message", event => document.getElementById("said").textContent = event.data)</script>'
                     f'<iframe src="probe.html" style="width:{width}px;height:800px;border:0"></iframe>', encoding="utf-8")  # fmt: skip
    said = re.search(r'id="said">([\d ]+)<', browse("--dump-dom", frame.as_uri()))
    assert said, "the page did not say how wide it is"
    return dict(zip(("inner", "wanted", "height", "scrolling"), map(int, said.group(1).split())))


@pytest.mark.needs_browser
def test_the_front_page_prints_on_exactly_one_a4_side(demo, tmp_path):
    html = (demo / "index.html").read_text(encoding="utf-8")
    alone, whole = tmp_path / "front.html", tmp_path / "whole.html"
    alone.write_text(front_only(html), encoding="utf-8")
    whole.write_text(html, encoding="utf-8")
    assert pages(alone) == [A4]
    sizes = pages(whole)
    assert len(sizes) > 3 and set(sizes) == {A4}


@pytest.mark.needs_browser
def test_a_front_page_that_is_full_to_the_brim_still_prints_on_one_side(tmp_path):
    spec = importlib.util.spec_from_file_location("handmade", ROOT / "tests" / "present" / "handmade.py")
    handmade = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(handmade)
    from outcomes.present import page

    full = tmp_path / "full.html"
    full.write_text(front_only(page.render(handmade.report(rows=9))), encoding="utf-8")
    assert pages(full) == [A4]


@pytest.mark.needs_browser
@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_no_screen_has_to_be_scrolled_sideways(demo, tmp_path, width):
    copy = tmp_path / "index.html"
    shutil.copy(demo / "index.html", copy)
    found = measured(copy, width)
    assert found["inner"] == width and found["wanted"] <= width


@pytest.mark.needs_browser
@pytest.mark.parametrize("width", [360, 390, 1280])
def test_no_table_has_to_be_scrolled_sideways_either(demo, tmp_path, width):
    copy = tmp_path / "index.html"
    html = (demo / "index.html").read_text(encoding="utf-8")
    copy.write_text(html, encoding="utf-8")
    assert measured(copy, width)["scrolling"] == 0
    copy.write_text(html.replace('class="stacks"', 'style="min-width:2000px"'), encoding="utf-8")
    assert measured(copy, width)["scrolling"] > 0, "the check would find one"


@pytest.mark.needs_browser
@pytest.mark.parametrize("width", [390, 1280])
def test_a_checksum_among_the_facts_is_broken_rather_than_pushed_off_the_screen(demo, tmp_path, width):
    facts = '<dl class="facts">' + f"<div><dt>Checksum</dt><dd>{'0123456789abcdef' * 4}</dd></div>" * 4 + "</dl></main>"
    copy = tmp_path / "index.html"
    copy.write_text((demo / "index.html").read_text(encoding="utf-8").replace("</main>", facts), encoding="utf-8")
    assert measured(copy, width)["wanted"] <= width


@pytest.mark.needs_browser
def test_nothing_is_wider_than_the_sheet_so_that_printing_does_not_shrink_the_page(demo, tmp_path):
    copy = tmp_path / "index.html"
    copy.write_text((demo / "index.html").read_text(encoding="utf-8").replace("@media print", "@media all"), encoding="utf-8")
    assert measured(copy, 680)["wanted"] <= 680  # A4 less its margins: 180 mm at 96 to the inch


@pytest.mark.needs_browser
def test_the_check_for_sideways_scrolling_would_find_it(demo, tmp_path):
    copy = tmp_path / "index.html"
    copy.write_text((demo / "index.html").read_text(encoding="utf-8").replace("<main>", '<main><div style="width:500px">wide</div>', 1), encoding="utf-8")
    assert measured(copy, 390)["wanted"] > 390


def test_two_processes_with_other_settings_write_the_same_bytes(demo, tmp_path):
    """Page, figures, tables, manifest and talk."""
    one, two = demo, make(tmp_path / "two" / "deeper", 90, "2")
    names = {path.relative_to(one).as_posix() for path in one.rglob("*") if path.is_file() and path.name != "index.pdf"}  # printed by another test
    assert "talk.pptx" in names and names == {path.relative_to(two).as_posix() for path in two.rglob("*") if path.is_file()}
    assert [name for name in sorted(names) if (one / name).read_bytes() != (two / name).read_bytes()] == []
