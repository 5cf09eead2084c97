"""What a plan says in lists and open sections, checked when it is read: standards, endpoints of its own, the six outcomes, the clinic's prices."""

from __future__ import annotations

import datetime
import difflib
import re

from outcomes.errors import Misuse

STANDARD = ("name", "endpoint", "years", "count", "at_least", "source")
ENDPOINT = ("name", "title", "unit", "findings", "actions", "causes", "any_of", "noticed_by", "attachments", "definition")
_AMOUNT = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*([^\s\d.,]{1,5})?\s*$")


def known(name: str, allowed, what: str) -> None:
    """Raises Misuse, naming the nearest known name, where ``name`` is not among those allowed."""
    allowed = list(allowed)
    if name in allowed:
        return
    near = difflib.get_close_matches(str(name), allowed, n=1, cutoff=0.5)
    hint = f"Did you mean {near[0]}?" if near else f"Known are: {', '.join(allowed)}."
    raise Misuse(f"{name} is no {what}. {hint}")


def check(body: dict, where: str) -> None:
    """Raises Misuse where an entry of a list has an unknown key or name, lacks a needed one, or asks for what does not exist."""
    from outcomes import schemas

    own = _entries(body.get("endpoints", []), "endpoints", ENDPOINT, where)
    for row in own:
        for key in ("name", "unit", "noticed_by", "definition"):
            if not row.get(key):
                raise Misuse(f"The endpoint {row.get('name', 'without a name')} in {where} has no {key}. Write it as the declared endpoints do.")
    endpoints = [*schemas.endpoints(), *(row["name"] for row in own)]
    for name in body["report"]["endpoints"]:
        known(name, endpoints, f"endpoint, which [report] in {where} asks for")
    counted = body["six_outcomes"]["counted_by"]
    if counted not in ("visit", "part"):
        raise Misuse(f"counted_by in [six_outcomes] of {where} is {counted}; it should be visit or part.")
    for key, value in body["six_outcomes"].items():
        if key != "counted_by" and (value < 0 or value == 0 and key in ("first_days", "later_years", "seen_within_days")):
            raise Misuse(f"{key} in [six_outcomes] of {where} is {value}; it should be {'0 or more' if value < 0 and key.endswith('most') else 'more than 0'}.")
    names: set[str] = set()
    for row in _entries(body.get("standards", []), "standards", STANDARD, where):
        _standard(row, endpoints, list(schemas.practice()), where)
        if row["name"] in names:
            raise Misuse(f"Two standards in {where} are named {row['name']}. Give each a name of its own, so that verdicts can be told apart.")
        names.add(row["name"])


def _entries(rows, section: str, keys, where: str) -> list[dict]:
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise Misuse(f"{section} in {where} is a list: write [[{section}]] above each entry, with two brackets.")
    for row in rows:
        for key in row:
            known(key, keys, f"setting of [[{section}]] in {where}")
    return rows


def _standard(row: dict, endpoints: list[str], counts: list[str], where: str) -> None:
    name = row.get("name")
    if not isinstance(name, str) or not name.strip():
        raise Misuse(f"A standard in {where} has no name. Write name = \"what it asks, in a few words\".")
    said = f"The standard {name} in {where}"
    if ("endpoint" in row) == ("count" in row):
        raise Misuse(f"{said} should name either an endpoint (how long something lasts) or a count (what the clinic did), and {'names both' if 'count' in row else 'names neither'}.")
    least = row.get("at_least")
    if isinstance(least, bool) or not isinstance(least, (int, float)) or not 0 < least < 1:
        raise Misuse(f"{said} needs at_least, a share between 0 and 1: write 0.90 for 90 %. No log of any size can show that all of them do.")
    if "count" in row:
        known(row["count"], counts, f"count, which the standard {name} in {where} asks for")
        if "years" in row:
            raise Misuse(f"{said} counts what the clinic did; years belong to endpoints only. Leave years out.")
        return
    known(row["endpoint"], endpoints, f"endpoint, which the standard {name} in {where} asks for")
    years = row.get("years")
    if isinstance(years, bool) or not isinstance(years, (int, float)) or not 0 < years <= 50:
        raise Misuse(f"{said} needs years: how long after fitting it is to hold, such as 2.")


def prices(settings: dict, default: dict, where: str) -> dict:
    """The section of prices with every amount a number and one currency for all.

    Raises Misuse for unknown settings or kinds of upkeep, amounts that are none, more than one currency, no currency or no date.
    """
    from outcomes import schemas

    where = f"[prices] of {where}"
    if not isinstance(settings, dict):
        raise Misuse("prices in the plan is a section: write [prices] and its settings below it.")
    for key in settings:
        known(key, default, f"setting of {where}")
    each = settings.get("each", {})
    if not isinstance(each, dict):
        raise Misuse(f"each in {where} should be written like {{ \"insert changed\" = 12.0 }}.")
    for kind in each:
        known(kind, [name for name, row in schemas.upkeep().items() if row.get("parts")], f"kind of upkeep, which {where} gives a price for")
    currency, date = settings.get("currency", ""), settings.get("date", "")
    currencies = {currency.strip()} - {""} if isinstance(currency, str) else set()
    amounts = {}
    for name, value in (("chair_hour", settings.get("chair_hour", 0.0)), *each.items()):
        amounts[name], other = _amount(value, name, where)
        currencies |= {other} - {""}
    if len(currencies) > 1:
        raise Misuse(f"The prices in {where} are in {' and '.join(sorted(currencies))}. Give all of them in one currency: amounts of different currencies cannot be added.")
    if any(amounts.values()) and not currencies:
        raise Misuse(f"The prices in {where} have no currency. Write currency = \"EUR\", or whichever they are in.")
    if isinstance(date, datetime.date):
        date = date.isoformat()
    if any(amounts.values()) and not _is_day(date):
        raise Misuse(f"The prices in {where} have no date. Write date = \"YYYY-MM-DD\", the day of the price list: it is printed beside every cost.")
    chair = amounts.pop("chair_hour")
    return {"currency": next(iter(currencies), ""), "date": str(date), "chair_hour": chair, "each": amounts}


def _amount(value, name: str, where: str) -> tuple[float, str]:
    """(amount, its currency or ""): 12, 12.5, "12.50 EUR" or "12,50 EUR"."""
    if isinstance(value, (int, float)) and not isinstance(value, bool) and 0 <= value < float("inf"):
        return float(value), ""
    found = _AMOUNT.match(value) if isinstance(value, str) else None
    if found is None:
        raise Misuse(f"The price of {name} in {where} should be an amount of 0 or more, such as 12.50 or \"12.50 EUR\".")
    return float(found[1].replace(",", ".")), found[2] or ""


def _is_day(text) -> bool:
    try:
        return bool(datetime.date.fromisoformat(text))
    except (TypeError, ValueError):
        return False
