"""Whether the ledger file is as vanstock left it; if not, it is checked whole before anything is written.

After each write a small mark beside the ledger (`ledger.db.left`) notes the file's number, size and times.
A file that was copied, cut off, overwritten or rolled back after a crash no longer agrees with its mark. The
mark is only a shortcut: without it the file is checked. Called by `file.writing`.
"""

from __future__ import annotations

import os
import sqlite3
import time
from contextlib import suppress
from pathlib import Path

_LENGTH = 120
_PATIENCE_SECONDS = 0.05
"""How long another program that has just written may take to leave its mark."""


def make_sure(connection: sqlite3.Connection, path: Path) -> None:
    """Return at once when the file is as it was left, else check it whole; raises `LedgerUnusable`.

    Called with the write lock held, so that nobody changes the file meanwhile.
    """
    if agrees(path):
        return
    from vanstock.ledger.checking import damage
    from vanstock.ledger.faults import damaged

    if connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0:
        return
    wrong = damage(connection)
    if wrong:
        raise damaged(path, wrong)


def agrees(path: Path) -> bool:
    """Whether a file is as its mark says; a program that has just written is given a moment to leave its own."""
    deadline = time.monotonic() + _PATIENCE_SECONDS
    now = _look(path)
    while True:
        try:
            if mark_of(path).read_bytes() == now:
                return True
        except OSError:
            return False
        if time.monotonic() > deadline:
            return False
        time.sleep(0.002)


def mark_of(path: Path) -> Path:
    """Where the mark of a ledger lies."""
    real = path.resolve() if path.is_symlink() else path
    return real.with_name(f"{real.name}.left")


def leave_mark(path: Path) -> None:
    """Note how the file is now; where that cannot be written, the next write checks the file instead."""
    with suppress(OSError):
        handle = os.open(mark_of(path), os.O_WRONLY | os.O_CREAT, 0o644)  # all marks are as long: none to cut off
        try:
            os.write(handle, _look(path))
        finally:
            os.close(handle)


def _look(path: Path) -> bytes:
    found = os.stat(path)
    text = f"{found.st_dev} {found.st_ino} {found.st_size} {found.st_mtime_ns} {found.st_ctime_ns}"
    return text.ljust(_LENGTH).encode() + b"\n"
