"""Logs made by hand for the reports, loaded from the file beside this one."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def handmade():
    spec = importlib.util.spec_from_file_location("handmade_log", Path(__file__).with_name("handmade.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules["handmade_log"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def clinic(handmade):
    return handmade.log()


@pytest.fixture(scope="session")
def simulated():
    """Makes a simulated clinic's store in memory: ``simulated(patients, seed, like="demo", **sections)``."""
    spec = importlib.util.spec_from_file_location("simulated_store", Path(__file__).with_name("simulated_store.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules["simulated_store"] = module
    spec.loader.exec_module(module)
    return module.store
