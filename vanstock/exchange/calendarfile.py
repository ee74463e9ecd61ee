"""A calendar file (RFC 5545) read into plain events in local time: whoever asks knows no zones, rules or exceptions.

An event that cannot be read is told with the reason, and the others are read all the same. A file may come from anyone:
its size, its events and what its rules would cost are limited, and nothing in it raises anything but `BadValue`. What
an event means is not known here (see `routines.eventwords`). Called by `routines.calendarin`.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, tzinfo
from pathlib import Path
from typing import Any, NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.recurring import Steps, instances

LARGEST = 5_000_000
MOST_EVENTS = 2_000
_LONGEST = 10_000
_SHOWN = 60
_REPEATS = ("RRULE", "RDATE", "EXDATE")
_NEEDLESS = ("DTEND", "DURATION")
_UNREADABLE = (ValueError, TypeError, LookupError, ArithmeticError, AttributeError, AssertionError, OSError)
"""What a file that is no calendar can make of the libraries that read it."""


class Window(NamedTuple):
    """The days whose events are wanted, both included, and the zone that is local time (None: this machine's)."""

    first: date
    last: date
    zone: tzinfo | None = None


class Event(NamedTuple):
    """One event or one instance of one that repeats: `recurrence` tells the instance ("" for the event itself), `time`
    is HH:MM or empty for all day, `inside` whether it starts within the window."""

    uid: str
    recurrence: str
    sequence: int
    cancelled: bool
    day: date
    time: str
    summary: str
    description: str
    inside: bool


class Unread(NamedTuple):
    """An event that could not be read: its UID, its title, and why."""

    uid: str
    summary: str
    why: str


class CalendarFile(NamedTuple):
    """The events of a file in time order, those not read, the UIDs of events that it holds whole, not only an instance
    of, the instances it takes out of an event that repeats (UID and recurrence), and the calendar's own name ("" when
    it has none)."""

    name: str
    events: tuple[Event, ...]
    unread: tuple[Unread, ...]
    whole: frozenset[str]
    taken_out: frozenset[tuple[str, str]]


def read_calendar(path: Path, window: Window) -> CalendarFile:
    """The events of a file within a window, and every event of it that does not repeat; raises `BadValue`."""
    text = _text_of(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        calendars = _parsed(text, path)
        found = _Found(window)
        for calendar in calendars:
            found.add(calendar)
    inside = sum(event.inside for event in found.events)
    if inside > MOST_EVENTS:
        raise BadValue(
            f"{path} holds {inside:,} events from {window.first} to {window.last}, more than {MOST_EVENTS:,}: name "
            "fewer days with --from and --to"
        )
    events = tuple(sorted(found.events, key=lambda event: (event.day, event.time == "", event.time, event.uid)))
    names = [name for calendar in calendars if (name := _words(calendar, "X-WR-CALNAME") or _words(calendar, "NAME"))]
    name = names[0] if names else ""
    return CalendarFile(name, events, tuple(found.unread), frozenset(found.whole), frozenset(found.taken_out))


def _text_of(path: Path) -> str:
    try:
        if not os.path.isfile(path):
            raise BadValue(f"{path} is no file: name the .ics file that the calendar was exported to")
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except OSError as error:
        raise BadValue(f"{path} cannot be read: {error.strerror}") from None
    if len(raw) > LARGEST:
        raise BadValue(f"{path} is larger than {LARGEST // 1_000_000} MB: export fewer months of the calendar")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadValue(f"{path} is not UTF-8 text: export the calendar again as iCalendar (.ics)") from None
    lines = [line.rstrip().upper() for line in text.lstrip().splitlines()]
    if not lines or lines[0] != "BEGIN:VCALENDAR":
        raise BadValue(f"{path} is no calendar file: it must begin with BEGIN:VCALENDAR")
    if lines.count("BEGIN:VCALENDAR") != lines.count("END:VCALENDAR"):
        raise BadValue(f"{path} is cut off: it has no END:VCALENDAR; copy or export it again")
    return text


def _parsed(text: str, path: Path) -> Sequence[Any]:
    from icalendar import Calendar
    from icalendar.timezone import tzp
    from icalendar.timezone.zoneinfo import ZONEINFO

    class Zones(ZONEINFO):
        """Zones by name; a name that is a folder's or too long for a file's is unknown like any other."""

        def timezone(self, name: str) -> tzinfo | None:
            try:
                return super().timezone(name)
            except OSError:
                return None

    tzp.use(Zones())  # anew for each file: what one calls a zone must not hold in another
    try:
        return Calendar.from_ical(text, multiple=True)
    except _UNREADABLE:
        raise BadValue(f"{path} cannot be read as a calendar: export it again as iCalendar (.ics)") from None


class _Found:
    """What was read so far."""

    def __init__(self, window: Window) -> None:
        self.window = window
        self.steps = Steps(window.last)
        self.events: list[Event] = []
        self.unread: list[Unread] = []
        self.whole: set[str] = set()
        self.taken_out: set[tuple[str, str]] = set()

    def add(self, calendar: Any) -> None:
        """Read the events of one calendar object."""
        off = _words(calendar, "METHOD").upper() == "CANCEL"
        wrong_zones = {_words(zone, "TZID") for zone in calendar.walk("VTIMEZONE") if _runs_away(zone)}
        for uid, components in _by_uid(_in_its_zone(calendar)).items():
            try:
                for component in components:
                    _refuse(component, uid, wrong_zones)
                self._add_event(uid, components, off=off)
            except BadValue as bad:
                self.unread.append(Unread(uid, _words(components[0], "SUMMARY")[:_SHOWN], str(bad)))
            except _UNREADABLE:
                self.unread.append(Unread(uid, _words(components[0], "SUMMARY")[:_SHOWN], "cannot be read"))

    def _add_event(self, uid: str, components: list[Any], *, off: bool) -> None:
        sequence = max(map(_sequence, components))
        events: dict[str, Event] = {}
        for component in self._instances(components):
            event = self._event(uid, component, sequence, components)
            events[event.recurrence] = event._replace(cancelled=event.cancelled or off)
        self.taken_out.update((uid, key) for component in components for key in _exceptions(component))
        self.events += events.values()
        if any("RECURRENCE-ID" not in component for component in components):
            self.whole.add(uid)

    def _instances(self, components: list[Any]) -> Iterator[Any]:
        """Every moved instance and event that does not repeat, and the instances in the window of one that does."""
        yield from (one for one in components if "RECURRENCE-ID" in one)
        whole = sorted((one for one in components if "RECURRENCE-ID" not in one), key=_sequence)
        if any(name in one for one in components for name in _REPEATS):
            yield from instances(components, self.steps, self.window.first)
        elif whole:
            yield whole[-1]

    def _event(self, uid: str, component: Any, sequence: int, components: list[Any]) -> Event:
        start = component["DTSTART"].dt
        day, time = _local(start, self.window.zone)
        return Event(
            uid=uid,
            recurrence=_recurrence(component, components),
            sequence=sequence,
            cancelled=_words(component, "STATUS").upper() == "CANCELLED",
            day=day,
            time=time,
            summary=_words(component, "SUMMARY")[:_LONGEST],
            description=_words(component, "DESCRIPTION")[:_LONGEST],
            inside=self.window.first <= day <= self.window.last,
        )


def _in_its_zone(calendar: Any) -> Any:
    """The calendar with its times in the zone that it names for all of them (X-WR-TIMEZONE), where it does."""
    if "X-WR-TIMEZONE" not in calendar:
        return calendar
    from x_wr_timezone import to_standard

    try:
        return to_standard(calendar)
    except _UNREADABLE:
        return calendar


def _by_uid(calendar: Any) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for component in calendar.walk("VEVENT"):
        for name in _NEEDLESS:
            component.pop(name, None)
        component.subcomponents = []
        found.setdefault(_words(component, "UID"), []).append(component)
    return found


def _words(component: Any, name: str) -> str:
    """A property's text; of several the first."""
    found = component.get(name, "")
    return str(found[0] if isinstance(found, list) and found else found).strip()


def _sequence(component: Any) -> int:
    text = _words(component, "SEQUENCE")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


def _refuse(component: Any, uid: str, wrong_zones: set[str]) -> None:
    """Raise `BadValue` for an event that cannot be told from others, or whose times cannot be known."""
    if not uid:
        raise BadValue("has no UID, so that a change of it could not be told from another event")
    if not _has_start(component):
        raise BadValue("has no start that can be read")
    if "EXRULE" in component:
        raise BadValue("leaves dates out by a rule (EXRULE), which is not followed: take each out, or book by hand")
    for name in ("DTSTART", "RECURRENCE-ID"):
        value = component.get(name)
        zone = str(value.params.get("TZID", "")) if value is not None else ""
        if zone and (zone in wrong_zones or _unknown_zone(value)):
            start = component["DTSTART"].dt.isoformat(" ")[:16]
            raise BadValue(
                f"of {start} is in the time zone {zone[:_SHOWN]!r}, which is not known: give it one like "
                "Europe/London in the calendar, or book the job by hand"
            )


def _has_start(component: Any) -> bool:
    try:
        return isinstance(component["DTSTART"].dt, date)
    except _UNREADABLE:
        return False


def _unknown_zone(value: Any) -> bool:
    return isinstance(value.dt, datetime) and value.dt.tzinfo is None


def _runs_away(zone: Any) -> bool:
    """Whether a zone of the file's own changes its clocks by a rule that is not so many times a year."""
    for part in zone.subcomponents:
        rules = part.get("RRULE", [])
        for rule in rules if isinstance(rules, list) else [rules]:
            clock = any(name in rule for name in ("BYHOUR", "BYMINUTE", "BYSECOND", "INTERVAL"))
            if clock or rule.get("FREQ", [""])[0] != "YEARLY":
                return True
    return False


def _local(start: date, zone: tzinfo | None) -> tuple[date, str]:
    """Day and time where the firm is; a floating time is local as it is. A time that the clocks skip is the moment by
    the clock before it changed (RFC 5545, 3.3.5), which going by way of UTC makes of it."""
    if not isinstance(start, datetime):
        return start, ""
    here = start.astimezone(UTC).astimezone(zone) if start.tzinfo else start
    return here.date(), here.strftime("%H:%M")


def settled(day: date, time: str, zone: tzinfo | None) -> tuple[date, str]:
    """A local day and time as it comes back from a calendar: one that the clocks skip is moved on."""
    if not time:
        return day, time
    return _local(moment_of(day, time, zone), zone)


def moment_of(day: date, time: str, zone: tzinfo | None) -> datetime:
    """The moment in UTC of a local day and time."""
    here = datetime.fromisoformat(f"{day.isoformat()}T{time}")
    return (here.replace(tzinfo=zone) if zone else here).astimezone(UTC)


def _recurrence(component: Any, components: list[Any]) -> str:
    """Which instance of its event this is, however the file writes the moment; "" for an event that does not repeat."""
    named = component.get("RECURRENCE-ID")
    if named is None:
        return ""
    if str(named.params.get("RANGE", "")).upper() == "THISANDFUTURE":
        return _key(component["DTSTART"].dt - _shift(named, components))
    return _key(named.dt)


def _shift(named: Any, components: list[Any]) -> Any:
    """By how much an instance was moved that all later ones are moved with."""
    moved = next(one for one in components if "RECURRENCE-ID" in one and one["RECURRENCE-ID"].dt == named.dt)
    return moved["DTSTART"].dt - named.dt


def _key(moment: date) -> str:
    if not isinstance(moment, datetime):
        return moment.strftime("%Y%m%d")
    return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ") if moment.tzinfo else moment.strftime("%Y%m%dT%H%M%S")


def _exceptions(component: Any) -> Iterator[str]:
    """The instances that an event leaves out."""
    found = component.get("EXDATE", [])
    for dates in found if isinstance(found, list) else [found]:
        yield from (_key(one.dt) for one in dates.dts if isinstance(one.dt, date))
