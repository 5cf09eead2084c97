"""Sentences for talking to a patient: counts of ten people, both ways round, in words that a child of twelve can read."""

from __future__ import annotations

from outcomes.present import words

TEN = 10
PAST = "of our past patients"
CLOSING = ("These counts come from past patients of this clinic.", "They show what came to pass, not what must come.", "You may do better or worse.", "Your dentist knows your mouth and decides with you.")
QUESTIONS = {
    "first repair": "Will it need a repair?",
    "level change": "Will the snap need a change?",
    "snap right": "Will the snap feel right?",
    "extra visits": "Will I have to come back in between?",
    "satisfaction": "Will I be glad I did it?",
}


def tens(share: float) -> int:
    """How many of ten people a share is.

    >>> tens(0.34), tens(0.02), tens(0.96)
    (3, 0, 10)
    """
    return int(words.rounded(TEN * share))


def of_ten(count: int) -> str:
    """A count of ten as it is said; none and all of ten people are never promised.

    >>> of_ten(3), of_ten(0), of_ten(10)
    ('About 3 in 10', 'Fewer than 1 in 10', 'More than 9 in 10')
    """
    return "Fewer than 1 in 10" if count <= 0 else "More than 9 in 10" if count >= TEN else f"About {count} in 10"


def likely(low: int, high: int) -> str:
    """The likely range of a count of ten.

    >>> likely(2, 5), likely(0, 2), likely(8, 10), likely(3, 3), likely(0, 10)
    ('Between 2 and 5 in 10 is likely.', 'Up to 2 in 10 is likely.', 'At least 8 in 10 is likely.', 'The true count is not likely to be far off.', 'But it could be far more or far fewer.')
    """
    if low >= high:
        return "The true count is not likely to be far off."
    if low <= 0 and high >= TEN:
        return "But it could be far more or far fewer."
    if low <= 0:
        return f"Up to {high} in 10 is likely."
    if high >= TEN:
        return f"At least {low} in 10 is likely."
    return f"Between {low} and {high} in 10 is likely."


def span(years: float) -> str:
    """A length of time in plain words.

    >>> span(1), span(2), span(0.5), span(1.5)
    ('1 year', '2 years', '6 months', '18 months')
    """
    if years == int(years):
        return "1 year" if years == 1 else f"{int(years)} years"
    months = int(words.rounded(12 * years))
    return "1 month" if months == 1 else f"{months} months"


def repair(share: float, low: float, high: float, years: float) -> tuple[str, ...]:
    """How many needed a first repair, and how many did not. share, low, high: of people who needed one."""
    k = tens(share)
    return (f"{of_ten(k)} {PAST} had to have a repair within {span(years)}.", f"{of_ten(TEN - k)} did not.", likely(tens(low), tens(high)))


def level(share: float, low: float, high: float, years: float) -> tuple[str, ...]:
    """How many had the retention level changed, and how many kept it. share: of people who had it changed."""
    k = tens(share)
    return (f"{of_ten(k)} {PAST} had the snap changed within {span(years)}.", f"{of_ten(TEN - k)} kept the snap they began with.", likely(tens(low), tens(high)))


def snap(share: float, low: float, high: float) -> tuple[str, ...]:
    """How many called the snap just right when last asked. share: of people who did."""
    k = tens(share)
    return (f"{of_ten(k)} {PAST} said the snap was just right when last asked.", f"{of_ten(TEN - k)} found it too loose or too firm.", likely(tens(low), tens(high)))


def visits(share: float, low: float, high: float, years: float, rate: float, least: float, most: float) -> tuple[str, ...]:
    """How many came at least once unplanned, and how many such visits ten people make in a year. share: of people who came."""
    k, number, fewest, largest = tens(share), *(int(words.rounded(TEN * value)) for value in (rate, least, most))
    each = f"Ten people made about {number} such {'visit' if number == 1 else 'visits'} in one year." if number else "Ten people made fewer than 1 such visit in one year."
    between = f"From {fewest} to {largest} is likely." if largest > fewest else "The true count is not likely to be far off."
    return (f"{of_ten(k)} {PAST} came back with a problem within {span(years)}.", f"{of_ten(TEN - k)} did not.", likely(tens(low), tens(high)), f"{each} {between}")


def glad(share: float, low: float, high: float) -> tuple[str, ...]:
    """How many were clearly more satisfied a year after delivery than before. share: of people who were."""
    k = tens(share)
    return (f"{of_ten(k)} {PAST} felt much happier after 1 year.", f"{of_ten(TEN - k)} felt the same, or less happy.", likely(tens(low), tens(high)))
