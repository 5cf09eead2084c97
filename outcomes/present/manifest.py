"""What a report was made from and what it consists of, so that anybody can tell whether two reports are the same."""

from __future__ import annotations

import hashlib
import json
import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from outcomes import __version__

NAME = "manifest.json"
PACKAGES = ("duckdb", "jinja2", "matplotlib", "numpy", "pandas", "python-pptx", "scipy")


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def versions() -> dict[str, str]:
    """Versions of this toolkit, of Python and of the libraries that make numbers or pictures."""
    found = {"outcomes": __version__, "python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def write(out: Path, files: list[Path], *, name: str, date: str, inputs: list[dict], revision: str, plan, seed: int, results: dict | None = None) -> Path:
    """Write ``manifest.json`` into ``out`` over the ``files`` written there.

    ``date`` is the day the log closes, never the day of the run. ``inputs``: name and SHA-256 of each file loaded.
    ``results``: the numbers of the front page, unrounded.
    """
    outputs = {path.relative_to(out).as_posix(): digest(path) for path in files}
    body = {
        "report": name,
        "date": date,
        "store_revision": revision,
        "inputs": inputs,
        "plan_digest": plan.digest,
        "plan": json.loads(plan.text),
        "seed": seed,
        "versions": versions(),
        "results": results or {},
        "outputs": outputs,
    }
    path = out / NAME
    path.write_text(json.dumps(body, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8", newline="\n")
    return path
