"""The log on its way through the checks: typed frames that remember, row by row, the file, sheet and line they came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.intake import headings
from outcomes.intake.source import Sheet
from outcomes.intake.typed import text_of

PROVENANCE = ["_file", "_sheet", "_line"]
TRACE = ["_from", "_at", "_cell"]
"""Where a row was written: the table as written, its row number there (all sheets of it one after the other), and for a row
made by expansion the written column it rests on."""

# Which written column a column of an expanded row comes from, where the names differ.
_WRITTEN = {
    "day_sheet": {"patient_id": "patient", "visited_on": "date", "visit_id": "date", "level": "level_now", "noticed_on": "snap_lost", "delivered_on": "date",
                  "retired_on": "date", "denture_id": "arch"},
    "set_up": {"patient_id": "patient", "visit_id": "fitted_on", "in_place_since": "fitted_on", "delivered_on": "fitted_on", "denture_id": "arch"},
}


@dataclass
class Log:
    """Frames by table, and the sheets behind them."""

    frames: dict[str, pd.DataFrame] = field(default_factory=dict)
    sheets: dict[str, list[Sheet]] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    refused: set[str] = field(default_factory=set)  # tables of which a part could not be read at all

    def rows(self, table: str) -> int:
        """Rows of a table so far."""
        return len(self.frames.get(table, ()))

    def written(self, table: str, rows: np.ndarray, columns: list[str]) -> pd.DataFrame:
        """For rows of a table: the table and column in which the column given for each was written, its file, sheet, cell and line, and the value there."""
        taken = self.frames[table][TRACE].iloc[rows]
        out = pd.DataFrame({"from": taken["_from"].astype(str).to_numpy(), "at": taken["_at"].to_numpy(), "column": columns}, index=range(len(rows)))
        cells = taken["_cell"].astype(object).to_numpy()
        out["column"] = [self._written_column(source, column, cell) for source, column, cell in zip(out["from"], out["column"], cells)]
        for name in ("file", "sheet", "cell", "value"):
            out[name] = ""
        out["line"] = 0
        for source, group in out.groupby("from", sort=False):
            self._fill(out, str(source), group)
        return out.rename(columns={"from": "table"})[["table", "column", "file", "sheet", "cell", "line", "value"]]

    def _fill(self, out: pd.DataFrame, source: str, group: pd.DataFrame) -> None:
        sheets = self.sheets[source]
        starts = np.cumsum([0, *(len(sheet.lines) for sheet in sheets)])
        number = np.searchsorted(starts, group["at"].to_numpy(), "right") - 1
        for which in np.unique(number):
            sheet, part = sheets[which], group[number == which]
            at = part["at"].to_numpy() - starts[which]
            lines = sheet.lines[at]
            letters = {column: headings.letter(sheet.places[column]) for column in set(part["column"]) if column in sheet.places}
            out.loc[part.index, "file"] = self.files[sheet.file]
            out.loc[part.index, "sheet"] = sheet.name
            out.loc[part.index, "line"] = lines
            out.loc[part.index, "cell"] = [f"{letters[column]}{line}" if column in letters else "" for column, line in zip(part["column"], lines)]
            out.loc[part.index, "value"] = [_value(sheet, column, row) for column, row in zip(part["column"], at)]

    def _written_column(self, source: str, column: str, cell) -> str:
        if column in _WRITTEN.get(source, {}):
            return _WRITTEN[source][column]
        made = isinstance(cell, str) and cell
        if made and (source == "day_sheet" or column not in self.sheets[source][0].places):
            return cell
        return column


def _value(sheet: Sheet, column: str, row: int) -> str:
    cells = sheet.columns.get(column)
    at = -1 if cells is None else cells.index[row]
    return "" if at < 0 else text_of(cells.values[at])


def traced(frame: pd.DataFrame, table: str, sheet: Sheet, start: int) -> pd.DataFrame:
    """A typed frame with where each row was written beside it; ``start``: rows of the table in the sheets before."""
    count = len(frame)
    frame["_file"] = np.full(count, sheet.file, dtype=np.int32)
    frame["_sheet"] = pd.Categorical.from_codes(np.zeros(count, dtype=np.int8), [sheet.name])
    frame["_line"] = sheet.lines.astype(np.int32)
    frame["_from"] = pd.Categorical.from_codes(np.zeros(count, dtype=np.int8), [table])
    frame["_at"] = np.arange(start, start + count, dtype=np.int64)
    frame["_cell"] = pd.Categorical.from_codes(np.full(count, -1, dtype=np.int8), [""])
    return frame


def stacked(frames: list[pd.DataFrame]) -> pd.DataFrame:
    """Frames of one table one after the other; categoricals keep their kind, with the union of their categories."""
    frames = [frame for frame in frames if len(frame)] or frames[:1]
    if len(frames) == 1:
        return frames[0].reset_index(drop=True)
    out = {}
    for name in frames[0].columns:
        parts = [frame[name] for frame in frames]
        if all(isinstance(part.dtype, pd.CategoricalDtype) for part in parts):
            out[name] = pd.api.types.union_categoricals(parts)
        else:
            out[name] = pd.concat(parts, ignore_index=True).array
    return pd.DataFrame(out)


def blank(table: schemas.Table) -> pd.DataFrame:
    """A frame of the table without rows, its columns of the kinds that typed frames have."""
    return _blank(table.name).copy(deep=False)


@cache
def _blank(name: str) -> pd.DataFrame:
    from outcomes.intake.typed import Choices, typed

    sheet = Sheet(name, 0, "", np.array([], dtype=np.int32), {}, {})
    return traced(typed(sheet, schemas.tables()[name], Choices())[0], name, sheet, 0)
