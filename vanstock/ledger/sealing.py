"""Seals: a chain of hashes over what was written, so that a changed byte in any entry can be shown.

The seal of an entry is a hash of the seal before it, the entry and all its lines, as JSON arrays of up to
1,000 rows. A note and a customer's
reference are left out, because forgetting may blank them. Written with each entry by `entries` and `bulk`,
recomputed by `checking`.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator
from itertools import chain, islice
from math import inf
from typing import Any

from vanstock.ledger import orderrows

Row = tuple[Any, ...]
_KNOWN = " || iif(chosen = '' AND readings = '', '', char(10) || chosen || char(10) || readings)"
"""What is known of a job beside its booking, sealed with the last column where there is any: the seals of bookings
that were written before there could be stay true."""
SEALED = {
    "booking": "entry, seq, job, date, time, family, job_type, codes, status, van" + _KNOWN,
    "counted": "entry, seq, part, place, qty",
    "movement": "entry, seq, part, qty, from_place, to_place, value, job, order_no",
    "missed": "entry, seq, job, part, qty",
    **{table: f"entry, seq, {columns}" for table, columns in orderrows.COLUMNS.items()},
}
"""The columns of an entry's lines that its seal covers; the first is the entry."""
_HEAD = "seq, id, at, kind, device, reverses"
_LENGTH = 16
_BATCH = 1_000
_encode = json.JSONEncoder(ensure_ascii=True, separators=(",", ":")).encode


def seal_entry(connection: sqlite3.Connection, seq: int) -> None:
    """Write the seal of the newest entry, after all its lines and inside its transaction."""
    before = connection.execute("SELECT seal FROM seal WHERE entry = ?", (seq - 1,)).fetchone()
    head = connection.execute(f"SELECT {_HEAD} FROM entry WHERE seq = ?", (seq,)).fetchone()
    lines = (
        row
        for table, columns in SEALED.items()
        for row in connection.execute(f"SELECT {columns} FROM {table} WHERE entry = ? ORDER BY seq", (seq,))
    )
    seal = _seal(before[0] if before else "", head, lines)
    connection.execute("INSERT INTO seal VALUES (?, ?)", (seq, seal))


def _seal(before: str, head: Row, lines: Iterable[Row]) -> str:
    total = hashlib.blake2b(before.encode(), digest_size=_LENGTH)
    rows = chain((head,), lines)
    while batch := list(islice(rows, _BATCH)):
        total.update(_encode(batch).encode())
    return total.hexdigest()


def true_seals(connection: sqlite3.Connection) -> Iterator[tuple[int, str]]:
    """What the seal of every entry ought to be, in the ledger's order, in one pass over all tables."""
    streams = [_Stream(connection, table, columns) for table, columns in _sealed_in(connection).items()]
    before = ""
    for head in connection.execute(f"SELECT {_HEAD} FROM entry ORDER BY seq"):
        seq = head[0]
        here = [stream.take(seq) for stream in streams if stream.entry <= seq]
        before = _seal(before, head, chain.from_iterable(here))
        yield seq, before


def _sealed_in(connection: sqlite3.Connection) -> dict[str, str]:
    """`SEALED` as a file of this or an older version has it: an older one knows nothing beside a booking, and of
    no orders."""
    there = {name for (name,) in connection.execute("SELECT name FROM pragma_table_info('booking')")}
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    known = {table: text for table, text in SEALED.items() if table in tables}
    return known if "chosen" in there else {table: text.removesuffix(_KNOWN) for table, text in known.items()}


class _Stream:
    """The lines of one table, handed out entry by entry; lines are stored in their entries' order."""

    def __init__(self, connection: sqlite3.Connection, table: str, columns: str) -> None:
        self.rows = connection.execute(f"SELECT {columns} FROM {table} ORDER BY seq")
        self.row: Row = ()
        self.entry: float = 0
        self._step()

    def _step(self) -> None:
        self.row = self.rows.fetchone() or ()
        self.entry = self.row[0] if self.row else inf

    def take(self, seq: int) -> Iterator[Row]:
        """The lines up to and with this entry that were not handed out yet."""
        while self.entry <= seq:
            yield self.row
            self._step()


def seal_all(connection: sqlite3.Connection) -> None:
    """Write the seals of a ledger that has none yet, inside the caller's transaction."""
    connection.executemany("INSERT INTO seal VALUES (?, ?)", list(true_seals(connection)))
