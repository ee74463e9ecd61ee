"""What odds were told of a job, and when: kept so that they can be held against what happened.

Rows are added, never changed; nothing is worked out from them but the score. Called by `routines.score`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple

_COLUMNS = "at, job, odds, odds_now, jobs_like_it"
_SAME = 0.005
"""Odds that differ by less than half a point are told as the same."""


class Said(NamedTuple):
    """The odds told of a job at a local time with its offset: with the load list aboard, and as the van stood."""

    at: str
    job: str
    odds: float
    odds_now: float
    jobs_like_it: int


def keep(connection: sqlite3.Connection, rows: Iterable[Said]) -> None:
    """Add the rows that tell something else than their job's newest, inside the caller's transaction."""
    connection.executemany(f"INSERT INTO said ({_COLUMNS}) VALUES (?, ?, ?, ?, ?)", _new(connection, rows))


def nothing_new(connection: sqlite3.Connection, rows: Iterable[Said]) -> bool:
    """Whether `keep` would add none of these rows."""
    return not _new(connection, rows)


def _new(connection: sqlite3.Connection, rows: Iterable[Said]) -> list[Said]:
    sql = f"SELECT {_COLUMNS} FROM said WHERE job = ? ORDER BY seq DESC LIMIT 1"
    found = []
    for row in rows:
        last = connection.execute(sql, (row.job,)).fetchone()
        if last is None or _differs(row, Said(*last)):
            found.append(row)
    return found


def last_said(connection: sqlite3.Connection) -> list[Said]:
    """What was told last of each job."""
    sql = f"SELECT {_COLUMNS} FROM said WHERE seq IN (SELECT max(seq) FROM said GROUP BY job) ORDER BY seq"
    return [Said(*row) for row in connection.execute(sql)]


def _differs(new: Said, old: Said) -> bool:
    return abs(new.odds - old.odds) >= _SAME or abs(new.odds_now - old.odds_now) >= _SAME
