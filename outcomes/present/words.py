"""Numbers into words, rounded once and here only, and the words that pages and slides keep to.

Shares are rounded to whole percent, years to a tenth, always half away from zero so that what is printed does not depend
on how a machine stores a half. A share that is not nought is never printed as 0 %, nor one short of all as 100 %.
"""

from __future__ import annotations

import datetime
import math
import re
from decimal import ROUND_HALF_UP, Decimal

SPACE = "\u00a0"  # keeps a number and its unit on one line
MINUS = "\u2212"
FEW = 20  # below this many people a share is said as "x of y"

# What pages and slides say, and what it is called in "Methods".
WORDS = {
    "share still working": "survival probability",
    "half were worn by": "median lifetime",
    "likely range": "95 % confidence interval",
    "last checked": "last examination without a counting finding",
    "what happens to a part": "cumulative incidence by cause",
    "visits so far": "mean cumulative function",
}

# Names that belong in "Methods" and in speaker notes, nowhere else. Lower case; a page outside Methods holds none of them.
METHOD_NAMES = (
    "kaplan", "meier", "turnbull", "greenwood", "jackknife", "bootstrap", "clopper", "wilson", "poisson", "aalen", "johansen", "weibull",
    "hazard", "sandwich estimator", "nonparametric", "non-parametric", "confidence interval", "log-rank", "logrank", "cumulative incidence",
    "restricted mean", "npmle", "estimator", "cluster-robust", "interval-censored", "interval censoring", "mean cumulative function",
    "competing risk", "maximum likelihood", "log–log", "student", "p-value", "p =", "p <", "n =", "n=",
)  # fmt: skip


def rounded(value: float, digits: int = 0) -> Decimal:
    """``value`` to ``digits`` decimals, halves away from zero (the decimal as printed by Python decides what a half is).

    >>> rounded(0.125, 2), rounded(2.5), rounded(-0.5)
    (Decimal('0.13'), Decimal('3'), Decimal('-1'))
    """
    step = Decimal(1).scaleb(-digits)
    return Decimal(repr(float(value))).quantize(step, rounding=ROUND_HALF_UP)


def number(value: float | None, digits: int = 0) -> str:
    """A number with ``digits`` decimals and a true minus sign; "not known" for nothing or nan.

    >>> number(-3.25, 1)
    '−3.3'
    """
    if value is None or not math.isfinite(value):
        return "not known"
    shown = rounded(value, digits)
    if shown == 0:
        shown = abs(shown)
    return f"{shown}".replace("-", MINUS)


def percent(share: float | None) -> str:
    """A share between 0 and 1 as whole percent: "over 99 %" short of all, "under 1 %" short of none.

    >>> percent(0.634), percent(0.998), percent(0.001), percent(1.0)
    ('63\\xa0%', 'over 99\\xa0%', 'under 1\\xa0%', '100\\xa0%')
    """
    if share is None or not math.isfinite(share):
        return "not known"
    whole = int(rounded(100 * share))
    if whole >= 100 and share < 1:
        return f"over 99{SPACE}%"
    if whole <= 0 and share > 0:
        return f"under 1{SPACE}%"
    return f"{whole}{SPACE}%"


def percent_range(low: float, high: float) -> str:
    """Two shares as one range: "60 to 80 %". Limits round outward never: each is rounded like any share.

    >>> percent_range(0.6, 0.8)
    '60 to 80\\xa0%'
    """
    first, second = percent(low), percent(high)
    if first == second:
        return first
    return f"{first.removesuffix(SPACE + '%')} to {second}" if not first.startswith(("over", "under")) else f"{first} to {second}"


def share(value: float | None, whole: int, people: int | None = None) -> str:
    """A share counted among ``whole``: whole percent, or "x of y" where fewer than twenty people are behind it (as many as ``whole``, unless told).

    >>> share(0.7, 84), share(0.7, 11), share(0.5, 30, people=12)
    ('70\\xa0%', '8 of 11', '15 of 30')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if (whole if people is None else people) >= FEW:
        return percent(value)
    return f"{rounded(value * whole)} of {whole}"


def estimated(value: float | None, people: int) -> str:
    """A share that was estimated, not counted: whole percent, or tenths where it rests on fewer than twenty people.

    >>> estimated(0.72, 84), estimated(0.72, 11), estimated(1.0, 4), estimated(0.97, 12), estimated(0.02, 12)
    ('72\\xa0%', 'about 7 of 10', 'all', 'nearly all', 'hardly any')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if people >= FEW:
        return percent(value)
    tenths = int(rounded(10 * value))
    if tenths in (0, 10):
        return {1.0: "all", 0.0: "none"}.get(float(value), "nearly all" if tenths else "hardly any")
    return f"about {tenths} of 10"


def estimated_range(low: float, high: float, people: int) -> str:
    """Two estimated shares as one range, in tenths where it rests on fewer than twenty people.

    >>> estimated_range(0.41, 0.86, 80), estimated_range(0.41, 0.86, 12), estimated_range(0.41, 0.44, 12)
    ('41 to 86\\xa0%', 'about 4 to 9 of 10', 'about 4 of 10')
    """
    if people >= FEW:
        return percent_range(low, high)
    first, last = (int(rounded(10 * edge)) for edge in (low, high))
    return estimated(low, people) if first == last else f"about {first} to {last} of 10"


