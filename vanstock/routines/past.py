"""The firm's past as the pure rooms want it: finished jobs with their needs, and the stock groups."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from vanstock.ledger import catalogue, reading
from vanstock.model import Catalogue, FinishedJob, Job, Used, stock_groups
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
    return _past(known, reading.jobs(session.ledger), reading.used(session.ledger))


def _past(known: Catalogue, jobs: Sequence[Job], used: Sequence[Used]) -> Past:
    groups = stock_groups(known)
    second = return_visits(jobs, used)
    finished = finished_jobs(jobs, used, groups=groups)
    return Past(known, groups, tuple(jobs), tuple(job for job in finished if job.needs or job.job not in second))


MANY_JOBS = 12_000
"""Finished jobs up to which a day rests on all of them."""
_NEWEST, _OF_OTHERS, _LEAST_OF_NEAR, _NEAR_IN_ALL = 4_000, 20, 200, 20_000


def read_for_day(session: Session, jobs: Iterable[Job]) -> Past:
    """What a plan for these jobs rests on.

    Of a firm that has finished very many, jobs stand for those not read (`FinishedJob.stands_for`): evenly spread ones
    of each kind of job (family and type), many of the kinds asked about and few of the others, which only lend a
    little; and all of the newest.
    """
    if reading.finished_count(session.ledger) <= MANY_JOBS:
        return read_past(session)
    near = {(job.family, job.job_type) for job in jobs}
    most_near = max(_NEAR_IN_ALL // max(len(near), 1), _LEAST_OF_NEAR)
    stands_for = reading.spread_of_done(session.ledger, _NEWEST, _OF_OTHERS, near=sorted(near), most_near=most_near)
    known = catalogue.read_catalogue(session.ledger)
    chosen = reading.jobs_with_visits(session.ledger, stands_for)
    past = _past(known, chosen, reading.used_on_jobs(session.ledger, [job.job for job in chosen]))
    finished = tuple(
        job if stands_for[job.job] == 1 else job._replace(stands_for=stands_for[job.job])
        for job in past.finished
        if job.job in stands_for
    )
    return Past(known, past.groups, past.jobs, finished)


_NEWEST_ON, _OF_A_KIND = 2_000, 20


def standing_for_all(finished: Sequence[FinishedJob]) -> Sequence[FinishedJob]:
    """Finished jobs, or of very many the newest and of each kind of job so many of the older ones, evenly spread, which
    stand for the rest."""
    if len(finished) <= MANY_JOBS:
        return finished
    by_day = sorted(finished, key=lambda job: (job.date, job.job))
    older: dict[tuple[str, str], list[FinishedJob]] = defaultdict(list)
    for job in by_day[:-_NEWEST_ON]:
        older[job.family, job.job_type].append(job)
    spread = [one for _, some in sorted(older.items()) for one in _spread(some)]
    return (*spread, *by_day[-_NEWEST_ON:])


def _spread(jobs: Sequence[FinishedJob]) -> list[FinishedJob]:
    many, most = len(jobs), _OF_A_KIND
    if many <= most:
        return list(jobs)
    places = [(2 * i + 1) * many // (2 * most) for i in range(most)]
    return [jobs[place]._replace(stands_for=many / most) for place in places]


def known_on(past: Past, day: date) -> Past:
    """What was known at the start of a day of the past: the jobs finished before it, and no bookings."""
    return Past(past.catalogue, past.groups, (), tuple(job for job in past.finished if job.date < day))


def group_supply(past: Past, held: Mapping[str, int]) -> dict[str, int]:
    """Base units by stock group, from base units by part number."""
    supply: dict[str, int] = {}
    for part, qty in held.items():
        group = past.groups.get(part, part)
        supply[group] = supply.get(group, 0) + qty
    return supply


def fitted_so_far(session: Session, past: Past, job: Job) -> dict[str, int]:
    """What has been fitted on a job, base units by group: a job half done needs only the rest."""
    return group_supply(past, {row.part: row.fitted for row in reading.used_on_job(session.ledger, job.job)})
