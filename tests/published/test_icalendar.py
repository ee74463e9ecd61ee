"""Reading and writing calendar files against the examples of the standard.

Source: RFC 5545, "Internet Calendaring and Scheduling Core Object Specification" (September 2009). The dates are those
printed in section 3.8.5.3, in local time of New York.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from vanstock.exchange.calendarfile import CalendarFile, Window, read_calendar
from vanstock.exchange.calendarwriting import OutEvent, calendar_text

NEW_YORK = ZoneInfo("America/New_York")
NINE = "DTSTART;TZID=America/New_York:{}T090000"


def read(tmp_path: Path, *lines: str, years: tuple[int, int] = (1996, 1998), head: str = "") -> CalendarFile:
    event = ["BEGIN:VEVENT", "UID:one@example.com", "SUMMARY:x", *lines, "END:VEVENT"]
    path = tmp_path / "one.ics"
    text = "\r\n".join(["BEGIN:VCALENDAR", "VERSION:2.0", *filter(None, [head]), *event, "END:VCALENDAR", ""])
    path.write_text(text, encoding="utf-8", newline="")
    return read_calendar(path, Window(date(years[0], 1, 1), date(years[1], 3, 31), NEW_YORK))


def days(found: CalendarFile) -> list[str]:
    assert found.unread == ()
    return [f"{event.day:%b} {event.day.day}" for event in found.events]


@pytest.mark.parametrize(
    ("start", "rule", "printed"),
    [
        ("19970902", "FREQ=DAILY;COUNT=10", [f"Sep {day}" for day in range(2, 12)]),
        ("19970902", "FREQ=DAILY;INTERVAL=10;COUNT=5", ["Sep 2", "Sep 12", "Sep 22", "Oct 2", "Oct 12"]),
        ("19970902", "FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH",
         [*(f"Sep {day}" for day in (2, 4, 9, 11, 16, 18, 23, 25, 30)), "Oct 2"]),
        ("19970905", "FREQ=MONTHLY;COUNT=6;BYDAY=1FR", ["Sep 5", "Oct 3", "Nov 7", "Dec 5", "Jan 2", "Feb 6"]),
        ("19970922", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", ["Sep 22", "Oct 20", "Nov 17", "Dec 22", "Jan 19", "Feb 16"]),
        ("19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", ["Aug 5", "Aug 10", "Aug 19", "Aug 24"]),
        ("19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", ["Aug 5", "Aug 17", "Aug 19", "Aug 31"]),
        ("19970313", "FREQ=YEARLY;BYMONTH=3;BYDAY=TH",
         [f"Mar {day}" for day in (13, 20, 27, 5, 12, 19, 26)]),
        ("19961105", "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8", ["Nov 5"]),
    ],
)  # fmt: skip
def test_a_rule_of_the_standard_gives_the_days_printed_there(
    tmp_path: Path, start: str, rule: str, printed: list[str]
) -> None:
    assert days(read(tmp_path, NINE.format(start), f"RRULE:{rule}")) == printed


def test_every_friday_the_13th_leaves_its_start_out(tmp_path: Path) -> None:
    lines = (NINE.format("19970902"), "EXDATE;TZID=America/New_York:19970902T090000")
    found = read(tmp_path, *lines, "RRULE:FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", years=(1997, 2001))
    assert days(found) == ["Feb 13", "Mar 13", "Nov 13", "Aug 13", "Oct 13"]
    assert found.taken_out == {("one@example.com", "19970902T130000Z")}


def test_a_day_that_a_month_has_not_is_left_out(tmp_path: Path) -> None:
    found = read(tmp_path, NINE.format("20070115"), "RRULE:FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", years=(2007, 2007))
    assert days(found) == ["Jan 15", "Jan 30", "Feb 15", "Mar 15", "Mar 30"]


@pytest.mark.parametrize(
    ("rule", "printed"),
    [
        ("FREQ=MINUTELY;INTERVAL=15;COUNT=6", ["09:00", "09:15", "09:30", "09:45", "10:00", "10:15"]),
        ("FREQ=MINUTELY;INTERVAL=90;COUNT=4", ["09:00", "10:30", "12:00", "13:30"]),
        ("FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T210000Z", ["09:00", "12:00", "15:00"]),
    ],
)
def test_a_rule_of_hours_or_minutes_gives_the_times_printed(tmp_path: Path, rule: str, printed: list[str]) -> None:
    """The standard prints 9:00, 12:00 and 15:00 for the last, with UNTIL=19970902T170000Z, which is 13:00 in New York:
    erratum 3883 corrects it to 210000Z (from memory)."""
    found = read(tmp_path, NINE.format("19970902"), f"RRULE:{rule}")
    assert [event.time for event in found.events] == printed


def test_the_clock_stays_at_nine_when_summer_time_ends(tmp_path: Path) -> None:
    """3.8.5.3, every other week: 9:00 AM EDT and 9:00 AM EST alike."""
    found = read(tmp_path, NINE.format("19970902"), "RRULE:FREQ=WEEKLY;INTERVAL=2;WKST=SU;COUNT=6")
    assert [(event.time, event.recurrence[9:13]) for event in found.events] == [
        *[("09:00", "1300")] * 4, *[("09:00", "1400")] * 2,
    ]  # fmt: skip


def test_a_time_that_the_clocks_skip_is_taken_by_the_clock_before(tmp_path: Path) -> None:
    """3.3.5: TZID=America/New_York:20070311T023000 is March 11, 2007 at 3:30 A.M. EDT (UTC-04:00)."""
    (event,) = read(tmp_path, "DTSTART;TZID=America/New_York:20070311T023000", years=(2007, 2007)).events
    assert (event.day, event.time) == (date(2007, 3, 11), "03:30")


def test_a_time_that_comes_twice_is_the_first(tmp_path: Path) -> None:
    """3.3.5: TZID=America/New_York:20071104T013000 is November 4, 2007 at 1:30 A.M. EDT (UTC-04:00)."""
    line = "DTSTART;TZID=America/New_York:20071104T013000"
    path = tmp_path / "one.ics"
    (event,) = read(tmp_path, line, years=(2007, 2008)).events
    in_utc = read_calendar(path, Window(date(2007, 1, 1), date(2008, 1, 1), ZoneInfo("UTC"))).events[0]
    assert (event.time, in_utc.time) == ("01:30", "05:30")


def test_a_zone_of_the_files_own_is_kept_to(tmp_path: Path) -> None:
    """3.6.5, the zone with simple rules: standard time from the last Sunday in October, daylight time from the first
    Sunday in April, here under a name that no list of zones has."""
    zone = "\r\n".join((
        "BEGIN:VTIMEZONE", "TZID:Of our own", "BEGIN:STANDARD", "DTSTART:19981025T020000", "TZOFFSETFROM:-0400",
        "TZOFFSETTO:-0500", "RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10", "TZNAME:EST", "END:STANDARD",
        "BEGIN:DAYLIGHT", "DTSTART:19990404T020000", "TZOFFSETFROM:-0500", "TZOFFSETTO:-0400",
        "RRULE:FREQ=YEARLY;BYDAY=1SU;BYMONTH=4", "TZNAME:EDT", "END:DAYLIGHT", "END:VTIMEZONE",
    ))  # fmt: skip
    for day, utc in (("20000315", "14:00"), ("20000615", "13:00")):
        read(tmp_path, f"DTSTART;TZID=Of our own:{day}T090000", head=zone)
        found = read_calendar(tmp_path / "one.ics", Window(date(2000, 1, 1), date(2000, 12, 31), ZoneInfo("UTC")))
        assert [event.time for event in found.events] == [utc]


def test_lines_are_folded_at_75_octets_and_end_as_the_standard_says() -> None:
    """3.1: lines end with CRLF and are at most 75 octets without it; no character of UTF-8 is parted. 3.6.1: an event
    has UID and DTSTAMP; its end is exclusive. 3.7.3, 3.7.4: PRODID and VERSION."""
    stamp = datetime(2027, 3, 1, 7, 30, tzinfo=UTC)
    event = OutEvent("J1@x", "", 2, stamp, stamp, date(2027, 3, 2), "größer, breiter; " * 12, "a\nb", cancelled=False)
    raw = calendar_text([event]).encode()
    lines = raw.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert [line.decode() for line in lines][-1] == ""
    assert b"\n" not in raw.replace(b"\r\n", b"")
    wanted = {
        b"VERSION:2.0", b"UID:J1@x", b"DTSTAMP:20270301T073000Z", b"SEQUENCE:2", b"DTSTART;VALUE=DATE:20270302",
        b"DTEND;VALUE=DATE:20270303", b"DESCRIPTION:a\\nb", b"STATUS:CONFIRMED",
    }  # fmt: skip
    assert wanted <= set(lines)
    assert any(line.startswith(b"PRODID:") for line in lines)
