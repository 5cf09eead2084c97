"""CSV as RFC 4180 writes it, and a published collection of awkward files with what they hold."""

from __future__ import annotations

import json
import shutil
import subprocess
import tarfile

import pytest

from outcomes import schemas
from outcomes.intake import delimited
from outcomes.intake.source import Options, Reading

A = ["aaa", "bbb", "ccc"]


def rows(data: bytes, way: str = "as read") -> list[list[str]] | None:
    """Every cell of a CSV file under the first line's headings, by the quick way, the careful way, or as the reader chooses."""
    reading = Reading(0, "patients.csv", data, "csv")
    text = delimited.as_utf8(reading, Options())
    names = delimited.split_lines(text.decode("utf-8").splitlines(keepends=True), ",")[0]
    places = {name: at for at, name in enumerate(names)}
    quick = delimited.read_quickly(text, ",", 0, names, places) if way != "careful" else None
    if way == "quick" and quick is None:
        return None
    columns, lines = quick or delimited.read_with_care(reading, schemas.tables()["patients"], text, ",", 0, names, places)
    assert not reading.faults
    cells = [[columns[name].values[columns[name].index[row]] if columns[name].index[row] >= 0 else "" for name in names] for row in range(len(lines))]
    return [names, *cells]


# Section 2 of RFC 4180, rule by rule; its own examples.
@pytest.mark.parametrize("way", ["as read", "careful", "quick"])
@pytest.mark.parametrize("data, held", [
    (b"h1,h2,h3\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [A, ["zzz", "yyy", "xxx"]]),  # 1: lines end with CRLF
    (b"h1,h2,h3\r\naaa,bbb,ccc\r\nzzz,yyy,xxx", [A, ["zzz", "yyy", "xxx"]]),  # 2: the last may lack it
    (b"h1,h2,h3\r\n aaa ,bbb,c c c\r\n", [[" aaa ", "bbb", "c c c"]]),  # 4: blanks belong to the field
    (b'h1,h2,h3\r\n"aaa","bbb","ccc"\r\nzzz,yyy,xxx\r\n', [A, ["zzz", "yyy", "xxx"]]),  # 5: quotes may stand around any field
    (b'h1,h2,h3\r\n"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx\r\n', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),  # 6: line breaks in quotes
    (b'h1,h2,h3\r\n"a,a",bbb,ccc\r\n', [["a,a", "bbb", "ccc"]]),  # 6: commas in quotes
    (b'h1,h2,h3\r\n"aaa","b""bb","ccc"\r\n', [["aaa", 'b"bb', "ccc"]]),  # 7: a quote is doubled
])
def test_rfc_4180(data, held, way):
    found = rows(data, way)
    assert (found is None and way == "quick") or found == [["h1", "h2", "h3"], *held]


@pytest.mark.needs_node
@pytest.mark.slow
def test_a_published_collection_of_awkward_files_is_read_as_its_authors_say(tmp_path):
    """csv-spectrum 2.0.0 (npm, BSD-2-Clause): twelve files for writers of CSV parsers, each with its content as JSON."""
    subprocess.run([shutil.which("npm"), "pack", "csv-spectrum@2.0.0"], cwd=tmp_path, check=True, capture_output=True, timeout=120)
    with tarfile.open(next(tmp_path.glob("*.tgz"))) as packed:
        packed.extractall(tmp_path, filter="data")
    files = sorted((tmp_path / "package/csvs").glob("*.csv"))
    assert len(files) == 12
    for path in files:
        wanted = json.loads((tmp_path / "package/json" / f"{path.stem}.json").read_text(encoding="utf-8"))
        wanted = [[str(cell) for cell in row.values()] for row in (wanted if isinstance(wanted, list) else [wanted])]
        found = [[cell.replace("\r\n", "\n") for cell in row] for row in rows(path.read_bytes())[1:]]
        if path.stem == "location_coordinates":  # its degree signs are lost in the JSON beside it, which also gives another telephone number than the file
            found, wanted = ([[cell.encode("ascii", "replace").decode() for cell in row[1:]] for row in one] for one in (found, wanted))
        assert found == [[cell.replace("\r\n", "\n") for cell in row] for row in wanted], path.name
