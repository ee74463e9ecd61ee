"""Working days, order days and cut-offs."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.errors import BadValue
from vanstock.workdays import (
    Calendar,
    arrival_date,
    next_cutoff,
    parse_cutoff,
    parse_date,
    parse_days,
    week_start,
)

MONDAY = date(2027, 3, 1)
GOOD_FRIDAY, EASTER_MONDAY = date(2027, 3, 26), date(2027, 3, 29)
EASTER = Calendar(closed=frozenset({GOOD_FRIDAY, EASTER_MONDAY}))

days = st.dates(date(2026, 1, 1), date(2028, 12, 31))
calendars = st.builds(
    Calendar,
    working=st.frozensets(st.integers(0, 6), min_size=1),
    closed=st.frozensets(st.dates(date(2026, 6, 1), date(2027, 6, 1)), max_size=20),
)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Mon-Fri", {0, 1, 2, 3, 4}),
        ("Tue", {1}),
        ("Mon;Thu", {0, 3}),
        ("Fri-Mon", {4, 5, 6, 0}),
        ("Mon-Wed;Sat", {0, 1, 2, 5}),
        (" mon ; THU ", {0, 3}),
    ],
)
def test_days_are_read_as_people_write_them(text: str, found: set[int]) -> None:
    assert parse_days(text) == found


@pytest.mark.parametrize("text", ["", "Someday", "Mon-", "-Fri", "Mon;;Tue", "Mon-Wed-Fri", "1-5"])
def test_days_that_cannot_be_read_are_refused_with_the_way_to_write_them(text: str) -> None:
    with pytest.raises(BadValue, match="write Mon-Fri, Tue or Mon;Thu"):
        parse_days(text)


def test_a_cutoff_is_a_time_of_day() -> None:
    assert parse_cutoff("17:00") == time(17)
    for text in ("", "25:00", "12:60", "noon", "17"):
        with pytest.raises(BadValue, match="write hours and minutes, like 17:00"):
            parse_cutoff(text)


def test_a_date_that_does_not_exist_or_is_far_away_is_refused() -> None:
    assert parse_date("2028-02-29") == date(2028, 2, 29)
    for text in ("2027-02-29", "2027-3-1", "20270301", "1989-12-31", "2101-01-01", "", "2027-W09-1"):
        with pytest.raises(BadValue, match="write it as 2027-03-01"):
            parse_date(text)


def test_a_day_that_exists_and_is_too_far_away_is_not_said_to_not_exist() -> None:
    for text in ("1989-12-31", "2101-01-01"):
        with pytest.raises(BadValue, match=f"date '{text}' is not from 1990 to 2100"):
            parse_date(text)


def test_easter_is_stepped_over() -> None:
    thursday, tuesday = date(2027, 3, 25), date(2027, 3, 30)
    assert EASTER.next_working(thursday) == tuesday
    assert EASTER.add_working(thursday, 2) == date(2027, 3, 31)
    assert EASTER.working_days_between(thursday, tuesday) == 1
    assert arrival_date(thursday, 1, EASTER) == tuesday
    assert arrival_date(thursday, 0, EASTER) == thursday


def test_a_firm_that_never_works_is_told_which_settings_to_look_at() -> None:
    with pytest.raises(BadValue, match="working_days and closed_days"):
        Calendar(working=frozenset()).next_working(MONDAY)


@given(days, st.integers(0, 40), calendars)
def test_so_many_working_days_later_is_so_many_working_days_away(day: date, count: int, calendar: Calendar) -> None:
    later = calendar.add_working(day, count)
    assert calendar.working_days_between(day, later) == count
    assert count == 0 or calendar.is_working(later)


@given(days, st.integers(0, 20), st.integers(0, 20), calendars)
def test_working_days_add_up(day: date, first: int, second: int, calendar: Calendar) -> None:
    at_once = calendar.add_working(day, first + second)
    assert calendar.add_working(calendar.add_working(day, first), second) == at_once


@given(days, st.integers(0, 60), st.integers(0, 60), calendars)
def test_working_days_between_are_those_of_both_halves(day: date, first: int, more: int, calendar: Calendar) -> None:
    middle, end = day + timedelta(first), day + timedelta(first + more)
    halves = calendar.working_days_between(day, middle) + calendar.working_days_between(middle, end)
    assert calendar.working_days_between(day, end) == halves
    assert calendar.working_days_between(end, day) == 0 or more + first == 0


@given(days, st.integers(0, 30))
def test_working_days_agree_with_numpy_when_the_firm_is_open_all_week_days(day: date, count: int) -> None:
    import numpy as np

    expected = np.busday_offset(np.datetime64(day), count, roll="backward").astype(object)
    assert count == 0 or Calendar().add_working(day, count) == expected


@given(days)
def test_a_week_starts_on_the_monday_at_or_before_the_day(day: date) -> None:
    monday = week_start(day)
    assert monday.weekday() == 0
    assert timedelta(0) <= day - monday < timedelta(7)


@pytest.mark.parametrize(
    ("now", "moment"),
    [
        (datetime(2027, 3, 1, 16, 59), datetime(2027, 3, 1, 17)),
        (datetime(2027, 3, 1, 17, 0), datetime(2027, 3, 1, 17)),
        (datetime(2027, 3, 1, 17, 1), datetime(2027, 3, 2, 17)),
        (datetime(2027, 3, 5, 18, 0), datetime(2027, 3, 8, 17)),
        (datetime(2027, 3, 25, 18, 0), datetime(2027, 3, 30, 17)),
    ],
)
def test_the_next_cutoff_is_today_until_it_has_passed(now: datetime, moment: datetime) -> None:
    assert next_cutoff("Mon-Fri", "17:00", now=now, calendar=EASTER) == moment


def test_an_order_day_on_which_the_firm_is_closed_is_no_order_day() -> None:
    before_easter = datetime(2027, 3, 27, 9)
    assert next_cutoff("Mon", "12:00", now=before_easter, calendar=EASTER) == datetime(2027, 4, 5, 12)


def test_no_cutoff_means_the_end_of_the_day_and_no_order_days_mean_the_working_week() -> None:
    now = datetime(2027, 3, 1, 22)
    assert next_cutoff("", "", now=now, calendar=Calendar()) == datetime(2027, 3, 1, 23, 59)


def test_order_days_that_the_firm_never_works_have_no_cutoff() -> None:
    assert next_cutoff("Sat", "12:00", now=datetime(2027, 3, 1, 9), calendar=Calendar()) is None


def test_the_cutoff_carries_the_offset_of_now() -> None:
    summer = timezone(timedelta(hours=1))
    found = next_cutoff("Mon-Fri", "17:00", now=datetime(2027, 4, 1, 9, tzinfo=summer), calendar=Calendar())
    assert found == datetime(2027, 4, 1, 17, tzinfo=summer)


@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2028, 12, 31)),
    st.sampled_from(["Mon-Fri", "Tue", "Mon;Thu", "Fri-Sun"]),
    st.sampled_from(["", "00:00", "11:00", "17:00"]),
)
def test_no_earlier_cutoff_is_missed(now: datetime, order_days: str, cutoff: str) -> None:
    found = next_cutoff(order_days, cutoff, now=now, calendar=EASTER)
    until = parse_cutoff(cutoff or "23:59")
    slow = now.date()
    while (
        slow.weekday() not in parse_days(order_days)
        or not EASTER.is_working(slow)
        or datetime.combine(slow, until) < now
    ):
        slow += timedelta(1)
    assert found == datetime.combine(slow, until)
