"""A simulated clinic whose truth is known, and the log it would have kept. Nothing in it is evidence."""

from .arrays import Textbook, textbook
from .clinic import Block, Clinic, simulate
from .files import write
from .scenarios import Scenario, scenario, scenario_names
from .truth import Truth

__all__ = ["Block", "Clinic", "Scenario", "Textbook", "Truth", "scenario", "scenario_names", "simulate", "textbook", "write"]
