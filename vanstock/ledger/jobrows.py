"""A job as its row in the ledger: the columns of `booking` and `job`, and the value they stand for.

Called by whatever reads or writes bookings, so that the columns are named once.
"""

from __future__ import annotations

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
