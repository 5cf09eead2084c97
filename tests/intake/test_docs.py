"""Examples in the docstrings hold."""

from __future__ import annotations

import doctest
import importlib

import pytest


@pytest.mark.parametrize("module", ["date_forms", "dates", "keys", "notations", "numbers", "phrases", "positions", "pseudonyms", "units"])
def test_examples_in_docstrings_hold(module):
    failed, tried = doctest.testmod(importlib.import_module(f"outcomes.intake.{module}"))
    assert tried and not failed
