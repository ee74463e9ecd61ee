"""A calendar file brought into the bookings, again and again: updates, not doubles, and the hand always holds."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.routines.calendars import calendar, event
from vanstock.errors import BadValue, NotFound, VanstockError
from vanstock.ledger import reading
from vanstock.ledger.checking import check
from vanstock.ledger.entries import last_undoable
from vanstock.model import Job
from vanstock.routines import booking, calendarwords, job, stock, trust
from vanstock.routines import settings as firm
from vanstock.routines.calendarin import Asked, Imported, Watched, import_calendar
from vanstock.routines.session import Session

TUESDAY = ":20270302T090000"
ONE = ("one", TUESDAY, "AAA heat source P20CB")
WEEKLY = ("week", ";TZID=Europe/London:20270303T090000", "BBB clean", "RRULE:FREQ=WEEKLY;COUNT=3")
Bring = Callable[..., Imported]


@pytest.fixture
def bring(session: Session, tmp_path: Path) -> Bring:
    firm.change_setting(session, "time_zone", "Europe/London")

    def bringing(*events: str, name: str = "", look: bool = False, **asked: object) -> Imported:
        path = calendar(tmp_path / "phone.ics", *events, name=name)
        return import_calendar(session, path, Asked(**asked), look=look)  # type: ignore[arg-type]

    return bringing


def acts(done: Imported) -> list[str]:
    return [f"{act.what} {act.job.job}" for act in done.acts]


def named(session: Session, name: str) -> Job:
    found = reading.job_named(session.ledger, name)
    assert found
    return found


def count(session: Session) -> int:
    return int(session.ledger.execute("SELECT count(*) FROM entry").fetchone()[0])


def whole(session: Session) -> bool:
    return not any(finding.wrong for finding in check(session.ledger))


def test_an_event_becomes_a_booking_and_others_are_left_alone(session: Session, bring: Bring) -> None:
    done = bring(event(*ONE, "DESCRIPTION:ref: C-7"), event("two", ":20270302T120000", "Lunch"))
    assert acts(done) == ["booked J0001"]
    assert (done.no_jobs, done.look) == (1, ())
    wanted = Job("J0001", date(2027, 3, 2), "09:00", "AAA", "heat-source", ("P20CB",), "booked", "van", "C-7")
    assert named(session, "J0001") == wanted


def test_all_day_is_a_booking_without_a_time_and_utc_becomes_local_time(session: Session, bring: Bring) -> None:
    bring(event("a", ";VALUE=DATE:20270302", "AAA clean"), event("b", ":20270401T090000Z", "BBB clean"))
    assert [(one.date.day, one.time) for one in reading.jobs(session.ledger)] == [(2, ""), (1, "10:00")]


def test_the_same_file_again_writes_nothing(session: Session, bring: Bring) -> None:
    both = (event(*ONE), event(*WEEKLY))
    assert len(bring(*both).acts) == 4
    before = count(session)
    again = bring(*both)
    assert (again.acts, again.same, again.entry, count(session)) == ((), 4, None, before)


def test_looking_writes_nothing_and_says_what_importing_does(session: Session, bring: Bring) -> None:
    before = count(session)
    looked = bring(event(*ONE), look=True)
    assert (count(session), looked.entry) == (before, None)
    assert looked.acts == bring(event(*ONE)).acts


def test_a_moved_a_changed_and_a_cancelled_event_do_so_to_their_booking(session: Session, bring: Bring) -> None:
    bring(event(*ONE), event("two", ":20270302T120000", "BBB clean"), event("three", ":20270305", "AAA clean"))
    done = bring(
        event("one", ":20270304T110000", "AAA heat source P20CB"),
        event("two", ":20270302T120000", "BBB clean P2463"),
        event("three", ":20270305", "AAA clean", "STATUS:CANCELLED"),
    )
    assert acts(done) == ["changed J0002", "moved J0001", "cancelled J0003"]
    assert (named(session, "J0001").date, named(session, "J0001").time) == (date(2027, 3, 4), "11:00")
    assert named(session, "J0002").codes == ("P2463",)
    assert named(session, "J0003").status == "cancelled"
    assert whole(session)


def test_one_instance_of_a_series_is_moved_and_one_taken_out(session: Session, bring: Bring) -> None:
    assert acts(bring(event(*WEEKLY))) == ["booked J0001", "booked J0002", "booked J0003"]
    moved = event("week", ":20270311T140000", "BBB clean", "RECURRENCE-ID;TZID=Europe/London:20270310T090000")
    out = event(*WEEKLY, "EXDATE;TZID=Europe/London:20270317T090000")
    assert acts(bring(out, moved)) == ["moved J0002", "cancelled J0003"]
    assert acts(bring(event(*WEEKLY), moved)) == ["booked again J0003"]
    assert bring(event(*WEEKLY), moved).acts == ()


def test_a_day_left_out_of_a_timed_series_without_its_time_is_listed_with_why(session: Session, bring: Bring) -> None:
    """RFC 5545, 3.8.5.1: an exception is of the value type of its start (from memory)."""
    bring(event(*WEEKLY))
    out = event(*WEEKLY, "EXDATE;VALUE=DATE:20270317")
    (look,) = bring(out).look
    assert look.text == (
        "J0003 (Wed 2027-03-17 09:00) may be called off: its event leaves out all of 2027-03-17, without the time that "
        "RFC 5545 asks for"
    )
    assert look.command == "vanstock booking cancel J0003"
    assert named(session, "J0003").status == "booked"
    booking.cancel_booking(session, "J0003")
    assert bring(out).look == ()


def test_a_series_with_a_rule_of_exceptions_is_listed_and_its_jobs_stay(session: Session, bring: Bring) -> None:
    """RFC 5545, appendix A.3: EXRULE is deprecated (from memory)."""
    bring(event(*WEEKLY))
    for known in (True, False):
        uid = "week" if known else "new"
        done = bring(event(uid, *WEEKLY[1:], "EXRULE:FREQ=WEEKLY;INTERVAL=2"))
        assert (acts(done), ["EXRULE" in look.text for look in done.look]) == ([], [True])
    assert {one.status for one in reading.jobs(session.ledger)} == {"booked"}


def test_an_event_moved_out_of_the_window_is_moved_not_lost(session: Session, bring: Bring) -> None:
    bring(event(*ONE))
    assert acts(bring(event("one", ":20280302T090000", "AAA heat source P20CB"))) == ["moved J0001"]
    assert bring(event("far", ":20280302T090000", "AAA clean")).acts == ()


@pytest.mark.parametrize("year", ["0001", "1989", "2101", "9999"])
def test_an_event_moved_to_a_year_that_no_job_can_have_is_told_and_its_job_stays(
    session: Session, bring: Bring, year: str
) -> None:
    firm.change_setting(session, "time_zone", "Asia/Tokyo")
    bring(event(*ONE))
    done = bring(event("one", f":{year}0102T080000", ONE[2]))
    assert (done.acts, done.entry) == ((), None)
    assert [f"{year}-01-02 08:00" in look.text and "J0001 stays" in look.text for look in done.look] == [True]
    assert named(session, "J0001").date == date(2027, 3, 2)
    assert acts(bring(event("one", ":20270304T110000", ONE[2]))) == ["moved J0001"]


def test_an_event_called_off_and_on_again_is_booked_again_where_it_is_now(session: Session, bring: Bring) -> None:
    bring(event(*ONE))
    bring(event(*ONE, "STATUS:CANCELLED"))
    assert acts(bring(event("one", ":20270304T090000", "AAA heat source P20CB"))) == ["booked again J0001"]
    assert (named(session, "J0001").status, named(session, "J0001").date) == ("booked", date(2027, 3, 4))


def test_what_was_changed_by_hand_stays_until_the_event_changes_just_that(session: Session, bring: Bring) -> None:
    bring(event(*ONE))
    booking.move_booking(session, "J0001", day=date(2027, 3, 5), at="15:00", van=None)
    assert bring(event(*ONE)).same == 1
    assert acts(bring(event("one", TUESDAY, "AAA heat source P20CB P246B"))) == ["changed J0001"]
    assert (named(session, "J0001").date, named(session, "J0001").time) == (date(2027, 3, 5), "15:00")
    assert acts(bring(event("one", ":20270308T080000", "AAA heat source P20CB P246B"))) == ["moved J0001"]
    assert named(session, "J0001").date == date(2027, 3, 8)


def test_a_booking_cancelled_by_hand_stays_so_while_its_event_stands(session: Session, bring: Bring) -> None:
    bring(event(*ONE))
    booking.cancel_booking(session, "J0001")
    bring(event(*ONE))
    bring(event("one", ":20270304T090000", "AAA heat source P20CB"))
    assert named(session, "J0001").status == "cancelled"
    assert [one.job for one in reading.jobs(session.ledger)] == ["J0001"]


@pytest.mark.parametrize(("act", "what"), [(job.finish, "is finished"), (lambda s, j: job.fit(s, j, "GLV-1"), "begun")])
def test_a_job_finished_or_begun_is_never_changed_and_told_once(
    session: Session, bring: Bring, act: Callable[..., object], what: str
) -> None:
    bring(event(*ONE), event(*WEEKLY))
    act(session, "J0001")
    act(session, "J0002")
    before = named(session, "J0001"), named(session, "J0002")
    changed = (event(*ONE, "STATUS:CANCELLED"), event(*WEEKLY, "EXDATE;TZID=Europe/London:20270303T090000"))
    done = bring(*changed)
    assert done.acts == ()
    told = [one.text for one in done.look if what in one.text]
    assert (
        told[0] == f"J0001 {'has ' if what == 'begun' else ''}{what}: its event was cancelled; the job stays as it is"
    )
    assert (named(session, "J0001"), named(session, "J0002")) == before
    assert bring(*changed).look == ()


def test_an_older_revision_of_an_event_is_told_and_left(session: Session, bring: Bring) -> None:
    bring(event("one", ":20270304T110000", "AAA clean", "SEQUENCE:2"))
    done = bring(event("one", TUESDAY, "AAA clean", "SEQUENCE:1"))
    assert (done.acts, "older than what was read of it" in done.look[0].text) == ((), True)
    assert named(session, "J0001").date == date(2027, 3, 4)


def test_one_import_is_one_entry_that_one_undo_takes_back(session: Session, bring: Bring) -> None:
    before = count(session)
    bring(event(*ONE), event(*WEEKLY))
    assert count(session) == before + 1
    job.undo(session)
    assert {one.status for one in reading.jobs(session.ledger)} == {"cancelled"}
    assert acts(bring(event(*ONE), event(*WEEKLY))) == [f"booked J000{n}" for n in (5, 6, 7, 8)]
    assert whole(session)


def test_undoing_an_update_leaves_job_and_event_as_they_were_and_putting_back_does_it_again(
    session: Session, bring: Bring
) -> None:
    bring(event(*ONE))
    moved = event("one", ":20270304T110000", "AAA heat source P20CB")
    bring(moved)
    _, undoing = job.undo(session)
    assert named(session, "J0001").date == date(2027, 3, 2)
    assert bring(event(*ONE)).same == 1
    job.undo(session, undoing.id)
    assert named(session, "J0001").date == date(2027, 3, 4)
    assert bring(moved).same == 1
    assert whole(session)


def test_an_import_under_a_job_changed_since_is_not_undone(session: Session, bring: Bring) -> None:
    bring(event(*ONE))
    first = last_undoable(session.ledger)
    bring(event("one", ":20270304T110000", "AAA heat source P20CB"))
    with pytest.raises(VanstockError, match="changed again after that"):
        job.undo(session, first)


def test_an_import_sent_twice_under_one_id_is_one_entry(session: Session, tmp_path: Path) -> None:
    path = calendar(tmp_path / "phone.ics", event(*ONE))
    first = import_calendar(session, path, entry_id="one-1")
    again = import_calendar(session, path, entry_id="one-1")
    assert first.entry == again.entry
    assert [one.job for one in reading.jobs(session.ledger)] == ["J0001"]


def test_a_job_booked_by_hand_before_is_not_doubled(session: Session, bring: Bring) -> None:
    booking.add_booking(session, Job("", date(2027, 3, 2), "09:00", "AAA", "heat-source"))
    assert acts(bring(event(*ONE))) == ["booked already J0001"]
    assert bring(event(*ONE)).acts == ()
    assert acts(bring(event("one", ":20270304T110000", "AAA heat source P20CB"))) == ["moved J0001"]


def test_an_event_called_off_is_never_taken_for_a_job_booked_by_hand_in_the_window_or_beyond(
    session: Session, bring: Bring
) -> None:
    for day in (date(2027, 3, 2), date(2027, 9, 7)):
        booking.add_booking(session, Job("", day, "09:00", "AAA", "heat-source", ("P20CB",)))
    before = count(session)
    for off in ("20270302", "20270907"):
        done = bring(event(f"off-{off}", f":{off}T090000", ONE[2], "STATUS:CANCELLED"))
        assert (acts(done), done.look, done.entry) == ([], (), None)
    assert count(session) == before


def test_an_event_that_names_no_family_or_type_is_listed_with_the_command_and_knows_the_job_then_booked(
    session: Session, bring: Bring
) -> None:
    half = event("half", TUESDAY, "Alder P2463 light on")
    (look,) = bring(half).look
    assert look.text == 'Tue 2027-03-02 09:00 "Alder P2463 light on": no job type is named'
    assert look.command == "vanstock booking add AAA TYPE --date 2027-03-02 --time 09:00 --codes P2463"
    assert reading.jobs(session.ledger) == []
    booking.add_booking(session, Job("", date(2027, 3, 2), "09:00", "AAA", "clean"))
    assert acts(bring(half)) == ["booked already J0001"]
    assert bring(half).look == ()


@pytest.mark.parametrize(
    ("title", "notes", "why"),
    [
        ("AAA heat source P20CB", "van: attic", "there is no van 'attic'"),
        ("AAA heat source P20CB", "family: ZZZ", "'ZZZ' is no family that is known"),
        ("AAA BBB heat source P20CB", "", "the family could be AAA or BBB"),
        ("ZZZ heat source P20CB", "", "no family is named"),
        ("AAA P20CB", "", "no job type is named"),
        ("AAA heat source P20CB", "codes: P20CB P24?", "P24"),
    ],
)
def test_an_update_that_became_unclear_is_told_until_it_is_clear_and_never_counted_as_before(
    session: Session, bring: Bring, title: str, notes: str, why: str
) -> None:
    bring(event(*ONE))
    for start, moved in ((TUESDAY, []), (":20270304T110000", ["moved J0001"]), (":20270304T110000", [])):
        done = bring(event("one", start, title, f"DESCRIPTION:{notes}"))
        (look,) = done.look
        assert (acts(done), done.same) == (moved, 0)
        assert "is J0001, booked as AAA heat-source, van: " in look.text
        assert why in look.text
    assert named(session, "J0001").codes == ("P20CB",)
    assert bring(event("one", ":20270304T110000", ONE[2])).look == ()
    assert bring(event("one", ":20270304T110000", title, f"DESCRIPTION:{notes}", "STATUS:CANCELLED")).look == ()


def test_an_unclear_update_of_a_job_begun_past_or_cancelled_by_hand_is_not_asked_about(
    session: Session, bring: Bring
) -> None:
    bring(event(*ONE), event("two", ":20270303T090000", "AAA clean"), event("three", ":20270304T090000", "AAA clean"))
    job.fit(session, "J0001", "GLV-1")
    booking.cancel_booking(session, "J0002")
    starts = (TUESDAY, ":20270303T090000", ":20270304T090000")
    ids = ("one", "two", "three")
    unclear = [event(one, start, "ZZZ") for one, start in zip(ids, starts, strict=True)]
    assert ["J0003" in look.text for look in bring(*unclear).look] == [True]
    assert bring(*unclear, first=date(2027, 3, 5)).look == ()


def test_an_event_that_could_be_two_things_or_two_jobs_is_listed(session: Session, bring: Bring) -> None:
    assert "the family could be AAA or BBB" in bring(event("x", TUESDAY, "AAA BBB clean")).look[0].text
    for _ in range(2):
        booking.add_booking(session, Job("", date(2027, 3, 2), "09:00", "AAA", "clean"))
    done = bring(event("x", TUESDAY, "AAA clean"))
    assert (done.acts, "could be J0001 or J0002" in done.look[0].text) == ((), True)


def test_a_series_cut_in_two_under_a_new_uid_doubles_nothing(session: Session, bring: Bring) -> None:
    """What many phones do with "this and all later ones": the old series ends, a new one begins."""
    bring(event(*WEEKLY))
    old = event("week", ";TZID=Europe/London:20270303T090000", "BBB clean", "RRULE:FREQ=WEEKLY;UNTIL=20270304T000000Z")
    new = event("new", ";TZID=Europe/London:20270310T090000", "BBB clean", "RRULE:FREQ=WEEKLY;COUNT=2")
    done = bring(old, new)
    assert (acts(done), done.look) == (["booked already J0002", "booked already J0003"], ())


def test_an_event_that_is_gone_is_listed_never_cancelled(session: Session, bring: Bring) -> None:
    bring(event(*ONE), event("two", ":20270303T090000", "BBB clean"), name="Jobs")
    done = bring(event(*ONE), name="Jobs")
    assert [(one.text, one.command) for one in done.look] == [
        ("J0002 (Wed 2027-03-03 09:00) is no longer in the calendar", "vanstock booking cancel J0002")
    ]
    assert named(session, "J0002").status == "booked"
    assert bring(event(*ONE), name="Another").look == ()
    assert bring(event(*ONE)).look == ()


def test_an_event_gone_from_a_calendar_of_a_long_name_is_listed_too(bring: Bring) -> None:
    bring(event(*ONE), name="Work " * 20)
    (look,) = bring(event("two", ":20270302T120000", "Lunch"), name="Work " * 20).look
    assert look.command == "vanstock booking cancel J0001"


def test_an_instance_that_a_shorter_series_no_longer_has_is_listed(session: Session, bring: Bring) -> None:
    bring(event(*WEEKLY))
    shorter = event("week", ";TZID=Europe/London:20270303T090000", "BBB clean", "RRULE:FREQ=WEEKLY;COUNT=2")
    assert [one.command for one in bring(shorter).look] == ["vanstock booking cancel J0003"]
    only = event("week", ":20270303T090000Z", "BBB clean", "RECURRENCE-ID:20270303T090000Z")
    assert bring(only).look == ()


def test_jobs_of_days_past_are_only_booked_when_asked_for(session: Session, bring: Bring) -> None:
    past = event("past", ":20270225T090000", "AAA clean")
    assert (bring(past).past, reading.jobs(session.ledger)) == (1, [])
    assert acts(bring(past, first=date(2027, 2, 20))) == ["booked J0001"]


def test_the_van_is_the_events_own_the_one_asked_for_or_told_when_there_is_none(session: Session, bring: Bring) -> None:
    stock.add_place(session, "van 2", "van")
    done = bring(event("a", TUESDAY, "AAA clean", "DESCRIPTION:van: VAN 2"), event("b", ":20270303", "AAA clean"))
    assert [act.job.van for act in done.acts] == ["van 2", "van"]
    assert bring(event("c", ":20270304", "AAA clean"), van="Van 2").acts[0].job.van == "van 2"
    done = bring(event("d", ":20270305", "AAA clean", "DESCRIPTION:van: attic"))
    assert (done.acts, "no van 'attic'" in done.look[0].text) == ((), True)
    with pytest.raises(NotFound, match="no van named 'attic'"):
        bring(van="attic")


def test_rules_made_by_hand_are_kept_to(session: Session, bring: Bring) -> None:
    calendarwords.teach(session, "limp mode", "job type", "heat-source")
    calendarwords.teach(session, "gutters", "not a job")
    done = bring(event("a", TUESDAY, "Alder in limp-mode"), event("b", ":20270302T120000", "clean the gutters"))
    assert ([act.job.job_type for act in done.acts], done.no_jobs, done.look) == (["heat-source"], 1, ())


def test_an_event_not_read_this_time_is_told_and_its_booking_stays(session: Session, bring: Bring) -> None:
    bring(event(*WEEKLY))
    done = bring(event("week", ":20270303T090000", "BBB clean", "RRULE:FREQ=SECONDLY"))
    assert (done.acts, len(done.look), "repeats too often" in done.look[0].text) == ((), 1, True)


def test_a_customer_forgotten_stays_forgotten_when_the_file_comes_again(session: Session, bring: Bring) -> None:
    with_ref = (*ONE, "DESCRIPTION:ref: C-1042")
    bring(event(*with_ref))
    trust.forget(session, "C-1042")
    bring(event("one", ":20270304T110000", "AAA heat source P20CB", "DESCRIPTION:ref: C-1042"))
    assert (named(session, "J0001").date, named(session, "J0001").reference) == (date(2027, 3, 4), "")
    assert whole(session)


@pytest.mark.parametrize(
    ("first", "last", "says"),
    [("2027-03-02", "2027-03-01", "comes before"), ("2027-03-01", "2030-01-01", "more than 800 days")],
)
def test_days_that_cannot_be_are_refused(bring: Bring, first: str, last: str, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        bring(first=date.fromisoformat(first), last=date.fromisoformat(last))


def test_a_watched_folder_gives_each_file_once_when_it_no_longer_grows(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    path = calendar(tmp_path / "phone.ics", event(*ONE))
    (tmp_path / "notes.txt").write_text("no calendar")
    (tmp_path / "sub.ics").mkdir()
    assert list(watched.ready()) == []
    path.write_text(path.read_text() + "\n")
    assert list(watched.ready()) == []
    assert list(watched.ready()) == [path]
    assert list(watched.ready()) == []
    watched.again(path)
    assert list(watched.ready()) == [path]
    calendar(path, event(*ONE), event(*WEEKLY))
    assert [list(watched.ready()) for _ in range(3)] == [[], [path], []]
    path.unlink()
    assert list(watched.ready()) == []
    with pytest.raises(BadValue, match="is no folder"):
        Watched(path)


@pytest.mark.parametrize("looks", [0, 1, 2])
def test_a_file_that_vanishes_while_a_folder_is_looked_at_ends_no_watch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, looks: int
) -> None:
    """Another program takes the file away after it was looked at so many times."""
    path, stays = calendar(tmp_path / "gone.ics", event(*ONE)), calendar(tmp_path / "stays.ics", event(*ONE))
    watched, left, stat = Watched(tmp_path), iter(range(looks)), Path.stat

    def takes_away(self: Path, **how: bool) -> os.stat_result:
        if self == path and next(left, None) is None:
            with suppress(FileNotFoundError):
                os.unlink(path)
        return stat(self, **how)

    monkeypatch.setattr(Path, "stat", takes_away)
    assert stays in [*watched.ready(), *watched.ready(), *watched.ready()]


EVENTS = st.lists(
    st.tuples(
        st.sampled_from("abcd"), st.integers(-3, 9), st.sampled_from(["", "T090000", "T133000Z"]),
        st.sampled_from(["AAA clean", "BBB heat source P20CB", "AAA BBB clean", "Lunch", "clean"]),
        st.sampled_from(["SEQUENCE:1", "STATUS:CANCELLED", "RRULE:FREQ=DAILY;COUNT=2", "DESCRIPTION:family: BBB"]),
    ),
    max_size=5, unique_by=lambda one: one[0],
)  # fmt: skip


@settings(max_examples=15, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(EVENTS, min_size=1, max_size=3))
def test_a_file_brought_twice_is_a_file_brought_once(
    session: Session, tmp_path: Path, files: list[list[tuple[str, int, str, str, str]]]
) -> None:
    """Whatever was brought before: the second time writes nothing, every rule of the ledger holds, and an undo leaves
    every job as it was before, those that were made new cancelled."""
    for file in files:
        lines = [
            event(uid, f":{session.today + timedelta(days=on):%Y%m%d}{clock}", what, more)
            for uid, on, clock, what, more in file
        ]
        path = calendar(tmp_path / "phone.ics", *lines)
        before = {one.job: one for one in reading.jobs(session.ledger)}
        done = import_calendar(session, path)
        after = reading.jobs(session.ledger)
        second = import_calendar(session, path)
        assert (second.acts, second.entry) == ((), None)
        if done.entry:
            _, undoing = job.undo(session, done.entry.id)
            undone = {one.job: one for one in reading.jobs(session.ledger)}
            assert all(undone[name] == one for name, one in before.items())
            assert all(one.status == "cancelled" for name, one in undone.items() if name not in before)
            job.undo(session, undoing.id)
            assert reading.jobs(session.ledger) == after
    assert whole(session)
