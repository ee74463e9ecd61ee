"""Finished jobs and what they needed, with return visits settled. Pure.

Need is fitted plus missed. A return visit fits what the first visit missed: that is one need, not two, so
what a later job of the same reference and family fits settles what is outstanding first. What is missed
again is still the one need, and outstanding from then on. Called by routines.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from vanstock.model import FinishedJob, Job, Used

RETURN_WITHIN = timedelta(days=60)


Owed = dict[str, list[tuple[date, int]]]


def finished_jobs(
    jobs: Iterable[Job], used: Iterable[Used], *, groups: Mapping[str, str] | None = None
) -> list[FinishedJob]:
    """Every done job in order of date, time and number, with its need of each part in base units.

    With `groups` (see `model.stock_groups`) a part that stands in for the missed one settles it too.
    """
    lines: dict[str, list[Used]] = defaultdict(list)
    for row in used:
        lines[row.job].append(row)
    done = sorted((job for job in jobs if job.status == "done"), key=lambda job: (job.date, job.time, job.job))
    outstanding: dict[tuple[str, str], Owed] = defaultdict(lambda: defaultdict(list))
    alike = groups or {}
    return [_finished(job, lines[job.job], outstanding[job.reference, job.family], alike) for job in done]


def _finished(job: Job, lines: list[Used], owed: Owed, groups: Mapping[str, str]) -> FinishedJob:
    needs: dict[str, int] = defaultdict(int)
    settled_by = owed if job.reference else {}
    for row in lines:
        waiting = settled_by.get(groups.get(row.part, row.part), [])
        needs[row.part] += row.fitted - _settle(waiting, row.fitted, job.date)
        needs[row.part] += row.missed - _settle(waiting, row.missed, job.date)
    for row in lines:
        if row.missed > 0:
            owed[groups.get(row.part, row.part)].append((job.date, row.missed))
    taken = {part: qty for part, qty in needs.items() if qty > 0}
    return FinishedJob(job.job, job.date, job.family, job.job_type, job.codes, taken, job.readings)


def return_visits(jobs: Iterable[Job], used: Iterable[Used]) -> set[str]:
    """The done jobs that are second visits: same reference and family as one that missed something not long before."""
    missed = {row.job for row in used if row.missed > 0}
    last_missed: dict[tuple[str, str], date] = {}
    found = set()
    for job in sorted((job for job in jobs if job.status == "done"), key=lambda job: (job.date, job.time, job.job)):
        before = last_missed.get((job.reference, job.family)) if job.reference else None
        if before is not None and job.date - before <= RETURN_WITHIN:
            found.add(job.job)
        if job.job in missed:
            last_missed[job.reference, job.family] = job.date
    return found


def _settle(owed: list[tuple[date, int]], fitted: int, day: date) -> int:
    """How much of what was fitted settles what earlier visits missed, oldest first; `owed` shrinks by it."""
    settled = 0
    for index, (since, qty) in enumerate(owed):
        if day - since <= RETURN_WITHIN and settled < fitted:
            taken = min(qty, fitted - settled)
            owed[index] = (since, qty - taken)
            settled += taken
    return settled


def need_lines(finished: Iterable[FinishedJob]) -> list[tuple[str, date, int]]:
    """Each need as (part number, date of the job, base units), for the weekly series."""
    return [(part, job.date, qty) for job in finished for part, qty in job.needs.items()]
