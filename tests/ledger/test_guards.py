"""The ledger file guards itself: what happened cannot be changed, removed, replaced or added to later."""

from __future__ import annotations

import sqlite3

import pytest

from vanstock.ledger.entries import CUSTOMER, SUPPLIER, Counted, Draft, Missed, post
from vanstock.ledger.schema import GUARDED
from vanstock.ledger.valuing import Line
from vanstock.model import Job
from vanstock.routines.session import Session


@pytest.fixture
def used(session: Session) -> Session:
    """A ledger with at least one row in every guarded table."""
    job = Job("J1", session.today, "08:00", "AAA", "clean")
    drafts = (
        Draft(session.now, "booked", bookings=(job,)),
        Draft(session.now, "received", lines=(Line("SNS-1", 3, SUPPLIER, "van", 14_160),)),
        Draft(session.now, "fitted", lines=(Line("SNS-1", 1, "van", CUSTOMER, job="J1"),)),
        Draft(session.now, "missed", missed=(Missed("J1", "GKT-1", 1),)),
        Draft(session.now, "counted", counted=(Counted("SNS-1", "van", 2),)),
    )
    for draft in drafts:
        post(session.ledger, draft)
    return session


@pytest.mark.parametrize("table", GUARDED)
def test_a_row_of_what_happened_cannot_be_changed(used: Session, table: str) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        used.ledger.execute(f"UPDATE {table} SET {'entry = entry' if table == 'seal' else 'seq = seq'}")


@pytest.mark.parametrize("table", GUARDED)
def test_a_row_of_what_happened_cannot_be_deleted(used: Session, table: str) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        used.ledger.execute(f"DELETE FROM {table}")


@pytest.mark.parametrize("table", GUARDED)
def test_a_row_of_what_happened_cannot_be_replaced(used: Session, table: str) -> None:
    raw = sqlite3.connect(used.path)  # without the pragmas that the program sets
    try:
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            raw.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1")
    finally:
        raw.close()


def test_an_undoing_entry_cannot_replace_another_through_what_it_reverses(used: Session) -> None:
    ledger = used.ledger
    ledger.execute("INSERT INTO entry VALUES (NULL, 'a', '', 'undone', '', '', 3, '')")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        ledger.execute("INSERT OR REPLACE INTO entry VALUES (NULL, 'b', '', 'undone', '', '', 3, '')")


@pytest.mark.parametrize(
    "insert",
    [
        "movement (entry, part, qty, from_place, to_place, value) VALUES (2, 'SNS-1', 1, 'supplier', 'van', 0)",
        "missed (entry, job, part, qty) VALUES (2, 'J1', 'SNS-1', 1)",
        "counted (entry, part, place, qty) VALUES (2, 'SNS-1', 'van', 9)",
    ],
)
def test_a_line_cannot_be_slipped_into_an_older_entry(used: Session, insert: str) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="newest entry"):
        used.ledger.execute(f"INSERT INTO {insert}")


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ("(5, 'SNS-1', 1, 'van', 'van', 0)", "CHECK"),
        ("(5, 'SNS-1', -1, 'van', 'customer', 0)", "CHECK"),
        ("(5, 'SNS-1', 0, 'van', 'customer', 0)", "CHECK"),
        ("(5, 'NONE', 1, 'van', 'customer', 0)", "FOREIGN KEY"),
        ("(5, 'SNS-1', 1, 'nowhere', 'customer', 0)", "FOREIGN KEY"),
        ("(5, 'SNS-1', 'one', 'van', 'customer', 0)", "cannot store TEXT"),
    ],
)
def test_a_movement_that_makes_no_sense_is_refused_by_the_file(used: Session, values: str, why: str) -> None:
    columns = "(entry, part, qty, from_place, to_place, value)"
    with pytest.raises(sqlite3.IntegrityError, match=why):
        used.ledger.execute(f"INSERT INTO movement {columns} VALUES {values}")


def test_the_file_keeps_a_rollback_journal_and_full_sync(used: Session) -> None:
    assert used.ledger.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    assert used.ledger.execute("PRAGMA synchronous").fetchone() == (2,)
    assert used.ledger.execute("PRAGMA foreign_keys").fetchone() == (1,)


def test_every_table_is_strict(used: Session) -> None:
    rows = used.ledger.execute("SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND type = 'table'")
    loose = {name for name, strict in rows if not strict}
    assert loose <= {"sqlite_schema", "sqlite_sequence", "_sqlite_migrations"}
