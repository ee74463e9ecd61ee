"""What to tell a person when the ledger file cannot be used: what is wrong, and what to do.

SQLite's words become plain ones here, and nowhere else. Called by `file` and `routines.session`.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from vanstock.errors import LedgerLocked, LedgerUnusable
from vanstock.ledger.schema import APPLICATION_ID, VERSION

_SPREADSHEET = b"PK\x03\x04"
_OLD_SPREADSHEET = b"\xd0\xcf\x11\xe0"
_SQLITE = b"SQLite format 3\x00"
HALF_WRITTEN = "SQLITE_READONLY_ROLLBACK"
"""SQLite's name for a write cut short that cannot be taken back where nothing may be written."""
_UNHEARD_OF = 1_000
_PLUG_IN = "plug in the stick or disk it is on, or name the right --ledger"
_RIGHTS = "ask who owns it for the right to it, or name another"


def missing(path: Path) -> str:
    """What to say when there is no ledger at a path."""
    if os.path.exists(path) and not os.path.isfile(path):
        return f"{path} is {_kind(path)}, not a ledger: name the ledger's file with --ledger"
    if os.path.islink(path):
        return f"{path} is a link to {os.readlink(path)}, which is not there: {_PLUG_IN}"
    if _hidden(path):
        return f"the ledger {path} cannot be looked at: its folder is another person's; {_RIGHTS}"
    if not os.path.isdir(path.parent):
        return f"the folder {path.parent} is not there: {_PLUG_IN}"
    ways = "make one with `vanstock start` or `vanstock import FOLDER`"
    return f"no ledger at {path}: {ways}, or, if there is one, {_PLUG_IN}"


def _kind(path: Path) -> str:
    return "a folder" if os.path.isdir(path) else "a pipe or a device"


def _hidden(path: Path) -> bool:
    """Whether a folder on the way may not be looked into; `Path.exists` would raise."""
    try:
        os.stat(path)
    except PermissionError:
        return True
    except OSError:
        return False
    return False


def not_a_ledger(path: Path) -> LedgerUnusable:
    """The error for a file that is something else."""
    start = _header(path)
    what = "is not a vanstock ledger"
    if not start:
        what = "is empty, not a vanstock ledger"
    elif start.startswith((_SPREADSHEET, _OLD_SPREADSHEET)):
        what = "is a spreadsheet or an archive, not a vanstock ledger"
    elif start.startswith(_SQLITE):
        what = "is a database, but not a vanstock ledger"
    return LedgerUnusable(
        f"{path} {what}: name the right file with --ledger, or, if this was your ledger, put a copy back with "
        f"`vanstock restore FILE`{_newest(path)}"
    )


def newer(path: Path, version: int) -> LedgerUnusable:
    """The error for a ledger that a later program has changed; no program has reached the thousandth version."""
    if not VERSION < version < _UNHEARD_OF:
        return damaged(path, f"file version {version}")
    return LedgerUnusable(
        f"the ledger {path} was written by a newer vanstock (file version {version}, this program knows {VERSION}): "
        "update vanstock to open it. If no newer one was ever used here, the file is damaged: `vanstock restore FILE` "
        f"puts a copy in its place{_newest(path)}"
    )


def refuse_other(path: Path) -> None:
    """Raise `LedgerUnusable` for a file that says it is no ledger, or a newer one; damage is not looked for."""
    start = _header(path)
    version = int.from_bytes(start[60:64], "big")
    if not start.startswith(_SQLITE) or start[68:72] != APPLICATION_ID.to_bytes(4, "big"):
        raise not_a_ledger(path)
    if version > VERSION:
        raise newer(path, version)


def _header(path: Path) -> bytes:
    """The first bytes of a file, where SQLite keeps whose it is and its version; nothing of what is no file."""
    if not os.path.isfile(path):
        return b""
    with suppress(OSError), path.open("rb") as file:
        return file.read(100)
    return b""


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
def in_plain_words(path: Path, into: Path | None = None) -> Iterator[None]:
    """Raise SQLite's errors about a file as `LedgerUnusable` in plain words; a bug's error as it is.

    `into` is the file that is written from the one at `path`, when that is another one.
    """
    try:
        yield
    except sqlite3.Error as error:
        told = plain_words(error, path, into)
        if told is error:
            raise
        raise told from error
    except UnicodeDecodeError as error:  # SQLite's own words quote what the file is damaged with
        raise damaged(path, "it holds text that cannot be read") from error


def plain_words(error: sqlite3.Error, path: Path, into: Path | None = None) -> Exception:
    """What to raise for an error of SQLite: the world's faults in plain words, anything else as it is."""
    text = str(error)
    written = into or path
    if os.path.exists(path) and not os.path.isfile(path):
        return LedgerUnusable(missing(path))
    if "locked" in text or "busy" in text:
        return _locked(path)
    if "not a database" in text:
        return not_a_ledger(path)
    if isinstance(error, sqlite3.IntegrityError | sqlite3.ProgrammingError):
        return error
    if "full" in text:
        return LedgerUnusable(f"the disk that holds {written} is full: nothing was written, make room and try again")
    if getattr(error, "sqlite_errorname", "") == HALF_WRITTEN:
        return LedgerUnusable(
            f"{path} was left half-written by a crash, and a read-only disk does not let it be put right: copy it and "
            f"{path.name}-journal together to a disk that can be written, and open it there"
        )
    if "readonly" in text:
        return LedgerUnusable(_read_only(written))
    if "unable to open" in text:
        return LedgerUnusable(_not_opened(written))
    if "disk I/O" in text:
        return LedgerUnusable(
            f"the disk of {written} failed, or has no room for it: nothing was written. See that the stick is in and "
            "has room, then try again"
        )
    broken = any(word in text for word in ("malformed", "corrupt", "unsupported file format", "decode to UTF-8"))
    return damaged(path, text) if broken else error


def _read_only(path: Path) -> str:
    return (
        f"{path} cannot be written: it, its folder or its disk is read-only or another person's, nothing was written. "
        "Unlock the stick or get the right to write, then try again"
    )


def _not_opened(path: Path) -> str:
    if _hidden(path):
        return missing(path)
    if os.path.isfile(path) and not _readable(path):
        return f"the ledger {path} may not be read: it is another person's; {_RIGHTS}"
    being_made = os.path.isdir(path.parent) and not os.path.islink(path)
    return _read_only(path) if os.path.isfile(path) or being_made else missing(path)


def _readable(path: Path) -> bool:
    """Tried, not asked: `os.access` answers for the wrong person in a program that changed whom it acts for."""
    try:
        path.open("rb").close()
    except OSError:
        return False
    return True


def _locked(path: Path) -> LedgerUnusable:
    who = holders(path)
    seen = f" Open in: {', '.join(who)}." if who else ""
    return LedgerLocked(
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
