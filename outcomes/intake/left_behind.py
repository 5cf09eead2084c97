"""What a marked copy of a workbook does not hold of the original: counted in both, so that it can be said."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

# Parts of a package by where they stand (Office Open XML, parts 1 and 2 of ISO/IEC 29500), and what stands inside a drawing or a sheet.
_PLACES = {"chart": r"xl/(charts/chart|chartsheets/sheet)\w*\.xml", "picture": r"xl/media/.+", "pivot table": r"xl/pivotTables/\w+\.xml", "slicer": r"xl/slicers/\w+\.xml",
           "button or other control": r"xl/ctrlProps/\w+\.xml", "threaded comment": r"xl/threadedComments/\w+\.xml"}
_SHAPE = re.compile(rb"<(?:\w+:)?(?:sp|cxnSp|grpSp)[ >]")
_SPARKLINE = re.compile(rb"<(?:\w+:)?sparkline>")


_SEVERAL = {"shape or text box": "shapes or text boxes", "button or other control": "buttons or other controls", "small chart in a cell": "small charts in cells"}


def left_behind(original: Path, copy: Path) -> list[str]:
    """What the copy holds fewer of than the original, such as "2 charts"; empty where nothing is missing, or the original is no workbook."""
    if not (zipfile.is_zipfile(original) and zipfile.is_zipfile(copy)):
        return []
    there, kept = _counts(original), _counts(copy)
    missing = {kind: number - kept[kind] for kind, number in there.items() if number > kept[kind]}
    return [f"{number} {kind if number == 1 else _SEVERAL.get(kind, kind + 's')}" for kind, number in missing.items()]


def _counts(path: Path) -> dict[str, int]:
    with zipfile.ZipFile(path) as package:
        names = package.namelist()
        found = {kind: sum(re.fullmatch(place, name) is not None for name in names) for kind, place in _PLACES.items()}
        found["shape or text box"] = sum(len(_SHAPE.findall(package.read(name))) for name in names if re.fullmatch(r"xl/drawings/drawing\w*\.xml", name))
        found["small chart in a cell"] = sum(len(_SPARKLINE.findall(package.read(name))) for name in names if re.fullmatch(r"xl/worksheets/\w+\.xml", name))
    return found
