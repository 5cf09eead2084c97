"""The demo clinic and its reports, each written once for all journeys that look at them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from outcomes.cli import main


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Path:
    """The demo clinic, loaded; its store is what every report is made from."""
    from outcomes import intake, synthetic_data
    from outcomes.store import open_store

    out = tmp_path_factory.mktemp("clinic")
    files = [Path(file) for file in synthetic_data.write(synthetic_data.simulate("demo"), out / "files", form="day sheet", file="xlsx")]
    with open_store(out / "clinic.duckdb", create=True) as store:
        store.load(intake.check(files))
    return out / "clinic.duckdb"


@pytest.fixture(scope="session")
def page(demo, tmp_path_factory):
    """``page(report)``: the page of one report, written once."""

    @cache
    def write(name: str) -> Path:
        out = tmp_path_factory.mktemp(name)
        assert main(["report", name, "--quiet", "--store", str(demo), "--out", str(out)]) == 0
        return out / "index.html"

    return write
