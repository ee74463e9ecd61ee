"""A job as its row: nothing is lost on the way in and out, older ledgers get the columns, and their seals stay true."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from contextlib import closing
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vanstock.ledger import reading, sealing
from vanstock.ledger.checking import check
from vanstock.ledger.entries import Draft, post
from vanstock.ledger.file import open_ledger
from vanstock.ledger.jobrows import COLUMNS, STATUS, from_row, to_row
from vanstock.ledger.restoring import as_it_was
from vanstock.ledger.schema import APPLICATION_ID, VERSION, migrations, schema_of, wanted_schema
from vanstock.model import Job
from vanstock.routines import trust
from vanstock.routines.session import Session

MONDAY, NOON = date(2027, 3, 1), datetime(2027, 3, 1, 12, 0)
SEALED = (
    ("booking", "entry, seq, job, date, time, family, job_type, codes, status, van"),
    ("counted", "entry, seq, part, place, qty"),
    ("movement", "entry, seq, part, qty, from_place, to_place, value, job, order_no"),
    ("missed", "entry, seq, job, part, qty"),
)
PART = (
    "part, description, component, unit, cost, pack_size, supplier, supplier_part, lead_working_days, one_time_use, "
    "surcharge, shelf_life_days, weight_grams, hazard, gtin, superseded_by"
)
SUPPLIER = "supplier, name, lead_working_days, order_days, cutoff, carriage, carriage_paid_over, email"
BOOKING = "seq, entry, job, date, time, family, job_type, codes, status, van, reference"
JOB = "'J1', '2027-03-02', '09:00', 'AAA', 'clean', 'P2463'"
ROWS = (
    f"INSERT INTO part ({PART}) VALUES ('P', '', 'c', 'C62', 100, 1, 'S', '', NULL, 0, 0, NULL, NULL, '', '', '')",
    f"INSERT INTO supplier ({SUPPLIER}) VALUES ('S', '', 0, 'Mon-Fri', '11:00', 0, NULL, '')",
    "INSERT INTO family VALUES ('AAA', 'Alder', NULL, NULL)",
    "INSERT INTO entry VALUES (1, 'one', '2027-03-01T08:00:00+00:00', 'booked', 'terminal', '', NULL, '')",
    f"INSERT INTO booking ({BOOKING}) VALUES (1, 1, {JOB}, 'booked', 'van', 'B-1')",
    "INSERT INTO entry VALUES (2, 'two', '2027-03-01T09:00:00+00:00', 'received', 'terminal', '', NULL, '')",
    "INSERT INTO movement VALUES (1, 2, 'P', 4, 'supplier', 'van', 400, NULL, NULL)",
    "INSERT INTO entry VALUES (3, 'three', '2027-03-02T09:00:00+00:00', 'finished', 'terminal', '', NULL, '')",
    f"INSERT INTO booking ({BOOKING}) VALUES (2, 3, {JOB}, 'done', 'van', 'B-1')",
    "INSERT INTO movement VALUES (2, 3, 'P', 1, 'van', 'customer', 100, 'J1', NULL)",
)
"""A part, a booking, goods in, and the job finished, as a ledger of any earlier version holds them."""

words = st.text("AZ09-", min_size=1, max_size=8)


def plain_seals(connection: sqlite3.Connection) -> list[str]:
    """The hash chain as its description says, worked out the slow way from columns that every version has."""
    before, found = "", []
    for head in connection.execute("SELECT seq, id, at, kind, device, reverses FROM entry ORDER BY seq").fetchall():
        rows: list[Any] = [head]
        for table, columns in SEALED:
            rows += connection.execute(f"SELECT {columns} FROM {table} WHERE entry = ? ORDER BY seq", head[:1])
        text = before + json.dumps(rows, separators=(",", ":"))
        before = hashlib.blake2b(text.encode(), digest_size=16).hexdigest()
        found.append(before)
    return found


def seals(connection: sqlite3.Connection) -> list[str]:
    return [seal for (seal,) in connection.execute("SELECT seal FROM seal ORDER BY entry")]


def write_older(path: Path, version: int) -> list[str]:
    """A ledger file of an earlier version with a finished job, sealed where that version seals; its true seals."""
    from sqlite_utils import Database, Migrations

    older = Migrations("vanstock")
    for step in list(migrations()._migrations)[:version]:
        older(name=step.name)(step.fn)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        older.apply(Database(connection))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {version}")
        for row in ROWS:
            connection.execute(row)
        true = plain_seals(connection)
        if version > 1:
            write_seals(connection, true)
        connection.execute("COMMIT")
    return true


def write_seals(connection: sqlite3.Connection, true: list[str]) -> None:
    """Put seals beside entries that are there already, which a guard refuses."""
    name = "seal_only_with_newest_entry"
    (guard,) = connection.execute("SELECT sql FROM sqlite_master WHERE name = ?", (name,)).fetchone()
    connection.execute(f"DROP TRIGGER {name}")
    connection.executemany("INSERT INTO seal VALUES (?, ?)", enumerate(true, 1))
    connection.execute(guard)


@given(
    st.builds(
        Job, words, st.dates(date(1990, 1, 1), date(2100, 12, 31)), st.sampled_from(["", "09:00"]), words, words,
        st.lists(words, unique=True, max_size=3).map(tuple), st.sampled_from(["booked", "done", "cancelled"]), words,
        st.text(max_size=8), st.lists(words, unique=True, max_size=3).map(tuple),
        st.sampled_from(["", "idle 45 mbar", "idle 45 mbar;after idle 8 mbar"]),
    )
)  # fmt: skip
def test_a_job_comes_back_from_its_row_as_it_was(job: Job) -> None:
    assert from_row(to_row(job)) == job
    assert to_row(job)[STATUS] == job.status


@pytest.mark.parametrize("table", ["booking", "job"])
def test_the_columns_are_those_of_the_tables(session: Session, table: str) -> None:
    there = [row[1] for row in session.ledger.execute(f"PRAGMA table_info({table})")]
    assert [name for name in there if name not in ("seq", "entry")] == COLUMNS.split(", ")


def test_a_booking_moves_every_column_of_its_job(session: Session) -> None:
    first = Job("J1", MONDAY, "08:00", "AAA", "clean", ("P2463",), "booked", "van", "B-1", ("SNS-1",), "idle 45 mbar")
    other = Job("J1", date(2027, 3, 9), "", "BBB", "heat-source", (), "done", "van", "", (), "")
    for job in (first, other, first):
        post(session.ledger, Draft(session.now, "booked", bookings=(job,)))
        assert reading.job_named(session.ledger, "J1") == job


def test_a_booking_of_which_nothing_more_is_known_is_sealed_as_before_and_one_of_which_more_is_known_is_not(
    session: Session,
) -> None:
    post(session.ledger, Draft(session.now, "booked", bookings=(Job("J1", MONDAY, "08:00", "AAA", "clean"),)))
    assert seals(session.ledger) == plain_seals(session.ledger)
    more = Job("J2", MONDAY, "08:00", "AAA", "clean", chosen=("SNS-1",))
    post(session.ledger, Draft(session.now, "booked", bookings=(more,)))
    assert seals(session.ledger)[:-1] == plain_seals(session.ledger)[:-1]
    assert seals(session.ledger)[-1] != plain_seals(session.ledger)[-1]


@given(st.lists(words, unique=True, max_size=2).map(tuple), st.sampled_from(["", "idle 1 mbar"]), words)
def test_no_two_jobs_of_which_other_things_are_known_are_sealed_alike(
    chosen: tuple[str, ...], readings: str, van: str
) -> None:
    """What is known stands behind line breaks, which no place, part number or reading can hold."""
    known = sealing.SEALED["booking"].split("status, ")[1]
    job = dict(zip(COLUMNS.split(", "), to_row(Job("J", MONDAY, "", "F", "t", van=van, chosen=chosen)), strict=True))
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.execute("CREATE TABLE booking (van TEXT, chosen TEXT, readings TEXT)")
        connection.execute("INSERT INTO booking VALUES (?, ?, ?)", (van, job["chosen"], readings))
        (text,) = connection.execute(f"SELECT {known} FROM booking").fetchone()
    assert text.split("\n") == ([van, ";".join(chosen), readings] if chosen or readings else [van])


@pytest.mark.parametrize("version", range(1, VERSION))
def test_an_older_ledger_gets_the_columns_empty_and_its_seals_stay_what_they_were(tmp_path: Path, version: int) -> None:
    path = tmp_path / "ledger.db"
    true = write_older(path, version)
    with closing(open_ledger(path)) as ledger:
        assert wanted_schema() <= schema_of(ledger)
        assert seals(ledger) == true
        assert [finding for finding in check(ledger) if finding.wrong] == []
        (job,) = reading.jobs(ledger)
        assert (job.status, job.chosen, job.readings) == ("done", (), "")
        assert ledger.execute("SELECT bulk_ml FROM part").fetchall() == [(None,)]
        assert ledger.execute("SELECT comes_at FROM supplier").fetchall() == [("",)]
        post(ledger, Draft(Session(ledger, NOON, path).now, "read", bookings=(job._replace(readings="idle 45 mbar"),)))
        assert seals(ledger)[:-1] == true
        assert [finding for finding in check(ledger) if finding.wrong] == []
        assert reading.jobs(ledger) == [job._replace(readings="idle 45 mbar")]


@pytest.mark.parametrize("version", range(1, VERSION))
def test_an_older_ledger_is_guarded_after_the_columns_came(tmp_path: Path, version: int) -> None:
    path = tmp_path / "ledger.db"
    write_older(path, version)
    with closing(open_ledger(path)) as ledger:
        for column in ("chosen", "readings", "date"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                ledger.execute(f"UPDATE booking SET {column} = 'x'")


def test_forgetting_a_customer_lets_neither_pin_nor_reading_be_changed(session: Session) -> None:
    known = Job("J1", MONDAY, "08:00", "AAA", "clean", reference="B-1", chosen=("SNS-1",), readings="idle 45 mbar")
    post(session.ledger, Draft(session.now, "booked", bookings=(known,)))
    trust.forget(session, "B-1")
    assert reading.jobs(session.ledger) == [known._replace(reference="")]
    for column in ("chosen", "readings"):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            session.ledger.execute(f"UPDATE booking SET {column} = '', reference = ''")
    assert [finding for finding in check(session.ledger) if finding.wrong] == []


def test_the_ledger_as_it_was_has_pins_and_readings_as_they_were(session: Session, tmp_path: Path) -> None:
    known = Job("J1", MONDAY, "08:00", "AAA", "clean", chosen=("SNS-1",), readings="idle 45 mbar")
    post(session.ledger, Draft(session.now, "booked", bookings=(known,)))
    more = known._replace(chosen=(), readings="idle 45 mbar;after idle 8 mbar")
    post(session.ledger, Draft(session.now + timedelta(hours=2), "read", bookings=(more,)))
    as_it_was(session.path, session.now + timedelta(hours=1), tmp_path / "then.db")
    with closing(open_ledger(tmp_path / "then.db")) as then:
        assert reading.jobs(then) == [known]
        assert [finding for finding in check(then) if finding.wrong] == []
