"""The demo clinic and its reports, each written once for all journeys that look at them."""

from __future__ import annotations

import time
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
def once(tmp_path_factory, worker_id):
    """``once(name, make)``: the folder that ``make(folder)`` has filled, made by one test process for all that run side by side."""
    base = tmp_path_factory.getbasetemp()
    shared = (base if worker_id == "master" else base.parent) / "made_once"

    def made(name: str, make) -> Path:
        folder, done, failed = shared / name, shared / f"{name}.done", shared / f"{name}.failed"
        shared.mkdir(exist_ok=True)
        try:
            folder.mkdir()
        except FileExistsError:
            until = time.monotonic() + 600
            while not done.exists():
                assert not failed.exists(), f"another test process could not make {name}"
                assert time.monotonic() < until, f"another test process began to make {name} and did not end"
                time.sleep(0.1)
            return folder
        try:
            make(folder)
        except BaseException:
            failed.touch()
            raise
        done.touch()
        return folder

    return made


@pytest.fixture(scope="session")
def demo(once) -> Path:
    """The demo clinic, loaded; its store is what every report is made from."""
    from outcomes import intake, synthetic_data
    from outcomes.store import open_store

    def make(out: Path) -> None:
        files = [Path(file) for file in synthetic_data.write(synthetic_data.simulate("demo"), out / "files", form="day sheet", file="xlsx")]
        with open_store(out / "clinic.duckdb", create=True) as store:
            store.load(intake.check(files))

    return once("clinic", make) / "clinic.duckdb"


@pytest.fixture(scope="session")
def page(demo, once):
    """``page(report)``: the page of one report, written once."""

    @cache
    def write(name: str) -> Path:
        def make(out: Path) -> None:
            assert main(["report", name, "--quiet", "--store", str(demo), "--out", str(out)]) == 0

        return once(f"report {name}", make) / "index.html"

    return write
