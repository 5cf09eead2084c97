"""Changes to sound files: bytes, cells and lines of CSV text, and the XML inside workbooks. Each takes a random generator and bytes and gives bytes."""

from __future__ import annotations

import random
import re
import zipfile

from fuzzing.seeds import packed, unpacked

CELLS = ["", " ", "=1+1", "@SUM(A1)", "'=1", "-0", "+", "1e999", "NaN", "inf", "-inf", "1e5", "0042", "42", "042", "9" * 400, "x" * 5000, "\x00", "\x1b[31mred", "\u202eabc", "\ufeff", "\ud7ff",
         "٣٣", "３３", "6,7", "6.7", "1.500", "1,500", "1.500,5", "1 500", "1'500", "٦٫٧", "33", "33 43", "33-43", "43-33", "33-13", "99", "midline", "all", "none", "33:light 43:", ":", "33:=1",
         "2024-02-30", "2024-13-01", "0000-00-00", "9999-12-31", "1900-02-29", "60", "45292", "0", "-1", "1e3", "31/12/2024", "12/31/2024", "01/02/2024", "1/1/24", "2024", "2024-03", "not known",
         "2024-03-14 00:00:00", "2024-03-14T10:30", "14 March 2024", "yes", "no", "maybe", "unknown", "light", "worn", "33 replaced; 33 replaced", "33 replaced, worn, fitted", "; ; ;", "fine", "relined, cleaned",
         '"', '""', '"a', "a\nb", "a\rb", "a;b", "a,b", "a\tb", "<script>alert(1)</script>", "'; DROP TABLE patients; --", "%s%n{0}{x}", "../../etc/passwd", "Anna Schmidt", "a@b.example", "+49 30 1234567",
         "True", "#N/A", "#REF!", "😀", "ﬁ", "İ", "ß", "P1/2024-03-14", "P1/2024-03-14/2", "P1/lower/1", "P1", "P2", "P1 ", "p1", "1/0", "None", "nan", "<NA>", "NULL", "-5", "3.0", "33.0", "1e-400", "²", "½"]
BYTES = [b"\x00", b"\xff", b"\xfe\xff", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n", b'"', b";", b",", b"\t", b"\x1a", b"\x80", b"PK\x03\x04", b"<", b">", b"&", b"'", b"=", b"]]>", b"-1", b"0", b"9999999999"]


def of_bytes(rng: random.Random, data: bytes) -> bytes:
    """A few bytes changed, put in, taken out, doubled, or the end cut off."""
    out = bytearray(data)
    for _ in range(rng.choice([1, 1, 1, 2, 3, 8, 30])):
        if not out:
            break
        at, size = rng.randrange(len(out)), rng.choice([1, 1, 2, 4, 16, 100])
        what = rng.randrange(7)
        if what == 0:
            out[at] ^= 1 << rng.randrange(8)
        elif what == 1:
            out[at] = rng.randrange(256)
        elif what == 2:
            out[at:at] = rng.choice(BYTES)
        elif what == 3:
            del out[at:at + size]
        elif what == 4:
            out[at:at] = out[at:at + size] * rng.choice([1, 2, 50])
        elif what == 5:
            out[at:at + 1] = rng.choice(BYTES)
        elif rng.random() < 0.3:
            del out[at:]
    return bytes(out)


