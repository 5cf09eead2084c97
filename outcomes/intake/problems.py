"""Every problem of a run as one frame, and the few sentences a person reads first."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes.intake import causes
from outcomes.intake.log import Log
from outcomes.intake.source import Reading
from outcomes.intake.words import visible

COLUMNS = ["severity", "rule", "table", "file", "sheet", "cell", "line", "column", "value", "message", "remedy"]
FIRST = 10  # groups shown before "and so on"

# A group of problems in a few words, for rules of cells and files; rules across tables bring their own.
SENTENCES = {
    "needed": "a needed cell is blank", "too small": "a value below what is possible", "too large": "a value above what is possible",
    "too early": "a date too early to be one of this log", "outside the usual range": "a value outside the usual range, worth a second look",
    "code not known": "a word that is not in the list", "date not readable": "a date that cannot be read", "number not readable": "a number that cannot be read",
    "position not known": "a position that is no site of ISO 3950", "phrase not readable": "words that cannot be read", "spreadsheet error": "a formula that failed",
    "personal data": "something that looks like personal data", "heading repeated": "the headings once more between the rows", "column not known": "a column that is not known",
    "no meaning in the mapping": "a word to which the mapping gives no meaning", "does not fit the mapping": "a cell that is not as the mapping says",
    "rows do not agree": "rows put together that say different things", "pieces do not match": "cells with a different number of pieces",
    "ragged line": "a line with too many or too few cells", "merged cells": "cells that are merged", "formula without a result": "a formula whose result was never saved",
    "characters not shown": "a character that cannot be shown", "same row twice": "a row that stands twice, taken once",
}


class Problems:
    """Problems gathered along the way; ``frame`` lays them out with file, sheet, cell and line."""

    def __init__(self):
        self._found: list[dict] = []
        self.sentences: dict[str, str] = dict(SENTENCES)

    def add(self, severity: str, rule: str, table: str, rows, column, message, remedy: str) -> None:
        """Problems of rows of a table. ``column``, ``message`` and ``remedy`` are one for all rows or one each."""
        rows = np.asarray(rows, dtype=np.int64)
        if len(rows):
            self._found.append({"severity": severity, "rule": rule, "table": table, "rows": rows, "column": column, "message": message, "remedy": remedy})

    def error_rows(self, table: str) -> np.ndarray:
        """Rows of a table with at least one error."""
        parts = [one["rows"] for one in self._found if one["table"] == table and one["severity"] == "error"]
        return np.unique(np.concatenate(parts)) if parts else np.array([], dtype=np.int64)

    def cells(self, table: str, severity: str | None = None) -> set[tuple[int, str]]:
        """(row, column) of every problem found in a table so far."""
        found = set()
        for one in self._found:
            if one["table"] == table and severity in (None, one["severity"]):
                columns = [one["column"]] * len(one["rows"]) if isinstance(one["column"], str) else one["column"]
                found.update(zip(one["rows"].tolist(), columns))
        return found

    def frame(self, log: Log, readings: list[Reading]) -> pd.DataFrame:
        """All problems: those of files and lines first, then those of cells, in the order of the files."""
        parts = [self._of_files(readings), *self._of_rows(log)]
        parts = [part for part in parts if len(part)]
        if not parts:
            return pd.DataFrame({name: pd.Series(dtype="int64" if name == "line" else "object") for name in COLUMNS})
        out = pd.concat(parts, ignore_index=True)
        out["line"] = out["line"].astype("int64")
        for name in ("file", "sheet", "value", "message", "remedy"):
            out[name] = out[name].map(visible)
        out = _without_echoes(out)
        # One line of a day sheet makes several rows; the same words about the same cell are said once.
        return out.drop_duplicates(["severity", "rule", "file", "sheet", "cell", "line", "column", "message"], ignore_index=True)

    def _of_rows(self, log: Log) -> list[pd.DataFrame]:
        """Problems of rows in the order in which they were found; where they were written is looked up once for each table."""
        parts = []
        for table in dict.fromkeys(one["table"] for one in self._found):
            found = [(number, one, len(one["rows"])) for number, one in enumerate(self._found) if one["table"] == table]
            columns = [column for _, one, size in found for column in _each(one["column"], size)]
            part = log.written(table, np.concatenate([one["rows"] for _, one, _ in found]), columns)
            for name in ("severity", "rule", "message", "remedy"):
                part[name] = [said for _, one, size in found for said in _each(one[name], size)]
            part.loc[part["rule"] == "personal data", "value"] = ""  # where it stands is enough to mend it
            parts.append(part.assign(number=[number for number, _, size in found for _ in range(size)]))
        return [pd.concat(parts, ignore_index=True).sort_values("number", kind="stable")[COLUMNS]] if parts else []

    @staticmethod
    def _of_files(readings: list[Reading]) -> pd.DataFrame:
        rows = [{"file": reading.name, "table": "", "sheet": "", "cell": "", "line": 0, "column": "", "value": "", **{k: v for k, v in fault.items() if k != "refuses"}}
                for reading in readings for fault in reading.faults]
        return pd.DataFrame(rows, columns=COLUMNS)


def _each(one, size: int) -> list:
    return [one] * size if isinstance(one, str) else list(one)


def _without_echoes(problems: pd.DataFrame) -> pd.DataFrame:
    """Without what rules across tables say of a cell that could not be read: it is missing for them, and mending it settles both."""
    of_cell = problems["rule"].isin(SENTENCES) & (problems["severity"] == "error") & (problems["cell"] != "")
    cells = pd.MultiIndex.from_frame(problems[["file", "sheet", "cell"]])
    return problems[~(cells.isin(cells[of_cell]) & ~problems["rule"].isin(SENTENCES).to_numpy())]


def place(problem) -> str:
    """Where a problem is, as in ``clinic.xlsx, Visits!F27``."""
    where = f"{problem.sheet}!{problem.cell}" if problem.sheet and problem.cell else problem.cell or (f"line {problem.line}" if problem.line else "")
    if problem.sheet and not problem.cell:
        where = f"{problem.sheet}, line {problem.line}" if problem.line else problem.sheet
    return ", ".join(part for part in (problem.file, where) if part)


def sentence(problem) -> str:
    """One problem as one line: where, what, and what to do."""
    where = place(problem)
    stop = "" if problem.message.endswith(("?", ".")) else "."
    return f"{where + ': ' if where else ''}{problem.message}{stop} {problem.remedy}".strip()


def grouped(problems: pd.DataFrame, sentences: dict[str, str], first: int = FIRST) -> list[str]:
    """The problems in a few lines, one for each cause with its count, the most useful first (``causes.causes`` says what that is)."""
    if problems.empty:
        return []
    found = causes.causes(problems)
    lines = [("Warning: " if cause.severity == "warning" else "") + _of_cause(cause, sentences) for cause in found[:first]]
    rest = found[first:]
    if rest:
        rows = sum(cause.rows for cause in rest)
        lines.append(f"And {len(rest)} more kind{'s' if len(rest) > 1 else ''} of problem, in {rows:,} row{'s' if rows > 1 else ''}. The list of every problem names them all.")
    if any(cause.hides for cause in found) and not any(cause.whole for cause in found):
        lines.append("Mending cells that could not be read or found may bring others to light: check again afterwards.")
    return lines


def _of_cause(cause: causes.Cause, sentences: dict[str, str]) -> str:
    one = next(cause.problems.head(1).itertuples())
    if len(cause.problems) == 1:
        return sentence(one)
    kind = "rows" if cause.rule not in SENTENCES else "cells" if one.cell else "lines"
    of = f" ({title})" if (title := causes.title_of(cause)) else ""
    return f"{cause.rows:,} {kind}: {sentences.get(cause.rule, cause.rule).rstrip('?')}{of}{causes.alike(cause)}, first at {causes.places(cause, place(one))}. {one.remedy}"
