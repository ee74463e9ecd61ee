"""Forgetting a customer: gone from every byte of the file, and every sum and seal still true."""

from __future__ import annotations

import sqlite3

import pytest

from vanstock.errors import BadValue, NotFound, VanstockError
from vanstock.ledger import reading
from vanstock.ledger.checking import check
from vanstock.ledger.entries import Counted, Draft, post
from vanstock.ledger.forgetting import forgotten_jobs
from vanstock.model import Job
from vanstock.routines import booking, job, trust
from vanstock.routines.session import Session

NAME = "Quillfeather-1042"


@pytest.fixture
def known(session: Session) -> Session:
    booking.add_booking(session, Job("J1", session.today, "08:00", "AAA", "clean", reference=NAME))
    booking.add_booking(session, Job("J2", session.today, "10:00", "AAA", "clean", reference=NAME.upper()))
    booking.add_booking(session, Job("J3", session.today, "12:00", "AAA", "clean", reference="Other-7"))
    booking.move_booking(session, "J1", day=None, at="09:00", van=None)
    post(session.ledger, Draft(session.now, "counted", counted=(Counted("SNS-1", "van", 2),), note=f"left at {NAME}"))
    job.fit(session, "J1", "SNS-1")
    return session


def test_a_forgotten_reference_is_in_no_byte_of_the_file_and_every_rule_holds(known: Session) -> None:
    assert NAME.encode() in known.path.read_bytes()
    done = trust.forget(known, f"  {NAME.lower()} ")
    assert (done.jobs, done.notes) == (("J1", "J2"), 1)
    assert NAME.lower().encode() not in known.path.read_bytes().lower()
    assert [row.reference for row in reading.jobs(known.ledger)] == ["", "", "Other-7"]
    assert [finding for finding in check(known.ledger) if finding.wrong] == []


def test_forgetting_is_an_entry_that_does_not_say_what_was_forgotten_and_cannot_be_undone(known: Session) -> None:
    entry = trust.forget(known, NAME).entry
    assert (entry.kind, entry.note) == ("forgotten", "a customer's reference, on 2 jobs")
    with pytest.raises(VanstockError, match="cannot be brought back"):
        job.undo(known, entry.id)
    undone, _ = job.undo(known)
    assert undone.kind == "fitted"


def test_the_guards_let_nothing_but_the_blanking_through_and_only_then(known: Session) -> None:
    blank = "UPDATE booking SET reference = '' WHERE job = 'J3'"
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        known.ledger.execute(blank)
    trust.forget(known, NAME)
    for other in (
        "UPDATE booking SET reference = 'x'", "UPDATE booking SET date = '2027-03-03', reference = ''",
        "UPDATE entry SET note = 'x'", "UPDATE entry SET kind = 'x', note = ''", "UPDATE movement SET value = 0",
        "DELETE FROM booking",
    ):  # fmt: skip
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            known.ledger.execute(other)
    job.fit(known, "J1", "SNS-1")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        known.ledger.execute(blank)


def test_a_reference_nobody_has_and_an_empty_one_are_refused_and_change_nothing(known: Session) -> None:
    before = known.path.read_bytes()
    with pytest.raises(NotFound, match="no job and no note"):
        trust.forget(known, "Nobody")
    with pytest.raises(BadValue):
        trust.forget(known, "  ")
    assert known.path.read_bytes() == before


def test_only_the_whole_words_of_a_note_count_as_the_reference(known: Session) -> None:
    booking.add_booking(known, Job("J4", known.today, "14:00", "AAA", "clean", reference="12"))
    post(known.ledger, Draft(known.now, "counted", counted=(Counted("GKT-1", "van", 2),), note="112 found"))
    assert trust.forget(known, "12").notes == 0
    assert known.ledger.execute("SELECT note FROM entry ORDER BY seq DESC LIMIT 1 OFFSET 1").fetchone() == (
        "112 found",
    )


def test_only_what_the_job_needs_is_stored_of_a_customer(session: Session) -> None:
    tables = [name for (name,) in session.ledger.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    columns = {f"{t}.{row[1]}" for t in tables for row in session.ledger.execute(f"PRAGMA table_info({t})")}
    personal = ("customer", "phone", "address", "email", "plate", "vin", "name", "reference", "note")
    assert sorted(c for c in columns if c.split(".")[1] in personal) == [
        "_sqlite_migrations.name", "booking.reference", "entry.note", "family.name", "job.reference", "setting.name",
        "supplier.email", "supplier.name",
    ]  # fmt: skip


def test_a_job_that_bears_another_reference_by_now_keeps_it(session: Session) -> None:
    first = Job("J1", session.today, "08:00", "AAA", "clean", reference=NAME)
    booking.add_booking(session, first)
    post(session.ledger, Draft(session.now, "moved", bookings=(first._replace(reference="New-9"),)))
    assert trust.forget(session, NAME).jobs == ("J1",)
    assert NAME.encode() not in session.path.read_bytes()
    assert [row.reference for row in reading.jobs(session.ledger)] == ["New-9"]
    assert forgotten_jobs(session.ledger) == set()
    assert [finding for finding in check(session.ledger) if finding.wrong] == []
    assert trust.forget(session, "New-9").jobs == ("J1",)
    assert forgotten_jobs(session.ledger) == {"J1"}
    assert [finding for finding in check(session.ledger) if finding.wrong] == []


def test_no_hash_of_what_was_forgotten_is_left_to_guess_from(known: Session) -> None:
    digests = "SELECT count(*) FROM entry WHERE digest = ''"
    assert known.ledger.execute(digests).fetchone() == (0,)
    trust.forget(known, NAME)
    assert known.ledger.execute(digests).fetchone() == (4,)
