"""The firm's past as the pure rooms want it: finished jobs with their needs, and the stock groups."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from vanstock.ledger import catalogue, reading
from vanstock.model import Catalogue, FinishedJob, Job, stock_groups
from vanstock.needs.returns import finished_jobs, return_visits
from vanstock.routines.session import Session


@dataclass(frozen=True, slots=True)
class Past:
    """What is known when a plan is made: the catalogue, every job, and the finished ones' needs. A second visit that
    only fitted what the first had missed is no job of its own."""

    catalogue: Catalogue
    groups: dict[str, str]
    jobs: tuple[Job, ...]
    finished: tuple[FinishedJob, ...]


def read_past(session: Session) -> Past:
    """Read everything a plan rests on."""
    known = catalogue.read_catalogue(session.ledger)
    jobs = tuple(reading.jobs(session.ledger))
    groups = stock_groups(known)
    used = reading.used(session.ledger)
    second = return_visits(jobs, used)
    finished = finished_jobs(jobs, used, groups=groups)
    return Past(known, groups, jobs, tuple(job for job in finished if job.needs or job.job not in second))


def known_on(past: Past, day: date) -> Past:
    """What was known at the start of a day of the past: the jobs finished before it, and no bookings."""
    return Past(past.catalogue, past.groups, (), tuple(job for job in past.finished if job.date < day))


def group_supply(past: Past, held: dict[str, int]) -> dict[str, int]:
    """Base units on hand by stock group, from base units by part number."""
    supply: dict[str, int] = {}
    for part, qty in held.items():
        group = past.groups.get(part, part)
        supply[group] = supply.get(group, 0) + qty
    return supply


def fitted_so_far(session: Session, past: Past, job: Job) -> dict[str, int]:
    """What has been fitted on a job, base units by group: a job half done needs only the rest."""
    return group_supply(past, {row.part: row.fitted for row in reading.used_on_job(session.ledger, job.job)})
