"""The plan of an audit: the shipped default with a clinic's own file laid over it, checked for keys that mean nothing."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Mapping
from pathlib import Path

from outcomes.errors import Misuse
from outcomes.plan_entries import check, known, prices

_LISTS = {"standards": None, "endpoints": None}  # lists replace the default's
_OPEN = {"instruments"}  # sections whose keys are names the clinic chooses


class Plan(Mapping):
    """A read-only mapping of sections; ``digest`` identifies it, ``text`` prints it whole."""

    def __init__(self, body: dict):
        self._body = body

    def __getitem__(self, key):
        return self._body[key]

    def __iter__(self):
        return iter(self._body)

    def __len__(self):
        return len(self._body)

    @property
    def text(self) -> str:
        """The whole plan as JSON with sorted keys: the form in which reports keep it."""
        return json.dumps(self._body, indent=2, sort_keys=True, ensure_ascii=False)

    @property
    def digest(self) -> str:
        """SHA-256 of ``text``."""
        return hashlib.sha256(self.text.encode()).hexdigest()


def read_plan(path: str | Path | None = None) -> Plan:
    """The default plan, or that plan with the settings of the TOML file at ``path`` laid over it.

    Raises Misuse where the file cannot be read, is no TOML, or has a section or setting the plan does not know.
    """
    from outcomes import schemas

    body = tomllib.loads((schemas.HERE / "plan.toml").read_text(encoding="utf-8"))
    if path is None:
        return Plan(body)
    path = Path(path)
    try:
        own = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError:
        raise Misuse(f"The plan {path.name} cannot be read. Check the name and that the file is there.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise Misuse(f"The plan {path.name} is no valid TOML: {problem}. Mend that line, or start again from a copy of the default plan.") from None
    for section, settings in own.items():
        known(section, [*body, *_LISTS], f"section of the plan {path.name}")
        if section in _LISTS:
            body[section] = settings
        elif section == "prices":
            body[section] = prices(settings, body[section], f"the plan {path.name}")
        elif section in _OPEN:
            if not isinstance(settings, dict) or not all(isinstance(one, dict) for one in settings.values()):
                raise Misuse(f"{section} in the plan {path.name} is a section for each name: write [{section}.{next(iter(settings), 'NAME') if isinstance(settings, dict) else 'NAME'}] and its settings below it.")
            body[section] = {**body[section], **settings}
        else:
            if not isinstance(settings, dict):
                raise Misuse(f"{section} in the plan {path.name} is a section: write [{section}] and its settings below it.")
            for key, value in settings.items():
                known(key, body[section], f"setting of [{section}] in the plan {path.name}")
                default = body[section][key]
                if not _same_kind(value, default):
                    raise Misuse(f"{key} in [{section}] of the plan {path.name} should be written like {json.dumps(default)}, not {json.dumps(value, default=str)}.")
                body[section][key] = value
    check(body, f"the plan {path.name}")
    return Plan(body)


def _same_kind(value, default) -> bool:
    if isinstance(default, bool) or isinstance(value, bool):
        return isinstance(value, bool) and isinstance(default, bool)
    if isinstance(default, (int, float)):
        return isinstance(value, (int, float))
    return isinstance(value, type(default))
