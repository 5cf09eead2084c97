"""Files made to do harm: refused in a sentence before anything of them is unpacked or run; hostile text stays text."""

from __future__ import annotations

import random
import re
import zipfile

import pytest

from outcomes.errors import Misuse
from outcomes.intake import archive

PATIENTS = {"patients": [{"patient_id": "P1", "audit_consent": "yes"}]}


def with_parts(path, more: dict[str, bytes], change=lambda name, data: data):
    """The workbook with further parts in its archive."""
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in parts.items():
            new.writestr(name, change(name, data))
        for name, data in more.items():
            new.writestr(name, data)
    return path


def refusal(clinic, path) -> str:
    with pytest.raises(Misuse) as refused:
        clinic.check([path])
    said = str(refused.value)
    assert path.name in said and re.search(r"\. [A-Z]", said)
    return said


@pytest.mark.parametrize("part", ["xl/vbaProject.bin", "xl/vbaProjectSignature.bin", "xl/macrosheets/sheet1.xml", "xl/dialogsheets/sheet1.xml", "xl/activeX/activeX1.bin"])
def test_macros_are_refused(clinic, part):
    assert "holds macros" in refusal(clinic, with_parts(clinic.workbook(PATIENTS), {part: b"<x/>"}))


def test_a_workbook_that_calls_itself_one_with_macros_is_refused(clinic):
    path = with_parts(clinic.workbook(PATIENTS), {}, lambda name, data: data.replace(b"spreadsheetml.sheet.main+xml", b"sheet.macroEnabled.main+xml") if "Content_Types" in name else data)
    assert "holds macros" in refusal(clinic, path)


def test_the_ending_of_macros_is_refused(clinic):
    for number, ending in enumerate((".xlsm", ".xltm", ".xlam", ".XLSM")):
        assert "macros" in refusal(clinic, clinic.text(f"log {number}{ending}", b"x"))


@pytest.mark.parametrize("part", ["xl/externalLinks/externalLink1.xml", "xl/connections.xml", "xl/queryTables/queryTable1.xml", "xl/embeddings/oleObject1.bin"])
def test_values_taken_from_elsewhere_are_refused(clinic, part):
    """External links hold other workbooks' values, and DDE: programs started to get them."""
    assert "takes values from other files, programs or databases" in refusal(clinic, with_parts(clinic.workbook(PATIENTS), {part: b"<x/>"}))


def test_a_relation_that_leads_out_is_refused_and_a_link_to_a_page_is_not(clinic):
    from openpyxl import load_workbook

    path = clinic.workbook(PATIENTS)
    book = load_workbook(path)
    book["Patients"]["D2"].hyperlink = "https://example.org/"
    book.save(path)
    assert len(clinic.check([path]).tables["patients"]) == 1
    with_parts(path, {}, lambda name, data: data.replace(b"/hyperlink\"", b"/oleObject\""))
    assert "takes values from other files" in refusal(clinic, path)


@pytest.mark.parametrize("name", ["../../etc/cron.d/x", "/etc/passwd", "xl/../../x.xml", "C:/x.xml", "..\\..\\x.xml", "xl\\workbook2.xml"])
def test_parts_with_names_that_lead_out_of_the_archive_are_refused(clinic, name):
    assert "leads out of the file" in refusal(clinic, with_parts(clinic.workbook(PATIENTS), {name: b"x"}))


def test_a_part_that_stands_twice_is_refused(clinic):
    with pytest.warns(UserWarning, match="Duplicate"):
        path = with_parts(clinic.workbook(PATIENTS), {"xl/workbook.xml": b"<workbook/>"})
    assert "the same part twice" in refusal(clinic, path)


def test_a_part_with_a_password_is_refused(clinic):
    path = clinic.workbook(PATIENTS)
    data = bytearray(path.read_bytes())
    for at in [found.start() for found in re.finditer(rb"PK\x01\x02", data)]:
        data[at + 8] |= 1
    path.write_bytes(data)
    assert "protected by a password" in refusal(clinic, path)


def test_a_zip_bomb_is_refused_before_it_is_unpacked(clinic, monkeypatch):
    """Deflate packs like bytes about 1,000 to 1 (its own limit is 1,032); a real sheet of a million rows about 10 to 1."""
    path = with_parts(clinic.workbook(PATIENTS), {"xl/worksheets/sheet9.xml": b" " * 300_000_000})
    assert path.stat().st_size < 400_000

    def unpacked(*_):
        raise AssertionError("a part was unpacked")

    monkeypatch.setattr(zipfile.ZipFile, "open", unpacked)
    assert "would unpack to far more" in refusal(clinic, path)


