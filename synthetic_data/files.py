"""Writing the log as the files a clinic would keep: one workbook, or one CSV file for each table."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.errors import Misuse

from .clinic import Clinic

SHEET_ROWS = 1_048_575  # below the heading, in one sheet of a workbook
ORDERS = {"year first": "%Y-%m-%d", "day first": "%d.%m.%Y", "month first": "%m/%d/%Y"}
_FIXED = datetime.datetime(2000, 1, 1)  # so that the same clinic is written in the same bytes


def write(
    clinic: Clinic, folder: str | Path, *, form: str = "day sheet", file: str = "xlsx", separator: str = ",", decimal: str = ".",
    date_order: str = "year first", encoding: str = "utf-8",
) -> list[Path]:  # fmt: skip
    """Writes the clinic's log into ``folder`` (made if need be) and returns the paths.

    ``form`` is "day sheet" or "long", ``file`` "xlsx" (one workbook, a sheet per table, whole dates as dates) or "csv" (a file per table, written
    block by block, so that any number of patients fits). For CSV: ``separator``, ``decimal`` mark, ``encoding``, and ``date_order`` "year first",
    "day first" or "month first" of whole dates; a month or a year stays 2024-03 or 2024. Raises Misuse for another choice, or where a table is
    too long for a sheet.
    """
    folder = Path(folder)
    if form not in ("day sheet", "long"):
        raise Misuse(f'The form is "day sheet" or "long", not "{form}".')
    if file not in ("xlsx", "csv"):
        raise Misuse(f'The file is "xlsx" or "csv", not "{file}".')
    if date_order not in ORDERS:
        raise Misuse(f"The date order is one of: {', '.join(ORDERS)}.")
    if file == "csv" and separator == decimal:
        raise Misuse("The separator and the decimal mark of a CSV file cannot be the same. Give separator=';' with decimal=','.")
    folder.mkdir(parents=True, exist_ok=True)
    if file == "xlsx":
        return [_workbook(clinic.tables(form), folder / f"{clinic.scenario.name}_clinic.xlsx")]
    return _csv_files(clinic, folder, form, separator=separator, decimal=decimal, date_order=date_order, encoding=encoding)


def _csv_files(clinic, folder, form, *, separator, decimal, date_order, encoding):
    paths = {}
    for block in clinic.blocks():
        for name, frame in block.tables(form).items():
            again = name in paths
            if again and name == "insert_levels":
                continue
            paths[name] = folder / f"{name}.csv"
            _dated(frame, schemas.tables()[name], date_order).to_csv(
                paths[name], sep=separator, decimal=decimal, index=False, header=not again, mode="a" if again else "w", lineterminator="\r\n",
                encoding=encoding, float_format="%g",
            )  # fmt: skip
    return list(paths.values())


def _dated(frame: pd.DataFrame, table: schemas.Table, date_order: str) -> pd.DataFrame:
    if date_order == "year first":
        return frame
    frame = frame.copy()
    for column in table.columns:
        if column.type == "date":
            text = frame[column.name]
            whole = text.str.len() == 10
            days = text.where(whole & (text != "not known")).dropna().astype("datetime64[s]")
            frame.loc[days.index, column.name] = days.dt.strftime(ORDERS[date_order]).astype(object)
    return frame


def _workbook(tables: dict[str, pd.DataFrame], path: Path) -> Path:
    from openpyxl import Workbook

    longest = max(tables, key=lambda name: len(tables[name]))
    if len(tables[longest]) > SHEET_ROWS:
        raise Misuse(f"{longest} has {len(tables[longest]):,} rows; a sheet holds {SHEET_ROWS:,}. Write CSV files instead.")
    book = Workbook(write_only=True)
    book.properties.creator = "outcomes"
    book.properties.created = _FIXED
    for name, frame in tables.items():
        table = schemas.tables()[name]
        sheet = book.create_sheet(table.title)
        sheet.freeze_panes = "A2"
        sheet.append([column.name.replace("_", " ") for column in table.columns])
        for row in zip(*(_cells(frame[column.name], column.type) for column in table.columns)):
            sheet.append(row)
    whole = io.BytesIO()
    book.save(whole)
    path.write_bytes(_timeless(whole.getvalue()))
    return path


def _cells(values: pd.Series, kind: str) -> list:
    """A column as workbook cells: whole days as dates, numbers as numbers, blanks empty, everything else text."""
    if kind == "date":
        return [datetime.date.fromisoformat(text) if text is not None and re.fullmatch(r"\d{4}-\d\d-\d\d", text) else text for text in values]
    if kind in ("whole", "number"):
        numbers = values.astype(float).to_numpy(na_value=np.nan) if kind == "whole" else values.to_numpy()
        return [None if np.isnan(x) else int(x) if x == int(x) else float(x) for x in numbers]
    return list(values)


def _timeless(content: bytes) -> bytes:
    """The same workbook without the time of writing."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            body = old.read(name)
            if name == "docProps/core.xml":
                body = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + _FIXED.isoformat().encode() + b"Z", body)
            new.writestr(zipfile.ZipInfo(name, date_time=_FIXED.timetuple()[:6]), body, compress_type=zipfile.ZIP_DEFLATED)
    return out.getvalue()
