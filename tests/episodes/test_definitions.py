"""Every derived table keeps its header's promises: its worked example comes out, and its key is unique."""

from __future__ import annotations

import re

import duckdb
import pytest

from outcomes.episodes import declared
from outcomes.episodes.build import doubled_keys
from outcomes.episodes.definitions import definitions, read
from clinic_log import SOURCES, Clinic, connect, quoted

POSITIONS = ("13", "23", "33", "35", "43", "33-43", "midline")


@pytest.fixture(scope="module")
def shapes():
    """Columns and types of every source, settings and derived table, from a build over an empty log."""
    derived = Clinic().build()
    names = [*SOURCES, *declared.TABLES, *(name for name, d in definitions().items() if d.made_as != "macro")]
    words = {f"ENUM({', '.join(repr(code) for code in codes)})": name for name, codes in declared.words().items()}
    found = {}
    for name in names:
        columns = {row["column_name"]: row["column_type"] for row in derived.rows(f"DESCRIBE {name}")}
        found[name] = {column: words.get(kind, "position_word" if kind.startswith("ENUM") else kind) for column, kind in columns.items()}
    return found


def lay_out(connection, name: str, shape: dict[str, str], rows: list[dict[str, str]]) -> None:
    connection.execute(f"CREATE OR REPLACE TEMP TABLE {name} ({', '.join(f'{quoted(c)} {kind}' for c, kind in shape.items())})")
    for row in rows:
        unknown = set(row) - set(shape)
        assert not unknown, f"the example gives {name} columns it does not have: {sorted(unknown)}"
        values = ", ".join(f"CAST(? AS {shape[column]})" for column in row)
        connection.execute(f"INSERT INTO {name} ({', '.join(map(quoted, row))}) SELECT {values}", [typed(shape[column], cell) for column, cell in row.items()])


def typed(kind: str, cell: str) -> str | None:
    """An empty cell is missing, but for the word lists whose blank is a word."""
    return None if cell == "" and kind not in ("cause_word", "ending_word", "excluded_word", "outcome_word") else cell


def as_text(value, cell: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return cell if cell and value == pytest.approx(float(cell), rel=1e-12) else repr(value)
    return str(value)


def expect(cursor, gives: tuple[dict[str, str], ...]) -> None:
    names = [column[0] for column in cursor.description]
    got = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    for row in gives:
        unknown = set(row) - set(names)
        assert not unknown, f"the example expects columns that do not come out: {sorted(unknown)}"
    assert len(got) == len(gives), [[row[c] for c in gives[0]] for row in got]
    left = list(got)
    for row in gives:
        match = [r for r in left if all(as_text(r[c], cell) == cell for c, cell in row.items())]
        assert match, f"expected {row}\namong {[{c: as_text(r[c], '') for c in row} for r in left]}"
        left.remove(match[0])


@pytest.mark.parametrize("name", definitions())
def test_the_worked_example_of_every_definition_comes_out(name, shapes):
    definition = definitions()[name]
    assert definition.example and definition.gives, f"{name}.sql has no worked example"
    connection = connect()
    for word, codes in (*declared.words().items(), ("position_word", POSITIONS)):
        declared._make_type(connection, word, codes)
    for macro in definitions().values():
        if macro.made_as == "macro":
            connection.execute(macro.statement)
    if definition.made_as == "macro":
        expect(asked(connection, definition), definition.gives)
        return
    for need in {*definition.needs, *definition.example}:
        lay_out(connection, need, shapes[need], definition.example.get(need, []))
    connection.execute(definition.statement)
    expect(connection.execute(f"SELECT * FROM {name}"), definition.gives)
    assert doubled_keys(connection, definition) == 0


def asked(connection, definition):
    rows = definition.example["asked"]
    columns = list(rows[0])
    kinds = {"written": "DATE", "settling": "BOOLEAN", "carried": "BOOLEAN", "retention": "DOUBLE"}
    typed_columns = ", ".join(quoted(c) + " " + kinds.get(c, "VARCHAR") for c in columns)
    connection.execute(f"CREATE TEMP TABLE asked ({typed_columns})")
    for row in rows:
        connection.execute(f"INSERT INTO asked VALUES ({', '.join('?' * len(columns))})", [row[c] if row[c] or c == "cause" else None for c in columns])
    arguments = re.search(rf"macro {definition.name}\((.*?)\)", definition.sql).group(1)
    return connection.execute(f"SELECT *, {definition.name}({arguments}) AS {definition.name} FROM asked")


@pytest.mark.parametrize("name", definitions())
def test_every_header_says_what_one_row_is(name):
    definition = definitions()[name]
    assert definition.title and definition.grain.startswith("one ") and definition.key and definition.meaning
    for need in definition.needs:
        assert need in definitions() or need in SOURCES or need in declared.TABLES, f"{name}.sql needs {need}, which nobody makes"


@pytest.mark.parametrize("name", [name for name, d in definitions().items() if d.made_as != "macro"])
def test_every_table_read_is_named_among_the_needs(name):
    definition = definitions()[name]
    known = {*definitions(), *SOURCES, *declared.TABLES} - {n for n, d in definitions().items() if d.made_as == "macro"}
    body = re.sub(r"--.*", "", definition.sql)
    read_from = set(re.findall(r"\b(?:from|join)\s+(\w+)", body)) & known
    assert read_from <= set(definition.needs), f"{name}.sql reads {sorted(read_from - set(definition.needs))} without saying so"


def test_a_header_without_a_grain_is_refused():
    with pytest.raises(ValueError, match="grain"):
        read("loose", "-- title: Something\n-- key: a\nselect 1")


def test_an_example_row_with_a_cell_too_few_is_refused():
    text = "-- title: T\n-- grain: one row\n-- key: a\n--\n-- example:\n--   visits\n--   | a | b |\n--   | 1 |\nselect 1"
    with pytest.raises(ValueError, match="1 cells for 2 columns"):
        read("short", text)


def test_definitions_come_after_what_they_need():
    seen = set()
    for name, definition in definitions().items():
        assert {need for need in definition.needs if need in definitions()} <= seen, name
        seen.add(name)


def test_a_doubled_key_is_seen():
    connection = duckdb.connect()
    connection.execute("CREATE TEMP TABLE people AS SELECT 1 AS patient FROM range(2)")
    assert doubled_keys(connection, definitions()["people"]) == 1