def test_too_much_in_all_and_too_many_parts_are_refused(clinic, monkeypatch):
    path = clinic.workbook(PATIENTS)
    for limit in ("MOST_BYTES", "MOST_PARTS"):
        with monkeypatch.context() as smaller:
            smaller.setattr(archive, limit, 3)
            assert "would unpack to far more" in refusal(clinic, path)
    assert len(clinic.check([path]).tables["patients"]) == 1


def test_a_part_that_lies_about_its_size_never_yields_more(clinic):
    """The directory says 10 bytes where the part unpacks to 50 million: reading stops at what was said, and the file is damaged."""
    path = with_parts(clinic.workbook(PATIENTS), {"xl/worksheets/sheet9.xml": b"<a>" + b" " * 50_000_000 + b"</a>"})
    data = bytearray(path.read_bytes())
    at = data.rfind(b"PK\x01\x02", 0, data.rfind(b"sheet9.xml"))
    data[at + 24: at + 28] = (10).to_bytes(4, "little")
    path.write_bytes(data)
    assert "damaged or incomplete" in refusal(clinic, path)


BOMB = b'<!DOCTYPE lolz [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>'
OUTSIDE = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>'


@pytest.mark.parametrize("declared", [BOMB, OUTSIDE, b"<!-- " + random.Random(1).randbytes(1_200_000).hex().encode() + b" -->" + BOMB], ids=["nested entities", "a file outside", "behind a long comment"])
@pytest.mark.parametrize("part", ["sheet1.xml", "workbook.xml", "styles.xml", "workbook.xml.rels"])
def test_xml_with_declarations_of_its_own_is_refused(clinic, declared, part):
    path = with_parts(clinic.workbook(PATIENTS), {}, lambda name, data: declared + re.sub(rb"^<\?xml[^>]*\?>", b"", data) if name.endswith(part) else data)
    assert "declarations that no spreadsheet program writes" in refusal(clinic, path)


def test_declarations_hidden_in_another_encoding_are_refused_too(clinic):
    for encoding, words in (("utf-16", "declarations"), ("cp037", "damaged")):
        def change(name, data, encoding=encoding):
            text = f'<?xml version="1.0" encoding="{encoding}"?>' + BOMB.decode() + data.decode()
            return text.encode(encoding) if name.endswith("sheet1.xml") else data

        assert words in refusal(clinic, with_parts(clinic.workbook(PATIENTS), {}, change))


@pytest.mark.parametrize("name", ["log\n.csv", "log\x1b[31m.csv", "log\u202egpj.csv"])
def test_a_file_name_that_cannot_be_shown_is_refused(clinic, name):
    path = clinic.folder / name
    try:
        path.write_bytes(b"patient_id,audit_consent\nP1,yes\n")
    except OSError:
        pytest.skip("this system has no such names")
    with pytest.raises(Misuse, match="holds characters that cannot be shown") as refused:
        clinic.check([path])
    assert name not in str(refused.value)


def test_what_a_terminal_would_obey_is_never_printed(clinic):
    from outcomes import intake

    checked = clinic.check([clinic.text("patients.csv", "patient_id,audit_consent,bad\x1b]0;x\x07\nP\x1b[2J1,yes,\nP2,\x1b[31mmaybe,\nP3\u202e,yes,\n")])
    said = "\n".join(intake.summary(checked) + checked.decisions + [intake.sentence(one) for one in checked.problems.itertuples()])
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", said)
    assert set(checked.problems["rule"]) == {"characters not shown", "code not known", "column not known"}
    (copy,) = intake.marked_copy(checked, clinic.folder / "marked.xlsx")
    assert copy.stat().st_size > 1000


def test_a_row_number_beyond_every_spreadsheet_does_not_run_without_end(clinic):
    """Found by changing files at random: the rows between were walked through one by one."""
    path = with_parts(clinic.workbook(PATIENTS), {}, lambda name, data: data.replace(b"</sheetData>", b'<row r="99999999"><c r="A99999999" t="inlineStr"><is><t>P2</t></is></c></row></sheetData>') if name.endswith("sheet1.xml") else data)
    assert "damaged or incomplete" in refusal(clinic, path)
