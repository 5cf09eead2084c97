"""A calendar file of all-day events that any calendar program reads (iCalendar, RFC 5545): same events, same bytes."""

from __future__ import annotations

import datetime
import uuid
from dataclasses import dataclass
from pathlib import Path

_SPACE = uuid.UUID("3c0f9a52-6f0b-5b0e-9a3e-0d6a6c1d7a44")  # names of this program's events live here (RFC 9562, version 5)
_LONGEST = 75  # octets of a line, its break apart (RFC 5545, section 3.1)


@dataclass(frozen=True)
class Event:
    """One all-day event. ``name``: what it hangs on; the same name gives the same UID, so that a later file moves the event instead of doubling it."""

    name: str
    day: datetime.date
    title: str
    text: str = ""
    category: str = ""


def calendar(events: list[Event], *, title: str, written: datetime.date, alarm_days: int | None = None) -> bytes:
    """The calendar file. ``written``: the day it speaks of, which stands for the time of writing; alarm_days: days before each event at which to remind (None: never)."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//outcomes//who is due//EN", "CALSCALE:GREGORIAN", "METHOD:PUBLISH", f"X-WR-CALNAME:{_text(title)}"]
    for event in sorted(events, key=lambda one: (one.day, one.name)):
        lines += ["BEGIN:VEVENT", f"UID:{uuid.uuid5(_SPACE, event.name)}", f"DTSTAMP:{written:%Y%m%d}T000000Z", f"DTSTART;VALUE=DATE:{_day(event.day)}", f"DTEND;VALUE=DATE:{_day(event.day + datetime.timedelta(days=1))}",
                  f"SUMMARY:{_text(event.title)}", *([f"DESCRIPTION:{_text(event.text)}"] if event.text else []), *([f"CATEGORIES:{_text(event.category)}"] if event.category else []), "CLASS:PRIVATE", "TRANSP:TRANSPARENT"]  # fmt: skip
        if alarm_days is not None:
            lines += ["BEGIN:VALARM", "ACTION:DISPLAY", f"DESCRIPTION:{_text(event.title)}", f"TRIGGER:{'-' if alarm_days else ''}P{alarm_days}D", "END:VALARM"]
        lines.append("END:VEVENT")
    return "".join(_folded(line) + "\r\n" for line in [*lines, "END:VCALENDAR"]).encode("utf-8")


def write(path: Path, events: list[Event], **about) -> Path:
    """Write the calendar file to ``path``; ``about`` as for ``calendar``."""
    path.write_bytes(calendar(events, **about))
    return path


def _day(day: datetime.date) -> str:
    return f"{day.year:04d}{day.month:02d}{day.day:02d}"


def _text(text: str) -> str:
    """A text value: commas, semicolons, backslashes and line breaks escaped, other control characters dropped (section 3.3.11).

    >>> print(_text("seen; not checked, all\\nwell"))
    seen\\; not checked\\, all\\nwell
    """
    kept = "".join(letter for letter in str(text).replace("\r\n", "\n").replace("\r", "\n") if letter == "\n" or letter == "\t" or (ord(letter) >= 32 and not 127 <= ord(letter) < 160 and not 0xD800 <= ord(letter) < 0xE000))
    return kept.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def _folded(line: str) -> str:
    """The line broken after at most 75 octets, never inside a letter; what follows a break begins with a blank."""
    pieces, piece, length = [], "", 0
    for letter in line:
        size = len(letter.encode("utf-8"))
        if length + size > _LONGEST:
            pieces.append(piece)
            piece, length = " ", 1
        piece, length = piece + letter, length + size
    return "\r\n".join([*pieces, piece])
