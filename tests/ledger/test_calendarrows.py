"""Calendar events as rows in the ledger file: guarded, sealed, undone, replayed, and known in every copy."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from tests.ledger.test_checking import broken, without_guards
from vanstock.errors import VanstockError
from vanstock.ledger import calendarrows, catalogue
from vanstock.ledger.entries import Draft, post, reverse
from vanstock.ledger.file import open_ledger, writing
from vanstock.ledger.orderrows import COLUMNS, CalendarEvent
from vanstock.ledger.restoring import as_it_was
from vanstock.model import Entry, Job, Word
from vanstock.routines.session import Session

SEALED = "no entry or line was changed since it was written"
ROW = CalendarEvent("one", "", "J1", "Work", 3, "2027-03-02", "09:00", "AAA", "clean", "P2463", "", "booked")


def write(session: Session, *rows: CalendarEvent, kind: str = "from calendar") -> Entry:
    job = Job("J1", session.today, "09:00", "AAA", "clean")
    known = session.ledger.execute("SELECT 1 FROM job").fetchone()
    return post(session.ledger, Draft(session.now, kind, bookings=() if known else (job,), orders=rows))


@pytest.mark.parametrize("change", ["UPDATE calendar_event SET seq = seq", "DELETE FROM calendar_event"])
def test_what_an_event_said_is_never_changed_or_deleted(session: Session, change: str) -> None:
    write(session, ROW)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        session.ledger.execute(change)


def test_what_an_event_said_is_never_replaced_or_added_to_later(session: Session) -> None:
    write(session, ROW)
    with closing(sqlite3.connect(session.path)) as raw, pytest.raises(sqlite3.IntegrityError, match="append-only"):
        raw.execute("INSERT OR REPLACE INTO calendar_event SELECT * FROM calendar_event")
    post(session.ledger, Draft(session.now, "noted"))
    names = COLUMNS["calendar_event"]
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        session.ledger.execute(f"INSERT INTO calendar_event (entry, {names}) SELECT entry, {names} FROM calendar_event")


@pytest.mark.parametrize("column", CalendarEvent._fields)
def test_a_change_by_another_program_breaks_a_seal(session: Session, column: str) -> None:
    write(session, ROW)
    value = {"sequence": "4", "status": "'cancelled'", "job": "''"}.get(column, "'x'")
    without_guards(session, f"UPDATE calendar_event SET {column} = {value}")
    assert broken(session) == {SEALED}


def test_the_newest_row_of_an_event_stands_and_one_that_is_no_job_any_more_is_left_out(session: Session) -> None:
    write(session, ROW, ROW._replace(recurrence="20270302"))
    write(session, ROW._replace(time="10:00", sequence=1), ROW._replace(recurrence="20270302", job=""))
    assert calendarrows.events(session.ledger) == {("one", ""): ROW._replace(time="10:00", sequence=1)}
    assert calendarrows.highest_sequences(session.ledger) == {"J1": 3}


def test_undoing_a_reading_leaves_what_was_read_before(session: Session) -> None:
    first = write(session, ROW)
    second = write(session, ROW._replace(time="10:00"))
    with pytest.raises(VanstockError, match="one was changed again after that: undo `from calendar`"):
        reverse(session.ledger, first.id, Draft(session.now, "undo"))
    undone = reverse(session.ledger, second.id, Draft(session.now, "undo"))
    assert calendarrows.events(session.ledger) == {("one", ""): ROW}
    reverse(session.ledger, undone.id, Draft(session.now, "undo"))
    assert calendarrows.events(session.ledger) == {("one", ""): ROW._replace(time="10:00")}


def test_a_ledger_as_it_was_knows_its_events_words_and_own_name(session: Session, tmp_path: Path) -> None:
    write(session, ROW)
    with writing(session.ledger) as ledger:
        catalogue.save_word(ledger, Word("limp mode", "job type", "clean"))
    later = session._replace(now=session.now + timedelta(days=1))
    post(later.ledger, Draft(later.now, "from calendar", orders=(ROW._replace(time="10:00"),)))
    as_it_was(session.path, session.now.astimezone(), tmp_path / "then.db")
    with closing(open_ledger(tmp_path / "then.db")) as then:
        assert calendarrows.events(then) == {("one", ""): ROW}
        assert catalogue.words(then) == [Word("limp mode", "job type", "clean")]
        assert calendarrows.ledger_id(then) == calendarrows.ledger_id(session.ledger) != ""


def test_a_ledger_without_an_entry_has_no_name(session: Session) -> None:
    assert calendarrows.ledger_id(session.ledger) == ""
    assert calendarrows.revisions(session.ledger) == {}
