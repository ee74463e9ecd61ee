"""What to tell a person when the ledger file cannot be used: what is wrong, and what to do.

SQLite's words become plain ones here, and nowhere else. Called by `file` and `routines.session`.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from vanstock.errors import LedgerUnusable

_SPREADSHEET = b"PK\x03\x04"
_OLD_SPREADSHEET = b"\xd0\xcf\x11\xe0"
_SQLITE = b"SQLite format 3\x00"


def missing(path: Path) -> str:
    """What to say when there is no ledger at a path."""
    if not path.parent.is_dir():
        return f"the folder {path.parent} is not there: plug in the stick or disk it is on, or name the right --ledger"
    return f"no ledger at {path}: make one with `vanstock import FOLDER`, or name it with --ledger"


def not_a_ledger(path: Path) -> LedgerUnusable:
    """The error for a file that is something else."""
    try:
        with path.open("rb") as file:
            start = file.read(len(_SQLITE))
    except OSError:
        start = b""
    what = "is not a vanstock ledger"
    if start.startswith((_SPREADSHEET, _OLD_SPREADSHEET)):
        what = "is a spreadsheet or an archive, not a vanstock ledger"
    elif start == _SQLITE:
        what = "is a database, but not a vanstock ledger"
    return LedgerUnusable(
        f"{path} {what}: name the right file with --ledger, or, if this was your ledger, put a copy back with "
        f"`vanstock restore FILE`{_newest(path)}"
    )


def damaged(path: Path, wrong: str) -> LedgerUnusable:
    """The error for a ledger that is not whole: what is wrong, and which copy to go back to."""
    return LedgerUnusable(
        f"the ledger {path} is damaged ({wrong}): nothing was written. `vanstock check` says more, `vanstock "
        f"restore FILE` puts a copy in its place{_newest(path)}"
    )


def _newest(path: Path) -> str:
    from vanstock.ledger.copies import newest_copy

    found = newest_copy(path)
    return f"; the newest copy beside it is {found}" if found else ""


@contextmanager
def in_plain_words(path: Path) -> Iterator[None]:
    """Raise SQLite's errors about a file as `LedgerUnusable` in plain words; a bug's error as it is."""
    try:
        yield
    except sqlite3.Error as error:
        told = plain_words(error, path)
        if told is error:
            raise
        raise told from error


def plain_words(error: sqlite3.Error, path: Path) -> Exception:
    """What to raise for an error of SQLite: the world's faults in plain words, anything else as it is."""
    text = str(error)
    if "locked" in text or "busy" in text:
        return _locked(path)
    if "not a database" in text:
        return not_a_ledger(path)
    if isinstance(error, sqlite3.IntegrityError | sqlite3.ProgrammingError):
        return error
    if "full" in text:
        return LedgerUnusable(f"the disk that holds {path} is full: nothing was written, make room and try again")
    if "readonly" in text:
        return LedgerUnusable(
            f"the ledger {path} cannot be written: the file or its folder is read-only, or is another person's"
        )
    if "unable to open" in text:
        return LedgerUnusable(f"the ledger {path} cannot be opened: it or its folder may be another person's, or gone")
    if "disk I/O" in text:
        return LedgerUnusable(
            f"the disk did not take or give what was asked of {path} ({text}): is the stick still in, is there room?"
        )
    broken = any(word in text for word in ("malformed", "corrupt", "unsupported file format", "decode to UTF-8"))
    return damaged(path, text) if broken else error


def _locked(path: Path) -> LedgerUnusable:
    who = holders(path)
    seen = f" Open in: {', '.join(who)}." if who else ""
    return LedgerUnusable(
        f"the ledger {path} is being written by another program and did not come free in 10 s: nothing was written."
        f"{seen} Look for another vanstock, a database viewer or a copying program, close it and try again"
    )


def holders(path: Path) -> list[str]:
    """The other programs of this machine that have the file open, where the system tells (Linux)."""
    found = []
    with suppress(OSError):
        file = os.stat(path)
        for process in Path("/proc").iterdir():
            if process.name.isdigit() and int(process.name) != os.getpid() and _has_open(process, file):
                with suppress(OSError):
                    found.append(f"{(process / 'comm').read_text().strip()} (process {process.name})")
    return sorted(found)


def _has_open(process: Path, file: os.stat_result) -> bool:
    with suppress(OSError):
        for handle in (process / "fd").iterdir():
            with suppress(OSError):
                if os.path.samestat(os.stat(handle), file):
                    return True
    return False
