"""Workbooks saved without the time of writing, so that the same content is the same bytes."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import datetime
from pathlib import Path

DAY = datetime(2000, 1, 1)


def save(book, path: str | Path) -> None:
    """Write the workbook to ``path``, whole or not at all. Raises OSError where the file cannot be written."""
    book.properties.created = DAY
    whole = io.BytesIO()
    book.save(whole)
    out = io.BytesIO()
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            body = old.read(name)
            if name == "docProps/core.xml":
                body = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + DAY.isoformat().encode() + b"Z", body)
            new.writestr(zipfile.ZipInfo(name, date_time=DAY.timetuple()[:6]), body, compress_type=zipfile.ZIP_DEFLATED)
    Path(path).write_bytes(out.getvalue())
