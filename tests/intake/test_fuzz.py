"""Files changed at random go through the command: a small sample every day, many on request, and the record of the last run."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from fuzzing.changes import CELLS  # noqa: E402
from fuzzing.engine import command, fault, fuzz  # noqa: E402
from fuzzing.seeds import TABLES, table_csv  # noqa: E402

RECORD = HERE / "fuzzing" / "record.json"


def test_a_sample_of_changed_files_ends_in_sentences_and_leaves_the_store_alone(tmp_path):
    found = fuzz(100, 7, tmp_path)
    assert not found.failures
    assert found.files == 100 and sum(found.outcomes.values()) == 100


@pytest.mark.slow
def test_many_changed_files_end_in_sentences_and_leave_the_store_alone(tmp_path):
    assert not fuzz(20_000, 11, tmp_path).failures


def test_the_record_of_the_last_run_holds_no_failure():
    """python tests/intake/fuzzing 100000 --processes 2 writes it anew, in about 40 minutes."""
    record = json.loads(RECORD.read_text(encoding="utf-8"))
    assert record["failures"] == [] and record["files"] >= 100_000 and record["files"] == sum(number for kind in record["outcomes"].values() for number in kind.values())
    assert record["slowest file, seconds"] < record["a hang is longer than seconds"]


cells = st.one_of(st.sampled_from(CELLS), st.text(max_size=12), st.dates().map(str), st.integers().map(str), st.floats().map(str))


@given(st.sampled_from(sorted(TABLES)), st.data(), st.sampled_from([",", ";", "\t"]), st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_tables_of_any_cells_end_in_sentences(tmp_path, name, data, separator, encoding):
    columns = list(dict.fromkeys(key for row in TABLES[name] for key in row))
    rows = data.draw(st.lists(st.fixed_dictionaries({}, optional={column: cells for column in columns}), max_size=5))
    path = tmp_path / f"{name}.csv"
    path.write_bytes(table_csv([dict.fromkeys(columns, ""), *rows][0 if not rows else 1:], separator).encode(encoding, errors="replace"))
    assert not fault(*command("check", path))
