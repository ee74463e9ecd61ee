"""Putting a copy of the ledger back, and making the ledger as it was at a moment.

The file that is replaced is kept aside, never deleted. Making copies is in `copies`. Called by
`routines.trust`.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import LedgerLocked, LedgerUnusable, NotFound, VanstockError
from vanstock.ledger import orderrows
from vanstock.ledger.catalogue import part_names
from vanstock.ledger.checking import damage
from vanstock.ledger.copies import free_name, open_as_it_is, push_to_disk, refuse_older
from vanstock.ledger.entries import entry_by_id
from vanstock.ledger.faults import in_plain_words
from vanstock.ledger.file import BUSY_SECONDS, Ledger, open_ledger, writing
from vanstock.ledger.jobrows import COLUMNS
from vanstock.ledger.reading import last_moment, lines_of
from vanstock.ledger.sealing import seal_entry
from vanstock.model import Part, PastEntry

_TOLD = ("basis", "said")
_MASTER = ("setting", "supplier", "family", "part", "fits", "goes_with", "usual", "pinned", "place", "word", *_TOLD)
_COLUMNS = {
    "booking": COLUMNS,
    "counted": "part, place, qty",
    "movement": "part, qty, from_place, to_place, value, job, order_no",
    "missed": "job, part, qty",
    **orderrows.COLUMNS,
}
"""An entry's lines without the entry and their number."""
_LINES = ("booking", "counted", "movement", "missed", *orderrows.COLUMNS)
"""In the order an entry writes them: a count settles a mark before its difference is moved."""


class Copied(NamedTuple):
    """What a copy holds: how many entries, and the local time of the newest ("" when there is none)."""

    entries: int
    newest: str


def look_into(copy: Path) -> Copied:
    """Open a copy for reading and check it whole; raises `NotFound` or `LedgerUnusable`."""
    if not os.path.isfile(copy):
        raise NotFound(f"no copy at {copy}: name a file that `vanstock backup` wrote; nothing was changed")
    with in_plain_words(copy), closing(open_as_it_is(copy)) as connection:
        wrong = damage(connection)
        if wrong:
            raise LedgerUnusable(f"{copy} is damaged ({wrong}): choose another copy; nothing was changed")
        count = connection.execute("SELECT count(*) FROM entry").fetchone()[0]
        return Copied(count, last_moment(connection))


class Lost(NamedTuple):
    """The entries that going back would lose: how many, the newest of them first, and the parts they name.

    `other` when the copy did not begin as the ledger did: it is another ledger's. `tables` of master data would go
    back to how the copy has them.
    """

    total: int
    entries: tuple[PastEntry, ...]
    parts: dict[str, Part]
    other: bool = False
    tables: tuple[str, ...] = ()


def would_be_lost(ledger: Path, copy: Path, most: int) -> Lost | None:
    """What the ledger has that a copy does not, at most so many entries; None when it cannot be read."""
    if not os.path.isfile(ledger):
        return Lost(0, (), {})
    try:
        with in_plain_words(ledger), closing(open_as_it_is(copy)) as old, closing(open_as_it_is(ledger)) as now:
            kept = {row[0] for row in old.execute("SELECT id FROM entry")}
            ids = [row[0] for row in now.execute("SELECT id FROM entry ORDER BY seq DESC") if row[0] not in kept]
            entries = tuple(lines_of(now, entry_by_id(now, entry_id)) for entry_id in ids[:most])
            first = "SELECT id FROM entry WHERE seq = 1"
            other = old.execute(first).fetchone() != now.execute(first).fetchone()
            parts = {part.part: part for part in part_names(now)}
            return Lost(len(ids), entries, parts, other, _differing(old, now))
    except LedgerLocked:
        raise
    except (VanstockError, sqlite3.Error, ValueError, TypeError, LookupError):  # damage can look like anything
        return None


