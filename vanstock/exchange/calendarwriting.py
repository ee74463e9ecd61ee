"""Events written as a calendar file (RFC 5545): times in UTC, so that no reader needs to know a zone.

What the events say is the caller's. Called by `routines.calendarout`.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from vanstock import __version__
from vanstock.errors import BadValue
from vanstock.exchange.printed import put

ENDING = ".ics"
_SHOWN_AS = timedelta(hours=1)
"""How long a job with a time is shown: the ledger knows only when it starts."""


class OutEvent(NamedTuple):
    """One event: `recurrence` as `calendarfile` names an instance, `start` a day or a moment in UTC, `stamp` when it
    was written, `changed` when the job last was."""

    uid: str
    recurrence: str
    sequence: int
    stamp: datetime
    changed: datetime
    start: date
    summary: str
    description: str
    cancelled: bool


def check_ending(path: Path) -> None:
    """Raise `BadValue` unless the file's name is a calendar's: so no ledger or table is written over by a slip."""
    if path.suffix.lower() != ENDING:
        raise BadValue(f"{path.name!r} does not end in .ics: name the calendar file like bookings.ics")


def calendar_text(events: Iterable[OutEvent]) -> str:
    """The calendar file as text, with the line ends and folds of RFC 5545 (3.1)."""
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("PRODID", f"-//vanstock//{__version__}//EN")
    calendar.add("VERSION", "2.0")
    for event in events:
        one = Event()
        one.add("UID", event.uid)
        one.add("DTSTAMP", event.stamp)
        one.add("LAST-MODIFIED", event.changed)
        one.add("SEQUENCE", event.sequence)
        if event.recurrence:
            one.add("RECURRENCE-ID", _moment(event.recurrence))
        one.add("DTSTART", event.start)
        one.add("DTEND", event.start + (_SHOWN_AS if isinstance(event.start, datetime) else timedelta(days=1)))
        one.add("SUMMARY", event.summary)
        one.add("DESCRIPTION", event.description)
        one.add("STATUS", "CANCELLED" if event.cancelled else "CONFIRMED")
        calendar.add_component(one)
    return str(calendar.to_ical().decode("utf-8"))


def _moment(recurrence: str) -> date:
    if len(recurrence) == len("20270301"):
        return date.fromisoformat(recurrence)
    return datetime.fromisoformat(recurrence)


def write_calendar(path: Path, events: Iterable[OutEvent]) -> None:
    """Write the calendar in place of an old one, or leave that as it was; raises `BadValue` or `VanstockError`."""
    check_ending(path)
    put(path, calendar_text(events))
