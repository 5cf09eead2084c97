"""Imports point one way along the data's way, and asking for help loads nothing heavy."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
# What each stage may import of ours, beside itself, outcomes.errors, outcomes.neutral, outcomes.plan and outcomes.schemas.
ALLOWED = {
    "schemas": set(),
    "outcomes/intake": set(),
    "outcomes/store": {"intake"},
    "outcomes/episodes": set(),
    "outcomes/longevity": set(),
    "outcomes/satisfaction": {"longevity"},
    "outcomes/club": {"longevity"},
    "outcomes/present": set(),
    "synthetic_data": set(),
    "analyses": {"store", "episodes", "longevity", "satisfaction", "club", "present"},
}
ALWAYS = {"errors", "plan", "schemas", "progress", "neutral", "__version__"}
HEAVY = {"pandas", "numpy", "scipy", "duckdb", "pandera", "lifelines", "statsmodels", "matplotlib", "seaborn", "openpyxl", "jinja2", "pyarrow"}


def stages_imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            parts = node.module.split(".")
            if parts[0] == "outcomes":
                found |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name.split(".")[1] for alias in node.names if alias.name.startswith("outcomes.")}
    return found


@pytest.mark.parametrize("folder", ALLOWED)
def test_a_stage_imports_only_what_comes_before_it(folder):
    own = Path(folder).name
    for path in (ROOT / folder).rglob("*.py"):
        wrong = stages_imported(path) - ALLOWED[folder] - ALWAYS - {own}
        assert not wrong, f"{path.relative_to(ROOT)} imports {sorted(wrong)}"


def test_estimators_know_nothing_of_stores_files_or_plots():
    for path in (ROOT / "outcomes/longevity").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for name in ("duckdb", "matplotlib", "openpyxl"):
            assert f"import {name}" not in text, f"{path.name} imports {name}"


def test_asking_for_help_imports_no_heavy_library():
    code = "import sys\nfrom outcomes.cli import parser\nparser().format_help()\nprint(sorted({m.split('.')[0] for m in sys.modules}))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    loaded = set(ast.literal_eval(out))
    assert not loaded & HEAVY


def test_files_fit_in_one_head():
    long = {str(p.relative_to(ROOT)): n for folder in ("schemas", "outcomes", "analyses", "synthetic_data") for p in (ROOT / folder).rglob("*.py")
            if (n := len(p.read_text(encoding="utf-8").splitlines())) > 400}
    assert not long, long
