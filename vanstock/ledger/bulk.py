"""Writing a whole import in one transaction: bookings, past use, opening stock, as one entry.

Uses sqlite-utils for the long tables, so it is never imported where a part is logged. Called by
`routines.setup`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from vanstock.ledger.entries import (
    CUSTOMER,
    HISTORY,
    Counted,
    Draft,
    content_digest,
    new_id,
    open_entry,
    write_stock,
)
from vanstock.ledger.jobrows import COLUMNS, to_row
from vanstock.ledger.sealing import seal_entry
from vanstock.ledger.valuing import Line
from vanstock.model import Job, Used

BATCH = 5_000


@dataclass(frozen=True, slots=True)
class ImportedFacts:
    """What an import adds to what happened. `history` is use before the stock was first counted; `fitted`
    is use after it, taken from vans."""

    bookings: Sequence[Job] = ()
    history: Sequence[Used] = ()
    fitted: Sequence[Line] = ()
    missed: Sequence[Used] = ()
    counted: Sequence[Counted] = ()

    def __bool__(self) -> bool:
        return any((self.bookings, self.history, self.fitted, self.missed, self.counted))


def post_import(
    connection: sqlite3.Connection, facts: ImportedFacts, *, at: datetime, progress: Callable[[int], None]
) -> None:
    """Add one entry of kind "imported" with all its lines, inside the caller's transaction.

    `progress` is told how many lines have been written since it was last told.
    """
    from sqlite_utils import Database

    note = f"{len(facts.bookings)} jobs, {len(facts.history)} lines of past use, {len(facts.counted)} counts"
    head = Draft(at=at, kind="imported", note=note, id=new_id())
    seq = open_entry(connection, head, content_digest(head))
    db = Database(connection)
    for table, rows in (
        ("booking", _bookings(seq, facts.bookings)),
        ("movement", _history(seq, facts.history)),
        ("missed", _missed(seq, (*facts.history, *facts.missed))),
    ):
        db.table(table).insert_all(_told(rows, progress), batch_size=BATCH)
    write_stock(connection, seq, facts.fitted, facts.counted)
    seal_entry(connection, seq)


def _told(rows: Iterator[dict[str, Any]], progress: Callable[[int], None]) -> Iterator[dict[str, Any]]:
    for count, row in enumerate(rows, 1):
        yield row
        if count % BATCH == 0:
            progress(BATCH)


def _bookings(seq: int, jobs: Sequence[Job]) -> Iterator[dict[str, Any]]:
    names = COLUMNS.split(", ")
    for job in jobs:
        yield {"entry": seq, **dict(zip(names, to_row(job), strict=True))}


def _history(seq: int, used: Sequence[Used]) -> Iterator[dict[str, Any]]:
    for row in used:
        if row.fitted:
            yield {
                "entry": seq, "part": row.part, "qty": row.fitted, "from_place": HISTORY, "to_place": CUSTOMER,
                "value": 0, "job": row.job,
            }  # fmt: skip


def _missed(seq: int, used: Sequence[Used]) -> Iterator[dict[str, Any]]:
    for row in used:
        if row.missed:
            yield {"entry": seq, "job": row.job, "part": row.part, "qty": row.missed}
