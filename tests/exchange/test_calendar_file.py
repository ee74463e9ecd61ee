"""Calendar files from anywhere: zones, instances, limits, and whatever is no calendar at all."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vanstock.errors import BadValue
from vanstock.exchange import calendarfile, recurring
from vanstock.exchange.calendarfile import CalendarFile, Window, moment_of, read_calendar, settled

LONDON = ZoneInfo("Europe/London")
WINDOW = Window(date(2027, 2, 22), date(2027, 6, 29), LONDON)
Read = Callable[..., CalendarFile]


def event(*lines: str, uid: str = "one") -> str:
    return "\r\n".join(["BEGIN:VEVENT", f"UID:{uid}", "SUMMARY:x", *lines, "END:VEVENT"])


def calendar(*events: str, head: str = "") -> str:
    return "\r\n".join(["BEGIN:VCALENDAR", "VERSION:2.0", *filter(None, [head]), *events, "END:VCALENDAR", ""])


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def reading(*events: str, head: str = "", window: Window = WINDOW) -> CalendarFile:
        path = tmp_path / "phone.ics"
        path.write_text(calendar(*events, head=head), encoding="utf-8", newline="")
        return read_calendar(path, window)

    return reading


def when(found: CalendarFile) -> list[tuple[str, str]]:
    assert found.unread == ()
    return [(one.day.isoformat(), one.time) for one in found.events]


@pytest.mark.parametrize(
    ("start", "day", "clock"),
    [
        ("DTSTART:20270302T090000", "2027-03-02", "09:00"),
        ("DTSTART:20270401T090000Z", "2027-04-01", "10:00"),
        ("DTSTART;TZID=Europe/Berlin:20270302T090000", "2027-03-02", "08:00"),
        ("DTSTART;TZID=W. Europe Standard Time:20270302T090000", "2027-03-02", "08:00"),
        ("DTSTART;TZID=/example.org/Europe/Berlin:20270302T090000", "2027-03-02", "08:00"),
        ("DTSTART;TZID=Pacific/Auckland:20270302T090000", "2027-03-01", "20:00"),
        ("DTSTART;VALUE=DATE:20270302", "2027-03-02", ""),
        ("DTSTART:20270302", "2027-03-02", ""),
    ],
)
def test_a_start_is_read_as_local_day_and_time(read: Read, start: str, day: str, clock: str) -> None:
    assert when(read(event(start))) == [(day, clock)]


def test_a_zone_named_for_the_whole_calendar_holds_for_its_times_in_utc(read: Read) -> None:
    """X-WR-TIMEZONE is no standard but common practice: a weekly event stays at its time of day there."""
    weekly = event("DTSTART:20270322T090000Z", "RRULE:FREQ=WEEKLY;COUNT=2")
    assert when(read(weekly, head="X-WR-TIMEZONE:Europe/London")) == [("2027-03-22", "09:00"), ("2027-03-29", "09:00")]
    assert when(read(weekly)) == [("2027-03-22", "09:00"), ("2027-03-29", "10:00")]
    assert when(read(event("DTSTART:20270322T090000Z"), head="X-WR-TIMEZONE:No/Where")) == [("2027-03-22", "09:00")]


@pytest.mark.parametrize("zone", ["Nowhere/Town", "Europe", "../../etc/passwd", "Z" * 300])
def test_a_zone_that_is_none_is_told_and_the_other_events_are_read(read: Read, zone: str) -> None:
    found = read(event(f"DTSTART;TZID={zone}:20270302T090000", uid="two"), event("DTSTART:20270302T090000"))
    assert [one.uid for one in found.events] == ["one"]
    assert [one.uid for one in found.unread] == ["two"]
    assert found.unread[0].why.startswith("of 2027-03-02 09:00 is in the time zone")


def test_a_zone_of_one_file_does_not_hold_in_the_next(read: Read) -> None:
    zone = (
        "BEGIN:VTIMEZONE\r\nTZID:Ours\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\nTZOFFSETFROM:+0500\r\n"
        "TZOFFSETTO:{}\r\nEND:STANDARD\r\nEND:VTIMEZONE"
    )
    line = event("DTSTART;TZID=Ours:20270302T090000")
    assert when(read(line, head=zone.format("+0500"))) == [("2027-03-02", "04:00")]
    assert when(read(line, head=zone.format("+0200"))) == [("2027-03-02", "07:00")]
    assert read(line).unread


def test_moved_cancelled_and_left_out_instances_are_each_their_own(read: Read) -> None:
    found = read(
        event("DTSTART;TZID=Europe/London:20270301T090000", "RRULE:FREQ=WEEKLY;COUNT=5",
              "EXDATE;TZID=Europe/London:20270308T090000"),
        event("RECURRENCE-ID;TZID=Europe/London:20270315T090000", "DTSTART;TZID=Europe/London:20270316T140000"),
        event("RECURRENCE-ID:20270322T090000Z", "DTSTART:20270322T090000Z", "STATUS:CANCELLED"),
    )  # fmt: skip
    assert [(one.recurrence, one.day.day, one.time, one.cancelled) for one in found.events] == [
        ("20270301T090000Z", 1, "09:00", False), ("20270315T090000Z", 16, "14:00", False),
        ("20270322T090000Z", 22, "09:00", True), ("20270329T080000Z", 29, "09:00", False),
    ]  # fmt: skip
    assert found.taken_out == {("one", "20270308T090000Z")}


def test_an_instance_moved_with_all_later_ones_keeps_what_each_is_called(read: Read) -> None:
    found = read(
        event("DTSTART;TZID=Europe/London:20270301T090000", "RRULE:FREQ=WEEKLY;COUNT=4"),
        event("RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/London:20270315T090000",
              "DTSTART;TZID=Europe/London:20270316T110000"),
    )  # fmt: skip
    assert [(one.recurrence[:8], one.day.day, one.time) for one in found.events] == [
        ("20270301", 1, "09:00"), ("20270308", 8, "09:00"), ("20270315", 16, "11:00"), ("20270322", 23, "11:00"),
    ]  # fmt: skip


def test_an_event_that_does_not_repeat_is_read_wherever_it_is_and_told_from_those_in_the_window(read: Read) -> None:
    far = event("DTSTART:20300101T090000", uid="far")
    moved = event("RECURRENCE-ID:20270308T090000", "DTSTART:20300101T090000")
    found = read(far, event("DTSTART:20270301T090000", "RRULE:FREQ=WEEKLY;COUNT=2"), moved)
    assert [(one.uid, one.recurrence, one.inside) for one in found.events] == [
        ("one", "20270301T090000", True), ("far", "", False), ("one", "20270308T090000", False),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "why"),
    [
        ("FREQ=SECONDLY", "too often"), ("FREQ=MINUTELY", "too often"), ("FREQ=HOURLY", "too often"),
        ("FREQ=DAILY;BYHOUR=1,2,3;BYMINUTE=1,2,3;BYSECOND=1,2,3", "too often"),
        ("FREQ=MINUTELY;BYMONTHDAY=30;BYMONTH=2;COUNT=1", "too often"),
        ("FREQ=DAILY;INTERVAL=0", "cannot be read"), ("FREQ=WEEKLY;COUNT=-5", "cannot be read"),
        ("FREQ=NEVER", "cannot be read"), ("FREQ=DAILY;COUNT=many", "cannot be read"),
        ("FREQ=YEARLY;BYMONTHDAY=30;BYMONTH=2", "no year has"), ("FREQ=DAILY;BYMONTHDAY=31;BYMONTH=4", "no year has"),
        ("FREQ=MONTHLY;BYDAY=MO;BYSETPOS=9;COUNT=3", "no year has"),
    ],
)  # fmt: skip
def test_a_rule_that_runs_away_is_refused_at_once_and_the_other_events_are_read(
    read: Read, rule: str, why: str
) -> None:
    begun = time.monotonic()
    found = read(event("DTSTART:19970902T090000", f"RRULE:{rule}", uid="two"), event("DTSTART:20270302T090000"))
    assert time.monotonic() - begun < 2
    assert [one.uid for one in found.events] == ["one"]
    assert [why in one.why for one in found.unread] == [True]


def test_many_rules_that_are_each_allowed_are_refused_together(read: Read, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recurring, "MOST_STEPS_IN_FILE", 30_000)
    many = [event("DTSTART:20000101T090000", "RRULE:FREQ=DAILY", uid=str(n)) for n in range(4)]
    found = read(*many, window=Window(date(2027, 2, 28), date(2027, 3, 1), LONDON))
    assert {one.uid for one in found.unread} == {"3"}
    assert {one.why for one in found.unread} == {
        "comes after so many events that repeat often that it was not worked out"
    }


def test_a_birthday_of_a_year_long_past_is_no_runaway(read: Read) -> None:
    """Some address books give birthdays without a year the year 1604 (common practice, no source)."""
    many = [
        event("DTSTART;VALUE=DATE:16040501", "RRULE:FREQ=YEARLY;BYMONTH=5;BYMONTHDAY=1", uid=str(n)) for n in range(20)
    ]
    assert when(read(*many)) == [("2027-05-01", "")] * 20


@pytest.mark.parametrize(
    ("rule", "most"),
    [
        ("FREQ=YEARLY;BYMONTH=5;BYMONTHDAY=1", 1), ("FREQ=YEARLY;BYMONTH=5,6;BYDAY=MO", 10), ("FREQ=YEARLY", 1),
        ("FREQ=YEARLY;BYDAY=MO,TU", 120), ("FREQ=YEARLY;BYYEARDAY=1,100", 2), ("FREQ=YEARLY;BYWEEKNO=20", 7),
        ("FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", 1), ("FREQ=WEEKLY;BYDAY=MO,TU", 2), ("FREQ=DAILY;BYHOUR=1,2", 2),
        ("FREQ=YEARLY;BYMONTHDAY=1,2", 24), ("FREQ=YEARLY;BYDAY=MO,TU,WE,TH,FR,SA,SU", 366),
    ],
)  # fmt: skip
def test_no_rule_has_more_instances_in_a_year_month_or_week_than_was_estimated(rule: str, most: int) -> None:
    from dateutil.rrule import rrulestr
    from icalendar.prop import vRecur

    start, every = datetime(2024, 1, 1), rule.split(";")[0][5:]
    span = {"YEARLY": 366, "MONTHLY": 31, "WEEKLY": 7, "DAILY": 1}[every]
    parts = vRecur.from_ical(rule)
    assert recurring.steps_of(parts, start, start.date() - timedelta(days=1)) == most
    end = start + timedelta(days=span) - timedelta(seconds=1)
    assert len(rrulestr(rule, dtstart=start).between(start, end, inc=True)) <= most


def test_a_zone_whose_clocks_change_every_second_is_refused_at_once(read: Read) -> None:
    zone = (
        "BEGIN:VTIMEZONE\r\nTZID:Ours\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\nTZOFFSETFROM:+0100\r\n"
        "TZOFFSETTO:+0200\r\nRRULE:FREQ=SECONDLY\r\nEND:STANDARD\r\nEND:VTIMEZONE"
    )
    (unread,) = read(event("DTSTART;TZID=Ours:20270302T090000"), head=zone).unread
    assert "time zone" in unread.why
    assert "book the job by hand" in unread.why


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        (["DTSTART:2027-03-02"], "no start"), ([], "no start"), (["DTSTART:20270302", "DTSTART:20270303"], "no start"),
        (["DTSTART:20270302T250000"], "no start"),
        (["RECURRENCE-ID:soon", "DTSTART:20270302T090000"], "cannot be read"),
        (["DTSTART:20270302T090000", "EXDATE:soon"], "cannot be read"),
        (["DTSTART;TZID=Pacific/Auckland:00010101T000000"], "cannot be read"),
    ],
)  # fmt: skip
def test_an_event_that_cannot_be_read_says_why(read: Read, lines: list[str], why: str) -> None:
    assert [why in one.why for one in read(event(*lines)).unread] == [True]


def test_an_event_without_a_uid_is_told(read: Read) -> None:
    (unread,) = read("BEGIN:VEVENT\r\nDTSTART:20270302T090000\r\nSUMMARY:who\r\nEND:VEVENT").unread
    assert (unread.summary, "no UID" in unread.why) == ("who", True)


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "no calendar file"), (b"hello", "no calendar file"), (b"PK\x03\x04", "no calendar file"),
        (b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "cut off"), (b"BEGIN:VCALENDAR\r\nSUMMARY:\xff\xfe", "not UTF-8"),
        (b"BEGIN:VCALENDAR\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n", "cannot be read as a calendar"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_calendar_is_told_in_one_line(tmp_path: Path, raw: bytes, says: str) -> None:
    path = tmp_path / "phone.ics"
    path.write_bytes(raw)
    with pytest.raises(BadValue, match=says):
        read_calendar(path, WINDOW)


def test_notes_that_speak_of_calendar_files_cut_none_off(read: Read) -> None:
    found = read(event("DTSTART:20270302T090000", "DESCRIPTION:it began with BEGIN:VCALENDAR and ended"))
    assert when(found) == [("2027-03-02", "09:00")]


def test_an_empty_calendar_holds_nothing(read: Read) -> None:
    assert read() == CalendarFile("", (), (), frozenset(), frozenset())


def test_a_missing_file_and_a_folder_are_told(tmp_path: Path) -> None:
    for path in (tmp_path / "none.ics", tmp_path):
        with pytest.raises(BadValue, match="is no file"):
            read_calendar(path, WINDOW)


def test_a_file_over_the_limit_and_a_window_with_too_many_events_are_refused(
    read: Read, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "big.ics").write_bytes(b"BEGIN:VCALENDAR\r\n" + b"X" * calendarfile.LARGEST)
    with pytest.raises(BadValue, match="larger than 5 MB"):
        read_calendar(tmp_path / "big.ics", WINDOW)
    monkeypatch.setattr(calendarfile, "MOST_EVENTS", 100)
    daily = event("DTSTART:20270101T090000", "RRULE:FREQ=DAILY")
    with pytest.raises(BadValue, match=r"128 events .* more than 100: name fewer days"):
        read(daily)
    assert (
        len([one for one in read(daily, window=Window(date(2027, 3, 1), date(2027, 3, 9))).events if one.inside]) == 9
    )


def test_a_byte_order_mark_bare_line_ends_and_several_calendars_in_one_file_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "phone.ics"
    both = calendar(event("DTSTART:20270302T090000")) + calendar(event("DTSTART:20270303T090000", uid="two"))
    path.write_bytes(b"\xef\xbb\xbf" + both.replace("\r\n", "\n").encode())
    assert when(read_calendar(path, WINDOW)) == [("2027-03-02", "09:00"), ("2027-03-03", "09:00")]


def test_a_calendar_that_calls_its_events_off_cancels_them(read: Read) -> None:
    """RFC 5546, 3.2.5: METHOD:CANCEL."""
    (one,) = read(event("DTSTART:20270302T090000"), head="METHOD:CANCEL").events
    assert one.cancelled


PIECES = st.sampled_from([
    "BEGIN:VEVENT", "END:VEVENT", "BEGIN:VTIMEZONE", "TZID:Europe/London", "END:VTIMEZONE", "UID:a", "UID:",
    "DTSTART:20270302T090000", "DTSTART;VALUE=DATE:20270302", "DTSTART;TZID=Europe/London:20270302T090000", "DTSTART:",
    "DTEND:19000101", "RRULE:FREQ=DAILY", "RRULE:FREQ=WEEKLY;BYDAY=2MO", "RRULE:", "RRULE:FREQ=SECONDLY;COUNT=3",
    "RDATE:20270305T090000,20270306", "EXDATE;VALUE=DATE:20270302", "RECURRENCE-ID:20270302T090000",
    "RECURRENCE-ID;RANGE=THISANDFUTURE:20270302T090000", "SEQUENCE:-1", "SEQUENCE:x", "STATUS:CANCELLED",
    "STATUS",
    "DURATION:P1D", "BEGIN:VALARM", "END:VALARM", "DTSTART:99991231T235959Z", "DTSTART:00010101T000000Z", " folded",
    "\t",
    "X-WR-TIMEZONE:Europe/London", "X-WR-TIMEZONE:", "METHOD:CANCEL", "CALSCALE:JULIAN", "BEGIN:", "END", ":", ";=:",
])  # fmt: skip


@settings(max_examples=80, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.one_of(PIECES, st.text(max_size=20)), max_size=24))
def test_whatever_stands_in_a_file_it_is_read_or_refused_in_one_line(tmp_path: Path, lines: list[str]) -> None:
    path = tmp_path / "phone.ics"
    path.write_text(calendar(*lines), encoding="utf-8", errors="replace", newline="")
    try:
        found = read_calendar(path, WINDOW)
    except BadValue as bad:
        said = str(bad)
    else:
        said = "".join(one.why for one in found.unread)
        assert all(one.uid for one in found.events)
    assert "\n" not in said


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.dates(date(2026, 1, 1), date(2028, 12, 31)), st.times())
def test_a_local_time_that_went_through_utc_stays_what_it_became(day: date, clock: object) -> None:
    once = settled(day, f"{clock:%H:%M}", LONDON)
    assert settled(*once, LONDON) == once
    assert moment_of(*once, LONDON) == moment_of(day, f"{clock:%H:%M}", LONDON)
