"""A report held against its manifest: the same store gives the same bytes, and each thing that differs is named in a sentence."""

from __future__ import annotations

import json
import shutil

import pytest

from outcomes.cli import main
from outcomes.plan import Plan, read_plan
from outcomes.present import manifest, verify


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """An invented clinic's report with its store beside it."""
    out = tmp_path_factory.mktemp("clinic") / "report"
    assert main(["demo", "--quiet", "--patients", "20", "--out", str(out)]) == 0
    return out


@pytest.fixture
def report(written, tmp_path):
    """A copy of the report, to be tampered with."""
    shutil.copytree(written, tmp_path / "report", ignore=shutil.ignore_patterns("clinic_files"))
    return tmp_path / "report"


@pytest.fixture
def said(capsys):
    def go(*words) -> tuple[int, str]:
        capsys.readouterr()
        try:
            status = main(["report", "--quiet", *map(str, words)])
        except SystemExit as stop:
            status = stop.code
        out = capsys.readouterr()
        assert "Traceback" not in out.err
        return status, out.out + out.err

    return go


def change(report, **parts):
    """Write other parts into the manifest."""
    path = report / manifest.NAME
    path.write_text(json.dumps({**json.loads(path.read_text(encoding="utf-8")), **parts}), encoding="utf-8")


def body(report) -> dict:
    return json.loads((report / manifest.NAME).read_text(encoding="utf-8"))


def test_a_report_made_again_from_its_store_is_the_same_and_writes_nothing(report, said):
    before = {path: path.read_bytes() for path in report.rglob("*") if path.is_file()}
    status, text = said("--verify", report / manifest.NAME, "--store", report / "demo.duckdb")
    assert status == 0, text
    assert "Nothing differs" in text and "the report made again" in text and "Not compared: the plan" in text
    assert {path: path.read_bytes() for path in report.rglob("*") if path.is_file()} == before


def test_without_a_store_it_says_what_was_not_compared(report, said):
    status, text = said("--verify", report)  # the folder stands for its manifest
    assert status == 0 and "Not compared" in text and "--store" in text and "--plan" in text


def test_a_file_that_changed_and_a_file_that_is_gone_are_named(report, said):
    with (report / "tables" / "answers.csv").open("a") as file:
        file.write("x")
    (report / "figures" / "who_is_in_it.svg").unlink()
    status, text = said("--verify", report / manifest.NAME)
    assert status == 1
    assert "tables/answers.csv has changed" in text and "figures/who_is_in_it.svg is missing" in text and "2 differences" in text


def test_another_version_of_a_package_is_named_with_both_versions(report, said):
    change(report, versions={**body(report)["versions"], "numpy": "1.0.0", "abacus": "2.0"})
    status, text = said("--verify", report)
    assert status == 1
    assert f"made with numpy 1.0.0; here it is {manifest.versions()['numpy']}" in text and "abacus 2.0; here it is not installed" in text


