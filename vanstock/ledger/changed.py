"""Whether a ledger's file is another than it was: seen without opening it as a ledger, and many times a second.

When a process closes any handle of a file, POSIX takes away every lock that it has on that file, those of a transaction
that another of its threads is in the middle of as well (SQLite, https://www.sqlite.org/howtocorrupt.html, section 2.2).
So the handles used here stay open. Called by `routines.today`.
"""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import LedgerUnusable
from vanstock.ledger.faults import missing

MOST_OPEN = 50
"""A program that serves one ledger keeps one handle, and one more after each restore."""
_HANDLES: dict[tuple[int, int], int] = {}
_ALONE = threading.Lock()


class Changes(NamedTuple):
    """Which file lies at a path, when it was last written to (in nanoseconds), and SQLite's own count of the
    transactions written to it (bytes 24 to 27 of the header, https://www.sqlite.org/fileformat.html "file change
    counter"). The time is there because a number and a count may come again after a restore or a crash."""

    device: int
    number: int
    written: int
    transactions: int


def changes(path: Path) -> Changes:
    """What of a ledger's file is another after each transaction; raises `LedgerUnusable` when the file is gone."""
    try:
        found, head = _looked_at(path)
    except OSError:
        raise LedgerUnusable(missing(path)) from None
    return Changes(found.st_dev, found.st_ino, found.st_mtime_ns, int.from_bytes(head[24:28], "big"))


def _looked_at(path: Path) -> tuple[os.stat_result, bytes]:
    """A file as it is, and its first bytes."""
    if sys.platform == "win32":  # where closing takes no lock away, and an open file cannot be replaced
        with path.open("rb") as file:
            return os.fstat(file.fileno()), file.read(28)
    with _ALONE:
        there = os.stat(path)
        handle = _HANDLES.get((there.st_dev, there.st_ino))
        if handle is None:
            handle = os.open(path, os.O_RDONLY)
            there = os.fstat(handle)  # another file may lie there by now
            while len(_HANDLES) >= MOST_OPEN:
                os.close(_HANDLES.pop(next(iter(_HANDLES))))
            handle = _HANDLES.setdefault((there.st_dev, there.st_ino), handle)
        return os.fstat(handle), os.pread(handle, 28, 0)
