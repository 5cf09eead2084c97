"""Dates in a form that a mapping declares, such as ``DD.MM.YYYY`` or ``MMM D, YY``, read into 2024-03-14."""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date, datetime
from functools import lru_cache

from outcomes.intake.dates import LENGTH
from outcomes.intake.numbers import digits

TOKENS = {"YYYY": r"(?P<YYYY>\d{4})", "YY": r"(?P<YY>\d{2})", "MMM": r"(?P<MMM>[^\W\d_]+\.?)", "MM": r"(?P<MM>\d{2})", "M": r"(?P<M>\d{1,2})", "DD": r"(?P<DD>\d{2})",
          "D": r"(?P<D>\d{1,2})", "hh": r"\d{1,2}", "mm": r"\d{2}", "ss": r"\d{2}(?:[.,]\d+)?"}
_TOKEN = re.compile("|".join(sorted(TOKENS, key=len, reverse=True)))
_AS_LOGGED = re.compile(r"\d{4}(?:-\d\d(?:-\d\d)?)?|not known", re.IGNORECASE)
KEEP = ("day", "month", "year")


def faulty(form: str, months: list[str] | None) -> str | None:
    """What is wrong with a declared form, in a few words; None if it can be used."""
    found = _TOKEN.findall(form)
    if not ("YYYY" in found or "YY" in found):
        return "it has no year (YYYY or YY)"
    for kind in (("YYYY", "YY"), ("MMM", "MM", "M"), ("DD", "D")):
        if sum(token in kind for token in found) > 1:
            return f"{' and '.join(kind)} mean the same; write one of them"
    if any(token in ("DD", "D") for token in found) and not any(token in ("MMM", "MM", "M") for token in found):
        return "it has a day but no month"
    if "MMM" in found and (not months or len(months) != 12):
        return "MMM needs months, the twelve words for the months in order"
    return None


@lru_cache(maxsize=64)
def _shape(form: str) -> re.Pattern:
    out, end = "", 0
    for token in _TOKEN.finditer(form):
        out += re.escape(form[end:token.start()]) + TOKENS[token[0]]
        end = token.end()
    return re.compile(out + re.escape(form[end:]), re.IGNORECASE)


def read(value, form: str, *, months: tuple[str, ...] = (), years_ahead: int = 0, keep: str = "day", today: date | None = None) -> str:
    """The date of a cell as 2024-03-14, 2024-03 or 2024. A form with a time of day (hh, mm, ss) leaves the time out.

    ``months``: the twelve words for months; ``years_ahead``: how many years the file's calendar counts more than ours (543, 1911…);
    ``keep``: "month" or "year" keeps no more than that. Two digits of a year mean the last such year that is not in the future.
    Raises ValueError with one plain sentence where the cell is not written so.

    >>> read("14.03.2024", "DD.MM.YYYY"), read("3/24", "M/YY"), read("14-03-2567", "DD-MM-YYYY", years_ahead=543), read("12.05.1948", "DD.MM.YYYY", keep="year")
    ('2024-03-14', '2024-03', '2024-03-14', '1948')
    """
    if isinstance(value, (datetime, date)):
        return _kept(f"{value.year:04d}-{value.month:02d}-{value.day:02d}", keep)
    text = " ".join(digits(str(value)).split())
    found = _shape(form).fullmatch(text)
    if not found:
        if _AS_LOGGED.fullmatch(text):
            return _kept(text.casefold(), keep)
        raise ValueError(f"it is not written {form}, as the mapping says")
    parts = found.groupdict()
    year = int(parts["YYYY"]) - years_ahead if parts.get("YYYY") else _century(int(parts["YY"]), years_ahead, today or date.today())
    if parts.get("MMM"):
        words = {_word(word): number for number, word in enumerate(months, 1)}
        month = words.get(_word(parts["MMM"]))
        if month is None:
            raise ValueError("its month is none of the words that the mapping lists")
    else:
        month = int(parts.get("MM") or parts.get("M") or 0) or None
    day = parts.get("DD") or parts.get("D")
    if month is None:
        return f"{year:04d}"
    if not 1 <= month <= 12 or day and not 1 <= int(day) <= monthrange(year, month)[1]:
        raise ValueError("there is no such day in the calendar")
    return _kept(f"{year:04d}-{month:02d}" + (f"-{int(day):02d}" if day else ""), keep)


def _kept(text: str, keep: str) -> str:
    return text if text == "not known" else text[: LENGTH[keep]]


def _century(two: int, years_ahead: int, today: date) -> int:
    own = today.year + years_ahead
    year = own - own % 100 + two
    return (year if year <= own else year - 100) - years_ahead


def _word(text: str) -> str:
    return text.strip(". ").casefold()
