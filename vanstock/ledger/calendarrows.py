"""Reading which job each event of a calendar is, and what a job written to a calendar file needs to be known by.

Only SELECTs; the rows are `orderrows.CalendarEvent`. Called by `routines.calendarin` and `routines.calendarout`.
"""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

from vanstock.ledger.orderrows import COLUMNS, CalendarEvent

_ID_LENGTH = 12


class Revision(NamedTuple):
    """How often a job was written, and when last (local time with offset)."""

    times: int
    last: str


def events(connection: sqlite3.Connection) -> dict[tuple[str, str], CalendarEvent]:
    """Every event that is a job, as it was last read, by UID and recurrence, in the order of that reading."""
    rows = connection.execute(
        f"SELECT {COLUMNS['calendar_event']} FROM calendar_event WHERE seq IN"
        " (SELECT max(seq) FROM calendar_event GROUP BY uid, recurrence) AND job <> '' ORDER BY seq"
    )
    return {(row[0], row[1]): CalendarEvent(*row) for row in rows}


def highest_sequences(connection: sqlite3.Connection) -> dict[str, int]:
    """The highest revision that any reading of its events had, by job."""
    rows = connection.execute("SELECT job, max(sequence) FROM calendar_event WHERE job <> '' GROUP BY job")
    return dict(rows.fetchall())


def revisions(connection: sqlite3.Connection) -> dict[str, Revision]:
    """How often every job was written and when last, by job."""
    rows = connection.execute(
        "SELECT b.job, b.times, e.at FROM"
        " (SELECT job, count(*) AS times, max(entry) AS last FROM booking GROUP BY job) b"
        " JOIN entry e ON e.seq = b.last"
    )
    return {job: Revision(times, at) for job, times, at in rows}


def ledger_id(connection: sqlite3.Connection) -> str:
    """What tells this ledger from any other, in every copy of it: the id of its first entry; "" in an empty one."""
    row = connection.execute("SELECT id FROM entry WHERE seq = 1").fetchone()
    kept = "".join(letter for letter in row[0] if letter.isascii() and letter.isalnum()) if row else ""
    return kept[:_ID_LENGTH]


def begun(connection: sqlite3.Connection) -> set[str]:
    """The jobs that something was fitted on or missed, or read off, whatever their status."""
    rows = connection.execute(
        "SELECT job FROM movement WHERE job IS NOT NULL UNION SELECT job FROM missed"
        " UNION SELECT job FROM job WHERE readings <> ''"
    )
    return {job for (job,) in rows}
