"""Seals: a changed byte of what was written shows, what may be forgotten does not, old ledgers get theirs."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from vanstock.errors import LedgerUnusable
from vanstock.ledger.checking import check, damage
from vanstock.ledger.entries import CUSTOMER, SUPPLIER, Counted, Draft, Missed, post
from vanstock.ledger.file import open_ledger
from vanstock.ledger.schema import APPLICATION_ID, VERSION, migrations, schema_of, wanted_schema
from vanstock.ledger.valuing import Line
from vanstock.model import Job
from vanstock.routines import trust
from vanstock.routines.session import Session


def some_entries(session: Session) -> None:
    """One entry of each shape a line can have."""
    job = Job("J1", session.today, "08:00", "AAA", "clean", reference="C-1042")
    for draft in (
        Draft(session.now, "booked", bookings=(job,)),
        Draft(session.now, "received", lines=(Line("SNS-1", 3, SUPPLIER, "van", 14_160),)),
        Draft(session.now, "fitted", lines=(Line("SNS-1", 1, "van", CUSTOMER, job="J1"),)),
        Draft(session.now, "missed", missed=(Missed("J1", "GKT-1", 1),)),
        Draft(session.now, "counted", counted=(Counted("SNS-1", "van", 2),), note="dropped one"),
    ):
        post(session.ledger, draft)


def seals(connection: sqlite3.Connection) -> list[str]:
    return [seal for (seal,) in connection.execute("SELECT seal FROM seal ORDER BY entry")]


def test_a_seal_is_the_plain_hash_chain_that_its_description_says(session: Session) -> None:
    some_entries(session)
    db = session.ledger
    before, expected = "", []
    for head in db.execute("SELECT seq, id, at, kind, device, reverses FROM entry ORDER BY seq").fetchall():
        rows: list[Any] = [head]
        for table, columns in (
            ("booking", "entry, seq, job, date, time, family, job_type, codes, status, van"),
            ("counted", "entry, seq, part, place, qty"),
            ("movement", "entry, seq, part, qty, from_place, to_place, value, job, order_no"),
            ("missed", "entry, seq, job, part, qty"),
        ):
            rows += db.execute(f"SELECT {columns} FROM {table} WHERE entry = {head[0]} ORDER BY seq").fetchall()
        text = before + json.dumps(rows, separators=(",", ":"))
        before = hashlib.blake2b(text.encode(), digest_size=16).hexdigest()
        expected.append(before)
    assert seals(db) == expected


@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("entry", "at = '2027-03-01T12:00:01+00:00'"), ("entry", "kind = 'loaded'"), ("entry", "id = 'x'"),
        ("movement", "value = value + 1"), ("movement", "order_no = 'A'"), ("missed", "qty = 2"),
        ("counted", "qty = 3"), ("booking", "date = '2027-03-02'"), ("booking", "van = 'store'"),
    ],
)  # fmt: skip
def test_any_change_of_what_was_written_is_found(session: Session, table: str, change: str) -> None:
    some_entries(session)
    assert damage(session.ledger) == ""
    guard = session.ledger.execute(f"SELECT sql FROM sqlite_master WHERE name = '{table}_never_changed'").fetchone()[0]
    session.ledger.execute(f"DROP TRIGGER {table}_never_changed")
    session.ledger.execute(f"UPDATE {table} SET {change} WHERE seq = (SELECT max(seq) FROM {table})")
    session.ledger.execute(guard)
    assert any("was changed since it was written" in f.rule and f.wrong for f in check(session.ledger))
    assert damage(session.ledger)


def write_version_1(path: Path, fill: Callable[[sqlite3.Connection], None]) -> None:
    """A ledger file as the first version of its tables had it."""
    from sqlite_utils import Database, Migrations

    first = migrations()
    old = Migrations("vanstock")
    step = next(iter(first._migrations))
    old(name=step.name)(step.fn)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        old.apply(Database(connection))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute("PRAGMA user_version = 1")
        fill(connection)
        connection.execute("COMMIT")


def version_1_rows(connection: sqlite3.Connection) -> None:
    for statement in (
        "INSERT INTO part VALUES ('P', '', 'c', 'C62', 100, 1, '', '', NULL, 0, 0, NULL, NULL, '', '', '')",
        "INSERT INTO entry VALUES (1, 'one', '2027-03-01T08:00:00+00:00', 'received', 'terminal', '', NULL, '')",
        "INSERT INTO movement VALUES (1, 1, 'P', 4, 'supplier', 'van', 400, NULL, NULL)",
        "INSERT INTO entry VALUES (2, 'two', '2027-03-01T09:00:00+00:00', 'counted', 'terminal', '', NULL, '')",
        "INSERT INTO counted VALUES (1, 2, 'P', 'van', 4)",
    ):
        connection.execute(statement)


def test_an_older_ledger_is_copied_then_brought_up_to_date_with_seals_and_every_guard(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    write_version_1(path, version_1_rows)
    with closing(open_ledger(path)) as ledger:
        assert ledger.execute("PRAGMA user_version").fetchone() == (VERSION,)
        assert wanted_schema() <= schema_of(ledger)
        assert len(seals(ledger)) == 2
        assert [f for f in check(ledger) if f.wrong] == []
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            ledger.execute("UPDATE entry SET note = 'x'")
    (copy,) = (tmp_path / "ledger.db-copies").iterdir()
    assert copy.name.startswith("ledger-version-1-")
    with closing(sqlite3.connect(copy)) as old:
        assert old.execute("PRAGMA user_version").fetchone() == (1,)
        assert old.execute("SELECT count(*) FROM movement").fetchone() == (1,)


def test_a_damaged_older_ledger_is_not_brought_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    write_version_1(path, version_1_rows)
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 2)
    before = path.read_bytes()
    with pytest.raises(LedgerUnusable, match="damaged"):
        open_ledger(path)
    assert path.read_bytes() == before


def test_an_older_ledger_is_brought_up_to_date_before_it_is_checked_or_replayed(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    write_version_1(path, version_1_rows)
    before = path.read_bytes()
    with pytest.raises(LedgerUnusable, match="older vanstock"):
        trust.check(str(path), lambda _: None)
    with pytest.raises(LedgerUnusable, match="older vanstock"):
        trust.as_it_was(str(path), trust.read_moment("2027-03-02"), tmp_path / "then.db")
    assert path.read_bytes() == before
    assert not (tmp_path / "then.db").exists()
    open_ledger(path).close()
    assert not [finding for finding in trust.check(str(path), lambda _: None) if finding.wrong]


def test_the_copy_of_an_older_version_can_be_put_back(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    write_version_1(path, version_1_rows)
    open_ledger(path).close()
    (copy,) = (tmp_path / "ledger.db-copies").iterdir()
    loss = trust.what_would_be_lost(str(path), copy)
    assert loss.lost
    assert (loss.entries, loss.lost.total, loss.lost.other) == (2, 0, False)
    trust.restore(str(path), copy, None)
    with closing(open_ledger(path)) as ledger:
        assert ledger.execute("PRAGMA user_version").fetchone() == (VERSION,)
        assert len(seals(ledger)) == 2
