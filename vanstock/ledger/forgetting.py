"""Forgetting a customer: the one rewrite that the ledger permits, and how it is permitted.

First an entry of kind "forgotten" is written. While it is the newest, and only then, the file's guards let a
booking's reference, an entry's note or an entry's digest (a hash of what was said) become empty, and nothing
else. Quantities, values and seals hold none of them, so every sum and every seal stays true. Called by
`routines.trust`.
"""

from __future__ import annotations

import re
import sqlite3
from datetime import datetime
from typing import NamedTuple

from vanstock.errors import NotFound
from vanstock.ledger.entries import Draft, post_inside
from vanstock.ledger.file import writing
from vanstock.model import Entry

_WRITTEN_BY_VANSTOCK = ("imported", "undone", "put back", "forgotten")


class Forgotten(NamedTuple):
    """What was blanked: the entry that records it, the jobs, and how many notes."""

    entry: Entry
    jobs: tuple[str, ...]
    notes: int


class Naming(NamedTuple):
    """Where a customer is named: the spellings of the reference, the jobs, and the entries with such a note."""

    spellings: tuple[str, ...]
    jobs: tuple[str, ...]
    notes: tuple[int, ...]


def naming(connection: sqlite3.Connection, reference: str) -> Naming:
    """The jobs with a customer's reference, and the notes a person wrote that name it.

    Capital letters and extra spaces make no difference. Raises `NotFound` when the ledger holds it nowhere.
    """
    rows = connection.execute("SELECT DISTINCT reference FROM booking WHERE reference <> ''")
    spellings = [text for (text,) in rows if _plain(text) == _plain(reference)]
    notes = _notes_naming(connection, reference)
    if not spellings and not notes:
        raise NotFound(f"no job and no note names {reference!r}: `vanstock booking list` shows the references")
    return Naming(tuple(spellings), tuple(_jobs_naming(connection, spellings)), tuple(notes))


def forget(connection: sqlite3.Connection, reference: str, at: datetime) -> Forgotten:
    """Blank what `naming` finds, for good, and record that it was done as an entry of its own."""
    with writing(connection):
        found = naming(connection, reference)
        note = f"a customer's reference, on {len(found.jobs)} {'job' if len(found.jobs) == 1 else 'jobs'}"
        entry = post_inside(connection, Draft(at=at, kind="forgotten", note=note))
        marks = ", ".join("?" * len(found.spellings))
        rows_naming = connection.execute(f"SELECT entry FROM booking WHERE reference IN ({marks})", found.spellings)
        booked = {seq for (seq,) in rows_naming}
        for text in found.spellings:
            connection.execute("UPDATE booking SET reference = '' WHERE reference = ?", (text,))
            connection.execute("UPDATE job SET reference = '' WHERE reference = ?", (text,))
        named = [*found.notes, *booked]
        connection.executemany("UPDATE entry SET digest = '' WHERE seq = ?", [(seq,) for seq in named])
        connection.executemany("UPDATE entry SET note = '' WHERE seq = ?", [(seq,) for seq in found.notes])
        bare = {job for (job,) in connection.execute("SELECT job FROM job WHERE reference = ''")}
        rows = [(job, entry.seq) for job in found.jobs if job in bare]
        connection.executemany("INSERT OR REPLACE INTO forgotten VALUES (?, ?)", rows)
        return Forgotten(entry, found.jobs, len(found.notes))


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _notes_naming(connection: sqlite3.Connection, reference: str) -> list[int]:
    whole = re.compile(rf"(?<!\w){re.escape(_plain(reference))}(?!\w)")
    rows = connection.execute("SELECT seq, kind, note FROM entry WHERE note <> ''")
    return [seq for seq, kind, note in rows if kind not in _WRITTEN_BY_VANSTOCK and whole.search(_plain(note))]


def _jobs_naming(connection: sqlite3.Connection, spellings: list[str]) -> list[str]:
    marks = ", ".join("?" * len(spellings))
    rows = connection.execute(f"SELECT DISTINCT job FROM booking WHERE reference IN ({marks}) ORDER BY job", spellings)
    return [job for (job,) in rows]


def forgotten_jobs(connection: sqlite3.Connection) -> set[str]:
    """The jobs whose customer was forgotten, so that an old file cannot bring the reference back."""
    return {job for (job,) in connection.execute("SELECT job FROM forgotten")}