def of_text(rng: random.Random, data: bytes) -> bytes:
    """Cells, lines, columns, separators, quotes, line ends and the encoding of a CSV file changed."""
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig" if data[:3] == b"\xef\xbb\xbf" else "utf-8"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        encoding, text = "cp1252", data.decode("cp1252", errors="replace")
    separator = max(";,\t", key=text.split("\n", 1)[0].count)
    rows = [line.split(separator) for line in text.splitlines()]
    for _ in range(rng.choice([1, 1, 2, 3, 6])):
        rows = _rows(rng, rows)
    if rng.random() < 0.1:
        separator = rng.choice([",", ";", "\t", "|", ", ", ""])
    text = rng.choice(["\r\n", "\r\n", "\n", "\r", "\n\n", "\n\r"]).join(separator.join(row) for row in rows)
    if rng.random() < 0.15:
        encoding = rng.choice(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32", "utf-7", "cp437"])
    return text.encode(encoding, errors="replace")


def _rows(rng: random.Random, rows: list[list[str]]) -> list[list[str]]:
    rows = [list(row) for row in rows] or [[""]]
    at = rng.randrange(len(rows))
    row = rows[at]
    place = rng.randrange(len(row)) if row else 0
    what = rng.randrange(14)
    if what <= 5 and row:
        row[place] = rng.choice(CELLS)
    elif what == 6 and row:
        row[place] = rng.choice(['"%s"', '"%s', '%s"', " %s ", "'%s", "=%s", "%s\n", "%s%s"]).replace("%s", row[place])
    elif what == 7:
        rows.insert(at, list(rng.choice(rows)))
    elif what == 8:
        del rows[at]
    elif what == 9:
        row.insert(place, rng.choice(CELLS))
    elif what == 10 and row:
        del row[place]
    elif what == 11:
        other = rng.randrange(len(rows))
        rows[at], rows[other] = rows[other], rows[at]
    elif what == 12:
        for one in rows:
            if place < len(one) and rng.random() < 0.9:
                one[place] = rng.choice([rng.choice(CELLS), one[place]])
    else:
        first = rng.randrange(max(len(row), 1))
        for one in rows:
            if max(first, place) < len(one):
                one[first], one[place] = one[place], one[first]
    return rows


SNIPPETS = [b'<mergeCells count="1"><mergeCell ref="A2:A3"/></mergeCells>', b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>', b"<!DOCTYPE x [<!ENTITY a 'b'>]>", b"&a;", b"&#0;", b"&#x1b;", b"<![CDATA[x]]>", b"<!-- -- -->",
            b'<row r="1048576"><c r="A1048576"><v>1</v></c></row>', b'<row r="0"><c r="A0"><v>1</v></c></row>', b'<row r="-1"/>', b'<row r="99999999"/>', b'<c r="ZZZZ1"><v>1</v></c>', b'<c r="1"><v>1</v></c>', b"<c><v>1</v></c>",
            b'<c r="B2"><f>1+1</f></c>', b'<c r="B2"><f>1+1</f><v/></c>', b'<c r="B2" t="str"><f>A1</f><v></v></c>', b'<c r="A2" t="e"><v>#REF!</v></c>', b'<c r="A2" t="b"><v>7</v></c>', b'<c r="A2" t="d"><v>2024-99-99</v></c>',
            b'<c r="A2" t="s"><v>99999</v></c>', b'<c r="A2" t="s"><v>-1</v></c>', b'<c r="A2" t="s"><v>x</v></c>', b'<c r="A2" t="inlineStr"><is><r><t>P</t></r><r><t>1</t></r></is></c>', b'<c r="A2" s="99"><v>1</v></c>', b'<c r="A2" s="1"><v>60</v></c>',
            b'<c r="A2" s="1"><v>1e300</v></c>', b'<c r="A2" s="1"><v>-5</v></c>', b'<c r="A2"><v>NaN</v></c>', b'<c r="A2"><v>1e999</v></c>', b'<c r="A2"><v/></c>', b'<workbookPr date1904="1"/>', b'<sheet name="" sheetId="7" r:id="rId1"/>',
            b'<sheet name="Visits" sheetId="8" r:id="rId77"/>', b'<cols><col min="1" max="2" hidden="1"/></cols>', b"<v>", b"</v>", b"<t>", b"</row>", b"</sheetData>"]


def of_xml(rng: random.Random, data: bytes) -> bytes:
    """Texts, attributes, tags and parts inside a workbook changed, and packed again."""
    parts = unpacked(data)
    for _ in range(rng.choice([1, 1, 2, 4])):
        name = rng.choice([*parts, *(part for part in parts if "sheet" in part.lower()) , *(part for part in parts if "worksheets" in part) ])
        what = rng.randrange(20)
        if what == 0 and len(parts) > 1:
            del parts[name]
        elif what == 1:
            parts[rng.choice(["xl/vbaProject.bin", "../evil.xml", "/abs.xml", "xl\\workbook.xml", "xl/externalLinks/externalLink1.xml", name.upper(), name + "x", "mimetype"])] = parts[name]
        elif what == 2:
            parts[name] = of_bytes(rng, parts[name])
        else:
            parts[name] = _xml(rng, parts[name])
    return packed(parts, rng.choice([zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED]))


def _xml(rng: random.Random, xml: bytes) -> bytes:
    what = rng.randrange(8)
    if what <= 2:
        return _one(rng, rb"(<(?:t|v)\b[^>]*>)([^<]*)", xml, lambda found: found[1] + _escaped(rng.choice(CELLS)))
    if what == 3:
        return _one(rng, rb'(\s[\w:]+=")([^"]*)', xml, lambda found: found[1] + rng.choice([b"", b"0", b"-1", b"99", b"A1", b"A0", b"s", b"n", b"str", b"e", b"b", b"d", b"inlineStr", b"x" * 300, b"1e9", b"rId1", b"true", b"../x"]))
    if what == 4:
        return _one(rng, rb"<[^>]+>", xml, lambda found: b"")
    if what == 5:
        return _one(rng, rb"<[^>]+>", xml, lambda found: found[0] + rng.choice(SNIPPETS))
    if what == 6:
        return _one(rng, rb"<(row|c|si|sheet|Relationship)\b.*?(?:/>|</\1>)", xml, lambda found: found[0] * rng.choice([2, 3, 40]))
    return _one(rng, rb"<(row|c|si|sheet|xf|Relationship|Override)\b.*?(?:/>|</\1>)", xml, lambda found: b"")


def _one(rng: random.Random, pattern: bytes, xml: bytes, change) -> bytes:
    """One match of the pattern, chosen at random, changed."""
    found = list(re.finditer(pattern, xml, re.DOTALL))
    if not found:
        return xml
    one = rng.choice(found)
    return xml[: one.start()] + change(one) + xml[one.end():]


def _escaped(text: str) -> bytes:
    return text.replace("&", "&amp;").replace("<", "&lt;").encode("utf-8", errors="replace")


def changed(rng: random.Random, name: str, data: bytes) -> tuple[str, bytes]:
    """(kind of change, a changed file)."""
    inside = (of_xml, "inside the workbook") if name.endswith(".xlsx") else (of_text, "cells and lines")
    how, kind = inside if rng.random() < 0.8 else (of_bytes, "bytes")
    return kind, how(rng, data)
