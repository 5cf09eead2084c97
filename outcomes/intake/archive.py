"""The inside of a workbook file, looked at before anything of it is unpacked: what is dangerous or no workbook is refused in a sentence."""

from __future__ import annotations

import io
import re
import zipfile
import zlib

from outcomes.errors import Misuse

MOST_PARTS = 5_000
MOST_BYTES = 1 << 30  # unpacked, all parts together: a sheet with every row of a spreadsheet filled stays below
MOST_TIMES = 200  # unpacked size by packed size of one part; a million like rows reach about 40, a bomb about 1,000
SMALL = 1 << 20  # parts below this size may pack as well as they like
CHUNK = 1 << 20

_ENCODINGS = {"utf-8", "utf8", "utf-16", "us-ascii", "ascii", "iso-8859-1"}
_DECLARATIONS = [word.encode(codec) for word in ("<!DOCTYPE", "<!ENTITY") for codec in ("utf-8", "utf-16-le", "utf-16-be")]
_MACROS = re.compile(r"vbaproject\w*\.bin|(?:^|/)(?:macrosheets|dialogsheets|activex|ctrlprops)/|macroenabled", re.IGNORECASE)
_LINKS = re.compile(r"(?:^|/)(?:externallinks|querytables|embeddings)/|(?:^|/)(?:connections|xmlmaps)\.xml$", re.IGNORECASE)
_TARGET = re.compile(rb"<(?:\w+:)?Relationship\b[^>]*>", re.IGNORECASE)
_OLE_PASSWORD, _OLE_OLD = "EncryptedPackage".encode("utf-16-le"), ("Workbook".encode("utf-16-le"), "Book".encode("utf-16-le"))


def look_inside(name: str, data: bytes) -> None:
    """Raise Misuse, with what to do, where the workbook ``name`` with the bytes ``data`` must not or cannot be read.

    Refused are: what is no zip archive, another program's document, a password, parts with names that lead out of the archive
    or stand twice, archives that unpack to far more than they hold, macros, links to other files, programs or databases, and
    XML with declarations of its own.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            _names(name, parts)
            _sizes(name, parts)
            _kind(name, archive, {part.filename for part in parts})
            for part in parts:
                if part.filename.lower().endswith((".xml", ".rels", ".vml")):
                    _xml(name, archive, part)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError, ValueError, RuntimeError, IndexError, KeyError, OverflowError, UnicodeError) as problem:
        raise unreadable(name) from problem


def unreadable(name: str) -> Misuse:
    """The refusal of a workbook that is damaged."""
    return Misuse(f"{name} cannot be read as a workbook: it is damaged or incomplete. "
                  "Open it in the spreadsheet program, save it under a new name as .xlsx, and give that file.")


def of_old_kind(name: str, data: bytes) -> Misuse:
    """The refusal of a file in the container that came before .xlsx: with a password, or in the old form."""
    if _OLE_PASSWORD in data:
        return Misuse(f"{name} is protected by a password. Open it in the spreadsheet program, take the password off, and save it as .xlsx.")
    if any(word in data for word in _OLE_OLD):
        return Misuse(f"{name} is in the old .xls form. Open it in the spreadsheet program and save it as .xlsx.")
    return Misuse(f"{name} is protected by a password or in the old .xls form. Open it, take the password off, and save it as .xlsx.")


def _names(name: str, parts: list[zipfile.ZipInfo]) -> None:
    seen = set()
    for part in parts:
        words = re.split(r"[/\\]", part.orig_filename)
        if ".." in words or part.orig_filename.startswith(("/", "\\")) or re.match(r"[A-Za-z]:", part.orig_filename) or "\\" in part.orig_filename or "\0" in part.orig_filename:
            raise Misuse(f"{name} holds a part whose name leads out of the file, which no spreadsheet program writes. Do not open it unless you know where it comes from; ask for it anew.")
        if part.filename.lower() in seen:
            raise Misuse(f"{name} holds the same part twice, so that two programs may read two different tables in it. Open it in the spreadsheet program, look it through, and save it under a new name as .xlsx.")
        seen.add(part.filename.lower())
        if part.flag_bits & 0x1:
            raise Misuse(f"{name} is protected by a password. Open it in the spreadsheet program, take the password off, and save it as .xlsx.")


def _sizes(name: str, parts: list[zipfile.ZipInfo]) -> None:
    swollen = any(part.file_size > SMALL and part.file_size > MOST_TIMES * max(part.compress_size, 1) for part in parts)
    if swollen or len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_BYTES:
        raise Misuse(f"{name} would unpack to far more than a clinic's log holds and was not opened. If it is the log, copy its rows into a new workbook, or save each sheet as .csv.")


def _kind(name: str, archive: zipfile.ZipFile, parts: set[str]) -> None:
    if "mimetype" in parts and "content.xml" in parts:
        raise Misuse(f"{name} is an OpenDocument table (.ods). Open it in the spreadsheet program and save it as .xlsx.")
    if any(part.lower().endswith("workbook.bin") for part in parts):
        raise Misuse(f"{name} is in the binary form (.xlsb). Open it in the spreadsheet program and save it as .xlsx.")
    if any(_MACROS.search(part) for part in parts) or ("[Content_Types].xml" in parts and _MACROS.search(archive.read("[Content_Types].xml").decode("utf-8", errors="ignore"))):
        raise Misuse(f"{name} holds macros (small programs), which a log does not need. Save it as .xlsx without macros and give that file.")
    if any(_LINKS.search(part) for part in parts):
        raise _linked(name)


def _linked(name: str) -> Misuse:
    return Misuse(f"{name} takes values from other files, programs or databases. Break the links in the spreadsheet program (Data, Edit links), or copy the rows as values, and save it as .xlsx.")


def _xml(name: str, archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Refuse a part that declares entities of its own, is in an odd encoding, or leads to a file elsewhere (links to pages and e-mail aside)."""
    relations = []
    with archive.open(part) as stream:
        before = b""
        while chunk := stream.read(CHUNK):
            both = before + chunk
            if not before:
                _start(name, both)
            if any(word in both for word in _DECLARATIONS):
                raise Misuse(f"{name} holds declarations that no spreadsheet program writes and that can make a small file grow without end; it was not opened. Ask for it anew where it comes from.")
            before = both[-40:]
            if part.filename.lower().endswith(".rels"):
                relations.append(chunk)
    for found in _TARGET.findall(b"".join(relations)):
        if re.search(rb"TargetMode\s*=\s*[\"']External", found, re.IGNORECASE) and not re.search(rb"/hyperlink[\"']", found, re.IGNORECASE):
            raise _linked(name)


def _start(name: str, start: bytes) -> None:
    if start.startswith((b"\xff\xfe", b"\xfe\xff")) or start[:2] in (b"<\0", b"\0<"):
        return  # UTF-16
    text = start[:400].removeprefix(b"\xef\xbb\xbf").lstrip()
    if text and not text.startswith(b"<"):
        raise unreadable(name)
    declared = re.match(rb"<\?xml[^>]*?encoding\s*=\s*[\"']([^\"']*)", text)
    if declared and declared[1].decode("latin-1").lower() not in _ENCODINGS:
        raise unreadable(name)
