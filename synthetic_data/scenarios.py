"""Scenarios: the settings of a simulated clinic, read from the TOML files beside this module."""

from __future__ import annotations

import copy
import datetime
import difflib
import tomllib
from pathlib import Path

from outcomes.errors import Misuse

HERE = Path(__file__).resolve().parent
_MERGED = {"ratios"}  # tables inside a section that an override extends; any other (a table of shares) it replaces


class Section:
    """A read-only group of settings: ``scenario.insert.shape``; a table of shares stays a plain dict."""

    def __init__(self, body: dict):
        self.__dict__.update(body)

    def __setattr__(self, name, value):
        raise AttributeError("a scenario is not changed in place: use scenario.changed(...)")


class Scenario:
    """Every setting of a simulated clinic. ``changed(section={setting: value})`` gives a new one."""

    def __init__(self, name: str, body: dict):
        self.name = name
        self._body = body
        for section, settings in body.items():
            setattr(self, section, Section(settings))

    def changed(self, **sections: dict) -> Scenario:
        """This scenario with some settings replaced; Misuse where a section or setting is not known."""
        return Scenario(self.name, _laid_over(self._body, sections))

    @property
    def days(self) -> int:
        """Days from the start of the log to its closing day."""
        return (self.clinic.closing - self.clinic.start).days

    def __repr__(self) -> str:
        return f"Scenario({self.name!r})"


def scenario_names() -> list[str]:
    """The names of the scenarios that come with the package."""
    return sorted(path.stem for path in HERE.glob("*.toml"))


def scenario(name: str = "demo", **sections: dict) -> Scenario:
    """A scenario by name with settings laid over it: ``scenario("demo", notice={"worn": 1.0})``.

    Raises Misuse for a name, section or setting that is not known.

    >>> scenario("textbook", insert={"years": 5.0}).insert.years
    5.0
    """
    return Scenario(name, _laid_over(_read(name), sections))


def as_scenario(given: str | Scenario) -> Scenario:
    """The scenario itself, or the one of that name."""
    return given if isinstance(given, Scenario) else scenario(given)


def _read(name: str) -> dict:
    if name not in scenario_names():
        raise Misuse(f"There is no scenario {name}. There are: {', '.join(scenario_names())}.")
    body = tomllib.loads((HERE / f"{name}.toml").read_text(encoding="utf-8"))
    like = body.pop("like", None)
    return _laid_over(_read(like), body) if like else body


def _laid_over(below: dict, above: dict) -> dict:
    body = copy.deepcopy(below)
    for section, settings in above.items():
        if section not in body:
            raise Misuse(_unknown("section", section, body))
        for setting, value in settings.items():
            if setting not in body[section]:
                raise Misuse(_unknown(f"setting in [{section}]", setting, body[section]))
            if setting in _MERGED:
                value = _extended(section, body[section][setting], value)
            body[section][setting] = _as_date(value) if isinstance(body[section][setting], datetime.date) else value
    return body


def _extended(section: str, below: dict, above: dict) -> dict:
    for name in above:
        if name not in below:
            raise Misuse(_unknown(f"ratio in [{section}]", name, below))
    return {**below, **above}


def _as_date(value) -> datetime.date:
    return datetime.date.fromisoformat(value) if isinstance(value, str) else value


def _unknown(kind: str, name: str, known) -> str:
    near = difflib.get_close_matches(name, list(known), n=1)
    hint = f" Did you mean {near[0]}?" if near else f" There are: {', '.join(known)}."
    return f"A simulated clinic has no {kind} called {name}.{hint}"
