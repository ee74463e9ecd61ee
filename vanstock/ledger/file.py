"""The ledger file: where it is, opening it safely, and the one way to write to it.

Not what is written (see `entries`). Called by `routines.session`. Rollback journal and FULL sync, so
that the ledger is one file that can be copied and an acknowledged entry survives a pulled plug.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from vanstock.errors import LedgerUnusable, NotFound
from vanstock.ledger.faults import in_plain_words, missing, newer, not_a_ledger
from vanstock.ledger.schema import APPLICATION_ID, VERSION, migrate

BUSY_SECONDS = 10


class Ledger(sqlite3.Connection):
    """An open ledger that knows its path and which file that was when it was opened."""

    path: Path
    identity: tuple[int, int]


def ledger_path(chosen: str | None = None) -> Path:
    """`chosen`, else the VANSTOCK_LEDGER variable, else ledger.db in the platform's user data folder."""
    named = chosen or os.environ.get("VANSTOCK_LEDGER")
    return Path(named).expanduser() if named else _usual_path()


def _usual_path() -> Path:
    from platformdirs import user_data_path

    return user_data_path("vanstock", appauthor=False) / "ledger.db"


def open_ledger(path: Path, *, create: bool = False) -> Ledger:
    """A connection to the ledger at `path`, brought to this version; autocommit outside `writing`.

    Raises `NotFound` when there is no file and `create` is off, `LedgerUnusable` when the file is no
    ledger, is newer than this program, or cannot be opened.
    """
    if not os.path.exists(path):
        _may_be_made(path, create)
    elif not os.path.isfile(path):
        raise LedgerUnusable(missing(path))
    elif not create and os.path.getsize(path) == 0:
        raise not_a_ledger(path)
    with in_plain_words(path):
        ledger = sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None, factory=Ledger)
        try:
            _prepare(ledger, path)
        except BaseException:
            ledger.close()
            raise
    return ledger


def _may_be_made(path: Path, create: bool) -> None:
    if not os.path.isdir(path.parent):
        if not (create and path == _usual_path()):
            raise NotFound(missing(path))
        try:
            path.parent.mkdir(parents=True)
        except OSError as error:
            raise LedgerUnusable(f"cannot make the folder {path.parent} for the ledger: {error.strerror}") from error
    if not create:
        raise NotFound(missing(path))


def _prepare(ledger: Ledger, path: Path) -> None:
    ledger.path = path
    ledger.execute("PRAGMA foreign_keys = ON")
    ledger.execute("PRAGMA recursive_triggers = ON")
    ledger.execute("PRAGMA synchronous = FULL")
    ledger.execute("PRAGMA secure_delete = ON")
    version = _version(ledger, path)
    if not 0 <= version <= VERSION:
        raise newer(path, version)
    ledger.identity = _identity(path)
    if version < VERSION:
        _bring_up_to_date(ledger, version)


def _bring_up_to_date(ledger: Ledger, version: int) -> None:
    from vanstock.ledger.copies import copy_before_migration

    if version:
        copy_before_migration(ledger, version)
    with writing(ledger):
        migrate(ledger)


def _version(ledger: Ledger, path: Path) -> int:
    version = int(ledger.execute("PRAGMA user_version").fetchone()[0])
    ours = ledger.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    tables = ledger.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and not ours:
        raise not_a_ledger(path)
    return version


def _identity(path: Path) -> tuple[int, int]:
    """Which file lies at a path: it is another one after a restore, and none when a stick was pulled."""
    try:
        found = os.stat(path)
    except OSError:
        raise LedgerUnusable(
            f"the ledger {path} is gone: was the stick it lies on pulled? Nothing was written"
        ) from None
    return found.st_dev, found.st_ino


@contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """One BEGIN IMMEDIATE transaction: everything inside is kept, or on any exception nothing is.

    Inside another `writing` it is part of that one. A file that is not as vanstock left it is checked whole
    before the first write. Raises `LedgerUnusable` in plain words when the file is locked, full, read-only,
    damaged, or no longer the file that was opened.
    """
    if connection.in_transaction:
        yield connection
        return
    if not isinstance(connection, Ledger):
        raise TypeError("only a ledger opened by open_ledger is written to")
    with in_plain_words(connection.path), _transaction(connection):
        yield connection


@contextmanager
def _transaction(ledger: Ledger) -> Iterator[None]:
    from vanstock.ledger import untouched

    _begin(ledger)
    try:
        if _identity(ledger.path) != ledger.identity:
            raise LedgerUnusable(
                f"the ledger {ledger.path} was replaced while it was open: nothing was written, start again"
            )
        untouched.make_sure(ledger, ledger.path)
        yield
        ledger.execute("COMMIT")
    except BaseException:
        if ledger.in_transaction:
            ledger.execute("ROLLBACK")
        raise
    untouched.leave_mark(ledger.path)


def _begin(ledger: Ledger) -> None:
    """BEGIN IMMEDIATE, trying every few milliseconds: SQLite's own waiting is too slow to be fair among four."""
    deadline = time.monotonic() + BUSY_SECONDS
    ledger.execute("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                ledger.execute("BEGIN IMMEDIATE")
                return
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > deadline:
                    raise
            time.sleep(0.001 + time.perf_counter_ns() % 7 / 1000)
    finally:
        ledger.execute(f"PRAGMA busy_timeout = {BUSY_SECONDS * 1000}")
