"""Sound small files to start from: every table as CSV in several dialects, and workbooks written by hand and by a library."""

from __future__ import annotations

import csv
import io
import zipfile
from xml.sax.saxutils import escape

from outcomes import schemas

PATIENTS = [{"patient_id": "P1", "audit_consent": "yes", "birth_year": "1948", "sex": "female"}, {"patient_id": "0042", "audit_consent": "not required", "left_on": "14/03/2025", "left_reason": "moved"}]
LEVELS = [{"level": "light", "system": "A", "retention": "6,7", "unit": "N", "kind": "final"}, {"level": "firm", "system": "A", "retention": "2,5", "unit": "lbf", "kind": "final"}]
SETS = [{"patient": patient, "arch": "lower", "position": position, "fitted_on": day, "attachment": "stud", "level": "light", "height_mm": "2,5", "torque_ncm": "25", "pick_up": "chairside"}
        for patient, day in (("P1", "24/05/2021"), ("0042", "2020")) for position in ("33", "43")]
LINES = [
    {"patient": "P1", "date": "24/05/2021", "reason": "delivery", "parts_checked": "all", "snap": "not asked", "minutes": "40"},
    {"patient": "P1", "date": "14/05/2022", "reason": "recall", "parts_checked": "all", "snap": "a bit loose", "snap_history": "was right before", "inserts_changed": "33 43", "why": "worn", "worn_at": "33", "level_now": "33:light 43:firm"},
    {"patient": "0042", "date": "2023-03-14", "reason": "problem", "parts_checked": "listed only", "snap": "far too loose", "housings": "33 picked up again; 43 fine", "abutments": "43 tightened", "denture": "relined", "snap_lost": "2023-02"},
]
DENTURES = [{"denture_id": "P1/lower/1", "patient_id": "P1", "arch": "lower", "delivered_on": "2021-05-04", "base": "acrylic", "use": "everyday"}]
IMPLANTS = [{"patient_id": "P1", "position": "33", "placed_on": "2020-11", "divergence_deg": "12,5", "state": "in use"}]
VISITS = [{"visit_id": "P1/2024-03-14", "patient_id": "P1", "visited_on": "14/03/2024", "reason": "recall", "parts_checked": "listed only", "snap": "just right"}]
PARTS = [{"visit_id": "P1/2024-03-14", "position": "33", "part": "insert", "finding": "worn", "action": "replaced", "change_reason": "failed", "level": "light", "noticed_on": "2024-02"},
         {"visit_id": "P1/2024-03-14", "position": "43", "part": "housing", "finding": "sound", "action": "none"}]
DENTURE_LOG = [{"visit_id": "P1/2024-03-14", "finding": "poor fit", "action": "relined", "where": "laboratory"}]
ANSWERS = [{"patient_id": "P1", "answered_on": "14/03/2024", "about": "lower", "instrument": "satisfaction_card", "item": "1", "response": "85"}]
WIDE = [{"patient_id": "P1", "answered_on": "2024-03-14", "about": "lower", "item 1": "85"}]
PULLS = [{"visit_id": "P1/2024-03-14", "position": "33", "force_n": "9,5"}]

TABLES = {"patients": PATIENTS, "insert_levels": LEVELS, "set_up": SETS, "day_sheet": LINES, "dentures": DENTURES, "implants": IMPLANTS, "visits": VISITS,
          "parts_log": PARTS, "denture_log": DENTURE_LOG, "questionnaires": ANSWERS, "satisfaction_card": WIDE, "pull_tests": PULLS}
STORED = ("patients", "insert_levels", "set_up", "day_sheet")  # what the store holds before: the others speak of its patients


def table_csv(rows: list[dict], separator: str = ";", ends: str = "\r\n") -> str:
    """Rows as the text of a CSV file."""
    sink = io.StringIO()
    writer = csv.DictWriter(sink, list(dict.fromkeys(key for row in rows for key in row)), delimiter=separator, lineterminator=ends)
    writer.writeheader()
    writer.writerows(rows)
    return sink.getvalue()


