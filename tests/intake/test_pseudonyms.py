"""Pseudonyms by a keyed hash: the published vectors, the same person in every file, the key kept apart."""

from __future__ import annotations

import base64
import csv
import os
import stat
from pathlib import Path

import pytest

from outcomes.cli import main
from outcomes.errors import DataProblem, Misuse
from outcomes.intake import pseudonyms
from outcomes.intake.mapping import read_mapping

# RFC 4231, section 4: test cases 1, 2, 3, 4, 6 and 7 for HMAC-SHA-256.
VECTORS = [
    (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (b"Jefe", b"what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
    (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
    (bytes(range(1, 26)), b"\xcd" * 50, "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"),
    (b"\xaa" * 131, b"Test Using Larger Than Block-Size Key - Hash Key First", "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"),
    (b"\xaa" * 131, b"This is a test using a larger than block-size key and a larger than block-size data. The key needs to be hashed before being used by the HMAC algorithm.",
     "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"),
]


@pytest.mark.parametrize("secret, message, expected", VECTORS)
def test_the_hash_is_that_of_the_published_vectors(secret, message, expected):
    assert pseudonyms.digest(secret, message).hex() == expected


def test_a_pseudonym_is_the_start_of_the_hash_in_base_32():
    # RFC 4648, section 10: BASE32("foobar") = MZXW6YTBOI======
    assert base64.b32encode(b"foobar") == b"MZXW6YTBOI======"
    key = pseudonyms.Key(b"\x0b" * 32)
    whole = base64.b32encode(pseudonyms.digest(b"\x0b" * 32, "person:doe, jane".encode())).decode()
    assert key.pseudonym(" Doe,  JANE") == whole[:12]


@pytest.mark.parametrize("one, other, same", [
    ("Müller", "Mu\u0308ller", True), ("MÜLLER", "müller", True), ("ＭＵＥＬＬＥＲ", "mueller", True), ("Doe  Jane ", "doe\u00a0jane", True), ("Straße", "STRASSE", True), ("ﻣﺤﻤﺪ", "محمد", True),
    ("0042", "42", False), ("Ann-Marie", "Ann Marie", False), ("Jane Doe", "Doe Jane", False), ("Muller", "Müller", False),
])
def test_how_a_name_is_written_does_not_matter_but_what_it_is_does(one, other, same):
    key = pseudonyms.Key(b"k" * 32)
    assert (key.pseudonym(one) == key.pseudonym(other)) is same


def test_two_people_under_one_pseudonym_are_refused_not_merged(monkeypatch):
    monkeypatch.setattr(pseudonyms, "LENGTH", 1)
    key = pseudonyms.Key(b"k" * 32)
    with pytest.raises(DataProblem, match="same pseudonym"):
        for number in range(40):
            key.pseudonym(f"person {number}")


def test_no_pseudonym_of_a_hundred_thousand_is_given_twice_or_looks_like_a_name():
    from outcomes.intake import privacy

    key = pseudonyms.Key(b"k" * 32)
    made = [key.pseudonym(str(number)) for number in range(100_000)]
    assert len(set(made)) == 100_000
    assert not any(privacy.content(one, person=True) for one in made[:5000])


@pytest.fixture
def place(tmp_path, capsys):
    """A folder for the export, one for the key, and the command."""
    (tmp_path / "work").mkdir()
    (tmp_path / "private").mkdir()
    (tmp_path / "work" / "export.csv").write_text("Name;Geburtsdatum;Tag;Notiz\nDoe, Jane;12.05.1948;2024-01-02;a\n DOE,  Jane;12.05.1948;2024-02-02;=1+1\nRoe, Rick;01.01.1950;2024-03-02;\n;;2024-04-02;\n", encoding="utf-8")

    def run(*words):
        try:
            status = main(["pseudonymise", *(str(one) for one in words)])
        except SystemExit as stop:
            status = stop.code
        said = "".join(capsys.readouterr())
        assert "Doe" not in said and "Jane" not in said and "Traceback" not in said
        return status, said

    run.work, run.private = tmp_path / "work", tmp_path / "private"
    run.usual = (run.work / "export.csv", "--column", "Name", "--key", run.private / "clinic.key", "--out")
    return run


def rows(path: Path) -> list[list[str]]:
    with open(path, newline="", encoding="utf-8-sig") as file:
        return list(csv.reader(file, delimiter=";"))


def test_a_copy_holds_pseudonyms_and_no_column_that_looks_personal(place):
    status, said = place(*place.usual, place.work / "safe.csv")
    assert status == 0, said
    head, first, second, third, blank = rows(place.work / "safe.csv")
    assert head == ["Name", "Tag", "Notiz"] and first[0] == second[0] != third[0] and len(first[0]) == 12 and blank == ["", "2024-04-02", ""]
    assert first[1:] == ["2024-01-02", "a"] and second[2] == "=1+1"
    assert "2 people in 3 cells" in said and "Left out, because the headings look personal: column B" in said
    assert (place.work / "export.csv").read_text(encoding="utf-8").startswith("Name;Geburtsdatum")


def test_the_same_key_gives_the_same_pseudonyms_in_every_file_and_kind(place):
    from openpyxl import Workbook, load_workbook

    place(*place.usual, place.work / "one.csv")
    book = Workbook()
    for row in (["Titel"], ["Name", "Tag", "n"], ["doe, jane", "2025-01-01", 1.5], [42, None, 2]):
        book.active.append(row)
    book.create_sheet("Other").append(["Jane Doe"])
    book.save(place.work / "later.xlsx")
    status, said = place(place.work / "later.xlsx", "--column", "Name", "--key", place.private / "clinic.key", "--out", place.work / "later_safe.xlsx")
    assert status == 0, said
    copy = load_workbook(place.work / "later_safe.xlsx")
    assert copy.sheetnames == ["Sheet"] and copy.active["A2"].value == rows(place.work / "one.csv")[1][0] and copy.active["C2"].value == 1.5
    assert copy.active["A3"].value == pseudonyms.read_key(place.private / "clinic.key").pseudonym("42")


@pytest.mark.skipif(os.name != "posix", reason="owners of files are those of a POSIX system")
def test_a_new_key_can_be_read_by_its_owner_only_and_is_random(place):
    place(*place.usual, place.work / "one.csv")
    path = place.private / "clinic.key"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE((place.work / "one.csv").stat().st_mode) == 0o600
    assert pseudonyms.make_key(place.private / "other.key").fingerprint != pseudonyms.read_key(path).fingerprint
    path.chmod(0o644)
    assert "Others on this computer may read clinic.key" in place(*place.usual, place.work / "two.csv")[1]


def test_the_key_is_refused_beside_the_copy_or_the_store(place):
    status, said = place(place.work / "export.csv", "--column", "Name", "--key", place.work / "clinic.key", "--out", place.work / "safe.csv")
    assert status == 2 and "Keep the key apart" in said and not (place.work / "clinic.key").exists() and not (place.work / "safe.csv").exists()
    status, said = place(*place.usual, place.work / "safe.csv", "--store", place.private / "clinic.duckdb")
    assert status == 2 and "same folder as clinic.duckdb" in said and not (place.work / "safe.csv").exists()


def test_another_key_than_the_one_used_before_is_refused(place):
    place(*place.usual, place.work / "one.csv")
    status, said = place(place.work / "export.csv", "--column", "Name", "--key", place.private / "other.key", "--out", place.work / "two.csv")
    assert status == 2 and "were made with the key" in said and not (place.work / "two.csv").exists() and not (place.private / "other.key").exists()


@pytest.mark.parametrize("change, words", [
    (lambda text: "nonsense", "is no key of pseudonyms"), (lambda text: text.replace("fingerprint ", "fingerprint 0"), "changed or damaged"), (lambda text: text[:-8], "changed or damaged"),
])
def test_a_key_that_is_none_or_was_changed_is_refused(place, change, words):
    path = place.private / "clinic.key"
    pseudonyms.make_key(path)
    path.write_text(change(path.read_text()))
    status, said = place(*place.usual, place.work / "safe.csv")
    assert status == 2 and words in said and not (place.work / "safe.csv").exists()
    assert path.read_text() not in said


@pytest.mark.parametrize("words, answer", [(("--column", "Nachname"), "no column with that heading"), (("--out", "export.csv"), "is there already"), (("--out", "safe.xlsx"), "another kind")])
def test_what_cannot_be_done_writes_nothing_and_leaves_no_key(place, words, answer):
    given = {"--column": "Name", "--out": "safe.csv"} | dict([words])
    status, said = place(place.work / "export.csv", "--column", given["--column"], "--key", place.private / "k", "--out", place.work / given["--out"])
    assert status == 2 and answer in said and "Made a new key" not in said and not (place.private / "k").exists() and not (place.work / "safe.csv").exists()


def test_a_mapping_makes_the_same_pseudonyms_on_the_way_in(place, clinic):
    place(*place.usual, place.work / "one.csv")
    key = pseudonyms.read_key(place.private / "clinic.key")
    text = 'mapping = 1\n[file]\nname = "export.csv"\n[patients]\npatient_id = { from = "Name", pseudonymise = true }\naudit_consent = { always = "yes" }\nrows = { together = true }\n'
    mapping = read_mapping(clinic.text("own.toml", text), key=key)
    checked = clinic.check([place.work / "export.csv"], mappings=(mapping,))
    assert list(checked.tables["patients"]["patient_id"]) == [rows(place.work / "one.csv")[1][0], rows(place.work / "one.csv")[3][0]]
    assert any(f"fingerprint {key.fingerprint}" in one for one in checked.decisions)
    assert "Doe" not in repr(checked.decisions) + repr(checked.problems.to_dict())
    wrong = text.replace('[file]', '[file]\nkey_fingerprint = "000000000000"')
    with pytest.raises(Misuse, match="Give the key used before"):
        read_mapping(clinic.text("own.toml", wrong), key=key)


def test_a_store_knows_the_key_of_its_pseudonyms(place, capsys):
    folder = place.work
    pseudonyms.make_key(place.private / "a.key")
    pseudonyms.make_key(place.private / "b.key")
    (folder / "own.toml").write_text('mapping = 1\n[file]\nname = "export.csv"\n[patients]\npatient_id = { from = "Name", pseudonymise = true }\naudit_consent = { always = "yes" }\nrows = { together = true }\n')
    load = ["load", str(folder / "export.csv"), "--map", str(folder / "own.toml"), "--store", str(folder / "clinic.duckdb"), "--key"]
    assert main([*load, str(place.private / "a.key")]) == 0
    assert main([*load, str(place.private / "b.key")]) == 2
    said = "".join(capsys.readouterr())
    assert "another key would make everybody a new person" in said and "Doe" not in said
