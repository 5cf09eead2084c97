"""A plan is refused with the nearest name where it asks for what does not exist, and its prices are in one currency."""

from __future__ import annotations

import pytest

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.plan import read_plan

STANDARD = '[[standards]]\nname = "x"\n'


def refused(tmp_path, text: str) -> str:
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Misuse) as problem:
        read_plan(path)
    return str(problem.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[standards]]\nname = "x"\nendpoint = "housing bond failur"\nyears = 2\nat_least = 0.9', "Did you mean housing bond failure?"),
        ('[[standards]]\nname = "x"\ncount = "snap askd"\nat_least = 0.9', "Did you mean snap asked?"),
        ('[[standards]]\nname = "x"\nendpoint = "first repair"\nyear = 2\nat_least = 0.9', "Did you mean years?"),
        (STANDARD + 'endpoint = "first repair"\nat_least = 0.9', "needs years"),
        (STANDARD + 'endpoint = "first repair"\nyears = 2\nat_least = 90', "write 0.90 for 90 %"),
        (STANDARD + 'endpoint = "first repair"\nyears = 2\nat_least = 1.0', "between 0 and 1"),
        (STANDARD + 'endpoint = "first repair"\ncount = "snap asked"\nat_least = 0.9', "names both"),
        (STANDARD + "at_least = 0.9", "names neither"),
        (STANDARD + 'count = "snap asked"\nyears = 1\nat_least = 0.9', "Leave years out"),
        ('[[standards]]\ncount = "snap asked"\nat_least = 0.9', "has no name"),
        (2 * (STANDARD + 'count = "snap asked"\nat_least = 0.9\n'), "Two standards"),
        ('[standards]\nname = "x"', "with two brackets"),
        ('[report]\nendpoints = ["insert wron"]', "Did you mean insert worn?"),
        ('[[endpoints]]\nname = "clip lost"\nunit = "clip"\nnoticed = "patient"', "Did you mean noticed_by?"),
        ('[[endpoints]]\nname = "clip lost"\nunit = "clip"', "has no noticed_by"),
        ('[six_outcomes]\ncounted_by = "mouth"', "visit or part"),
        ('[six_outcomes]\nlater_most = -1', "0 or more"),
        ('[six_outcomes]\nlater_years = 0.0', "more than 0"),
        ('[six_outcomes]\nfirst_day = 30', "Did you mean first_days?"),
        ("[instruments]\nsatisfaction_card = 1", "satisfaction_card"),
    ],
)
def test_what_does_not_exist_is_refused_with_the_nearest_name(tmp_path, text, said):
    message = refused(tmp_path, text)
    assert said in message and "own.toml" in message


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('currency = "EUR"\ndate = "2025-01-01"\nchair_hour = 100\neach = { relined = "180 CHF" }', "CHF and EUR"),
        ('date = "2025-01-01"\nchair_hour = "100 GBP"\neach = { relined = "180 EUR" }', "EUR and GBP"),
        ('date = "2025-01-01"\nchair_hour = 100', "no currency"),
        ('currency = "EUR"\nchair_hour = 100', "no date"),
        ('currency = "EUR"\ndate = "last year"\nchair_hour = 100', "no date"),
        ('currency = "EUR"\ndate = "2025-01-01"\nchair_hour = -5', "0 or more"),
        ('currency = "EUR"\ndate = "2025-01-01"\nchair_hour = nan', "0 or more"),
        ('currency = "EUR"\ndate = "2025-01-01"\neach = { "inserts changed" = 12 }', "Did you mean insert changed?"),
        ('currency = "EUR"\ndate = "2025-01-01"\neach = { "looked at" = 12 }', "kind of upkeep"),
        ('curency = "EUR"', "Did you mean currency?"),
        ('currency = "EUR"\neach = 12', "should be written like"),
    ],
)
def test_prices_are_amounts_of_one_currency_with_a_date(tmp_path, text, said):
    assert said in refused(tmp_path, f"[prices]\n{text}")


def test_prices_may_be_typed_with_their_currency_and_a_decimal_comma(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text('[prices]\ndate = 2025-01-01\nchair_hour = "120 EUR"\neach = { "insert changed" = "12,50 EUR", relined = 180 }', encoding="utf-8")
    assert read_plan(path)["prices"] == {"currency": "EUR", "date": "2025-01-01", "chair_hour": 120.0, "each": {"insert changed": 12.5, "relined": 180.0}}


def test_no_price_is_shipped():
    prices = read_plan()["prices"]
    assert not prices["currency"] and not prices["chair_hour"] and not prices["each"]


def test_the_plans_own_endpoint_may_carry_a_standard(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text('[[endpoints]]\nname = "clip lost"\nunit = "clip"\nfindings = ["lost"]\nnoticed_by = "patient"\ndefinition = "A clip was found missing."\n\n[[standards]]\nname = "Clips stay"\nendpoint = "clip lost"\nyears = 1\nat_least = 0.9', encoding="utf-8")
    assert read_plan(path)["standards"][0]["endpoint"] == "clip lost"


def test_every_action_of_the_codebook_belongs_to_exactly_one_kind_of_upkeep():
    book = schemas.codebook()
    pairs = [(part, action) for part in book["part"]["codes"] for action in book["part_action"]["codes"] if action != "none"]
    pairs += [("denture", action) for action in book["denture_action"]["codes"] if action != "none"]
    for part, action in pairs:
        named = [kind for kind, row in schemas.upkeep().items() if part in row.get("parts", ()) and action in row.get("actions", ())]
        assert len(named) == 1, (part, action, named)
    assert sum(bool(row.get("otherwise")) for row in schemas.upkeep().values()) == 1
    assert {reason for row in schemas.upkeep().values() for reason in row.get("reasons", ())} <= set(book["reason"]["codes"])
