"""Nothing that a person typed into a cell reaches a terminal, a log or a trace: canaries in every free cell, and every command run on them."""

from __future__ import annotations

import io
import random
from pathlib import Path

import pytest

from outcomes import schemas
from outcomes.cli import main, parser
from outcomes.commands import NAMES

CANARIES = ("Zzyzx", "31.12.1931", "7946 0958", "9876.54321", "qqcanary")
# What a cell may hold by mistake: a name, a birth date, a telephone number, an odd number, a word that is none, markup.
CELLS = ["Zzyzx Canaryson", "31.12.1931", "+44 20 7946 0958", "9876.54321", "qqcanary", "<b>qqcanary</b>", "=qqcanary()", "33 qqcanary", "33:qqcanary 99:qqcanary", "qqcanary;qqcanary, 33"]
GOOD = {
    "patients": "patient_id,audit_consent,{extra}\nP1,yes,{cell}\nP2,yes,{cell}\n",
    "insert_levels": "level,system,retention,unit\nlight,A,6.7,N\n",
    "set_up": "patient,arch,position,fitted_on,attachment,level\nP1,lower,33,2022-03-01,stud,light\nP1,lower,43,2022-03-01,stud,light\n",
    "day_sheet": "patient,date,reason,parts_checked,snap,{extra}\nP1,2022-03-01,delivery,all,just right,{cell}\nP1,2023-03-01,recall,all,just right,{cell}\n",
}


@pytest.fixture
def said(capfd):
    """Runs a command with --debug and without; returns all that came out."""
    def run(*words, ways=([], ["--debug"])) -> str:
        for extra in ways:
            try:
                main([str(one) for one in (words[0], *extra, *words[1:])])
            except SystemExit:
                pass
        out = capfd.readouterr()
        text = out.out + out.err
        found = [one for one in CANARIES if one in text]
        assert not found, text[max(text.find(found[0]) - 600, 0): text.find(found[0]) + 200]
        return text

    return run


def quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"'


def test_cells_of_columns_nobody_takes_reach_nothing(tmp_path, said):
    """The log is sound, and a column beside it holds what somebody typed: nothing of it in any output of any command, nor in what is written for others."""
    files = tmp_path / "files"
    files.mkdir()
    for name, text in GOOD.items():
        (files / f"{name}.csv").write_text(text.format(extra="Notes of the day", cell=quoted("Zzyzx qqcanary 31.12.1931")), encoding="utf-8")
    store, out = tmp_path / "clinic.duckdb", tmp_path / "out"
    assert "No errors" in said("check", files)
    said("check", files, "--problems", tmp_path / "problems.csv", "--marked", tmp_path / "marked.xlsx")
    said("audit", files, "--store", store, "--out", out, ways=(["--debug"],))
    said("history", "--store", store)
    said("export", "--store", store, "--out", tmp_path / "export", ways=(["--debug"],))
    written = [path for folder in (out, tmp_path / "export") for path in folder.rglob("*") if path.is_file() and path.suffix in (".html", ".json", ".csv", ".svg")]
    assert any(path.name == "manifest.json" for path in written)
    for path in [*written, tmp_path / "problems.csv", store]:
        body = path.read_bytes()
        assert not any(one.encode() in body for one in CANARIES), path.name


def test_cells_that_cannot_be_right_are_named_by_place_alone(tmp_path, said):
    """Every declared column of every table gets every kind of cell that it cannot hold, in turn: the terminal hears of places only."""
    chance = random.Random(5)
    for turn in range(2):
        folder = tmp_path / str(turn)
        folder.mkdir()
        for table in schemas.tables().values():
            names = [column.name for column in table.columns]
            rows = [names] + [[chance.choice(CELLS) if column.name != "patient_id" or chance.random() < 0.5 else "P1" for column in table.columns] for _ in range(3)]
            (folder / f"{table.name}.csv").write_text("\n".join(",".join(quoted(cell) for cell in row) for row in rows) + "\n", encoding="utf-8")
        said("check", *sorted(folder.glob("*.csv")), "--date-order", "day first", "--decimal", ".", "--problems", folder / "p.csv")
        said("load", *sorted(folder.glob("*.csv")), "--date-order", "day first", "--decimal", ".", "--store", folder / "s.duckdb", "--good-rows", ways=(["--debug"],))
        said("check", folder / "day_sheet.csv", folder / "insert_levels.csv")
    for name in ("day_sheet", "patients"):
        said("compare", tmp_path / "0" / f"{name}.csv", tmp_path / "1" / f"{name}.csv", "--date-order", "day first", "--decimal", ".", "--out", tmp_path / "differences.csv")


