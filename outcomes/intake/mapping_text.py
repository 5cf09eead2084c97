"""A mapping as the text of a TOML file."""

from __future__ import annotations

import json
import re

HEAD = """# How this practice's export is read into the log. Written by outcomes map; may be changed by hand.
# Columns of the export that are not named here are never read. All settings: outcomes map --template.
"""


def text_of_mapping(body: dict) -> str:
    """The TOML text of a mapping; reading it gives ``body`` again."""
    out = [HEAD + f"mapping = {body['mapping']}"]
    for name, section in body.items():
        if name == "mapping" or not section:
            continue
        plain = {key: value for key, value in section.items() if not _long(value)}
        long = {key: value for key, value in section.items() if _long(value)}
        out.append(f"\n[{_key(name)}]")
        out += [f"{_key(key)} = {_value(value)}" for key, value in plain.items()]
        for key, value in long.items():
            values = value.get("values", {})
            out.append(f"\n[{_key(name)}.{_key(key)}]")
            out += [f"{_key(word)} = {_value(one)}" for word, one in value.items() if word != "values"]
            if values:
                out.append(f"[{_key(name)}.{_key(key)}.values]")
                out += [f"{_key(theirs)} = {_value(ours)}" for theirs, ours in values.items()]
    return "\n".join(out) + "\n"


def _long(value) -> bool:
    return isinstance(value, dict) and len(value.get("values", ()) or ()) > 3


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _value(name)


def _value(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return "{ " + ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items()) + " }"
