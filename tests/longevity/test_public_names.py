"""The public names of the package: each is there, and none is loaded before it is used."""

import doctest
import subprocess
import sys
from importlib import import_module

import pytest

from outcomes import longevity


@pytest.mark.parametrize("name", longevity.__all__)
def test_every_public_name_is_there_and_says_what_it_does(name):
    assert getattr(longevity, name).__doc__ and name in dir(longevity)


def test_a_name_that_is_not_public_is_refused():
    with pytest.raises(AttributeError, match="no attribute 'kaplan'"):
        longevity.kaplan


def test_importing_the_package_loads_nothing_heavy():
    script = "import sys; from outcomes import longevity; print([m for m in ('numpy', 'pandas', 'scipy', 'lifelines') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("module", [
    "product_limit", "interval_curve", "comparison", "incidence", "recurrence", "occupancy", "rates", "shares", "risk_tables", "pooling",
    "brackets", "multiplicity", "confounding"])
def test_worked_examples_in_docstrings(module):
    outcome = doctest.testmod(import_module(f"outcomes.longevity.{module}"))
    assert outcome.attempted > 0 and outcome.failed == 0
