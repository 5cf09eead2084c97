"""What intake reads: the options of a run, a file and what was decided about it, and a sheet as written, cell by cell."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from outcomes.errors import Misuse
from outcomes.intake import archive
from outcomes.intake.words import unseen, visible

DATE_ORDERS = ("day first", "month first")
WORKBOOK, DELIMITED = ".xlsx", ".csv"


@dataclass(frozen=True)
class Options:
    """How files are to be read; None means: find it in the file, once for the whole file.

    ``date_order``: "day first" or "month first"; ``decimal``: "," or "."; ``separator`` and ``encoding`` of CSV files.
    ``good_rows``: the caller means to load the rows without errors. ``mappings``: from ``read_mapping``, for files with columns of
    their own. Raises Misuse for a value that means nothing.
    """

    date_order: str | None = None
    decimal: str | None = None
    separator: str | None = None
    encoding: str | None = None
    good_rows: bool = False
    mappings: tuple = ()

    def __post_init__(self):
        for name, allowed in (("date_order", DATE_ORDERS), ("decimal", (",", ".")), ("separator", (",", ";", "\t"))):
            value = getattr(self, name)
            if value is not None and value not in allowed:
                raise Misuse(f"{name} is one of {', '.join(repr(one) for one in allowed)}, not {value!r}.")
        if self.encoding is not None:
            try:
                "".encode(self.encoding)
            except LookupError:
                raise Misuse(f"{self.encoding} is no encoding known here. Try utf-8, windows-1252 or utf-16.") from None


@dataclass(frozen=True)
class Source:
    """One file read: its name, the SHA-256 of its bytes, "workbook" or "csv", what was decided while reading, and the rows taken."""

    name: str
    sha256: str
    kind: str
    decisions: tuple[str, ...] = ()
    rows: int = 0


@dataclass(frozen=True)
class Cells:
    """One column as written: each distinct value once, and for every row which of them it holds (-1: blank).

    Everything that reads a cell works on the distinct values, so a million rows cost no more than the few thousand ways
    in which a clinic writes them.
    """

    values: list
    index: np.ndarray


@dataclass(frozen=True)
class Refused:
    """A cell that could not be brought into the log's form: what stood there, the rule, why, and what to do."""

    text: str
    rule: str
    why: str
    remedy: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Sheet:
    """One table as written. ``lines``: row numbers as a spreadsheet shows them; ``places``: column number (from 0) of each column taken."""

    table: str
    file: int
    name: str
    lines: np.ndarray
    columns: dict[str, Cells]
    places: dict[str, int]


@dataclass
class Reading:
    """A file on its way in: what it is called, its bytes, and the decisions and faults found so far.

    A fault is a fault of the file as a whole or of one line, before any cell is read: a dict with severity, rule, message,
    remedy, and where known sheet, line, cell, table. A fault with ``refuses`` keeps the whole file out.
    """

    number: int
    name: str
    data: bytes
    kind: str
    sheets: list[Sheet] = field(default_factory=list)
    decisions: list[str] = field(default_factory=list)
    faults: list[dict] = field(default_factory=list)
    mapping: object = None  # outcomes.intake.mapping.Mapping: which of the file's own columns are taken; None: it has the log's own

    @property
    def sha256(self) -> str:
        """SHA-256 of the file's bytes."""
        return hashlib.sha256(self.data).hexdigest()

    @property
    def refused(self) -> bool:
        """Whether a fault keeps the whole file out."""
        return any(fault.get("refuses") for fault in self.faults)

    def fault(self, rule: str, message: str, remedy: str, *, severity: str = "error", refuses: bool = False, **where) -> None:
        """Note a fault of the file or of one of its lines."""
        self.faults.append({"severity": severity, "rule": rule, "message": message, "remedy": remedy, "refuses": refuses, **where})


def open_file(path: str | Path, number: int) -> Reading:
    """Read a file's bytes and see what it is by its first bytes as well as by its name.

    Raises Misuse, with what to do, where the file is missing, cannot be opened, or is neither a workbook nor a text table.
    """
    path = Path(path)
    name = path.name
    if name.startswith(("~$", ".~lock")):
        raise Misuse(f"{name} is the mark a spreadsheet program leaves beside an open workbook, not the workbook. Close the workbook and give its own name.")
    if unseen(name):
        raise Misuse(f"The name of the file {visible(name)} holds characters that cannot be shown. Rename it.")
    if path.is_dir():
        raise Misuse(f"{name} is a folder. Give the files in it.")
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise Misuse(f"There is no file {name}. Check the name and the folder.") from None
    except PermissionError:
        raise Misuse(f"{name} cannot be opened: another program holds it, or you may not read it. Close it elsewhere and try again.") from None
    except OSError as problem:
        raise Misuse(f"{name} cannot be read: {problem.strerror or 'the system gave no reason'}. Copy it to this computer and try again.") from None
    ending = path.suffix.lower()
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise archive.of_old_kind(name, data)
    if data[:4] == b"PK\x03\x04" and ending != WORKBOOK:
        raise Misuse(f"{name} is a workbook by its content. Save it from the spreadsheet program as .xlsx, or export the sheet as .csv.")
    if ending in (".xlsm", ".xltm", ".xlam"):
        raise Misuse(f"{name} may hold macros (small programs), which a log does not need. Save it as .xlsx without macros and give that file.")
    if ending in (".xls", ".xlt", ".ods", ".ots", ".fods", ".xlsb", ".xltx", ".numbers"):
        raise Misuse(f"{name}: files of the kind {ending} are not read. Open it in the spreadsheet program and save it as .xlsx or .csv.")
    if ending not in (WORKBOOK, DELIMITED, ".tsv", ".txt"):
        raise Misuse(f"{name} is neither a workbook (.xlsx) nor a table (.csv). Give the clinic's log in one of these forms.")
    if ending == WORKBOOK and data[:2] != b"PK":
        raise Misuse(f"{name} is no readable workbook: its content is not what .xlsx means. Open it in the spreadsheet program and save it anew as .xlsx.")
    if ending == WORKBOOK:
        archive.look_inside(name, data)
    reading = Reading(number, name, data, "workbook" if ending == WORKBOOK else "csv")
    if any(path.with_name(mark).exists() for mark in (f"~${name}", f".~lock.{name}#")):
        reading.decisions.append(f"{name} seems to be open in a spreadsheet program: what is not saved there yet was not read.")
    return reading
