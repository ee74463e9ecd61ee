"""Bookings written as a calendar file: UIDs that stay, revisions that grow, and a way back that changes nothing."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from tests.routines.calendars import calendar, event
from vanstock.errors import BadValue
from vanstock.ledger import reading
from vanstock.ledger.calendarrows import ledger_id
from vanstock.ledger.entries import Draft, post
from vanstock.model import Job
from vanstock.routines import booking, stock
from vanstock.routines import settings as firm
from vanstock.routines.calendarin import Asked, import_calendar
from vanstock.routines.calendarout import export_calendar
from vanstock.routines.session import Session

DAY = date(2027, 3, 2)


@pytest.fixture
def london(session: Session) -> Session:
    firm.change_setting(session, "time_zone", "Europe/London")
    return session


def book(session: Session, day: date = DAY, at: str = "09:00", *, family: str = "AAA", ref: str = "") -> Job:
    wanted = Job("", day, at, family, "clean", ("P2463", "P246B-00"), reference=ref)
    return booking.add_booking(session, wanted)


def written(session: Session, path: Path, days: int = 14, *, own: bool = False) -> dict[str, Any]:
    export_calendar(session, path, session.today, days, own=own)
    return {str(one["UID"]): one for one in Calendar.from_ical(path.read_bytes()).walk("VEVENT")}


def entries(session: Session) -> int:
    return int(session.ledger.execute("SELECT count(*) FROM entry").fetchone()[0])


def test_a_job_is_an_event_in_utc_with_what_to_load_in_its_notes(london: Session, tmp_path: Path) -> None:
    stock.receive(london, "FLU-1", "10", place="store")
    book(london, date(2027, 3, 30))
    (found,) = written(london, tmp_path / "out.ics", 40).values()
    assert (found["DTSTART"].dt.isoformat(), found["SEQUENCE"]) == ("2027-03-30T08:00:00+00:00", 0)
    assert str(found["SUMMARY"]) == "AAA clean P2463 P246B-00"
    notes = str(found["DESCRIPTION"])
    assert notes.startswith("family: AAA\ntype: clean\ncodes: P2463;P246B-00\nvan: van\n\nWhat to load, worked out ")
    assert "load for the day: 5 L x FLU-1 filter cleaning fluid from store" in notes
    assert "lacks 1 x SNS-1 pressure sensor" in notes


def test_a_job_without_a_time_is_all_day(london: Session, tmp_path: Path) -> None:
    book(london, at="")
    (found,) = written(london, tmp_path / "out.ics").values()
    assert (found["DTSTART"].dt, found["DTEND"].dt) == (DAY, DAY + timedelta(days=1))


def test_the_uid_stays_and_the_revision_grows_with_each_change(london: Session, tmp_path: Path) -> None:
    name = book(london).job
    uid = f"{name}@vanstock-{ledger_id(london.ledger)}"
    revisions = [written(london, tmp_path / "out.ics")[uid]["SEQUENCE"]]
    booking.move_booking(london, name, day=None, at="10:00", van=None)
    revisions.append(written(london, tmp_path / "out.ics")[uid]["SEQUENCE"])
    booking.cancel_booking(london, name)
    found = written(london, tmp_path / "out.ics")[uid]
    assert [*revisions, found["SEQUENCE"], str(found["STATUS"])] == [0, 1, 2, "CANCELLED"]


def test_a_job_from_a_calendar_keeps_its_uid_and_instance_and_may_be_left_out(london: Session, tmp_path: Path) -> None:
    lines = ("week", ";TZID=Europe/London:20270302T090000", "AAA clean", "RRULE:FREQ=DAILY;COUNT=2", "SEQUENCE:4")
    import_calendar(london, calendar(tmp_path / "in.ics", event(*lines)))
    book(london, at="15:00")
    path = tmp_path / "out.ics"
    export = export_calendar(london, path, DAY, 7)
    assert (export.events, export.from_calendar) == (3, 2)
    found: list[Any] = [one for one in Calendar.from_ical(path.read_bytes()).walk("VEVENT") if one["UID"] == "week"]
    assert [(one["RECURRENCE-ID"].to_ical(), one["SEQUENCE"]) for one in found] == [
        (b"20270302T090000Z", 4), (b"20270303T090000Z", 4),
    ]  # fmt: skip
    assert list(written(london, path, own=True)) == [f"J0003@vanstock-{ledger_id(london.ledger)}"]


def test_a_job_moved_on_the_phone_moves_and_an_older_file_does_not_move_it_back(
    london: Session, tmp_path: Path
) -> None:
    name = book(london).job
    out = tmp_path / "out.ics"
    written(london, out)
    old = out.read_bytes()
    out.write_bytes(old.replace(b"T090000Z", b"T110000Z").replace(b"SEQUENCE:0", b"SEQUENCE:1"))
    assert [act.what for act in import_calendar(london, out).acts] == ["moved"]
    moved = reading.job_named(london.ledger, name)
    assert moved
    assert (moved.time, moved.codes) == ("11:00", ("P2463", "P246B-00"))
    booking.move_booking(london, name, day=None, at="13:00", van=None)
    out.write_bytes(old)
    done = import_calendar(london, out)
    assert (done.acts, "older than what was read" in done.look[0].text) == ((), True)


def test_a_file_of_another_ledger_is_not_taken_for_this_ones_jobs(london: Session, tmp_path: Path) -> None:
    name = book(london).job
    path = calendar(tmp_path / "in.ics", event(f"{name}@vanstock-0123456789ab", ":20270305T080000", "BBB clean"))
    assert [act.what for act in import_calendar(london, path).acts] == ["booked"]


def test_what_cannot_be_written_is_refused(london: Session, tmp_path: Path) -> None:
    with pytest.raises(BadValue, match=r"does not end in \.ics"):
        export_calendar(london, tmp_path / "firm.db", DAY, 7)
    with pytest.raises(BadValue, match="name 1 to 62"):
        export_calendar(london, tmp_path / "out.ics", DAY, 63)


def test_references_are_counted_so_that_they_can_be_told(london: Session, tmp_path: Path) -> None:
    book(london, ref="C-7")
    book(london, at="12:00")
    assert export_calendar(london, tmp_path / "out.ics", DAY, 7).references == 1
    notes = [str(one["DESCRIPTION"]) for one in written(london, tmp_path / "out.ics").values()]
    assert ["\nref: C-7\n" in one for one in notes] == [True, False]


def test_what_is_written_of_what_to_load_is_not_read_back(london: Session, tmp_path: Path) -> None:
    """The cleaning fluid of a job is no job type, and the part numbers are no families."""
    stock.receive(london, "FLU-1", "10", place="store")
    stock.receive(london, "SNS-1", "1", place="store")
    for day, family in ((DAY, "AAA"), (DAY, "BBB"), (date(2027, 3, 5), "AAA")):
        book(london, day, family=family, ref="clean BBB")
    out = tmp_path / "out.ics"
    assert all("What to load" in str(one["DESCRIPTION"]) for one in written(london, out).values())
    done = import_calendar(london, out)
    assert (done.acts, done.look, done.same, done.entry) == ((), (), 3, None)


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=12)
JOBS = st.tuples(
    st.dates(date(2027, 3, 20), date(2027, 4, 5)), st.one_of(st.just(""), st.times().map("{:%H:%M}".format)),
    st.sampled_from(["AAA", "BBB"]), st.one_of(st.just("heat-source"), TEXT), st.sampled_from([(), ("P2463", "480B")]),
    st.one_of(st.just(""), TEXT), st.sampled_from(["booked", "cancelled", "done"]),
)  # fmt: skip


@settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(JOBS, max_size=4))
def test_a_file_written_and_taken_in_again_changes_nothing(
    london: Session, tmp_path: Path, jobs: list[tuple[date, str, str, str, tuple[str, ...], str, str]]
) -> None:
    """The clocks change on 28 March 2027: a job in the hour that is skipped comes back an hour later, and stays."""
    ids = booking.next_ids(one.job for one in reading.jobs(london.ledger))
    made = tuple(
        Job(next(ids), day, at, family, job_type, codes, status, "van", ref)
        for day, at, family, job_type, codes, ref, status in jobs
    )
    post(london.ledger, Draft(london.now, "booked", bookings=made))
    later = london._replace(now=datetime(2027, 4, 10, 8, 0))
    path = tmp_path / "out.ics"
    export_calendar(later, path, date(2027, 3, 20), 17)
    before = entries(london)
    done = import_calendar(later, path, Asked(first=date(2027, 3, 1)))
    assert (done.acts, done.look, done.entry, entries(london)) == ((), (), None, before)
