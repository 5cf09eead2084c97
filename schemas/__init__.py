"""What the data is: tables, codes, endpoints, rules, instruments and the default plan, read from the files beside this one."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Column:
    """One declared column.

    ``type``: text, whole, number, date, code, position, or (day sheet only) positions, levels, phrases. A date may be a
    day, a month, a year or "not known"; stored as its first possible day beside ``NAME_precision``.
    ``minimum`` and ``maximum`` bound what is possible (error beyond), ``plausible`` what is usual (warning beyond).
    """

    name: str
    type: str
    meaning: str
    required: bool = False
    codes: str | None = None
    unit: str | None = None
    minimum: float | None = None
    maximum: float | None = None
    plausible: tuple[float, float] | None = None
    references: str | None = None
    derived: str | None = None
    words: tuple[str, ...] = ()
    part: str | None = None
    example: str | None = None

    @property
    def code_list(self) -> tuple[str, ...]:
        """The codes it may hold, in the codebook's order; empty for a column that is not coded."""
        return tuple(codebook()[self.codes]["codes"]) if self.codes else ()


@dataclass(frozen=True)
class Table:
    """One declared table. ``door`` is "long" for a stored table, "day sheet" for one that is expanded into long tables."""

    name: str
    title: str
    grain: str
    meaning: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    door: str = "long"

    def column(self, name: str) -> Column:
        """The column of that name; KeyError if there is none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(f"table {self.name} has no column {name}")

    @property
    def stored_columns(self) -> tuple[tuple[str, str], ...]:
        """(name, DuckDB type) of each stored column, dates followed by their precision."""
        kinds = {"whole": "INTEGER", "number": "DOUBLE", "date": "DATE"}
        out = []
        for column in self.columns:
            out.append((column.name, kinds.get(column.type, "VARCHAR")))
            if column.type == "date":
                out.append((column.name + "_precision", "VARCHAR"))
        return tuple(out)


def _read(path: Path) -> dict:
    return tomllib.loads(path.read_text(encoding="utf-8"))


@cache
def tables() -> dict[str, Table]:
    """Every declared table by name, stored tables first in the order in which each needs the others."""
    order = ["patients", "dentures", "implants", "insert_levels", "visits", "parts_log", "denture_log", "questionnaires", "pull_tests", "set_up", "day_sheet"]
    found = {}
    for path in sorted((HERE / "tables").glob("*.toml")):
        body = _read(path)
        columns = []
        for column in body.pop("columns"):
            for key in ("plausible", "words"):
                if key in column:
                    column[key] = tuple(column[key])
            columns.append(Column(**column))
        body["key"] = tuple(body["key"])
        found[body["name"]] = Table(columns=tuple(columns), **body)
    return {name: found[name] for name in sorted(found, key=lambda n: (order.index(n) if n in order else len(order), n))}


def stored_tables() -> dict[str, Table]:
    """The tables the store keeps: those of the long door."""
    return {name: table for name, table in tables().items() if table.door == "long"}


@cache
def derived() -> dict[str, dict]:
    """The derived tables that an export brings: title, grain, meaning, key, and columns (name to meaning, in order) by name."""
    return _read(HERE / "derived.toml")


@cache
def codebook() -> dict[str, dict]:
    """Code lists by name: each a dict with ``title`` and ``codes`` (code to meaning, in order)."""
    return _read(HERE / "codebook.toml")


@cache
def endpoints() -> dict[str, dict]:
    """Declared endpoints by name."""
    return {row["name"]: row for row in _read(HERE / "endpoints.toml")["endpoints"]}


@cache
def phrases() -> dict[str, dict]:
    """How day-sheet words become findings and actions."""
    return _read(HERE / "phrases.toml")


@cache
def rules() -> dict[str, dict]:
    """Rules across tables by name: severity, sentence, remedy, sql, and a failing example."""
    found = {}
    for path in sorted((HERE / "rules").glob("*.toml")):
        body = _read(path)
        found[body["name"]] = body
    return found


@cache
def instruments() -> dict[str, dict]:
    """Questionnaire instruments by name: items, range, direction, scored examples. Never any item wording."""
    return {path.stem: _read(path) for path in sorted((HERE / "instruments").glob("*.toml"))}


@cache
def practice() -> dict[str, dict]:
    """What the clinic did, as a standard may count it, by name: unit, of, done, over."""
    return {row["name"]: row for row in _read(HERE / "practice.toml")["counts"]}


@cache
def upkeep() -> dict[str, dict]:
    """Kinds of upkeep by name, in the order in which tables show them: title, and parts and actions, reasons, or otherwise."""
    return {row["name"]: row for row in _read(HERE / "upkeep.toml")["kinds"]}
