"""R beside ours: the fixture ``r`` runs a script on frames and hands back what it made."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # so that test modules can share histories.py

HEAD = "suppressPackageStartupMessages({library(survival); library(cmprsk); library(jsonlite)})\n"


@pytest.fixture
def r(tmp_path):
    """``r(script, name=frame, ...)``: each frame stands in the script under its name; the script ends with the list to return."""

    def run(script: str, **frames):
        lines = [HEAD]
        for name, frame in frames.items():
            frame.to_csv(tmp_path / f"{name}.csv", index=False)
            lines.append(f'{name} <- read.csv("{tmp_path / name}.csv", na.strings = "")\n')
        lines.append("answer <- {\n" + script + "\n}\n")
        lines.append('writeLines(toJSON(answer, digits = NA, auto_unbox = TRUE, na = "string"))\n')
        (tmp_path / "script.R").write_text("".join(lines), encoding="utf-8")
        done = subprocess.run(["Rscript", "--vanilla", str(tmp_path / "script.R")], capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    return run


@pytest.fixture(scope="session")
def reference() -> Path:
    """Folder of the values from outside."""
    return Path(__file__).parents[1] / "references"
