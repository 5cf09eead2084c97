"""A researcher copies a report's script, changes the group and runs it: by its path, and as a report registered by another package."""

from __future__ import annotations

import json
import sys

import pytest

from outcomes import intake, synthetic_data
from outcomes.cli import main
from outcomes.commands.report import REPORTS
from outcomes.store import open_store
from pathlib import Path

ANALYSES = Path(__file__).resolve().parents[2] / "analyses"


@pytest.fixture(scope="module")
def store(tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("clinic")
    files = [Path(file) for file in synthetic_data.write(synthetic_data.simulate("demo", patients=40), out / "files", form="long", file="csv")]
    with open_store(out / "clinic.duckdb", create=True) as opened:
        opened.load(intake.check(files), good_rows=True)
    return out / "clinic.duckdb"


@pytest.fixture
def script(tmp_path) -> Path:
    """The report on inserts, copied into a folder of the researcher's, with other groups and a name of its own."""
    story = (ANALYSES / "insert_longevity.py").read_text(encoding="utf-8")
    for old, new in (('plan["wear"]["insert_factors"]', '["opposing", "sites"]'), ('name="insert_longevity"', 'name="by_opposing_jaw"'), ('"How long inserts last"', '"Inserts by the jaw opposite"')):
        assert old in story
        story = story.replace(old, new)
    own = tmp_path / "by_opposing_jaw.py"
    own.write_text(story, encoding="utf-8")
    return own


def test_a_copied_script_with_other_groups_is_a_report_by_its_path(store, script, tmp_path, capsys):
    assert main(["report", str(script), "--quiet", "--store", str(store), "--out", str(tmp_path / "out")]) == 0
    html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "Inserts by the jaw opposite" in html and "Opposite jaw" in html and "Attachments in the denture" in html and "Retention level at fitting</h2>" not in html
    assert json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))["report"] == "by_opposing_jaw"
    assert main(["report", str(script), "--quiet", "--verify", str(tmp_path / "out" / "manifest.json"), "--store", str(store)]) == 0
    assert main(["report", "--quiet", "--verify", str(tmp_path / "out" / "manifest.json"), "--store", str(store)]) == 2
    assert "give the path, which ends in .py" in capsys.readouterr().err


def test_beside_another_report_it_gets_a_folder_of_its_own(store, tmp_path):
    (tmp_path / "short.py").write_text("def report(store, plan, out, progress=None):\n    (out / 'index.html').write_text('own')\n    return out / 'index.html'\n", encoding="utf-8")
    assert main(["report", str(tmp_path / "short.py"), "satisfaction", "--quiet", "--store", str(store), "--out", str(tmp_path / "out")]) == 0
    assert (tmp_path / "out" / "short" / "index.html").read_text() == "own" and (tmp_path / "out" / "satisfaction" / "index.html").is_file()


def test_a_script_registered_by_another_package_is_one_more_name(store, script, tmp_path, monkeypatch):
    site = tmp_path / "site"
    (site / "theirs-1.0.dist-info").mkdir(parents=True)
    (site / "theirs-1.0.dist-info" / "METADATA").write_text("Metadata-Version: 2.1\nName: theirs\nVersion: 1.0\n", encoding="utf-8")
    (site / "theirs-1.0.dist-info" / "entry_points.txt").write_text("[outcomes.reports]\nopposing_jaw = by_opposing_jaw:report\n", encoding="utf-8")
    (site / "by_opposing_jaw.py").write_text(script.read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.syspath_prepend(str(site))
    monkeypatch.delitem(sys.modules, "by_opposing_jaw", raising=False)
    assert main(["report", "opposing_jaw", "--quiet", "--store", str(store), "--out", str(tmp_path / "out")]) == 0
    assert "Opposite jaw" in (tmp_path / "out" / "index.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("body", "said"),
    [(None, "There is no script mine.py"), ("x = 1\n", "has no function report("), ("def report(:\n", "cannot be read as Python: line 1"), ("import no_such_package\n", "asks for something that is not there")],
    ids=["no file", "no function", "no Python", "nothing to import"],
)
def test_a_script_that_cannot_run_is_misuse_and_says_why(store, tmp_path, capsys, body, said):
    if body is not None:
        (tmp_path / "mine.py").write_text(body, encoding="utf-8")
    assert main(["report", str(tmp_path / "mine.py"), "--quiet", "--store", str(store), "--out", str(tmp_path / "out")]) == 2
    assert said in capsys.readouterr().err and not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", sorted(REPORTS))
def test_every_report_reads_as_a_story_of_ten_to_forty_lines(name):
    lines = (ANALYSES / f"{name}.py").read_text(encoding="utf-8").split("def report(", 1)[1].split("\ndef ", 1)[0].splitlines()
    told = [line for line in lines if line.strip()]
    assert 10 <= len(told) <= 40
