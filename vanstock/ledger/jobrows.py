"""A job as its row in the ledger: the columns of `booking` and `job`, and the value they stand for.

Called by whatever reads or writes bookings, so that the columns are named once, and by `routines.week`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from datetime import date

from vanstock.model import Job

COLUMNS = "job, date, time, family, job_type, codes, status, van, reference, chosen, readings"
STATUS = COLUMNS.split(", ").index("status")


def to_row(job: Job) -> tuple[str, ...]:
    """The cells of a job, in the order of `COLUMNS`."""
    return (
        job.job, job.date.isoformat(), job.time, job.family, job.job_type, ";".join(job.codes), job.status, job.van,
        job.reference, ";".join(job.chosen), job.readings,
    )  # fmt: skip


def from_row(row: Sequence[str]) -> Job:
    """The job that these cells stand for."""
    name, day, time, family, job_type, codes, status, van, reference, chosen, readings = row
    return Job(
        name, date.fromisoformat(day), time, family, job_type, _listed(codes), status, van, reference, _listed(chosen),
        readings,
    )  # fmt: skip


def _listed(text: str) -> tuple[str, ...]:
    return tuple(text.split(";")) if text else ()


def missed_between(connection: sqlite3.Connection, first: date, last: date) -> list[tuple[str, str, date]]:
    """Job, part and day of what jobs of these days lacked, undone lines taken off."""
    rows = connection.execute(
        """SELECT m.job, m.part, j.date FROM missed m JOIN job j ON j.job = m.job WHERE j.date BETWEEN ? AND ?
        GROUP BY m.job, m.part HAVING sum(m.qty) > 0""",
        (first.isoformat(), last.isoformat()),
    )
    return [(job, part, date.fromisoformat(day)) for job, part, day in rows]
