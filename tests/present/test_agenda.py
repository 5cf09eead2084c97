"""Calendar files, read back by a general library (icalendar), and held to the letter of RFC 5545."""

from __future__ import annotations

import datetime
import random

import icalendar
import pytest

from outcomes.present.agenda import Event, calendar

DAY = datetime.date(2025, 12, 28)


def events(number=3, title="Recall overdue: P{}"):
    return [Event(f"recall P{i} 2025-01-0{i}", DAY + datetime.timedelta(days=i), title.format(i), "Every 6 months: dry mouth, bruxism; see the list", "recall") for i in range(1, number + 1)]


def read(data: bytes):
    return icalendar.Calendar.from_ical(data)


def test_a_general_library_reads_every_event_back_whole():
    found = read(calendar(events(), title="Who is due", written=DAY))
    assert found["version"] == "2.0" and found["prodid"] and not found.errors
    inside = found.walk("VEVENT")
    assert [str(event["summary"]) for event in inside] == ["Recall overdue: P1", "Recall overdue: P2", "Recall overdue: P3"]
    assert [event["dtstart"].dt for event in inside] == [DAY + datetime.timedelta(days=i) for i in (1, 2, 3)]
    assert all(type(event["dtstart"].dt) is datetime.date and event["dtend"].dt - event["dtstart"].dt == datetime.timedelta(days=1) for event in inside)
    assert all(event["description"] == "Every 6 months: dry mouth, bruxism; see the list" and not event.errors for event in inside)
    assert not found.walk("VALARM")


def test_lines_are_folded_at_75_octets_and_end_in_crlf():
    data = calendar([Event("x", DAY, "Überfällig: " + "ä€😀" * 60, "z" * 400)], title="Ö" * 90, written=DAY)
    assert data.endswith(b"END:VCALENDAR\r\n") and b"\n" not in data.replace(b"\r\n", b"")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    for line in data.split(b"\r\n"):
        line.decode("utf-8")  # no letter is cut in two
    (event,) = read(data).walk("VEVENT")
    assert event["summary"] == "Überfällig: " + "ä€😀" * 60 and event["description"] == "z" * 400


@pytest.mark.parametrize("hostile", ["P1\r\nATTENDEE:x", "a;b,c\\n", "BEGIN:VEVENT\nEND:VCALENDAR", "\x00\x07x", "=cmd|' /C calc'!A0", "\ud800", "\u2028line"])
def test_nothing_in_a_pseudonym_can_add_a_line_to_the_file(hostile):
    data = calendar([Event(hostile.encode("utf-8", "ignore").decode(), DAY, hostile, hostile)], title=hostile, written=DAY)
    found = read(data)
    assert len(found.walk("VEVENT")) == 1 and not found.walk("VEVENT")[0].errors
    assert set(found.walk("VEVENT")[0]) == {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "CLASS", "TRANSP"}


def test_the_same_events_give_the_same_bytes_in_any_order_and_a_moved_event_keeps_its_uid():
    some = events(9)
    shuffled = random.Random(1).sample(some, len(some))
    assert calendar(some, title="x", written=DAY) == calendar(shuffled, title="x", written=DAY)
    moved = [Event(one.name, one.day + datetime.timedelta(days=30), "Recall due", "") for one in some]
    uids = lambda given: {str(event["uid"]) for event in read(calendar(given, title="x", written=DAY)).walk("VEVENT")}  # noqa: E731
    assert uids(some) == uids(moved) and len(uids(some)) == 9


@pytest.mark.parametrize(("days", "back"), [(0, datetime.timedelta(0)), (7, datetime.timedelta(days=-7))])
def test_alarms_only_when_asked(days, back):
    alarms = read(calendar(events(2), title="x", written=DAY, alarm_days=days)).walk("VALARM")
    assert len(alarms) == 2 and all(alarm["trigger"].dt == back and alarm["action"] == "DISPLAY" for alarm in alarms)


def test_an_empty_calendar_is_still_one():
    assert read(calendar([], title="x", written=DAY)).walk("VEVENT") == []
