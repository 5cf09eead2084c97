"""``outcomes tell`` as it is typed, and the leaflet as it comes from the printer."""

from __future__ import annotations

import subprocess

import pytest


@pytest.fixture
def store(clinic_of):
    return clinic_of(70)


def test_terminal_leaflet_and_table_say_the_same(store, run, tmp_path):
    status, said = run("tell", "--store", store, "--out", tmp_path / "out")
    assert status == 0 and "of our past patients" in said and "decides with you" in said
    html = (tmp_path / "out/tell.html").read_text(encoding="utf-8")
    sentences = [line.strip() for line in said.splitlines() if " in 10" in line]
    assert len(sentences) >= 6 and all(sentence in html for sentence in sentences)
    assert (tmp_path / "out/tell.csv").exists()


def test_beyond_the_follow_up_only_what_has_no_horizon_is_said(store, run):
    status, said = run("tell", "--store", store, "--years", "15")
    assert "not said for 15 years" in said and "within 15 years" not in said


def test_a_log_too_small_to_tell_anything_is_a_problem_of_the_data(clinic_of, run, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text("[tell]\nfollowed = 500\n")
    status, said = run("tell", "--store", clinic_of(20), "--plan", plan, "--out", tmp_path / "out")
    assert status == 1 and "Nothing may be told" in said and not (tmp_path / "out").exists()


@pytest.mark.parametrize(("words", "answer"), [(("--years", "0"), "0.25"), (("--out", "x.pdf"), "written as .html")])
def test_what_cannot_be_asked_is_misuse(store, run, words, answer):
    status, said = run("tell", "--store", store, *words)
    assert status == 2 and answer in said


@pytest.mark.needs_browser
def test_the_leaflet_is_one_side_of_a4(store, run, tmp_path):
    run("tell", "--store", store, "--out", tmp_path / "tell.html")
    subprocess.run(["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--print-to-pdf={tmp_path / 'tell.pdf'}", "--no-pdf-header-footer", str(tmp_path / "tell.html")], check=True, capture_output=True, timeout=120)
    assert (tmp_path / "tell.pdf").read_bytes().count(b"/Type /Page\n") == 1
