"""Long tables in the form a store keeps them: each date as its first possible day beside how precisely it is known."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes import schemas

_PRECISION = {10: "day", 7: "month", 4: "year"}


def as_stored(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Long tables with X and X_precision for every date X (X is NaT where not known or blank; the precision None where blank)."""
    out = {}
    for name, frame in tables.items():
        columns = {}
        for column in schemas.tables()[name].columns:
            columns[column.name] = frame[column.name]
            if column.type == "date":
                columns[column.name], columns[column.name + "_precision"] = split_date(frame[column.name])
        out[name] = pd.DataFrame(columns)
    return out


def split_date(text: pd.Series) -> tuple[pd.Series, pd.Series]:
    """(first possible day, precision) of dates as written."""
    size = np.array([0 if cell is None or cell == "not known" else len(cell) for cell in text])
    days = np.full(len(text), np.datetime64("NaT", "s"))
    precision = np.full(len(text), None, dtype=object)
    precision[(text == "not known").to_numpy()] = "not known"
    for width, word in _PRECISION.items():
        rows = size == width
        days[rows] = text[rows].to_numpy().astype(f"U{width}").astype("datetime64[D]")  # 2024-03 and 2024 read as their first day
        precision[rows] = word
    return pd.Series(days, index=text.index), pd.Series(precision, index=text.index)
