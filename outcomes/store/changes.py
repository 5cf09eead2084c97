"""What a load or an undo changes, cell by cell, so that it can be shown before it is done."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.neutral import write_rows
from outcomes.store.layout import quoted
from outcomes.store.private import owner_only
from outcomes.store.report import Counts, counted, joined, rows, was

BLANK = "(blank)"
CELLS = ["table", "key", "column", "old", "new", "file", "sheet", "line"]
ROWS = ["table", "key", "file", "sheet", "line", "what"]


class Declined(Misuse):
    """Whoever was asked did not want the changes; nothing was changed."""


@dataclass(frozen=True)
class Changes:
    """What a load or an undo does, before it is kept.

    ``tables``: the counts of each table. ``cells``: one row for each cell that gets another content (table, key, column, old,
    new, and file, sheet and line of the new one), blanks as ``(blank)``. ``rows``: rows that go (what: "withdrawn"), stay
    though their file lists them no more ("kept"), or come back ("stands again"). ``undoes``: the load that an undo takes back.
    """

    tables: dict[str, Counts]
    cells: pd.DataFrame
    rows: pd.DataFrame
    undoes: int | None = None

    @property
    def harmless(self) -> bool:
        """Whether rows are only added: nothing that stood there changes or goes."""
        return self.undoes is None and not self.count("changed") and not self.count("withdrawn")

    def count(self, what: str) -> int:
        """Rows added, changed, unchanged, withdrawn or gone."""
        return sum(getattr(counts, what) for counts in self.tables.values())

    def headline(self) -> str:
        """The whole in one sentence."""
        if self.undoes is not None:
            return self._undo_headline()
        added = [counted(counts.added, table) for table, counts in self.tables.items() if counts.added]
        done = ([f"adds {joined(added)}"] if added else []) + ([f"changes {rows(self.count('changed'))} ({_cells(len(self.cells))})"] if self.count("changed") else [])
        done += [f"withdraws {rows(self.count('withdrawn'))} no longer in {'its' if self.count('withdrawn') == 1 else 'their'} file"] if self.count("withdrawn") else []
        kept = self.count("gone")
        still = f" {rows(kept)} no longer in {'its' if kept == 1 else 'their'} file {'stays' if kept == 1 else 'stay'} (--withdraw takes {'it' if kept == 1 else 'them'} out)." if kept else ""
        return f"This load {joined(done)}.{still}" if done else f"This load changes nothing: {rows(self.count('unchanged'))} {was(self.count('unchanged'))} in the store already.{still}"

    def _undo_headline(self) -> str:
        gone, back = [counted(counts.added, table) for table, counts in self.tables.items() if counts.added], len(self.rows)
        done = [f"{joined(gone)} that it added {'goes' if self.count('added') == 1 else 'go'}"] if gone else []
        done += [f"{_cells(len(self.cells))} {'is' if len(self.cells) == 1 else 'are'} again what {'it' if len(self.cells) == 1 else 'they'} had been"] if len(self.cells) else []
        done += [f"{rows(back)} that it withdrew {'stands' if back == 1 else 'stand'} again"] if back else []
        return f"This takes back load {self.undoes}: {joined(done) if done else 'no row changes'}."

    def lines(self, *, values: bool, most: int | None = None) -> list[str]:
        """One line for each cell and row, in the order of the tables.

        ``values``: with keys and contents, for the person's own eyes; else the place alone, which no rule of confidence
        forbids. ``most``: so many lines, then how many more there are.
        """
        every = len(self.cells) + len(self.rows)
        found = [self._cell(one, values) for one in self.cells.head(most if most is not None else every).itertuples(index=False)]
        found += [self._row(one, values) for one in self.rows.head((most if most is not None else every) - len(found)).itertuples(index=False)]
        return found if len(found) == every else [*found, f"… and {every - len(found):,} more."]

    @staticmethod
    def _cell(one, values: bool) -> str:
        title = schemas.tables()[one.table].title
        return f"{title}, {one.key}: {one.column} {one.old} → {one.new} ({_place(one)})" if values else f"{_place(one)}: {one.column} of {title.lower()} changes"

    @staticmethod
    def _row(one, values: bool) -> str:
        title = schemas.tables()[one.table].title
        return f"{title}, {one.key}: {one.what} ({_place(one)})" if values else f"{_place(one)}: row of {title.lower()} {one.what}"

    def write(self, path: str | Path) -> Path:
        """Every line with keys and contents as a CSV file that only its owner can read. Raises Misuse where it cannot be written."""
        cells = [["changed", *one] for one in self.cells.itertuples(index=False)]
        whole = [[one.what, one.table, one.key, "", "", "", one.file, one.sheet, one.line] for one in self.rows.itertuples(index=False)]
        with owner_only():
            return write_rows(Path(path), [["what", *CELLS], *cells, *whole])


def _cells(number: int) -> str:
    return f"{number:,} {'cell' if number == 1 else 'cells'}"


def _place(one) -> str:
    return ", ".join(part for part in (one.file or "", one.sheet or "", f"line {one.line:.0f}" if pd.notna(one.line) else "") if part) or "an unknown place"


def of_load(connection, load: int, tables: dict[str, Counts], gone: pd.DataFrame) -> Changes:
    """What the load now under way does; the caller holds its transaction. ``gone``: rows no longer listed and kept."""
    cells = [changed_cells(connection, table, load) for name, table in schemas.stored_tables().items() if name in tables and tables[name].changed]
    ended = [_rows(connection, table, "withdrawn", f"t._ended = {load} AND t._load <> {load} AND NOT EXISTS ({_successor(table, load)})")
             for name, table in schemas.stored_tables().items() if name in tables and tables[name].withdrawn]
    kept = gone.assign(what="kept")[ROWS] if len(gone) else pd.DataFrame(columns=ROWS)
    return Changes(tables, _together(cells, CELLS), _together([*ended, kept], ROWS))


def of_past(connection, load: int) -> Changes:
    """What a load of the history changed and withdrew; what it added is counted in the history."""
    cells = [changed_cells(connection, table, load) for table in schemas.stored_tables().values()]
    ended = [_rows(connection, table, "withdrawn", f"t._ended = {load} AND t._load <> {load} AND NOT EXISTS ({_successor(table, load)})") for table in schemas.stored_tables().values()]
    return Changes({}, _together(cells, CELLS), _together(ended, ROWS))


def of_undo(connection, load: int) -> Changes:
    """What taking back a load does, before it is taken back; the rows it added are counted, not listed."""
    cells, back, tables = [], [], {}
    for name, table in schemas.stored_tables().items():
        cells.append(changed_cells(connection, table, load).rename(columns={"old": "new", "new": "old"})[CELLS])
        added = connection.execute(f"SELECT count(*) FROM kept.{quoted(name)} t WHERE t._load = {load} AND NOT EXISTS ({_predecessor(table, load)})").fetchall()[0][0]
        tables |= {name: Counts(added=added)} if added else {}
        back.append(_rows(connection, table, "stands again", f"t._ended = {load} AND t._load <> {load} AND NOT EXISTS ({_successor(table, load)})"))
    return Changes(tables, _together(cells, CELLS), _together(back, ROWS), undoes=load)


def _together(frames: list[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    filled = [frame for frame in frames if len(frame)]
    return pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=columns)


def _same_key(table: schemas.Table, one: str, other: str) -> str:
    return " AND ".join(f"{one}.{quoted(name)} IS NOT DISTINCT FROM {other}.{quoted(name)}" for name in table.key)


def _successor(table: schemas.Table, load: int) -> str:
    return f"FROM kept.{quoted(table.name)} n WHERE n._load = {load} AND {_same_key(table, 'n', 't')}"


def _predecessor(table: schemas.Table, load: int) -> str:
    return f"FROM kept.{quoted(table.name)} o WHERE o._ended = {load} AND o._load <> {load} AND {_same_key(table, 'o', 't')}"


def _key(table: schemas.Table, of: str) -> str:
    return "concat_ws(', ', " + ", ".join(f"CAST({of}.{quoted(name)} AS VARCHAR)" for name in table.key) + ")"


def changed_cells(connection, table: schemas.Table, load: int) -> pd.DataFrame:
    """Each cell of a table that a load gave another content."""
    pairs = ", ".join(f"{{'name': '{column.name}', 'old': {as_written(column, 'o')}, 'new': {as_written(column, 'n')}}}"
                      for column in table.columns if column.name not in table.key)
    base = f"kept.{quoted(table.name)}"
    return connection.execute(f"""
        SELECT '{table.name}' AS "table", key, cell.name AS "column", coalesce(cell.old, '{BLANK}') AS old, coalesce(cell.new, '{BLANK}') AS new, file, sheet, line
        FROM (SELECT {_key(table, 'n')} AS key, s.name AS file, n._sheet AS sheet, n._line AS line, unnest([{pairs}]) AS cell
              FROM {base} o JOIN {base} n ON {_same_key(table, 'o', 'n')} LEFT JOIN kept.sources s ON s.source = n._source
              WHERE o._ended = {load} AND o._load <> {load} AND n._load = {load})
        WHERE cell.old IS DISTINCT FROM cell.new ORDER BY file, sheet, line, key, "column" """).df()


def _rows(connection, table: schemas.Table, what: str, where: str) -> pd.DataFrame:
    return connection.execute(f"""
        SELECT '{table.name}' AS "table", {_key(table, 't')} AS key, s.name AS file, t._sheet AS sheet, t._line AS line, '{what}' AS what
        FROM kept.{quoted(table.name)} t LEFT JOIN kept.sources s ON s.source = t._source WHERE {where} ORDER BY file, sheet, line, key""").df()


def as_written(column: schemas.Column, of: str) -> str:
    """SQL for a column as a person would write it: a date as precise as it is known, a number without a needless point."""
    value = f"{of}.{quoted(column.name)}"
    if column.type == "date":
        return date_written(column, of + ".")
    if column.type in ("number", "whole"):
        return f"regexp_replace(CAST({value} AS VARCHAR), '\\.0$', '')"
    return value


def date_written(column: schemas.Column, of: str = "") -> str:
    """SQL for a date as precise as it is known: 2024-03-14, 2024-03, 2024 or not known."""
    value, precision = of + quoted(column.name), of + quoted(column.name + "_precision")
    return (f"CASE {precision} WHEN 'not known' THEN 'not known' WHEN 'year' THEN strftime({value}, '%Y') WHEN 'month' THEN strftime({value}, '%Y-%m') "
            f"ELSE strftime({value}, '%Y-%m-%d') END")
