"""Whether a report is still what its manifest says: which file, package, input, setting or store content differs, in sentences."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from outcomes.errors import Misuse
from outcomes.plan import Plan, read_plan
from outcomes.present import manifest

_PARTS = {"report": str, "store_revision": str, "inputs": list, "plan_digest": str, "plan": dict, "versions": dict, "results": dict, "outputs": dict}


@dataclass(frozen=True)
class Record:
    """A manifest as it was read. ``folder``: where the report lies; ``body``: what the manifest says."""

    folder: Path
    body: dict


def read(path: Path) -> Record:
    """The manifest at ``path``, or in it where it is a folder. Raises Misuse where it is missing or no manifest of a report."""
    path = Path(path)
    path = path / manifest.NAME if path.is_dir() else path
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
    except OSError:
        raise Misuse(f"There is no manifest {path}. Give the {manifest.NAME} in the report's folder, or that folder.") from None
    except ValueError:
        raise Misuse(f"{path.name} is no manifest of a report: it is not valid JSON.") from None
    if not isinstance(body, dict) or not all(isinstance(body.get(part), kind) for part, kind in _PARTS.items()):
        missing = [part for part, kind in _PARTS.items() if not isinstance(body, dict) or not isinstance(body.get(part), kind)]
        raise Misuse(f"{path.name} is no manifest of a report: {', '.join(missing)} cannot be read.")
    if any(PurePosixPath(name).is_absolute() or ".." in PurePosixPath(name).parts for name in body["outputs"]):
        raise Misuse(f"{path.name} is no manifest of a report: it names files outside its folder.")
    if not all(isinstance(one, dict) and {"name", "sha256"} <= one.keys() for one in body["inputs"]):
        raise Misuse(f"{path.name} is no manifest of a report: its inputs cannot be read.")
    return Record(path.parent, body)


def files(record: Record) -> list[str]:
    """Sentences on the files of the report that are gone or no longer what was written."""
    said = []
    for name, wanted in sorted(record.body["outputs"].items()):
        path = record.folder / name
        if not path.is_file():
            said.append(f"File: {name} is missing.")
        elif manifest.digest(path) != wanted:
            said.append(f"File: {name} has changed since the report was written.")
    return said


def packages(record: Record) -> list[str]:
    """Sentences on the packages whose version differs from the one that made the report."""
    then, now = record.body["versions"], manifest.versions()
    return [f"Package: the report was made with {name} {then.get(name, '(not recorded)')}; here it is {now.get(name, 'not installed')}."
            for name in sorted(then.keys() | now.keys()) if then.get(name) != now.get(name)]  # fmt: skip


def settings(record: Record, plan) -> list[str]:
    """Sentences on the settings in which ``plan`` (a mapping of sections) differs from the plan of the report."""
    then, now = _flat(record.body["plan"]), _flat(plan)
    return [f"Plan: {name} was {_written(then, name)} and is {_written(now, name)}." for name in sorted(then.keys() | now.keys()) if _written(then, name) != _written(now, name)]


def inputs(record: Record, loaded: list[dict]) -> list[str]:
    """Sentences on files that were loaded into the store then and not now, or now and not then. ``loaded``: name and SHA-256 of each."""
    then, now = _digests(record.body["inputs"]), _digests(loaded)
    said = []
    for name in sorted(then.keys() | now.keys()):
        if name not in now:
            said.append(f"Input: {name} is not in the store.")
        elif name not in then:
            said.append(f"Input: {name} was loaded after the report was made.")
        elif then[name] != now[name]:
            said.append(f"Input: {name} is loaded with other content (SHA-256 {_short(then[name])} then, {_short(now[name])} now).")
    return said


def store(record: Record, revision: str) -> list[str]:
    """A sentence where the store's content is not the one that the report was made from."""
    then = record.body["store_revision"]
    return [] if then == revision else [f"Store: its content is not the one that the report was made from (revision {_short([then])} then, {_short([revision])} now)."]


