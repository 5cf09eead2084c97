"""Every number shown, as CSV: text cells made harmless for spreadsheets, numbers left as numbers."""

from __future__ import annotations

import csv
import datetime
import io
import math
import numbers
from pathlib import Path

import pandas as pd

from outcomes.neutral import guarded


def cell(value):
    """One value as it goes into a CSV cell: numbers and dates as they are, nothing for what is missing, text made harmless.

    >>> cell(-0.137), cell("-0.137"), cell("=SUM(A1)"), cell(" @x"), cell(float("nan")), cell("33-43")
    (-0.137, "'-0.137", "'=SUM(A1)", "' @x", '', '33-43')
    """
    if value is None or value is pd.NaT:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real):
        return "" if math.isnan(value) else ("not reached" if math.isinf(value) else float(value))
    if isinstance(value, (datetime.date, datetime.datetime)):
        return f"{value:%Y-%m-%d}"
    return guarded(str(value))


def as_csv(frame: pd.DataFrame) -> str:
    """The frame as CSV (RFC 4180: CRLF, quotes doubled), its index left out."""
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\r\n")
    writer.writerow([cell(str(name)) for name in frame.columns])
    writer.writerows([cell(value) for value in row] for row in frame.itertuples(index=False))
    return sink.getvalue()


def write(frame: pd.DataFrame, folder: Path, name: str) -> Path:
    """Write ``name``.csv into ``folder`` (UTF-8 with the mark that spreadsheets on Windows look for)."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.csv"
    path.write_bytes(b"\xef\xbb\xbf" + as_csv(frame).encode("utf-8"))
    return path
