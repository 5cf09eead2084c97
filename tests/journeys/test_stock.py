"""``outcomes stock`` as an assistant types it: on an invented clinic, on too small a log, and with what cannot be asked."""

from __future__ import annotations

import csv

import pytest


@pytest.fixture
def store(clinic_of):
    return clinic_of(70)


def test_the_table_on_the_terminal_and_in_the_file_say_the_same(store, run, tmp_path):
    status, said = run("stock", "--store", store, "--months", "6", "--out", tmp_path / "out")
    assert status == 0 and "all levels" in said and "Held against the log" in said
    rows = {row["level"]: row for row in csv.DictReader((tmp_path / "out/stock.csv").read_text(encoding="utf-8-sig").splitlines())}
    line = next(line.split() for line in said.splitlines() if line.strip().startswith("light"))
    assert rows["light"]["total_high"] in line and (tmp_path / "out/stock_past_years.csv").exists()
    page = (tmp_path / "out/stock.html").read_text(encoding="utf-8")
    assert page.count('<table class="bars"') == 2 and "How the same forecast fared in past years" in page and f'<td class="figure">{rows["light"]["total_high"]}</td>' in page
    assert run("stock", "--store", store, "--out", tmp_path / "one.csv")[0] == 0 and (tmp_path / "one.csv").exists()


def test_twice_the_same_forecast(store, run):
    assert run("stock", "--store", store, "--quiet") == run("stock", "--store", store, "--quiet")


def test_too_small_a_log_is_refused_with_its_counts(clinic_of, run, tmp_path):
    from outcomes.store import open_store

    plan = tmp_path / "plan.toml"
    plan.write_text("[stock]\nminimum_patients = 50\n")
    status, said = run("stock", "--store", clinic_of(20), "--plan", plan, "--out", tmp_path / "out")
    assert status == 1 and "No forecast: it takes at least 50 patients" in said and "The last year took" in said and not (tmp_path / "out").exists()
    with open_store(tmp_path / "empty.duckdb", create=True):
        pass
    assert run("stock", "--store", tmp_path / "empty.duckdb")[0] == 1


@pytest.mark.parametrize(("words", "answer"), [(("--months", "0"), "0.5 to 60"), (("--months", "six"), "invalid float"), (("--out", "stock.xlsx"), "written as .csv")])
def test_what_cannot_be_asked_is_misuse(store, run, words, answer):
    status, said = run("stock", "--store", store, *words)
    assert status == 2 and answer in said


def test_a_pack_for_a_level_the_clinic_does_not_have_names_the_nearest(store, run, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text("[stock]\npacks = { ligth = 4 }\n")
    status, said = run("stock", "--store", store, "--plan", plan)
    assert status == 2 and "Did you mean light?" in said
