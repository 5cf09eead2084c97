"""Dates as people write them: a day, a month, a year or "not known"; the order of day and month found once per file."""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date, datetime, timedelta

PRECISIONS = ("day", "month", "year", "not known")
LENGTH = {"day": 10, "month": 7, "year": 4}  # letters of a date as precise as it is known: 2024-03-14, 2024-03, 2024
EARLIEST, LATEST = 1900, 2100  # years a bare number may mean

_ISO = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?:[T ](\d\d):(\d\d)(?::(\d\d)(?:\.0+)?)?)?")
_WRITTEN = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})(?: 0{1,2}:00(?::00)?)?")
_MONTH = re.compile(r"(\d{4})[-/](\d{1,2})|(\d{1,2})[-/.](\d{4})")
_SERIAL = re.compile(r"\d{5}(?:\.0+)?")


def serial_day(number: int) -> date:
    """The day of a spreadsheet's day number in the system that counts from 1900.

    The system holds a day 60 that never was, 29 February 1900; it raises ValueError, as does a number below 1.

    >>> serial_day(45292).isoformat(), serial_day(25569).isoformat()
    ('2024-01-01', '1970-01-01')
    """
    if number < 1 or number == 60:
        raise ValueError("no day")
    return date(1899, 12, 31 if number < 60 else 30) + timedelta(days=number)


def order_evidence(texts) -> dict[str, str | None]:
    """For "day first", "month first" and "doubt": a text that shows it, or None. 13/02/2024 can only be day first; 03/04/2024 leaves doubt.

    A date whose day and month are the same number reads the same either way and shows nothing.
    """
    found: dict[str, str | None] = {"day first": None, "month first": None, "doubt": None}
    for text in texts:
        match = _WRITTEN.fullmatch(text.strip())
        if not match:
            continue
        first, second = int(match[1]), int(match[3])
        if first == second or max(first, second) > 31 or min(first, second) < 1:
            continue
        kind = "day first" if first > 12 >= second else "month first" if second > 12 >= first else "doubt" if max(first, second) <= 12 else None
        if kind and found[kind] is None:
            found[kind] = text.strip()
    return found


def parse(value, order: str | None) -> tuple[date | None, str]:
    """(first possible day, precision) of a cell. ``value``: a date, a day number, or a text; ``order``: the file's date order.

    Raises ValueError with one plain sentence where the cell holds no date, a day that never was, or a time of day.

    >>> parse("2024-03", None), parse("not known", None), parse("14.03.2024", "day first")
    ((datetime.date(2024, 3, 1), 'month'), (None, 'not known'), (datetime.date(2024, 3, 14), 'day'))
    """
    if isinstance(value, datetime):
        if (value.hour, value.minute, value.second) != (0, 0, 0):
            raise ValueError("it holds a time of day")
        return value.date(), "day"
    if isinstance(value, date):
        return value, "day"
    if isinstance(value, bool):
        raise ValueError("it is no date")
    if isinstance(value, (int, float)):
        return _number(value)
    text = " ".join(str(value).split())
    if text.casefold() == "not known":
        return None, "not known"
    if re.fullmatch(r"\d{4}", text):
        return _number(int(text))
    if _SERIAL.fullmatch(text):
        return _number(float(text))
    iso, written, month = _ISO.fullmatch(text), _WRITTEN.fullmatch(text), _MONTH.fullmatch(text)
    if iso:
        if any(part and int(part) for part in iso.group(5, 6, 7)):
            raise ValueError("it holds a time of day")
        return _day(int(iso[1]), int(iso[3]), int(iso[4])), "day"
    if written:
        first, second = int(written[1]), int(written[3])
        if order is None and first != second:
            raise ValueError("it may be day first or month first")
        day, month_number = (first, second) if order != "month first" else (second, first)
        if month_number > 12 and day <= 12:
            raise ValueError(f"it is not written {order}, as the other dates of the file are")
        return _day(int(written[4]), month_number, day), "day"
    if month:
        year, number = (int(month[1]), int(month[2])) if month[1] else (int(month[4]), int(month[3]))
        return _day(year, number, 1), "month"
    if re.fullmatch(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2}", text):
        raise ValueError("its year has two digits only")
    raise ValueError("it is no date")


def is_day_number(value) -> bool:
    """Whether a cell holds a spreadsheet's day number, such as 45292, and not a year."""
    if isinstance(value, bool):
        return False
    if isinstance(value, (int, float)):
        return LATEST < value < 100_000
    return isinstance(value, str) and bool(_SERIAL.fullmatch(value.strip()))


def last_day(first: date, precision: str) -> date | None:
    """The last possible day of a date with this first possible day; None for "not known"."""
    if precision == "month":
        return first.replace(day=monthrange(first.year, first.month)[1])
    if precision == "year":
        return first.replace(month=12, day=31)
    return first if precision == "day" else None


def _number(value: float) -> tuple[date, str]:
    if value != value or abs(value) > 1e9:
        raise ValueError("it is no date")
    if value != int(value):
        raise ValueError("it holds a time of day")
    if EARLIEST <= value <= LATEST:
        return date(int(value), 1, 1), "year"
    if value == 60:
        raise ValueError("it is a spreadsheet's day 60, 29 February 1900, which never was")
    try:
        day = serial_day(int(value))
    except (ValueError, OverflowError):
        raise ValueError("it is no date") from None
    if not EARLIEST < day.year <= LATEST:
        raise ValueError("it is no date")
    return day, "day"


def _day(year: int, month: int, day: int) -> date:
    if not EARLIEST <= year <= LATEST:
        raise ValueError(f"its year is not between {EARLIEST} and {LATEST}")
    try:
        return date(year, month, day)
    except ValueError:
        raise ValueError("there is no such day in the calendar") from None