@pytest.mark.parametrize("text", [
    "Zzyzx Canaryson,P1,yes\nZzyzx Qq,P2,yes\n", "Zzyzx,qqcanary\n\"never closed,31.12.1931\n", "patient_id,audit_consent\nP1,yes,Zzyzx,qqcanary\nqqcanary\n", "patient_id;audit_consent\nqqcanary\n", "\n\nqqcanary\n",
    "patient_id,patient_id,audit_consent\nqqcanary,Zzyzx,yes\n", "patient_id,audit_consent,left_on\nP1,yes,31.12.1931\nP2,yes,12/31/1931\n",
])
def test_files_without_headings_or_cut_off_show_nothing_of_their_cells(tmp_path, said, text):
    for name in ("patients.csv", "odd.csv"):
        (tmp_path / name).write_text(text, encoding="utf-8")
        said("check", tmp_path / name)
        said("load", tmp_path / name, "--store", tmp_path / "s.duckdb")


def test_exports_and_keys_show_nothing_of_their_cells(tmp_path, said, monkeypatch):
    (tmp_path / "work").mkdir()
    export = tmp_path / "work" / "export.csv"
    export.write_text("Name;Nr;Tag;R\nZzyzx Canaryson;qqcanary 1;31.12.1931;qqcanary\nZzyzx Canaryson;7946 0958;qqcanary;ja\n", encoding="utf-8")
    mapping = tmp_path / "own.toml"
    mapping.write_text('mapping = 1\n[file]\nname = "export.csv"\ndate_form = "YYYY/MM/DD"\n[patients]\npatient_id = "Nr"\naudit_consent = { always = "yes" }\nleft_on = "Tag"\nsmoker = { from = "R", values = { ja = "yes" } }\n')
    said("check", "--map", mapping, export)
    said("load", "--map", mapping, "--store", tmp_path / "s.duckdb", export)
    said("pseudonymise", export, "--column", "Name", "--key", tmp_path / "k", "--out", tmp_path / "work" / "safe.csv")
    said("pseudonymise", export, "--column", "Zz", "--key", tmp_path / "k", "--out", tmp_path / "work" / "safe2.csv")
    mapping.write_text('mapping = 1\n[patients]\npatient_id = { from = "Name", pseudonymise = true }\naudit_consent = { from = "R" }\n')
    said("check", "--map", mapping, "--key", tmp_path / "k", export)
    monkeypatch.setattr("sys.stdin", io.StringIO("stop\n"))
    said("map", export, "--table", "patients", "--out", tmp_path / "m.toml")


def test_a_trace_names_places_in_the_program_and_repeats_no_cell(monkeypatch, said, tmp_path):
    """An error of another library may hold a value; --debug leaves its text out."""
    from outcomes import intake

    def fails(*_, **__):
        raise ValueError("cannot convert " + CANARIES[0])

    monkeypatch.setattr(intake, "check", fails)
    (tmp_path / "patients.csv").write_text("patient_id\nP1\n")
    text = said("check", tmp_path / "patients.csv")
    assert "ValueError (its text is left out" in text and "check.py" in text and "Something went wrong inside the program (ValueError)" in text


def test_every_command_that_reads_files_of_a_clinic_is_tried_here():
    """A new command that takes files of people must be added above, or be named as one that reads the store or nothing."""
    reads_files = {"check", "load", "audit", "map", "pseudonymise"}  # compare takes two, by names of their own
    known = next(action.choices for action in parser()._actions if action.dest == "command")
    takes = {name for name in NAMES if any(action.dest in ("files", "file") for action in known[name]._actions)}
    assert takes - {"compare", "agree", "double_entry"} == reads_files, Path(__file__).name
