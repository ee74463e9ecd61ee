"""Copies of the ledger: made whole, opened and checked, named by date, and thinned out with age.

A copy is an ordinary ledger file. Beside the ledger the copies lie in `ledger.db-copies`. Not putting one
back (see `restoring`). Called by `routines.trust`, and by `file` before an older ledger is changed.
"""

from __future__ import annotations

import glob
import os
import re
import sqlite3
import time
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import LedgerUnusable
from vanstock.ledger.faults import HALF_WRITTEN, damaged, in_plain_words, plain_words, refuse_other
from vanstock.ledger.file import BUSY_SECONDS, Ledger
from vanstock.ledger.schema import VERSION

_DAY_SECONDS = 86_400
_DATED = "%Y-%m-%dT%H%M%S"


class Copy(NamedTuple):
    """A copy of a ledger: its file, and the local time it was made at."""

    file: Path
    at: datetime


def usual_folder(ledger: Path) -> Path:
    """Where a ledger's copies lie when no other folder is named: beside the file itself, not beside a link to it."""
    real = ledger.resolve() if ledger.is_symlink() else ledger
    return real.with_name(f"{real.name}-copies")


def set_aside(ledger: Path) -> list[Path]:
    """The other files that hold what a ledger held: set aside, made as it was, or from before an update."""
    names = (f"{ledger.stem}-set-aside-*.db", f"{ledger.stem}-as-it-was-*.db")
    found = [file for name in names for file in ledger.parent.glob(name)]
    return sorted([*found, *usual_folder(ledger).glob(f"{ledger.stem}-version-*.db")])


def copies_in(folder: Path, ledger: Path) -> list[Copy]:
    """The dated copies of a ledger of this name in a folder, oldest first."""
    shape = re.compile(rf"{re.escape(ledger.stem)}-(\d{{4}}-\d\d-\d\dT\d{{6}})(-\d+)?\.db")
    found = []
    with suppress(OSError):
        for file in folder.iterdir():
            match = shape.fullmatch(file.name)
            with suppress(ValueError):
                found += [Copy(file, datetime.fromisoformat(match[1]))] if match else []
    return sorted(found, key=lambda copy: (copy.at, len(copy.file.name), copy.file.name))


def newest_copy(ledger: Path) -> Path | None:
    """The newest dated copy in the usual folder, if there is one."""
    found = copies_in(usual_folder(ledger), ledger)
    return found[-1].file if found else None


def free_name(folder: Path, stem: str, at: datetime) -> Path:
    """A dated name that no file has yet."""
    dated = f"{stem}-{at.strftime(_DATED)}"
    names = (f"{dated}{more}.db" for more in ("", *(f"-{number}" for number in range(2, 1000))))
    return next(folder / name for name in names if not (folder / name).exists())


def make_copy(ledger: Ledger, folder: Path, at: datetime) -> Path:
    """Write a complete copy under a dated name, opened and checked before it gets that name.

    Raises `LedgerUnusable` when it cannot be written, or when the ledger is damaged; then there is no copy.
    """
    from vanstock.ledger.checking import damage

    _make_folder(folder)
    target = free_name(folder, ledger.path.stem, at)
    _write_checked(ledger, target, damage)
    return target


def copy_before_migration(ledger: Ledger, version: int) -> Path:
    """The copy kept before an older ledger is changed; its name says the version, and it is never thinned out."""
    folder = usual_folder(ledger.path)
    _make_folder(folder)
    target = free_name(folder, f"{ledger.path.stem}-version-{version}", datetime.now().astimezone())
    _write_checked(ledger, target, _structure)
    return target


def _make_folder(folder: Path) -> None:
    if os.path.exists(folder) and not os.path.isdir(folder):
        raise LedgerUnusable(f"{folder} is not a folder: name a folder to put the copy in; no copy was made")
    try:
        folder.mkdir(exist_ok=True)
    except FileNotFoundError as error:
        raise LedgerUnusable(
            f"the folder {folder.parent} is not there: plug in the stick, or name another folder; no copy was made"
        ) from error
    except OSError as error:
        raise _no_copy(f"cannot make the folder {folder}", error) from error


def _no_copy(what: str, error: OSError) -> LedgerUnusable:
    return LedgerUnusable(
        f"{what} ({error.strerror}): no copy was made, make room or name another folder to back up to"
    )


def _write_checked(ledger: Ledger, target: Path, look: Callable[[sqlite3.Connection], str]) -> None:
    aside = target.with_name(f".{target.name}.{os.getpid()}.part")
    _sweep(ledger, target.parent)
    try:
        os.close(os.open(aside, os.O_CREAT | os.O_WRONLY | os.O_EXCL, 0o644))  # says why it cannot; SQLite does not
        with in_plain_words(ledger.path, into=target):
            ledger.execute("VACUUM INTO ?", (str(aside),))
            _check_copy(ledger, aside, look)
        push_to_disk(aside)
        aside.rename(target)
        push_to_disk(target.parent)
    except OSError as error:
        raise _no_copy(f"cannot write the copy {target}", error) from error
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)


