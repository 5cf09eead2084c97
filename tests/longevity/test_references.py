"""Every outside value of the longevity estimators, one test each; sources stand beside the values in tests/references."""

import importlib.util
import json
import warnings
from functools import cache
from pathlib import Path

import pytest

REFERENCES = Path(__file__).parents[1] / "references"
_spec = importlib.util.spec_from_file_location("check_references", REFERENCES / "check_references.py")
runner = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(runner)
BODY = json.loads((REFERENCES / "oracles.json").read_text())
CHECKS = [check for check in BODY["checks"] if check["fixed_api"] and check["function"].startswith("longevity.")]


@cache
def data(name):
    return runner.load(BODY["datasets"][name])


@cache
def result(call: str):
    check = next(check for check in CHECKS if signature(check) == call)
    frames = {check["data"]: data(check["data"])} if check["data"] in BODY["datasets"] else {}
    return runner.call(check, frames)


def signature(check) -> str:
    return json.dumps([check["function"], check["data"], check["columns"], check["literal"]], sort_keys=True)


@pytest.mark.parametrize("check", CHECKS, ids=[check["id"] for check in CHECKS])
def test_equals_the_outside_value(check):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        off = runner.differences(check, runner.read(check, result(signature(check))))
    assert not off, f"{check['source']}: {off[0]}"
