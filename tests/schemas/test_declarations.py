"""The declarations agree with each other: every code list, reference, key and word they name exists."""

from __future__ import annotations

import pytest

from outcomes import schemas
from outcomes.schemas import dictionary

TYPES = {"text", "whole", "number", "date", "code", "position", "positions", "levels", "phrases"}


def test_the_dictionary_is_current():
    assert (schemas.HERE / "DICTIONARY.md").read_text(encoding="utf-8") == dictionary.text(), "run: python -m outcomes.schemas.dictionary"


def test_the_dictionary_names_every_column_code_and_rule():
    page = dictionary.text()
    for table in schemas.tables().values():
        for column in table.columns:
            assert f"| {column.name} |" in page
    for body in schemas.codebook().values():
        for code in body["codes"]:
            assert f"| {code} |" in page
    for rule in schemas.rules().values():
        assert rule["sentence"] in page


@pytest.mark.parametrize("name", schemas.tables())
def test_a_table_names_only_what_exists(name):
    table = schemas.tables()[name]
    columns = {column.name for column in table.columns}
    assert set(table.key) <= columns
    for column in table.columns:
        assert column.type in TYPES
        assert bool(column.codes) == (column.type == "code")
        assert not column.codes or column.codes in schemas.codebook()
        assert column.meaning and not column.meaning.endswith(".")
        if column.references:
            target, key = column.references.split(".")
            schemas.tables()[target].column(key)
        if column.plausible and column.minimum is not None:
            assert column.minimum <= column.plausible[0] <= column.plausible[1] <= column.maximum


def test_every_example_is_one_that_the_checks_would_take():
    from outcomes.intake.source import Cells, Sheet
    from outcomes.intake.typed import Choices, typed

    import numpy as np

    for table in schemas.tables().values():
        cells = {column.name: Cells([column.example], np.array([0], dtype=np.int32)) for column in table.columns}
        frame, faults = typed(Sheet(table.name, 0, "", np.array([2], dtype=np.int32), cells, {}), table, Choices())
        assert not faults, [fault.message for fault in faults]
        assert frame.notna().all(axis=None)


def test_words_of_the_day_sheet_are_codes():
    findings, actions = set(schemas.codebook()["part_finding"]["codes"]), set(schemas.codebook()["part_action"]["codes"])
    for part in ("housing", "abutment"):
        for action, finding in schemas.phrases()[part]["finding_for"].items():
            assert action in actions and finding in findings
    for action, finding in schemas.phrases()["denture"]["finding_for"].items():
        assert action in schemas.codebook()["denture_action"]["codes"] and finding in schemas.codebook()["denture_finding"]["codes"]


def test_endpoints_count_only_codes_that_exist():
    parts = set(schemas.codebook()["part_finding"]["codes"]) | set(schemas.codebook()["denture_finding"]["codes"]) | set(schemas.codebook()["implant_state"]["codes"])
    actions = set(schemas.codebook()["part_action"]["codes"]) | set(schemas.codebook()["denture_action"]["codes"])
    for row in schemas.endpoints().values():
        assert set(row.get("findings", [])) <= parts
        assert set(row.get("actions", [])) <= actions
        assert set(row.get("any_of", [])) <= set(schemas.endpoints())


def test_no_code_stands_for_two_things_when_case_is_left_aside():
    for name, body in schemas.codebook().items():
        folded = [" ".join(code.split()).casefold() for code in body["codes"]]
        assert len(set(folded)) == len(folded), name
