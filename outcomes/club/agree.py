"""Whether packets may be taken together: the same format, version, words and questions, no clinic twice; and the letters."""

from __future__ import annotations

import hashlib
import json
from collections import Counter

from outcomes.errors import DataProblem

MOST_SAID = 5  # differences said of one packet


def together(packets: list[tuple[str, dict]]) -> None:
    """Raise DataProblem, with everything that differs, unless these (file name, packet) pairs may be pooled."""
    said = _twice(packets)
    said += _other(packets, lambda one: one["software"], lambda own, usual: [f"it was made with version {_shown(own)} of outcomes, most with {_shown(usual)}: make all with the same"])
    said += _other(packets, lambda one: one["codebook"], lambda own, usual: [f"its words and numbers have another meaning in {name}" for name in sorted({*own, *usual}) if own.get(name) != usual.get(name)])
    said += _other(packets, lambda one: one["questions"], lambda own, usual: [f"its plan has {path} {mine}, most have {theirs}" for path, mine, theirs in differences(own, usual)])
    if said:
        raise DataProblem("These packets cannot be taken together:\n" + "\n".join(f"- {sentence}" for sentence in said) + "\nLet every clinic make its packet with the same version and the plan the club agreed on (outcomes share --plan).")


def _twice(packets) -> list[str]:
    said = []
    for key, words in (("checksum", "are the very same packet: give it once"), ("clinic", "come from one clinic: give the later one only")):
        found: dict[str, list] = {}
        for name, one in packets:
            found.setdefault(one[key], []).append((name, one))
        for group in found.values():
            if len(group) > 1 and not (key == "clinic" and len({one["checksum"] for _, one in group}) == 1):
                closes = f" (they close {' and '.join(one['closes'] for _, one in group)})" if key == "clinic" else ""
                said.append(f"{' and '.join(name for name, _ in group)} {words}{closes}.")
    return said


def _other(packets, part, differ) -> list[str]:
    """One sentence for each packet whose part is not that of most (of the first named, where no part is that of most)."""
    text = [json.dumps(part(one), sort_keys=True) for _, one in packets]
    counted = Counter(text)
    usual = max(counted, key=lambda each: (counted[each], -text.index(each)))
    body = part(packets[text.index(usual)][1])
    said = []
    for (name, one), own in zip(packets, text):
        if own != usual:
            found = differ(part(one), body)
            more = f"; and {len(found) - MOST_SAID} more" if len(found) > MOST_SAID else ""
            said.append(f"{name}: {'; '.join(found[:MOST_SAID])}{more}.")
    return said


def differences(own, usual, path: str = "") -> list[tuple[str, str, str]]:
    """(where, own, other) of everything that differs between two bodies.

    >>> differences({"levels": {"low_n": 9.0}, "years": [1]}, {"levels": {"low_n": 8.0}, "years": [1]})
    [('levels.low_n', '9.0', '8.0')]
    """
    if isinstance(own, dict) and isinstance(usual, dict):
        return [line for key in sorted({*own, *usual}, key=str) for line in differences(own.get(key), usual.get(key), f"{path}.{key}" if path else str(key))]
    return [] if own == usual else [(path, _shown(own), _shown(usual))]


def _shown(value) -> str:
    text = "nothing" if value is None else json.dumps(value, ensure_ascii=False) if not isinstance(value, str) else value
    return text if len(text) <= 60 else text[:59] + "…"


def letters(packets: list[dict]) -> list[str]:
    """A letter for each packet: an order drawn by lot from the packets' own checksums, so that it follows neither size nor result, and the same packets have the same letters.

    >>> sorted(letters([{"checksum": "a"}, {"checksum": "b"}, {"checksum": "c"}]))
    ['A', 'B', 'C']
    """
    lot = "".join(sorted(one["checksum"] for one in packets))
    order = sorted(range(len(packets)), key=lambda k: hashlib.sha256(f"{lot} {packets[k]['checksum']}".encode()).hexdigest())
    found = [""] * len(packets)
    for place, k in enumerate(order):
        found[k] = _letter(place)
    return found


def _letter(place: int) -> str:
    """A to Z, then AA to ZZ."""
    return chr(65 + place) if place < 26 else _letter(place // 26 - 1) + chr(65 + place % 26)
