"""Problems grouped by cause, the most useful first."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from outcomes import schemas

# Cells of which nothing was understood: the rules across tables pass over their rows, so that more may show once they are mended.
HIDING = {"needed", "code not known", "date not readable", "date order", "number not readable", "position not known", "phrase not readable", "spreadsheet error", "personal data",
          "patient not listed", "visit not listed", "jaw not clear", "set without a visit line", "key twice", "second visit without order"}  # fmt: skip
# Cells that are often wrong in one and the same way, so that one replacement mends many.
ALIKE = {"code not known", "date not readable", "position not known", "phrase not readable", "patient not listed", "level not declared", "instrument not known"}
# Faults of the headings and of a file as a whole that keep all of it out, though they are found on one line.
WHOLE = {"column missing", "heading twice", "tooth numbering", "formula without a result", "dates half turned", "column not in the mapping"}
SHOWN = 3  # places named for each cause


@dataclass(frozen=True)
class Cause:
    """Problems of one severity and rule in one column. ``rows``: lines concerned; ``entries``: different entries, 0 where that says nothing; ``whole``: keeps a file out whole."""

    severity: str
    rule: str
    table: str
    column: str
    rows: int
    entries: int
    whole: bool
    problems: pd.DataFrame

    @property
    def hides(self) -> bool:
        """Whether mending it may bring other problems to light."""
        return self.severity == "error" and self.rule in HIDING


def causes(problems: pd.DataFrame) -> list[Cause]:
    """The causes of the problems, the most useful first.

    Useful is, in this order: what keeps a whole file out; errors before warnings; what mends most rows; what hides other
    problems; then the order of the files.
    """
    found = []
    for (severity, rule, table, column), part in problems.groupby(["severity", "rule", "table", "column"], sort=False):
        rows = max(len(part.drop_duplicates(["file", "sheet", "line"])), 1)
        entries = part["value"].nunique() if rule in ALIKE and rows > 2 else 0
        found.append(Cause(severity, rule, table, column, rows, entries, bool(severity == "error" and (rule in WHOLE or (part["line"] == 0).all())), part))
    return sorted(found, key=lambda cause: (not cause.whole, cause.severity != "error", -cause.rows, not cause.hides))


def title_of(cause: Cause) -> str:
    """Where the cells of a cause stand, as in ``Day sheet, reason``."""
    table = schemas.tables()[cause.table].title if cause.table in schemas.tables() else cause.table
    return ", ".join(part for part in (table, cause.column.replace("_", " ")) if part)


def alike(cause: Cause) -> str:
    """How many different entries the cells hold, where that helps to mend them; never the entries themselves."""
    if not cause.entries:
        return ""
    return ", the same entry each time" if cause.entries == 1 else f", {cause.entries:,} different entries" if cause.entries < cause.rows else ""


def places(cause: Cause, first: str) -> str:
    """The first place, the next few cells of the same sheet, and how many more there are."""
    start = cause.problems.iloc[0]
    same = cause.problems[(cause.problems["file"] == start["file"]) & (cause.problems["sheet"] == start["sheet"])]
    cells = [cell for cell in dict.fromkeys(same["cell"]) if cell][1:SHOWN]
    left = cause.rows - 1 - len(cells)
    more = [*cells, *([f"{left:,} more"] if left else [])]
    return first if not more else f"{first}, then {', '.join(more[:-1])}{' and ' if len(more) > 1 else ''}{more[-1]}"