def _sweep(ledger: Ledger, folder: Path) -> None:
    """Remove what a copy of this ledger that was cut short left behind, once it is a day old."""
    with suppress(OSError):
        for left in folder.glob(f".{glob.escape(ledger.path.stem)}-*.part*"):
            if time.time() - left.stat().st_mtime > _DAY_SECONDS:
                left.unlink()


def _check_copy(ledger: Ledger, aside: Path, look: Callable[[sqlite3.Connection], str]) -> None:
    newest = "SELECT seq, id FROM entry ORDER BY seq DESC LIMIT 1"
    copy = open_as_it_is(aside)
    try:
        wrong = look(copy)
        last = copy.execute(newest).fetchone()
    finally:
        copy.close()
    if wrong:
        raise damaged(ledger.path, wrong)
    if last and ledger.execute("SELECT id FROM entry WHERE seq = ?", last[:1]).fetchone() != last[1:]:
        raise LedgerUnusable(f"the copy of {ledger.path} does not agree with it: it was not kept, try again")


def open_as_it_is(file: Path) -> sqlite3.Connection:
    """A ledger or copy opened for reading only: nothing in it is changed, not even its version.

    A write that a crash cut short is taken back first, as SQLite does at any other opening. Raises
    `LedgerUnusable` when it cannot be read, is no ledger or is newer; a damaged one is opened.
    """
    with in_plain_words(file):
        connection = sqlite3.connect(
            f"{file.absolute().as_uri()}?mode=ro", uri=True, timeout=BUSY_SECONDS, isolation_level=None
        )
    try:
        refuse_other(file)
        _take_back_half_a_write(file)
    except BaseException:
        connection.close()
        raise
    return connection


def refuse_older(connection: sqlite3.Connection, file: Path) -> None:
    """Raise `LedgerUnusable` for a file of an older version: only opening it to work with brings it up to date."""
    try:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
    except sqlite3.DatabaseError:  # damage: left to whoever reads on
        return
    if version < VERSION:
        raise LedgerUnusable(
            f"{file} was written by an older vanstock (file version {version}): `vanstock --ledger {file} stock` "
            "brings it up to date, after a copy; then try again"
        )


def _take_back_half_a_write(file: Path) -> None:
    """Do what a connection for reading only may not; what that finds damaged is left to whoever reads on."""
    if not os.path.exists(f"{os.path.realpath(file)}-journal"):
        return
    try:
        with closing(sqlite3.connect(file, isolation_level=None)) as connection:
            connection.execute("SELECT count(*) FROM sqlite_master")
    except UnicodeDecodeError:  # SQLite's own message quotes the damage
        return
    except sqlite3.Error as error:
        if error.sqlite_errorname == HALF_WRITTEN:
            raise plain_words(error, file) from error


def _structure(copy: sqlite3.Connection) -> str:
    verdict = str(copy.execute("PRAGMA integrity_check").fetchone()[0])
    return "" if verdict == "ok" else verdict


def push_to_disk(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk; folders only where the system can."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        if path.is_file():
            raise
    finally:
        os.close(handle)


def thin_out(ledger: Ledger, folder: Path, keep: int, made: Path) -> list[Path]:
    """Remove old copies of this ledger from a folder: all but the one just `made`, the last `keep`, the newest of
    each of the last 53 weeks, and the newest of each month; returns what was removed."""
    ours = own_copies(ledger, folder)
    removed = []
    for copy in to_remove(ours, keep):
        with suppress(OSError):
            if copy.file == made:  # by a clock set back it may not be the newest
                continue
            copy.file.unlink()
            removed.append(copy.file)
    return removed


def own_copies(ledger: Ledger, folder: Path) -> list[Copy]:
    """The copies in a folder that began as this ledger did, oldest first: two of one name may share the folder."""
    return [copy for copy in copies_in(folder, ledger.path) if _same_ledger(ledger, copy.file)]


def to_remove(copies: Iterable[Copy], keep: int) -> list[Copy]:
    """Which of some copies, oldest first, are neither among the last `keep` nor a week's or month's newest."""
    every = list(copies)
    weeks = {copy.at.isocalendar()[:2]: copy for copy in every}
    months = {(copy.at.year, copy.at.month): copy for copy in every}
    last_weeks = [weeks[week] for week in sorted(weeks)[-53:]]
    kept = {*every[-keep:], *last_weeks, *months.values()}
    return [copy for copy in every if copy not in kept]


def _same_ledger(ledger: Ledger, file: Path) -> bool:
    """Whether a file began as this ledger did."""
    first = "SELECT id FROM entry WHERE seq = 1"
    try:
        copy = open_as_it_is(file)
    except LedgerUnusable:
        return False
    try:
        return bool(copy.execute(first).fetchone() == ledger.execute(first).fetchone())
    except sqlite3.Error:
        return False
    finally:
        copy.close()
