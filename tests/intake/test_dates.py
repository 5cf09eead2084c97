"""Dates: as precise as known, exact by the calendar, and their order found once."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.intake import dates

days = st.dates(date(1950, 1, 1), date(2100, 12, 31))


@given(days, st.sampled_from(["-", "/", "."]))
def test_a_year_first_date_is_read_alike_under_any_order(day, mark):
    text = f"{day.year}{mark}{day.month:02d}{mark}{day.day:02d}"
    assert {dates.parse(text, order) for order in (None, "day first", "month first")} == {(day, "day")}


@given(days, st.sampled_from(["-", "/", "."]), st.booleans())
def test_a_written_date_is_read_by_the_order_of_its_file(day, mark, padded):
    width = 2 if padded else 1
    day_first = f"{day.day:0{width}d}{mark}{day.month:0{width}d}{mark}{day.year}"
    month_first = f"{day.month:0{width}d}{mark}{day.day:0{width}d}{mark}{day.year}"
    assert dates.parse(day_first, "day first") == (day, "day")
    assert dates.parse(month_first, "month first") == (day, "day")


@given(days)
def test_the_evidence_for_an_order_is_never_wrong(day):
    text = f"{day.day}/{day.month}/{day.year}"
    found = dates.order_evidence([text])
    assert found["month first"] is None
    assert (found["day first"] is not None) == (day.day > 12)
    assert (found["doubt"] is not None) == (day.day <= 12 and day.day != day.month)


@given(days, st.sampled_from(["day", "month", "year"]))
def test_the_first_and_last_possible_day_hold_the_true_day(day, precision):
    text = {"day": f"{day:%Y-%m-%d}", "month": f"{day:%Y-%m}", "year": f"{day:%Y}"}[precision]
    first, found = dates.parse(text, None)
    assert found == precision
    assert first <= day <= dates.last_day(first, precision)
    assert (first - timedelta(days=1)).year != first.year or precision != "year"
    assert (dates.last_day(first, precision) + timedelta(days=1)).day == 1 or precision == "day"


@pytest.mark.parametrize("text", ["2023-02-29", "1900-02-29", "2100-02-29", "2024-02-30", "2024-13-01", "2024-00-10", "2024-04-31", "31/04/2024", "00/01/2024"])
def test_a_day_that_never_was_is_refused(text):
    with pytest.raises(ValueError, match="no such day"):
        dates.parse(text, "day first")


@pytest.mark.parametrize("text", ["2024-02-29", "2000-02-29", "29/02/2024"])
def test_a_true_leap_day_is_taken(text):
    assert dates.parse(text, "day first")[1] == "day"


@pytest.mark.parametrize("number, day", [(1, date(1900, 1, 1)), (59, date(1900, 2, 28)), (61, date(1900, 3, 1)), (25569, date(1970, 1, 1)), (45292, date(2024, 1, 1))])
def test_day_numbers_of_a_spreadsheet_count_from_1900(number, day):
    # 25569 and 45292: computed from the calendar, and as spreadsheet programs show them
    assert dates.serial_day(number) == day


@pytest.mark.parametrize("number", [60, 0, -1])
def test_the_false_leap_day_of_1900_is_no_day(number):
    with pytest.raises(ValueError):
        dates.serial_day(number)


@given(days)
def test_a_day_number_means_the_same_as_its_date(day):
    number = (day - date(1899, 12, 30)).days
    assert dates.parse(number, None) == dates.parse(str(number), None) == dates.parse(float(number), None) == (day, "day")


def test_a_time_of_day_is_cut_only_where_it_is_midnight():
    assert dates.parse("2024-03-14T00:00:00", None) == dates.parse(datetime(2024, 3, 14), None) == (date(2024, 3, 14), "day")
    for value in ("2024-03-14 10:30", datetime(2024, 3, 14, 10, 30), 45365.5):
        with pytest.raises(ValueError, match="time of day"):
            dates.parse(value, None)


@pytest.mark.parametrize("text, day, precision", [("2026", date(2026, 1, 1), "year"), ("2026-03", date(2026, 3, 1), "month"), ("03/2026", date(2026, 3, 1), "month"),
                                                  ("3.2026", date(2026, 3, 1), "month"), (2026, date(2026, 1, 1), "year"), (" Not  Known ", None, "not known")])
def test_coarse_dates_keep_how_much_is_known(text, day, precision):
    assert dates.parse(text, None) == (day, precision)


@pytest.mark.parametrize("text, why", [("14/03/24", "two digits"), ("14/03/2024", "day first or month first"), ("March 2024", "no date"), ("", "no date"), ("2024-3-14-1", "no date"), (True, "no date"), (3, "no date")])
def test_what_cannot_be_read_says_why(text, why):
    with pytest.raises(ValueError, match=why):
        dates.parse(text, None)


def test_a_date_that_contradicts_its_file_is_refused_rather_than_turned_round():
    with pytest.raises(ValueError, match="as the other dates"):
        dates.parse("02/13/2024", "day first")
