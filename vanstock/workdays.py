"""Working days, closed days, order days and cut-offs, in the firm's local time. Stdlib only."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from vanstock.errors import BadValue

DAY_NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MONDAY_TO_FRIDAY = frozenset(range(5))
_ONE_DAY = timedelta(days=1)
_FAR = 400
_FIRST_YEAR, _LAST_YEAR = 1990, 2100
_LIKE_A_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_LIKE_A_TIME = re.compile(r"\d{1,2}:\d{2}")


def parse_days(text: str) -> frozenset[int]:
    """Weekday numbers (Monday 0) in `Mon-Fri`, `Tue` or `Mon;Thu`; raises `BadValue`.

    >>> sorted(parse_days("Mon;Thu")), sorted(parse_days("Sat-Mon"))
    ([0, 3], [0, 5, 6])
    """
    days: set[int] = set()
    for piece in text.replace(",", ";").split(";"):
        first, dash, last = (word.strip() for word in piece.partition("-"))
        start = _day(first, text)
        end = _day(last, text) if dash else start
        days.update((start + step) % 7 for step in range((end - start) % 7 + 1))
    return frozenset(days)


def _day(word: str, text: str) -> int:
    if word.lower() not in DAY_NAMES:
        raise BadValue(f"days {text!r} cannot be read: write Mon-Fri, Tue or Mon;Thu")
    return DAY_NAMES.index(word.lower())


def parse_cutoff(text: str) -> time:
    """The time of day in `17:00`; raises `BadValue`."""
    try:
        return datetime.strptime(text.strip(), "%H:%M").time()  # noqa: DTZ007
    except ValueError:
        why = "does not exist" if _LIKE_A_TIME.fullmatch(text.strip()) else "cannot be read"
        raise BadValue(f"time {text!r} {why}: write hours and minutes, like 17:00") from None


def parse_date(text: str) -> date:
    """The day in `2027-03-01`, from 1990 to 2100; raises `BadValue`."""
    day: date | None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or text != day.isoformat():
        why = "does not exist" if _LIKE_A_DATE.fullmatch(text) else "cannot be read"
        raise BadValue(f"date {text!r} {why}: write it as 2027-03-01")
    if not can_be_kept(day):
        raise BadValue(f"date {text!r} is not from {_FIRST_YEAR} to {_LAST_YEAR}: write it as 2027-03-01")
    return day


def can_be_kept(day: date) -> bool:
    """Whether a day is one that a ledger keeps: from 1990 to 2100."""
    return _FIRST_YEAR <= day.year <= _LAST_YEAR


def week_start(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())


@dataclass(frozen=True, slots=True)
class Calendar:
    """The weekdays a firm works (Monday 0), less the dates it is closed."""

    working: frozenset[int] = MONDAY_TO_FRIDAY
    closed: frozenset[date] = frozenset()

    def is_working(self, day: date) -> bool:
        """Whether the firm works on this day."""
        return day.weekday() in self.working and day not in self.closed

    def working_days(self, first: date, end: date) -> list[date]:
        """The working days from `first` up to and without `end`."""
        every = (first + step * _ONE_DAY for step in range((end - first).days))
        return [day for day in every if self.is_working(day)]

    def next_working(self, day: date) -> date:
        """The first working day after this one; raises `BadValue` when the firm never works."""
        for step in range(1, _FAR):
            later = day + step * _ONE_DAY
            if self.is_working(later):
                return later
        raise BadValue("no working day within a year: look at the settings working_days and closed_days")

    def add_working(self, day: date, count: int) -> date:
        """The day `count` working days after this one; the day itself for 0."""
        for _ in range(count):
            day = self.next_working(day)
        return day

    def working_days_between(self, first: date, last: date) -> int:
        """How many working days come after `first`, up to and with `last`."""
        return len(self.working_days(first + _ONE_DAY, last + _ONE_DAY))


def next_cutoff(order_days: str, cutoff: str, *, now: datetime, calendar: Calendar) -> datetime | None:
    """The next moment, at or after `now`, by which an order must be in; None when no order day comes.

    An empty `cutoff` is the end of the day. Order days on which the firm is closed do not count. The moment
    carries the offset of `now`, if it has one.
    """
    days = parse_days(order_days or "Mon-Fri")
    until = parse_cutoff(cutoff) if cutoff else time(23, 59)
    for step in range(_FAR):
        day = now.date() + step * _ONE_DAY
        moment = datetime.combine(day, until, tzinfo=now.tzinfo)
        if day.weekday() in days and calendar.is_working(day) and moment >= now:
            return moment
    return None


def arrival_date(order_day: date, lead_working_days: int, calendar: Calendar) -> date:
    """The day that goods ordered on `order_day` come in; the same day for a lead time of 0."""
    return calendar.add_working(order_day, lead_working_days)
