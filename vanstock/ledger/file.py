"""The ledger file: where it is, opening it safely, and the one way to write to it.

Not what is written (see `entries`). Called by `routines.session`. Rollback journal and FULL sync, so
that the ledger is one file that can be copied and an acknowledged entry survives a pulled plug.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from vanstock.errors import LedgerUnusable, NotFound
from vanstock.ledger.schema import APPLICATION_ID, VERSION, migrate

BUSY_SECONDS = 10


def ledger_path(chosen: str | None = None) -> Path:
    """`chosen`, else the VANSTOCK_LEDGER variable, else ledger.db in the platform's user data folder."""
    named = chosen or os.environ.get("VANSTOCK_LEDGER")
    if named:
        return Path(named).expanduser()
    from platformdirs import user_data_path

    return user_data_path("vanstock", appauthor=False) / "ledger.db"


def open_ledger(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """A connection to the ledger at `path`, brought to this version; autocommit outside `writing`.

    Raises `NotFound` when there is no file and `create` is off, `LedgerUnusable` when the file is no
    ledger, is newer than this program, or cannot be opened.
    """
    if not path.exists():
        if not create:
            raise NotFound(f"no ledger at {path}: make one with `vanstock import FOLDER`, or name it with --ledger")
        _make_folder(path.parent)
    try:
        connection = sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)
    except sqlite3.Error as error:
        raise LedgerUnusable(f"cannot open the ledger {path}: {error}") from error
    try:
        _prepare(connection, path)
    except sqlite3.Error as error:
        connection.close()
        raise _in_plain_words(error, path) from error
    except BaseException:
        connection.close()
        raise
    return connection


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LedgerUnusable(f"cannot make the folder {folder} for the ledger: {error.strerror}") from error


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA recursive_triggers = ON")
    connection.execute("PRAGMA synchronous = FULL")
    version = _version(connection, path)
    if version == VERSION:
        return
    if version > VERSION:
        raise LedgerUnusable(
            f"the ledger {path} was written by a newer vanstock (file version {version}, this program "
            f"knows {VERSION}): update vanstock to open it"
        )
    if version:
        copy_aside(connection, path.with_name(f"{path.name}.before-version-{VERSION}"))
    migrate(connection)


def _version(connection: sqlite3.Connection, path: Path) -> int:
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    ours = connection.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and not ours:
        raise LedgerUnusable(f"{path} is a database, but not a vanstock ledger: name the right file with --ledger")
    return version


def copy_aside(connection: sqlite3.Connection, target: Path) -> None:
    """A complete copy of the ledger in a new file, opened and checked; raises `LedgerUnusable`."""
    if target.exists():
        raise LedgerUnusable(f"{target} is in the way of a safety copy: move it and try again")
    connection.execute("VACUUM INTO ?", (str(target),))
    copy = sqlite3.connect(target)
    try:
        verdict = copy.execute("PRAGMA integrity_check").fetchone()[0]
    finally:
        copy.close()
    if verdict != "ok":
        raise LedgerUnusable(f"the safety copy {target} is damaged ({verdict}): nothing was changed")


def _in_plain_words(error: sqlite3.Error, path: Path) -> LedgerUnusable:
    text = str(error)
    if "locked" in text or "busy" in text:
        return LedgerUnusable(
            f"the ledger {path} is being written by another program and did not come free in "
            f"{BUSY_SECONDS} s: close the other vanstock window or wait, then try again"
        )
    if "not a database" in text or "malformed" in text:
        return LedgerUnusable(
            f"{path} is not a vanstock ledger, or is damaged ({text}): name the right file "
            "with --ledger, or go back to your last copy of it"
        )
    if "readonly" in text:
        return LedgerUnusable(f"the ledger {path} cannot be written: it or its folder is read-only")
    return LedgerUnusable(f"the ledger {path} cannot be used: {text}")


@contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """One BEGIN IMMEDIATE transaction: everything inside is kept, or on any exception nothing is.

    Inside another `writing` it is part of that one. Raises `LedgerUnusable` in plain words when the file is
    locked, full or read-only.
    """
    inside_another = connection.in_transaction
    if inside_another:
        yield connection
        return
    path = Path(connection.execute("PRAGMA database_list").fetchone()[2])
    try:
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield connection
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    except sqlite3.OperationalError as error:
        raise _in_plain_words(error, path) from error
