"""Drop-downs and colours that a newer spreadsheet program keeps in a sheet's extension list, which a copy would otherwise lose.

A program that saves a drop-down or a colour rule speaking of another sheet may write it there (Office Open XML, part 3 of
ISO/IEC 29500, "Markup Compatibility and Extensibility"; the elements are those of [MS-XLSX] 2.2.4). openpyxl does not read them.
"""

from __future__ import annotations

import io
import posixpath
import zipfile
from pathlib import Path
from xml.etree import ElementTree

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
_X14 = "http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"
_XM = "http://schemas.microsoft.com/office/excel/2006/main"
_KEPT = (f"{{{_X14}}}dataValidations", f"{{{_X14}}}conditionalFormattings")


def carry_over(original: Path, copy: bytes) -> bytes:
    """The copy with the drop-downs and colours of the original's extension lists, sheet by sheet of the same name; the copy itself where there are none."""
    with zipfile.ZipFile(original) as old:
        kept = {title: found for title, place in _sheets(old).items() if (found := _extensions(old.read(place)))}
    if not kept:
        return copy
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(copy)) as new, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as written:
        places = {place: title for title, place in _sheets(new).items()}
        for item in new.infolist():
            body = new.read(item.filename)
            found = kept.get(places.get(item.filename, ""))
            if found and b"<extLst" not in body:
                body = body.replace(b"</worksheet>", found + b"</worksheet>")
            written.writestr(item, body, compress_type=zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _sheets(package: zipfile.ZipFile) -> dict[str, str]:
    """The place in the package of each sheet by its name."""
    links = ElementTree.fromstring(package.read("xl/_rels/workbook.xml.rels"))
    targets = {link.get("Id"): link.get("Target", "") for link in links.iter(f"{{{_PACKAGE}}}Relationship")}
    book = ElementTree.fromstring(package.read("xl/workbook.xml"))
    found = {}
    for sheet in book.iter(f"{{{_MAIN}}}sheet"):
        target = targets.get(sheet.get(f"{{{_LINKS}}}id"), "")
        place = target.lstrip("/") if target.startswith("/") else posixpath.normpath(posixpath.join("xl", target))
        if place in package.namelist():
            found[sheet.get("name", "")] = place
    return found


def _extensions(body: bytes) -> bytes:
    """The extension list of a sheet with nothing but its drop-downs and colour rules; empty where it has none."""
    if b"extLst" not in body:
        return b""
    listed = ElementTree.fromstring(body).find(f"{{{_MAIN}}}extLst")
    if listed is None:
        return b""
    ElementTree.register_namespace("x14", _X14)
    ElementTree.register_namespace("xm", _XM)
    ElementTree.register_namespace("", _MAIN)
    for extension in list(listed):
        if not any(child.tag in _KEPT for child in extension):
            listed.remove(extension)
            continue
        for rules in extension.iter(_KEPT[1]):
            for one in list(rules):  # bars and icons lean on a part of the sheet that a copy does not keep
                if any(rule.get("type") != "expression" for rule in one.iter(f"{{{_X14}}}cfRule")):
                    rules.remove(one)
        for element in extension.iter():
            for name in [name for name in element.attrib if name.startswith("{") and not name.startswith((f"{{{_X14}}}", f"{{{_XM}}}"))]:
                del element.attrib[name]
    return ElementTree.tostring(listed) if len(listed) else b""
