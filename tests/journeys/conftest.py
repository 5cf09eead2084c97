"""The demo clinic and its reports, each written once for all journeys that look at them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from outcomes.cli import main


@pytest.fixture
def run(capsys):
    """``run(*words)``: a command as it is typed; its exit status and all it said, which is never a traceback."""

    def go(*words) -> tuple[int, str]:
        try:
            status = main([str(word) for word in words])
        except SystemExit as stop:  # argparse answers misuse this way
            status = stop.code
        out = capsys.readouterr()
        said = out.out + out.err
        assert "Traceback" not in said
        return status, said

    return go


@pytest.fixture(scope="session")
def clinic_of(tmp_path_factory):
    """``clinic_of(patients)``: the store of an invented clinic of so many, loaded once; for reading only."""
    from outcomes import synthetic_data

    @cache
    def load(patients: int) -> Path:
        folder = tmp_path_factory.mktemp("clinic")
        files = synthetic_data.write(synthetic_data.simulate("demo", patients=patients, seed=4), folder / "files", form="day sheet", file="csv")
        assert main(["load", "--quiet", *[str(path) for path in files], "--store", str(folder / "clinic.duckdb")]) == 0
        return folder / "clinic.duckdb"

    return load


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