def years(days: float | None) -> str:
    """Days as years to a tenth; 365.25 days to the year.

    >>> years(913), years(365.25), years(float("inf"))
    ('2.5 years', '1 year', 'not reached')
    """
    if days is not None and math.isinf(days):
        return "not reached"
    if days is None or math.isnan(days):
        return "not known"
    return span(days / 365.25)


def span(length: float) -> str:
    """A number of years in words: a tenth where needed, "1 year" where exact.

    >>> span(3), span(1), span(0.52)
    ('3 years', '1 year', '0.5 years')
    """
    shown = number(length, 1).removesuffix(".0")
    return f"{shown} year" if shown == "1" else f"{shown} years"


def days(count: float | None) -> str:
    """Whole days below 100, months to 2 years, then years.

    >>> days(1), days(45), days(182), days(1000)
    ('1 day', '45 days', '6 months', '2.7 years')
    """
    if count is None or not math.isfinite(count):
        return "not known"
    whole = int(rounded(count))
    if whole < 100:
        return "1 day" if whole == 1 else f"{whole} days"
    if whole < 730:
        return f"{rounded(count / 30.4375)} months"
    return years(count)


def every(count: float) -> str:
    """A recall interval: months wherever it is whole months to the day, so that a column of intervals has one unit.

    >>> every(91), every(183), every(365), every(730), every(21), every(45)
    ('3 months', '6 months', '12 months', '2 years', '21 days', '45 days')
    """
    months = int(rounded(count / 30.4375))
    return f"{months} months" if 2 <= months < 24 and count < 100 and abs(count - months * 30.4375) <= 1.5 else days(count)


def rate(value: float | None) -> str:
    """A rate: two decimals below 1, one below 10, then whole; nothing at all is plain 0.

    >>> rate(0.624), rate(1.25), rate(14.6), rate(0.0)
    ('0.62', '1.3', '15', '0')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if value == 0:
        return "0"
    return number(value, 2 if value < 0.995 else 1 if value < 9.95 else 0)


def rate_range(low: float, high: float) -> str:
    """Two rates as one range.

    >>> rate_range(0.41, 1.02)
    '0.41 to 1.0'
    """
    return f"{rate(low)} to {rate(high)}"


def count(amount: int, one: str, many: str | None = None) -> str:
    """A count with its noun: "1 patient", "12 patients"; thousands set apart by a thin gap.

    >>> count(1, "patient"), count(0, "patient"), count(2, "body", "bodies"), count(12345, "visit")
    ('1 patient', '0 patients', '2 bodies', '12\\xa0345 visits')
    """
    amount = int(amount)
    shown = f"{amount:,}".replace(",", SPACE) if abs(amount) >= 10_000 else str(amount)
    return f"{shown} {one if amount == 1 else many or one + 's'}"


def people(patients: int, parts: int | None = None, one: str = "", many: str | None = None) -> str:
    """Patients first, then parts.

    >>> people(84, 168, "insert")
    '84 patients, 168 inserts'
    """
    first = count(patients, "patient")
    return first if parts is None else f"{first}, {count(parts, one, many)}"


MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")


def day(date: datetime.date) -> str:
    """A date as people say it, the same on every machine.

    >>> day(datetime.date(2025, 6, 14))
    '14\\xa0June 2025'
    """
    return f"{date.day}{SPACE}{MONTHS[date.month - 1]} {date.year}"


def newtons(force: float | None) -> str:
    """A force to a tenth of a newton.

    >>> newtons(6.672332)
    '6.7\\xa0N'
    """
    if force is None or not math.isfinite(force):
        return "not known"
    return number(force, 1).removesuffix(".0") + f"{SPACE}N"


def listing(items: list[str], last: str = "and") -> str:
    """Words in a row.

    >>> listing(["a", "b", "c"]), listing(["a"])
    ('a, b and c', 'a')
    """
    items = list(items)
    return "".join(items) if len(items) < 2 else f"{', '.join(items[:-1])} {last} {items[-1]}"


def joined(number: str, rest: str) -> str:
    """A number and how its sentence goes on: "72 % of dentures", but "7 of 10 dentures".

    >>> joined("about 7 of 10", "of dentures held"), joined("0.6", "visits a year")
    ('about 7 of 10 dentures held', '0.6 visits a year')
    >>> joined("nearly all", "of dentures held"), joined("none", "of dentures held")
    ('nearly all dentures held', 'none of the dentures held')
    """
    return f"{number} {follow(number, rest)}".strip()


def follow(number: str, rest: str) -> str:
    """How the sentence goes on after ``number``: without its "of" where the number ends in people or is a word such as "all"."""
    if number == "none":
        return re.sub("^of ", "of the ", rest)
    return rest.removeprefix("of ") if re.search(r"\d of \d+$", number) or number in ("all", "nearly all", "hardly any") else rest


def sentence(text: str) -> str:
    """The text with a capital first letter.

    >>> sentence("half were worn")
    'Half were worn'
    """
    return text[:1].upper() + text[1:]


def shortened(text: str, most: int = 28) -> str:
    """A label cut to ``most`` characters with an ellipsis; the full text belongs beside it.

    >>> shortened("a very long name of a level indeed", 12)
    'a very long…'
    """
    text = str(text)
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"
