"""A copy of a file in which columns of people are pseudonyms. Columns that look personal otherwise are left out; all else is as it was."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path

from outcomes.errors import Misuse
from outcomes.intake import delimited, privacy, workbook
from outcomes.intake.headings import exact, letter
from outcomes.intake.outlook import Export
from outcomes.intake.pseudonyms import Key
from outcomes.intake.source import Options, open_file
from outcomes.intake.typed import text_of

RECORD = "pseudonyms_key.txt"


def copy_with_pseudonyms(path: Path, names: list[str], key: Key, out: Path, *, sheet: str | None = None, options: Options = Options()) -> list[str]:
    """Write the copy and return sentences on what was done. Nothing is written where anything is refused.

    ``names``: headings of the columns of people. Raises Misuse where a heading is not there, ``out`` is there already or of another
    kind, or the folder of ``out`` knows another key; DataProblem where two people would share a pseudonym.
    """
    path, out = Path(path), Path(out)
    export = Export(path, sheet=sheet, options=options)
    places = [_place(export, name) for name in names]
    if out.suffix.lower() != path.suffix.lower():
        raise Misuse(f"{out.name} is of another kind than {path.name}. Give a name that ends in {path.suffix}.")
    if out.exists():
        raise Misuse(f"{out.name} is there already. Give another name with --out.")
    _same_key(out.parent / RECORD, key)
    dropped = [place for place, heading in export.headings.items() if place not in places and privacy.heading(heading)]
    body, count, people = (_workbook if export.kind == "workbook" else _table)(export, places, dropped, key)
    _write(out, body)
    record = out.parent / RECORD
    if not record.exists():
        _write(record, f"Pseudonyms in this folder were made with the key of fingerprint\n{key.fingerprint}\n".encode())
    said = [f"Wrote {out.name}: {people:,} {'person' if people == 1 else 'people'} in {count:,} cells turned into pseudonyms with the key {key.fingerprint}."]
    if dropped:
        said.append(f"Left out, because the headings look personal: column{'s' if len(dropped) > 1 else ''} {', '.join(letter(place) for place in dropped)}.")
    return said


def _place(export: Export, name: str) -> int:
    found = [place for place, heading in export.headings.items() if exact(heading) == exact(name)]
    if not found:
        raise Misuse(f"{export.name} has no column with that heading. Write it just as it stands in the file; of two alike with [1] or [2] after it.")
    return found[0]


def _same_key(record: Path, key: Key) -> None:
    if record.exists():
        known = (record.read_text(encoding="utf-8", errors="replace").split() or [""])[-1]
        if known != key.fingerprint:
            raise Misuse(f"The pseudonyms in the folder {record.parent.resolve().name} were made with the key {known}, and the key given is {key.fingerprint}. Give the key used before; another key would make everybody a new person.")


def _table(export: Export, places: list[int], dropped: list[int], key: Key) -> tuple[bytes, int, int]:
    data = delimited.as_utf8(open_file(export.path, 0), export.options)
    out, seen, count = io.StringIO(newline=""), set(), 0
    writer = csv.writer(out, delimiter=export.separator)
    try:
        for number, row in enumerate(csv.reader(io.StringIO((data or b"").decode("utf-8"), newline=""), delimiter=export.separator)):
            if number > export.row:
                for place in places:
                    if place < len(row) and row[place].strip():
                        row[place] = key.pseudonym(row[place])
                        seen.add(row[place])
                        count += 1
            if number >= export.row:
                writer.writerow([cell for place, cell in enumerate(row) if place not in dropped])
    except csv.Error:
        raise Misuse(f"{export.name} cannot be read to its end. Look for a quotation mark that is never closed; nothing was written.") from None
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8"), count, len(seen)


def _workbook(export: Export, places: list[int], dropped: list[int], key: Key) -> tuple[bytes, int, int]:
    from openpyxl import Workbook

    book, seen, count = Workbook(), set(), 0
    sheet = book.active
    sheet.title = export.sheet
    with workbook.opened(open_file(export.path, 0)) as source:
        rows = source[export.sheet]
        rows.reset_dimensions()
        for number, row in enumerate(rows.iter_rows()):
            if number < export.row:
                continue
            at = 0
            for place, cell in enumerate(row):
                if place in dropped:
                    continue
                at += 1
                value = cell.value
                if value is None:
                    continue
                if number > export.row and place in places and text_of(value):
                    value = key.pseudonym(text_of(workbook.plain_value(value, cell, "text", source.epoch) if not isinstance(value, str) else value))
                    seen.add(value)
                    count += 1
                written = sheet.cell(number - export.row + 1, at)
                written.value = value
                if isinstance(value, str):
                    written.data_type = "s"  # a text that begins with = stays a text
                elif cell.number_format:
                    written.number_format = cell.number_format
    whole = io.BytesIO()
    book.save(whole)
    return whole.getvalue(), count, len(seen)


def _write(path: Path, body: bytes) -> None:
    """Whole or not at all, readable by its owner only."""
    part = path.with_name(path.name + ".part")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
            file.write(body)
        os.replace(part, path)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise Misuse(f"{path.name} cannot be written: {problem.strerror or 'the system gave no reason'}. Give another place with --out.") from None