def _differing(old: sqlite3.Connection, now: sqlite3.Connection) -> tuple[str, ...]:
    """The tables of master data that a copy has otherwise than the ledger."""
    there = {name for (name,) in old.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    tables = [table for table in _MASTER if table in there and table not in _TOLD]
    return tuple(t for t in tables if _rows(old, t) != _rows(now, t))


def _rows(connection: sqlite3.Connection, table: str) -> set[tuple[object, ...]]:
    return set(connection.execute(f"SELECT * FROM {table}"))


def put_back(ledger: Path, copy: Path, at: datetime) -> Path | None:
    """Put a copy in the ledger's place in one step and return where the ledger that was there is kept.

    Whoever has the old file open can write no more to it. Raises `LedgerUnusable`; then nothing has changed.
    """
    ledger = Path(os.path.realpath(ledger))  # the file that a link names is replaced, not the link
    ready = ledger.with_name(f".{ledger.name}.{os.getpid()}.part")
    try:
        shutil.copyfile(copy, ready)
        look_into(ready)
        push_to_disk(ready)
        with in_plain_words(ledger), _nobody_writing(ledger), ExitStack() as afterwards:
            aside = _keep_aside(ledger, at, afterwards) if os.path.exists(ledger) else None
            ready.replace(ledger)
        push_to_disk(ledger.parent)
    except OSError as error:
        raise LedgerUnusable(
            f"cannot put {copy} in the place of {ledger} ({error.strerror}): nothing was changed; see that the stick "
            "is in, has room and may be written, then try again"
        ) from error
    finally:
        with suppress(OSError):
            ready.unlink(missing_ok=True)
    return aside


@contextmanager
def _nobody_writing(ledger: Path) -> Iterator[None]:
    """Hold the ledger for itself; one too damaged to be held has no writers that could succeed."""
    if not os.path.exists(ledger):
        yield
        return
    connection = sqlite3.connect(ledger, timeout=BUSY_SECONDS, isolation_level=None)
    try:
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.DatabaseError as error:
            if "locked" in str(error):
                raise
        yield
    finally:
        connection.close()


def _keep_aside(ledger: Path, at: datetime, afterwards: ExitStack) -> Path:
    """Keep the ledger under another name. What is read is closed `afterwards`, since closing takes away the lock that
    keeps writers out (see `changed`)."""
    aside = free_name(ledger.parent, f"{ledger.stem}-set-aside", at)
    try:
        os.link(ledger, aside)
    except OSError:  # a file system without links, as many sticks have
        held = afterwards.enter_context(ledger.open("rb"))
        with aside.open("xb") as kept:
            shutil.copyfileobj(held, kept)
        push_to_disk(aside)
    journal = ledger.with_name(f"{ledger.name}-journal")
    with suppress(FileNotFoundError):  # left only by a ledger too damaged to be rolled back
        journal.rename(aside.with_name(f"{aside.name}-journal"))
    return aside


def as_it_was(source: Path, until: datetime, target: Path) -> tuple[int, int]:
    """Replay the entries up to and with a moment into a new ledger file; how many, of how many.

    Parts, families, suppliers, places, settings and pins are as they are in the source: the ledger keeps
    no past of them. So is what past lists rested on, each with its date. Raises `LedgerUnusable` when the
    target exists or the source cannot be read whole.
    """
    if os.path.exists(target):
        raise LedgerUnusable(f"{target} exists already: name another file for the ledger as it was")
    ready = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        look_into(source)
        os.close(os.open(ready, os.O_CREAT | os.O_WRONLY | os.O_EXCL, 0o644))  # says why it cannot; SQLite does not
        with (
            in_plain_words(source),
            closing(open_as_it_is(source)) as old,
            closing(open_ledger(ready, create=True)) as new,
        ):
            refuse_older(old, source)
            with writing(new):
                counts = _replay(old, new, until)
            look_into(ready)
        push_to_disk(ready)
        ready.rename(target)
    except OSError as error:
        raise LedgerUnusable(
            f"cannot write {target} ({error.strerror}): name another file with --to, or make room"
        ) from error
    except LedgerUnusable as error:
        raise LedgerUnusable(str(error).replace(str(ready), str(target))) from error
    finally:
        for left in (ready, ready.with_name(f"{ready.name}.left")):
            with suppress(OSError):
                left.unlink(missing_ok=True)
    return counts


def _replay(old: sqlite3.Connection, new: Ledger, until: datetime) -> tuple[int, int]:
    new.execute("DELETE FROM place")
    for table in _MASTER:
        _copy_rows(new, table, old.execute(f"SELECT * FROM {table} ORDER BY rowid").fetchall())
    numbers: dict[int, int] = {}
    total = 0
    columns = "seq, id, at, kind, device, note, reverses, digest"
    for seq, *head, reverses, digest in old.execute(f"SELECT {columns} FROM entry ORDER BY seq"):
        total += 1
        moment = datetime.fromisoformat(head[1])
        if moment > until.astimezone(moment.tzinfo) or (reverses and reverses not in numbers):
            continue
        if not _jobs_are_there(old, new, seq):
            continue
        number = numbers[seq] = len(numbers) + 1
        _copy_rows(new, "entry", [(number, *head, numbers.get(reverses), digest)])
        for table in _LINES:
            _copy_lines(old, new, table, seq, number)
        seal_entry(new, number)
    known = {job for (job,) in new.execute("SELECT job FROM job")}
    rows = [(job, numbers.get(seq, len(numbers))) for job, seq in old.execute("SELECT job, entry FROM forgotten")]
    _copy_rows(new, "forgotten", [row for row in rows if row[0] in known])
    return len(numbers), total


def _jobs_are_there(old: sqlite3.Connection, new: Ledger, seq: int) -> bool:
    """Whether the jobs that an entry's lines name are known by then: a clock set back can put a part before its job."""
    named = old.execute(
        "SELECT job FROM movement WHERE entry = ?1 AND job IS NOT NULL UNION SELECT job FROM missed WHERE entry = ?1"
        " EXCEPT SELECT job FROM booking WHERE entry = ?1",
        (seq,),
    ).fetchall()
    return all(new.execute("SELECT 1 FROM job WHERE job = ?", row).fetchone() for row in named)


def _copy_lines(old: sqlite3.Connection, new: Ledger, table: str, seq: int, number: int) -> None:
    columns = _COLUMNS[table]
    rows = old.execute(f"SELECT {columns} FROM {table} WHERE entry = ? ORDER BY seq", (seq,)).fetchall()
    marks = ", ".join("?" * (len(columns.split(",")) + 1))
    new.executemany(f"INSERT INTO {table} (entry, {columns}) VALUES ({marks})", [(number, *row) for row in rows])


def _copy_rows(new: Ledger, table: str, rows: Sequence[tuple[object, ...]]) -> None:
    if rows:
        new.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(rows[0]))})", rows)
