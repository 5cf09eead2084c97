"""A packet: totals as canonical JSON with a checksum inside, written, read back and held to its own rules."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path

from outcomes.club.cells import HIDDEN
from outcomes.errors import DataProblem

FORMAT = "outcomes packet 1"
HIDDEN_WORD = "hidden"
LARGEST = 5_000_000  # bytes; a packet of totals holds a few thousand
FIELDS = {"format": str, "software": str, "codebook": dict, "questions": dict, "questions_digest": str, "sharing": dict, "clinic": str, "sign": str, "closes": str,
          "people": dict, "endpoints": list, "upkeep": dict, "satisfaction": dict, "checksum": str}  # fmt: skip


def canonical(body) -> bytes:
    """The one way to write a body down: keys sorted, no blanks, UTF-8; what checksums and digests are taken of."""
    return json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode("utf-8")


def digest(body) -> str:
    """SHA-256 of the canonical form.

    >>> digest({"b": 1, "a": [0.5]}) == digest({"a": [0.5], "b": 1})
    True
    """
    return hashlib.sha256(canonical(body)).hexdigest()


def sealed(body: dict) -> dict:
    """The body with its checksum."""
    own = {key: value for key, value in body.items() if key != "checksum"}
    return {**own, "checksum": digest(own)}


def people_shown(shown: dict[str, int | None]) -> dict:
    """Counts as they stand in a packet: a hidden one as the word."""
    return {label: HIDDEN_WORD if count is HIDDEN else count for label, count in shown.items()}


def as_text(packet: dict) -> str:
    """The packet for a file: one line per field of its body, readable."""
    return json.dumps(packet, sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read(path: Path) -> dict:
    """A packet from a file, its checksum and its contents checked.

    Raises DataProblem naming the file where it cannot be read, is no packet, was changed after it was made, or holds what none can hold.
    """
    name = path.name
    try:
        raw = path.read_bytes()
    except OSError:
        raise DataProblem(f"{name} cannot be read. Check the name and that the file is there.") from None
    if len(raw) > LARGEST:
        raise DataProblem(f"{name} is far larger than a packet. Give the .json file that outcomes share wrote.")
    try:
        packet = json.loads(raw.decode("utf-8"), parse_constant=_refuse, object_pairs_hook=_once)
    except (ValueError, RecursionError):
        raise DataProblem(f"{name} is no packet: it is no valid JSON. Ask the clinic for the file again, as outcomes share wrote it.") from None
    if not isinstance(packet, dict) or packet.get("format") != FORMAT:
        other = packet.get("format") if isinstance(packet, dict) else None
        told = f"it is of another format ({other[:40]})" if isinstance(other, str) else "it does not say so"
        raise DataProblem(f"{name} is no packet that this version reads: {told}. Give the .json file that outcomes share wrote, with the same version of outcomes.")
    wrong = [key for key, kind in FIELDS.items() if not isinstance(packet.get(key), kind)] + [key for key in packet if key not in FIELDS]
    if wrong:
        raise DataProblem(f"{name} was changed after it was made: {', '.join(str(key)[:40] for key in wrong[:3])} is missing or not as it should be. Ask the clinic for the file again.")
    if sealed(packet)["checksum"] != packet["checksum"]:
        raise DataProblem(f"{name} was changed after it was made: its checksum does not fit its contents. Ask the clinic for the file again, as outcomes share wrote it.")
    try:
        _contents(packet)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as problem:
        reason = problem.args[0] if isinstance(problem, _Wrong) else "its contents are not those of a packet"
        raise DataProblem(f"{name} cannot be used: {reason}. Ask the clinic to make it again with outcomes share.") from None
    return packet


class _Wrong(ValueError):
    """What a packet holds that none can hold."""


def _refuse(word: str):
    raise ValueError(word)


def _once(pairs):
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key twice")
    return found


def _contents(packet: dict) -> None:
    """Raise where a number cannot stand in a packet, whoever made the checksum."""
    sharing = packet["sharing"]
    minimum, step = sharing["minimum"], sharing["round_to"]
    if not (_whole(minimum) and _whole(step) and minimum >= 2 and 1 <= step <= minimum):
        raise _Wrong("its sharing rule cannot be")
    if digest(packet["questions"]) != packet["questions_digest"]:
        raise _Wrong("its questions do not fit their digest")
    for label, count in packet["people"].items():
        if count != HIDDEN_WORD and not (_whole(count) and (count == 0 or count + step // 2 >= minimum) and count % step == 0):
            raise _Wrong(f"the count of “{label[:60]}” is none that its sharing rule would show")
    for one in packet["endpoints"]:
        if not isinstance(one["name"], str) or not isinstance(one["withheld"], str) or one["name"] not in packet["questions"]["endpoints"]:
            raise _Wrong("an endpoint is not among its questions")
        before = 0.0
        for point in one["curve"]:
            years, share, error = point["years"], point["share"], point["error"]
            if not (_number(years) and years > before and (years * 4) % 1 == 0 and _number(share) and 0 <= share <= 1):
                raise _Wrong(f"the curve of {one['name'][:60]} is none")
            if not (error is None or _number(error) and error > 0):
                raise _Wrong(f"the curve of {one['name'][:60]} is none")
            before = years
    for part, names in (("upkeep", ("rate", "error", "patient_years")), ("satisfaction", ("change", "error"))):
        one = packet[part]
        if not isinstance(one["withheld"], str) or not all(one[name] is None or _number(one[name]) for name in names) or not (one["error"] is None or one["error"] > 0):
            raise _Wrong(f"its {part} is none")
    if packet["upkeep"]["rate"] is not None and packet["upkeep"]["rate"] < 0:
        raise _Wrong("its rate of unplanned visits is below nought")


def _whole(value) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 10**9


def _number(value) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