def test_a_plan_setting_that_differs_is_named_with_both_values(report, said, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text("[rules]\nnotice_days = 45\n", encoding="utf-8")
    status, text = said("--verify", report, "--plan", own)
    assert status == 1 and f"rules.notice_days was {read_plan()['rules']['notice_days']} and is 45." in text and "1 difference from" in text
    own.write_text("[rules]\n", encoding="utf-8")
    assert said("--verify", report, "--plan", own)[0] == 0


def test_a_plan_rewritten_inside_the_manifest_is_found_by_its_digest(report, said):
    plan = body(report)["plan"]
    plan["rules"]["notice_days"] += 1
    change(report, plan=plan)
    status, text = said("--verify", report)
    assert status == 1 and "its plan has been changed" in text


def test_a_setting_the_report_did_not_know_takes_its_default_and_is_named(report):
    plan = body(report)["plan"]
    del plan["rules"]["notice_days"], plan["sharing"]
    change(report, plan=plan)
    used, told = verify.plan(verify.read(report))
    assert used["rules"]["notice_days"] == read_plan()["rules"]["notice_days"] and used["sharing"] == read_plan()["sharing"]
    assert len(told) == 1 + len(read_plan()["sharing"]) and any("rules.notice_days is new" in sentence for sentence in told)


def test_a_report_by_the_clinics_own_plan_is_made_again_by_that_plan(written, said, tmp_path):
    own, out = tmp_path / "own.toml", tmp_path / "out"
    own.write_text('[audit]\ntitle = "Our own audit"\n', encoding="utf-8")
    store = written / "demo.duckdb"
    assert said("satisfaction", "--store", store, "--out", out, "--plan", own)[0] == 0
    assert said("--verify", out, "--store", store)[0] == 0
    status, text = said("--verify", out, "--store", store, "--plan", own)
    assert status == 0 and "Not compared" not in text


def test_a_store_with_more_in_it_is_named_with_its_new_file_and_what_comes_out_otherwise(report, said, tmp_path):
    store = report / "demo.duckdb"
    assert main(["undo", "--store", str(store)]) == 0
    other = tmp_path / "other"
    assert main(["demo", "--quiet", "--patients", "21", "--out", str(other)]) == 0
    (other / "clinic_files" / "demo_clinic.xlsx").rename(other / "later.xlsx")
    assert main(["load", "--quiet", str(other / "later.xlsx"), "--store", str(store)]) == 0
    status, text = said("--verify", report, "--store", store)
    assert status == 1
    assert "Input: demo_clinic.xlsx is not in the store." in text and "Input: later.xlsx was loaded after" in text
    assert "Store: its content is not the one" in text and "Made again: index.html comes out with other bytes." in text
    assert "the program itself" not in text


def test_the_same_workbook_with_other_content_is_told_by_its_digest(report):
    record = verify.read(report)
    (given,) = record.body["inputs"]
    assert verify.inputs(record, [given]) == []
    assert "with other content" in verify.inputs(record, [{**given, "sha256": "f" * 64}])[0]


def test_an_answer_that_comes_out_otherwise_is_told_even_below_the_rounding(report, tmp_path):
    record = verify.read(report)
    made = tmp_path / "made"
    shutil.copytree(report, made)
    name, answer = next((name, answer) for name, answer in body(made)["results"].items() if answer["value"] is not None)
    change(made, results={**body(made)["results"], name: {**answer, "value": answer["value"] + 1e-9}})
    (made / "tables" / "answers.csv").write_text("other", encoding="utf-8")
    told = verify.again(record, made)
    assert len(told) == 2 and f"the answer “{name}”" in told[1]
    assert "the program itself has changed" in " ".join(verify.summary(record, told, plan=True, store=True))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--verify", "nowhere/manifest.json"], "no manifest"),
        (["--verify", "{broken}"], "not valid JSON"),
        (["--verify", "{list}"], "no manifest of a report"),
        (["--verify", "{outside}"], "outside its folder"),
        (["--verify", "{report}", "--out", "x"], "leave out"),
        (["clinic_audit", "--verify", "{report}"], "leave out"),
        (["--verify", "{report}", "--store", "nowhere.duckdb"], "nowhere.duckdb"),
        (["--verify", "{report}", "--plan", "nowhere.toml"], "nowhere.toml"),
        (["--verify", "{unknown}", "--store", "{report}/demo.duckdb"], "no report named horoscope"),
        ([], "Give a folder to write with --out DIR"),
        (["--store", "{report}/demo.duckdb"], "Give a folder to write with --out DIR"),
        (["--out", "x"], "no store clinic.duckdb here"),
    ],
)
def test_misuse_ends_with_status_2_and_says_what_to_give(report, said, tmp_path, words, told):
    good = body(report)
    texts = {"broken": "{", "list": "[]", "outside": json.dumps({**good, "outputs": {"../demo.duckdb": "00"}}), "unknown": json.dumps({**good, "report": "horoscope", "outputs": {}})}
    places = {"report": report}
    for name, text in texts.items():
        places[name] = tmp_path / f"{name}.json"
        places[name].write_text(text, encoding="utf-8")
    status, text = said(*[word.format(**places) for word in words])
    assert status == 2, text
    assert told in text
    assert not (tmp_path / "x").exists()


def test_the_plan_in_a_manifest_is_the_plan_to_the_letter(report):
    assert Plan(body(report)["plan"]).digest == read_plan().digest == body(report)["plan_digest"]