def shared_workbook(tables: dict[str, list[dict]]) -> bytes:
    """A workbook as spreadsheet programs write it: shared texts, style numbers, dates as day numbers; deflated."""
    texts: list[str] = []
    sheets = [(schemas.tables()[name].title if name in schemas.tables() else name, rows) for name, rows in tables.items()]
    body = {}
    for number, (_, rows) in enumerate(sheets, 1):
        columns = list(dict.fromkeys(key for row in rows for key in row))
        lines = []
        for at, row in enumerate([dict(zip(columns, columns)), *rows], 1):
            cells = []
            for place, name in enumerate(columns):
                value = row.get(name)
                if value in (None, ""):
                    continue
                where = f"{chr(65 + place)}{at}"
                if value == "2023-03-14":
                    cells.append(f'<c r="{where}" s="1"><v>44999</v></c>')
                elif value.isdigit() and not value.startswith("0"):
                    cells.append(f'<c r="{where}"><v>{value}</v></c>')
                else:
                    texts.append(value)
                    cells.append(f'<c r="{where}" t="s"><v>{len(texts) - 1}</v></c>')
            lines.append(f'<row r="{at}">{"".join(cells)}</row>')
        body[f"xl/worksheets/sheet{number}.xml"] = f'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<worksheet xmlns="{MAIN}"><sheetData>{"".join(lines)}</sheetData></worksheet>'
    listed = "".join(f'<sheet name="{escape(title)}" sheetId="{n}" r:id="rId{n}"/>' for n, (title, _) in enumerate(sheets, 1))
    relations = "".join(f'<Relationship Id="rId{n}" Type="{REL}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in range(1, len(sheets) + 1))
    kinds = "".join(f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{KIND}.worksheet+xml"/>' for n in range(1, len(sheets) + 1))
    parts = {
        "[Content_Types].xml": f'<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
                               f'<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="{KIND}.sheet.main+xml"/>{kinds}'
                               f'<Override PartName="/xl/styles.xml" ContentType="{KIND}.styles+xml"/><Override PartName="/xl/sharedStrings.xml" ContentType="{KIND}.sharedStrings+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="rId1" Type="{REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{REL}"><workbookPr/><sheets>{listed}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}">{relations}<Relationship Id="rId98" Type="{REL}/styles" Target="styles.xml"/><Relationship Id="rId99" Type="{REL}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/styles.xml": f'<styleSheet xmlns="{MAIN}"><fonts count="1"><font/></fonts><fills count="1"><fill><patternFill patternType="none"/></fill></fills><borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>'
                         '<cellXfs count="2"><xf numFmtId="0" xfId="0"/><xf numFmtId="14" xfId="0" applyNumberFormat="1"/></cellXfs></styleSheet>',
        "xl/sharedStrings.xml": f'<sst xmlns="{MAIN}" count="{len(texts)}" uniqueCount="{len(texts)}">' + "".join(f'<si><t xml:space="preserve">{escape(text)}</t></si>' for text in texts) + "</sst>",
        **body,
    }
    return packed({name: text.encode("utf-8") for name, text in parts.items()})


def packed(parts: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Parts as a zip archive without times, so that one seed always gives the same bytes."""
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as archive:
        for name, data in parts.items():
            archive.writestr(zipfile.ZipInfo(name, (2000, 1, 1, 0, 0, 0)), data, compress_type=method)
    return sink.getvalue()


def unpacked(data: bytes) -> dict[str, bytes]:
    """The parts of a zip archive."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def library_workbook(tables: dict[str, list[dict]]) -> bytes:
    """A workbook as openpyxl writes it."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for name, rows in tables.items():
        sheet = book.create_sheet(schemas.tables()[name].title)
        columns = list(dict.fromkeys(key for row in rows for key in row))
        sheet.append(columns)
        for row in rows:
            sheet.append([row.get(column) for column in columns])
    sink = io.BytesIO()
    book.save(sink)
    return packed(unpacked(sink.getvalue()))


def files() -> dict[str, bytes]:
    """Sound files by name, to be changed."""
    out = {f"{name}.csv": table_csv(rows).encode("utf-8") for name, rows in TABLES.items()}
    out["day_sheet comma.csv"] = table_csv(LINES, ",", "\n").encode("utf-8-sig")
    out["set_up wide.csv"] = table_csv(SETS, "\t").encode("utf-16")
    out["insert_levels old.csv"] = table_csv(LEVELS).replace("light", "légère").encode("cp1252")
    kept = {name: TABLES[name] for name in STORED}
    long = {name: TABLES[name] for name in ("patients", "insert_levels", "dentures", "implants", "visits", "parts_log", "denture_log", "questionnaires", "pull_tests")}
    out["shared.xlsx"], out["library.xlsx"] = shared_workbook(kept), library_workbook(kept)
    out["long.xlsx"] = shared_workbook(long)
    return out


MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"