def again(record: Record, made: Path) -> list[str]:
    """Sentences on what comes out otherwise in the folder ``made``, where the same report was written anew."""
    new = read(made).body
    then, now = record.body["outputs"], new["outputs"]
    said = []
    for name in sorted(then.keys() | now.keys()):
        if name not in now:
            said.append(f"Made again: {name} is not written any more.")
        elif name not in then:
            said.append(f"Made again: {name} is written too.")
        elif manifest.digest(made / name) != then[name]:
            said.append(f"Made again: {name} comes out with other bytes.")
    was, comes = record.body["results"], new["results"]
    said += [f"Made again: the answer “{name}” was {_shown(was.get(name))} and comes out as {_shown(comes.get(name))}." for name in sorted(was.keys() | comes.keys()) if was.get(name) != comes.get(name)]
    return said


def altered(record: Record) -> list[str]:
    """A sentence where the manifest's plan and the plan's digest do not belong together."""
    return [] if Plan(record.body["plan"]).digest == record.body["plan_digest"] else ["Manifest: its plan has been changed since the report was written."]


def plan(record: Record) -> tuple[Plan, list[str]]:
    """The report's own plan, with sentences on the settings that today's default plan has and that plan lacks: they take the default."""
    default = read_plan()
    body = {section: {**default[section], **record.body["plan"].get(section, {})} if isinstance(default[section], dict) else record.body["plan"].get(section, default[section])
            for section in default}  # fmt: skip
    body = {**record.body["plan"], **body}
    new = _flat(body).keys() - _flat(record.body["plan"]).keys()
    return Plan(body), [f"Plan: {name} is new since the report was made and takes its default." for name in sorted(new)]


def summary(record: Record, said: list[str], *, plan: bool, store: bool) -> list[str]:
    """How many differences there are, and what was compared. ``plan``, ``store``: whether one was given."""
    if said:
        lines = [f"{len(said)} difference{'' if len(said) == 1 else 's'} from the manifest."]
    else:
        lines = [f"Nothing differs from the manifest: {len(record.body['outputs'])} files are as they were written."]
    if said and all(sentence.startswith("Made again") for sentence in said):
        lines.append("Nothing that the manifest records differs, so the program itself has changed since, or something it does not record, such as a library of the system.")
    compared = ["files", "packages", *["plan"] * plan, *["inputs", "store content", "the report made again"] * store]
    left = ["the plan (give --plan)"] * (not plan) + ["inputs, store content and the report made again (give --store)"] * (not store)
    return [*lines, f"Compared: {', '.join(compared)}." + (f" Not compared: {'; '.join(left)}." if left else "")]


def _flat(plan, before: str = "") -> dict[str, object]:
    """Settings by their whole name; a list is one setting."""
    flat: dict[str, object] = {}
    for key, value in plan.items():
        name = f"{before}.{key}" if before else key
        if isinstance(value, dict) and value:
            flat |= _flat(value, name)
        else:
            flat[name] = value
    return flat


def _written(settings: dict, name: str) -> str:
    return json.dumps(settings[name], sort_keys=True, ensure_ascii=False) if name in settings else "not there"


def _digests(rows: list[dict]) -> dict[str, list[str]]:
    """Every SHA-256 a name was loaded with: a workbook that grows keeps its name."""
    found: dict[str, list[str]] = {}
    for row in rows:
        found.setdefault(row["name"], []).append(row["sha256"])
    return {name: sorted(digests) for name, digests in found.items()}


def _short(digests: list[str]) -> str:
    return ", ".join(digest[:12] or "none" for digest in digests)


def _shown(result) -> str:
    """An answer as it was printed; with its unrounded value, since a change may be smaller than the rounding."""
    if not isinstance(result, dict):
        return "not there" if result is None else str(result)
    value = result.get("value")
    return f"{result.get('shown') or '?'}{'' if value is None else f' ({value!r})'}"
