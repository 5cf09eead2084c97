"""The random clinics, the attack and the study, loaded from the files beside this one."""

import importlib.util
import sys
from pathlib import Path

import pytest


def _load(name):
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@pytest.fixture(scope="session")
def clinics():
    return _load("clinics")


@pytest.fixture(scope="session")
def attack():
    return _load("attack")


@pytest.fixture(scope="session")
def attack_study(clinics, attack):
    return _load("attack_study")
