"""Each rule across tables finds its failing example and lets its passing twin go by."""

from __future__ import annotations

import csv
from datetime import date

import pytest

from outcomes import intake, schemas


def found(tables: dict[str, list[dict]], folder, rule: dict) -> bool:
    paths = []
    for name, rows in tables.items():
        columns = list(dict.fromkeys(key for row in rows for key in row))
        with open(folder / f"{name}.csv", "w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, columns)
            writer.writeheader()
            writer.writerows(rows)
        paths.append(folder / f"{name}.csv")
    problems = intake.check(paths, today=date(2026, 1, 1)).problems
    return bool(((problems["rule"] == rule["name"]) & (problems["severity"] == rule["severity"])).any())


@pytest.mark.parametrize("name", schemas.rules())
def test_a_rule_finds_its_failing_example_and_not_its_passing_twin(name, tmp_path, monkeypatch):
    rule = schemas.rules()[name]
    monkeypatch.setattr(schemas, "rules", lambda: {name: rule})  # this rule alone, so that each test is quick
    for example in ("failing_example", "passing_example"):
        (tmp_path / example).mkdir()
    assert found(rule["failing_example"], tmp_path / "failing_example", rule)
    assert not found(rule["passing_example"], tmp_path / "passing_example", rule)


@pytest.mark.parametrize("name", schemas.rules())
def test_a_rule_says_what_is_wrong_and_what_to_do(name):
    rule = schemas.rules()[name]
    assert rule["severity"] in ("error", "warning")
    assert rule["sentence"][0].islower() or rule["sentence"][0].isdigit()
    assert rule["remedy"].endswith(".")
    tables = schemas.tables()
    for table in [rule.get("table"), *rule.get("needs", [])]:
        assert table is None or table in tables
    if "table" in rule and "column" in rule:
        tables[rule["table"]].column(rule["column"])
