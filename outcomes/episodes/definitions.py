"""The SQL files beside this one: each a derived table, a view or a macro with a header that says what it is."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

HERE = Path(__file__).resolve().parent
_FIELDS = ("title", "made as", "grain", "key", "needs")


@dataclass(frozen=True)
class Definition:
    """One SQL file. ``made_as``: table, view or macro. ``example``: rows in by table name, ``gives``: rows out."""

    name: str
    title: str
    made_as: str
    grain: str
    key: tuple[str, ...]
    needs: tuple[str, ...]
    meaning: str
    sql: str
    example: dict[str, list[dict[str, str]]] = field(default_factory=dict)
    gives: tuple[dict[str, str], ...] = ()

    @property
    def statement(self) -> str:
        """The statement that makes it in the connection's temporary schema."""
        if self.made_as == "macro":
            return self.sql
        return f"CREATE OR REPLACE TEMP {self.made_as.upper()} {self.name} AS\n{self.sql}"


@cache
def definitions() -> dict[str, Definition]:
    """Every derived table by name, each after those it needs, macros first."""
    found = {path.stem: read(path.stem, path.read_text(encoding="utf-8")) for path in sorted(HERE.glob("*.sql"))}
    ordered: dict[str, Definition] = {}

    def place(name: str, asked_by: tuple[str, ...]) -> None:
        if name in ordered or name not in found:
            return
        if name in asked_by:
            raise ValueError(f"{name}.sql needs itself by way of {', '.join(asked_by)}")
        for need in found[name].needs:
            place(need, (*asked_by, name))
        ordered[name] = found[name]

    for name in sorted(found, key=lambda name: (found[name].made_as != "macro", name)):
        place(name, ())
    return ordered


def read(name: str, text: str) -> Definition:
    """A definition from the text of its file; ValueError naming the file where the header lacks a field or an example row lacks a cell."""
    lines = text.splitlines()
    end = next(i for i, line in enumerate(lines) if not line.startswith("--"))
    header = [line[2:].removeprefix(" ") for line in lines[:end]]
    fields, rest = {"made as": "table", "needs": ""}, []
    for i, line in enumerate(header):
        name_of, colon, value = line.partition(":")
        if not colon or name_of not in _FIELDS:
            rest = header[i:]
            break
        fields[name_of] = value.strip()
    missing = [field for field in _FIELDS if field not in fields]
    if missing:
        raise ValueError(f"{name}.sql: its header does not say {', '.join(missing)}")
    start = rest.index("example:") if "example:" in rest else len(rest)
    tables = _tables(name, rest[start + 1 :])
    gives = tuple(tables.pop("gives", ()))
    listed = {key: tuple(part.strip() for part in fields[key].split(",") if part.strip()) for key in ("key", "needs")}
    return Definition(name, fields["title"], fields["made as"], fields["grain"], listed["key"], listed["needs"],
                      "\n".join(rest[:start]).strip(), "\n".join(lines[end:]).strip(), tables, gives)  # fmt: skip


def _tables(name: str, lines: list[str]) -> dict[str, list[dict[str, str]]]:
    tables: dict[str, list[dict[str, str]]] = {}
    table, columns = "", None
    for line in lines:
        line = line.strip()
        if re.fullmatch(r"\w+", line):
            table, columns = line, None
            tables[table] = []
        elif line.startswith("|"):
            cells = [cell.strip() for cell in line.strip("|").split("|")]
            if columns is None:
                columns = cells
            elif len(cells) != len(columns):
                raise ValueError(f"{name}.sql: a row of {table} in the example has {len(cells)} cells for {len(columns)} columns: {line}")
            else:
                tables[table].append(dict(zip(columns, cells, strict=True)))
    return tables
