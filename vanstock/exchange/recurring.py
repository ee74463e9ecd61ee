"""The instances of an event that repeats (RFC 5545, 3.8.5), and which rules are refused before anything is worked out.

The working out is recurring-ical-events'. A rule from a file can be written to never come to an end: every second, all
seconds of a day, or a day that no year has. What a rule would cost is estimated first (`Steps`), and a rule is always
held to the window. Called by `calendarfile`, which has caught what such code raises.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from vanstock.errors import BadValue

MOST_STEPS = 200_000
"""Instances of one rule from its start to the end of the window, at the most: five hundred years of days."""
MOST_STEPS_IN_FILE = 500_000
_SECONDS = {"SECONDLY": 1, "MINUTELY": 60, "HOURLY": 3_600, "DAILY": 86_400, "WEEKLY": 604_800, "MONTHLY": 2_419_200,
            "YEARLY": 31_536_000}  # fmt: skip
_WORDS = {"SECONDLY": "by the second", "MINUTELY": "by the minute", "HOURLY": "by the hour", "DAILY": "by the day",
          "WEEKLY": "by the week", "MONTHLY": "by the month", "YEARLY": "by the year"}  # fmt: skip
_DAYS_IN = {"WEEKLY": 7, "MONTHLY": 31, "YEARLY": 366}
_OF_A_DAY = {"HOURLY": ("BYMINUTE", "BYSECOND"), "MINUTELY": ("BYSECOND",), "SECONDLY": ()}
_CLOCK = ("BYHOUR", "BYMINUTE", "BYSECOND")
_ABOUT_DAYS = ("BYDAY", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO", "BYMONTH", "BYSETPOS")
_LAST_YEARS = 9_950
"""A rule that finds no day in the last fifty years there are finds none at all: leap years and weekdays come round in
28 (Gregorian calendar, from memory)."""
_SEARCHED = 50_000
"""What a rule of every so many days on certain days may cost when the two never meet."""
_MARGIN = timedelta(days=2)


class Steps:
    """How many steps the rules of one file may still take; raises `BadValue` when a rule would take too many."""

    def __init__(self, last: date) -> None:
        self.last = last
        self.left = MOST_STEPS_IN_FILE

    def take(self, rule: Any, start: date) -> None:
        """Take off what working out a rule costs."""
        cost = steps_of(rule, start, self.last)
        if cost > MOST_STEPS:
            raise BadValue(f"repeats too often ({_WORDS[_every(rule)]} since {start:%Y-%m-%d})")
        self.left -= cost
        if self.left < 0:
            raise BadValue("comes after so many events that repeat often that it was not worked out")
        if not _ever_matches(rule):
            raise BadValue("repeats on a day that no year has")


def steps_of(rule: Any, start: date, last: date) -> int:
    """The most instances that a rule can have from its start to the end of the window; raises `BadValue` for a rule
    without a step."""
    every, interval = _every(rule), _whole(rule, "INTERVAL", 1)
    if every not in _SECONDS or interval < 1:
        raise BadValue("repeats by a rule that cannot be read")
    seconds = max((last - _day(start)).days + 1, 0) * 86_400
    steps = seconds // (_SECONDS[every] * interval) + 1
    count = _whole(rule, "COUNT", 0)
    if count > 0 and not _limits_days(rule) and not any(rule.get(part) for part in _CLOCK):
        steps = min(steps, count)
    searched = _SEARCHED if every == "DAILY" and interval > 1 and _limits_days(rule) else 0
    return steps * _in_each_step(rule, every) + searched


def _in_each_step(rule: Any, every: str) -> int:
    times = 1
    for part in _OF_A_DAY.get(every, _CLOCK):
        times *= max(len(rule.get(part, [])), 1)
    return times * min(_days_in_each_step(rule, every), _DAYS_IN.get(every, 1))


def _days_in_each_step(rule: Any, every: str) -> int:
    """The most days that a rule names in each of its years, months or weeks."""
    given = {part: len(rule.get(part, [])) for part in _ABOUT_DAYS}
    in_month = given["BYMONTHDAY"] or given["BYDAY"] * (1 if every == "WEEKLY" else 5)
    if every == "YEARLY":
        months = given["BYMONTH"] or (12 if in_month else 1)
        return given["BYYEARDAY"] or given["BYWEEKNO"] * 7 or months * max(in_month, 1)
    return max(in_month, 1)


def _limits_days(rule: Any) -> bool:
    return any(rule.get(part) for part in _ABOUT_DAYS)


def _every(rule: Any) -> str:
    return str(rule.get("FREQ", [""])[0]).upper()


def _whole(rule: Any, part: str, default: int) -> int:
    found = rule.get(part, [default])
    return int(found[0] if isinstance(found, list) else found)


def _day(moment: date) -> date:
    return moment.date() if isinstance(moment, datetime) else moment


def _ever_matches(rule: Any) -> bool:
    """Whether a rule that limits its days has any at all: one that has none would be followed to the year 9999."""
    if not _limits_days(rule):
        return True
    from dateutil.rrule import rrulestr

    parts = {name: values for name, values in rule.items() if name in _ABOUT_DAYS}
    every = _every(rule) if _every(rule) in _DAYS_IN else "DAILY"
    if every == "DAILY":
        parts.pop("BYSETPOS", None)
    probe = type(rule)({"FREQ": [every], **parts}).to_ical().decode()
    return next(iter(rrulestr(probe, dtstart=datetime(_LAST_YEARS, 1, 1))), None) is not None  # noqa: DTZ001


def instances(components: Sequence[Any], steps: Steps, first: date) -> list[Any]:
    """The instances of one event and its moved instances from a day to the end of the window, a day or two more."""
    from icalendar import Calendar
    from recurring_ical_events import CalendarQuery

    held = Calendar()
    for component in components:
        held.add_component(_held_to(component, steps))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # dateutil: a rule with COUNT is held to the window by UNTIL too
        return list(CalendarQuery(held).between(first - _MARGIN, steps.last + _MARGIN))


def _held_to(component: Any, steps: Steps) -> Any:
    """The event with each rule ending with the window."""
    found = component.get("RRULE")
    rules = found if isinstance(found, list) else [found] if found is not None else []
    if not rules:
        return component
    start = component["DTSTART"].dt
    kept = component.copy()
    del kept["RRULE"]
    for rule in rules:
        steps.take(rule, start)
        kept.add("RRULE", {**rule, "UNTIL": [_until(rule, start, steps.last)]})
    return kept


def _until(rule: Any, start: date, last: date) -> date:
    """The rule's own end or that of the window, whichever comes first, in the form that its start has."""
    end = last + _MARGIN
    own = rule.get("UNTIL", [end])[0]
    if not isinstance(start, datetime):
        return min(end, _day(own))
    moment = datetime(end.year, end.month, end.day, tzinfo=UTC)
    if isinstance(own, datetime):
        own_moment = own.replace(tzinfo=own.tzinfo or start.tzinfo or UTC)
    elif "UNTIL" in rule:
        own_moment = datetime(own.year, own.month, own.day, 23, 59, 59, tzinfo=start.tzinfo or UTC)
    else:
        own_moment = moment
    chosen = min(moment, own_moment.astimezone(UTC))
    return chosen if start.tzinfo else chosen.replace(tzinfo=None)
