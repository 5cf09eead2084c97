"""Building a mapping in a terminal: answers from a pipe, one a line; what is left out is never shown; what was answered can be taken back."""

from __future__ import annotations

import io
import tomllib

import pytest

from outcomes import schemas
from outcomes.cli import main
from outcomes.intake import mapping
from outcomes.intake.mapping_text import text_of_mapping
from outcomes.intake.outlook import Export

EXPORT = ("Name;Akte;Datum;Kiefer;Anlass;Halt;Pos/Stufe;Dauer (h);Bemerkung;Geburtsdatum\n"
          "Jane Canary;P1;01.03.2022;UK;Einsetzen;gut;;0,5;canary;12.05.1948\nJane Canary;P1;08.03.2022;UK;Kontrolle;gut;;0,25;;12.05.1948\n"
          "Jane Canary;P1;02.03.2023;UK;Kontrolle;locker;33/43 light;0,5;canary;12.05.1948\nJane Canary;P1;14.03.2024;UK;Ohne Sinn;locker;33/43 light;0,5;;12.05.1948\n")
ANSWERS = ["", "", "", "lower", "", "recall", "delivery", "later", "", "just right", "a bit loose", "split", "", "inserts_changed", "level_now", "", "", "", "all", "yes"]


@pytest.fixture
def talk(tmp_path, monkeypatch, capsys):
    (tmp_path / "export_2024.csv").write_text(EXPORT, encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    def run(answers, *more):
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{one}\n" for one in answers)))
        status = main(["map", "export_2024.csv", "--out", "m.toml", *more])
        out = capsys.readouterr()
        assert "Traceback" not in out.err
        return status, out.out + out.err

    return run


def test_a_talk_writes_a_mapping_that_reads_the_export(talk, tmp_path, capsys):
    status, said = talk(ANSWERS, "--table", "day_sheet")
    assert status == 0, said
    assert "Canary" not in said and "canary" not in said and "12.05.1948" not in said
    body = tomllib.loads((tmp_path / "m.toml").read_text(encoding="utf-8"))
    assert body["file"] == {"name": "export_*.csv"}
    assert body["day_sheet"]["minutes"] == {"from": "Dauer (h)", "unit": "h"} and body["day_sheet"]["date"]["date_form"] == "DD.MM.YYYY"
    assert body["day_sheet"]["inserts_changed"] == {"from": "Pos/Stufe", "split": " ", "part": 1, "between": "/"}
    assert "Before (4 rows of export_2024.csv)" in said and "33 43" in said and "Words without a meaning in [day_sheet.reason]: Ohne Sinn (1)" in said
    assert main(["map", "export_2024.csv", "--show", "m.toml"]) == 1
    assert "Ohne Sinn (1)" in capsys.readouterr().out
    assert main(["map", "export_2024.csv", "--out", "m.toml"]) == 2 and "is there already" in capsys.readouterr().err
    # The export alone has no set-up: what is left to mend is said by the check, at cells of the export.
    assert main(["check", "--map", "m.toml", "export_2024.csv"]) == 1
    said = capsys.readouterr()
    assert "E5: reason: the mapping gives no meaning to the word" in said.out and "Ohne Sinn" not in said.out + said.err


def test_every_answer_can_be_taken_back(talk, tmp_path):
    """Wandering off at each question and taking it back ends in the same mapping as the straight way."""
    assert talk(ANSWERS, "--table", "day_sheet")[0] == 0
    straight = (tmp_path / "m.toml").read_text(encoding="utf-8")
    (tmp_path / "m.toml").unlink()
    wandering = [word for number, answer in enumerate(ANSWERS[:-1]) for word in (answer, "back", *(["?"] if number % 3 else ["no such word"] if number % 4 else []), answer)]
    assert ANSWERS.index("split") == 11  # the separator after it, the 13th answer, may be any text: no wrong word is tried there
    assert talk([*wandering, "no", "yes"], "--table", "day_sheet")[0] == 0
    assert (tmp_path / "m.toml").read_text(encoding="utf-8") == straight


@pytest.mark.parametrize("answers, words", [([], "answers ended"), (["stop"], "Stopped"), (["back", "stop"], "first question")])
def test_a_talk_that_is_left_writes_nothing(talk, tmp_path, answers, words):
    status, said = talk(answers, "--table", "day_sheet")
    assert status == 2 and words in said and not (tmp_path / "m.toml").exists()


def test_cells_of_a_column_whose_heading_says_nothing_are_read_only_when_asked(talk):
    _, said = talk(["-", "-", "-", "-", "-", "-", "-", "-", "stop"], "--table", "day_sheet")
    assert "canary" not in said.casefold()
    _, said = talk(["-", "-", "-", "-", "-", "-", "-", "look", "stop"], "--table", "day_sheet")
    assert "canary (2)" in said


def test_the_template_explains_every_setting_and_can_be_read(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["map", "--template", "--out", "t.toml"]) == 0
    text = (tmp_path / "t.toml").read_text(encoding="utf-8")
    made = mapping.read_mapping(tmp_path / "t.toml")
    assert {part.table.name for part in made.tables} == {"day_sheet"}
    bare = "\n".join(line.removeprefix("# ") if line.startswith("# ") and ("=" in line.split("    #")[0] or line.startswith("# [")) and not line.startswith(("# numbering", "# Another", "# Where", "# A mapping"))
                     else line for line in text.splitlines())
    for key in (*mapping.FILE_KEYS, *mapping.ROW_KEYS, *mapping.COLUMN_KEYS):
        assert f"{key} = " in text, key
    assert "[set_up]" in bare and "[patients]" in bare


def test_a_mapping_written_and_read_again_says_the_same():
    body = {"mapping": 1, "file": {"name": 'a"b\\c.csv', "years_ahead": 543}, "patients": {
        "patient_id": "Nr. «α»\x7f", "audit_consent": {"always": "yes"}, "smoker": {"from": ["a", "b"], "values": {str(number): "yes" for number in range(5)} | {"x y": ""}, "join": "\t"},
        "rows": {"together": True, "only": {"Art": ["1", "2"]}}}}
    assert tomllib.loads(text_of_mapping(body)) == body
    assert set(schemas.tables()["patients"].key) <= set(body["patients"])


def test_a_needed_column_that_no_column_gives_is_asked_for_and_cannot_be_put_off(talk):
    status, said = talk([*ANSWERS[:-2], "later", "not recorded", "all", "yes"], "--table", "day_sheet")
    assert status == 0 and said.count("That is none of the words of parts_checked: ") == 2


def test_what_a_terminal_would_obey_is_never_printed(talk, tmp_path):
    (tmp_path / "export_2024.csv").write_text("\x1b[31mNr,x\nP1,\x1b[2J\n", encoding="utf-8")
    _, said = talk(["patient_id", "smoker", "", "yes", "stop"], "--table", "patients")
    assert "?[31mNr" in said and "\x1b" not in said


def test_a_cell_that_names_several_positions_makes_a_row_for_each(talk, tmp_path):
    (tmp_path / "export_2024.csv").write_text("Pat;Zahn;Tag;Art\nP1;33/43;2022-03-01;stud\nP2;13/23;2022-03-01;ball\n", encoding="utf-8")
    status, said = talk(["", "", "fitted_on", "attachment", "lower", "", "yes"], "--table", "set_up")
    assert status == 0 and "After (4 rows of Set-up)" in said
    assert tomllib.loads((tmp_path / "m.toml").read_text(encoding="utf-8"))["set_up"]["position"] == {"from": "Zahn", "each": "/"}


def test_words_in_a_column_of_positions_or_phrases_are_asked_for_too(talk, tmp_path, capsys):
    (tmp_path / "export_2024.csv").write_text("Pat;Tag;Anlass;Halt;Gewechselt;Gehäuse\nP1;2022-03-01;recall;just right;nein;i.O.\nP1;2023-03-01;recall;just right;33/43;33 neu verklebt\nP1;2023-09-01;recall;just right;?;\n", encoding="utf-8")
    answers = ["", "", "", "", "", "nix", "none", "later", "", "fine", "33 glued", "33 picked up again", "all", "yes"]
    status, said = talk(answers, "--table", "day_sheet")
    assert status == 0, said
    body = tomllib.loads((tmp_path / "m.toml").read_text(encoding="utf-8"))["day_sheet"]
    assert body["inserts_changed"] == {"from": "Gewechselt", "between": "/", "values": {"nein": "none"}}
    assert body["housings"] == {"from": "Gehäuse", "values": {"i.O.": "fine", "33 neu verklebt": "33 picked up again"}}
    assert "Words without a meaning in [day_sheet.inserts_changed]: ? (1)" in said and "inserts_changed takes none, all, positions such as 33 43." in said
    assert main(["check", "--map", "m.toml", "export_2024.csv"]) == 1
    said = capsys.readouterr().out
    assert "E4: inserts_changed: the mapping gives no meaning to the word. Add it to [day_sheet.inserts_changed.values] in m.toml, with none, all, or positions such as 33 43." in said


def test_where_the_mapping_cannot_be_written_is_said_before_the_first_question(talk, tmp_path):
    status, said = talk([], "--table", "day_sheet", "--out", "nowhere/m.toml")
    assert status == 2 and said == "There is no folder nowhere. Make it, or give another place with --out.\n"


@pytest.mark.parametrize("text, headings", [
    ("Name;Nr\nDoe, Jane;P1\nRoe, Jim;P2\n", ["Name", "Nr"]),  # a comma in every cell, semicolons between them
    ("Practice export, March, 2024\n\nNr;Tag;Halt\nP1;2022-03-01;1,5\nP2;2022-03-02;2,5\n", ["Nr", "Tag", "Halt"]),  # a title above
    ("Nr,,Tag,Halt\nP1,a,2022-03-01,ok\nP2,b,2022-03-02,ok\n", ["Nr", "Tag", "Halt"]),  # a column without a heading
    ("Nr\tSites\nP1\t33;43\nP2\t33;43\n", ["Nr", "Sites"]),
    ("Dossier;Visite;;Mâchoire;Inserts;;\nNo;Date de visite;Motif;;Changés;Pourquoi;Notes\nD1;2022-03-01;pose;inf;;;\n", ["No", "Date de visite", "Motif", "Mâchoire", "Changés", "Pourquoi", "Notes"]),  # headings in two rows
    ("Name;;Consent\nDoe, Jane;f;yes\nRoe, Jim;m;yes\n", ["Name", "Consent"]),  # a gap, and rows without a digit: cells all the same
])
def test_the_headings_are_those_of_the_export_not_its_cells(tmp_path, text, headings):
    (tmp_path / "export.csv").write_text(text, encoding="utf-8")
    assert list(Export(tmp_path / "export.csv").headings.values()) == headings


def test_an_export_with_headings_in_two_rows_is_read_as_it_was_asked_for(talk, tmp_path, capsys):
    (tmp_path / "export_2024.csv").write_text("Dossier;Visite;;Mâchoire\nNo;Date de visite;Motif;\nD1;2022-03-01;delivery;inf\n", encoding="utf-8")
    status, said = talk(["patient", "date", "", "arch", "lower", "all", "not asked", "yes"], "--table", "day_sheet")
    assert status == 0 and "After (1 rows of Day sheet)" in said.replace("1 row of", "1 rows of"), said
    taken = tomllib.loads((tmp_path / "m.toml").read_text(encoding="utf-8"))["day_sheet"]
    assert (taken["patient"], taken["arch"]) == ("No", {"from": "Mâchoire", "values": {"inf": "lower"}})


def test_sites_written_as_quadrant_and_place_can_be_declared(talk, tmp_path):
    (tmp_path / "export_2024.csv").write_text("Pat;Zahn;Tag;Art\nP1;3-3;2022-03-01;stud\nP1;4-3;2022-03-01;stud\n", encoding="utf-8")
    status, said = talk(["", "", "", "1-3", "1-5", "2-5", "3-5", "4-5", "fitted_on", "attachment", "lower", "", "yes"], "--table", "set_up")
    assert status == 0 and "(ISO 3950, Universal, or quadrants) [quadrants]" in said and said.count("Write it with the number 5 once") == 1, said
    numbering = tomllib.loads((tmp_path / "m.toml").read_text(encoding="utf-8"))["set_up"]["position"]["numbering"]
    assert numbering == {"upper_right": "1-#", "upper_left": "2-#", "lower_left": "3-#", "lower_right": "4-#"}
    assert "position    33          43" in said


def test_an_export_without_a_row_is_told(talk, tmp_path, capsys):
    (tmp_path / "patients.csv").write_text("patient_id;audit_consent\nP1;yes\n", encoding="utf-8")
    assert talk(ANSWERS, "--table", "day_sheet")[0] == 0
    (tmp_path / "export_2025.csv").write_text(EXPORT.splitlines()[0] + "\n", encoding="utf-8")
    assert main(["check", "--map", "m.toml", "export_2025.csv", "patients.csv"]) == 0
    assert "Warning: export_2025.csv: no row of it is taken. Look whether the export was cut off or filtered" in capsys.readouterr().out
