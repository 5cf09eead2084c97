"""What the README shows works as shown."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

README = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```python\n(.*?)```", README, flags=re.S)


def test_the_estimator_example_gives_the_published_share():
    names: dict = {}
    exec(BLOCKS[0], names)
    # Freireich 1963, 6-MP arm: S(10) = .7529, median 23 weeks, as printed in textbooks of survival analysis.
    assert names["curve"].survival_at(10) == pytest.approx(0.7529, abs=5e-5)
    assert names["curve"].quantile(0.5) == 23


def test_the_way_from_files_to_part_histories(tmp_path, monkeypatch):
    from outcomes import synthetic_data

    clinic = synthetic_data.simulate("demo", patients=20, seed=1)
    (written,) = synthetic_data.write(clinic, tmp_path, form="day sheet", file="xlsx")
    Path(written).rename(tmp_path / "clinic_log.xlsx")
    monkeypatch.chdir(tmp_path)
    names: dict = {}
    exec(BLOCKS[1], names)
    assert len(names["parts"]) > 20


def test_every_command_it_names_exists():
    from outcomes.cli import parser

    known = next(action.choices for action in parser()._actions if action.dest == "command")
    named = set(re.findall(r"`outcomes ([a-z-]+)", README)) - {"COMMAND"}
    assert named and named <= set(known)
    assert set(known) <= named
