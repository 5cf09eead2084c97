"""The commands, one module each: ``SENTENCE`` says what it does, ``options`` adds its arguments, ``run`` carries it out.

A module imports what it needs only when ``run`` is called, so that --help is quick. A command's name is its module's, with hyphens.
"""

from __future__ import annotations

from importlib import import_module

# In the order of --help: the data's way.
NAMES = ("demo", "template", "day-sheets", "map", "pseudonymise", "compare", "check", "load", "audit", "report", "due", "stock", "tell", "history", "undo", "export", "plan-size", "share", "pool")


def module(name: str):
    """The module behind a command's name."""
    return import_module(f"outcomes.commands.{name.replace('-', '_')}")
