"""Seals: a chain of hashes over what was written, so that a changed byte in any entry can be shown.

The seal of an entry is a hash of the seal before it, the entry and all its lines. A note and a customer's
reference are left out, because forgetting may blank them. Written with each entry by `entries` and `bulk`,
recomputed by `checking`.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator
from typing import Any

Row = tuple[Any, ...]
SEALED = {
    "booking": "entry, seq, job, date, time, family, job_type, codes, status, van",
    "counted": "entry, seq, part, place, qty",
    "movement": "entry, seq, part, qty, from_place, to_place, value, job, order_no",
    "missed": "entry, seq, job, part, qty",
}
"""The columns of an entry's lines that its seal covers; the first is the entry."""
_HEAD = "seq, id, at, kind, device, reverses"
_LENGTH = 16
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
    total.update(_encode(head).encode())
    for line in lines:
        total.update(_encode(line).encode())
    return total.hexdigest()


def true_seals(connection: sqlite3.Connection) -> Iterator[tuple[int, str]]:
    """What the seal of every entry ought to be, in the ledger's order, in one pass over all tables."""
    streams = [_Stream(connection, table) for table in SEALED]
    before = ""
    for head in connection.execute(f"SELECT {_HEAD} FROM entry ORDER BY seq"):
        seq = head[0]
        before = _seal(before, head, (line for stream in streams for line in stream.take(seq)))
        yield seq, before


class _Stream:
    """The lines of one table, handed out entry by entry; lines are stored in their entries' order."""

    def __init__(self, connection: sqlite3.Connection, table: str) -> None:
        self.rows = connection.execute(f"SELECT {SEALED[table]} FROM {table} ORDER BY seq")
        self.next: Row | None = self.rows.fetchone()

    def take(self, seq: int) -> Iterator[Row]:
        """The lines up to and with this entry that were not handed out yet."""
        while self.next is not None and self.next[0] <= seq:
            yield self.next
            self.next = self.rows.fetchone()


def seal_all(connection: sqlite3.Connection) -> None:
    """Write the seals of a ledger that has none yet, inside the caller's transaction."""
    connection.executemany("INSERT INTO seal VALUES (?, ?)", list(true_seals(connection)))
