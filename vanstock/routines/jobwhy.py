"""Why the odds of one booked job are what they are: the finished jobs that its needs rest on, and what they took.

Called by `cli.jobwhy`. The odds themselves are the morning's (see `morning`), on the job's own day and van.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from vanstock.codes import base_code
from vanstock.errors import BadValue
from vanstock.model import FinishedJob, Job, Part
from vanstock.needs.cases import CaseBook, Evidence
from vanstock.needs.levels import HALF_LIFE_DAYS
from vanstock.needs.mapping import PartMap
from vanstock.needs.worths import Worths
from vanstock.readings import judge, read_readings, show_reading
from vanstock.routines.loadout import Do, JobOutlook
from vanstock.routines.meanings import hints, meaning_of
from vanstock.routines.morning import load_out
from vanstock.routines.naming import find_job
from vanstock.routines.past import read_past
from vanstock.routines.session import Session

NEAREST = 8


class Took(NamedTuple):
    """A component that the job may take: the chance given, and how many finished jobs of the same type and family took
    it, and of those that share a fault code."""

    component: str
    probability: float
    alike: int
    same_code: int


class Near(NamedTuple):
    """A finished job with its weight in the estimate, and what it took: (part, base units)."""

    job: FinishedJob
    weight: float
    took: tuple[tuple[Part, int], ...]


class JobWhy(NamedTuple):
    """What one job's odds rest on; `alike` and `same_code` count the jobs that `took` counts among."""

    date: date
    van: str
    outlook: JobOutlook
    do: Do | None
    evidence: Evidence
    worths: Worths
    half_life_days: float
    alike: int
    same_code: int
    took: tuple[Took, ...]
    nearest: tuple[Near, ...]
    codes: tuple[tuple[str, str], ...]
    hints: tuple[str, ...]
    readings: tuple[tuple[str, str], ...]


def why_job(session: Session, name: str) -> JobWhy:
    """What the odds of a booked job rest on; raises `NotFound`, and `BadValue` for one that is not booked."""
    job = find_job(session, name)
    if job.status != "booked":
        what = "finished" if job.status == "done" else "cancelled"
        raise BadValue(f"job {job.job} is {what}: only a booked job has odds; `vanstock score` looks back")
    past = read_past(session)
    found = load_out(session, job.date, van=job.van, known=past)
    outlook = next(row for row in found.jobs if row.job.job == job.job)
    book = CaseBook.build(past.finished, past.catalogue, today=session.today)
    evidence = book.evidence(job)
    alike = [one for one in book.jobs if (one.job_type, one.family) == (job.job_type, job.family)]
    mine = set(map(base_code, job.codes))
    same = [one for one in alike if mine & set(map(base_code, one.codes))]
    parts = past.catalogue.parts
    nearest = [
        Near(one, weight, tuple((parts[part], qty) for part, qty in sorted(one.needs.items()) if part in parts))
        for one, weight in evidence.jobs[:NEAREST]
    ]
    return JobWhy(
        date=found.date,
        van=found.van,
        outlook=outlook,
        do=next((do for do in found.do if do.job.job == job.job), None),
        evidence=evidence,
        worths=book.worths,
        half_life_days=HALF_LIFE_DAYS,
        alike=len(alike),
        same_code=len(same),
        took=_took(outlook, book.parts, alike, same),
        nearest=tuple(nearest),
        codes=tuple((code, meaning_of(code)) for code in job.codes),
        hints=tuple(hints(job.codes)),
        readings=_readings(job),
    )


def _took(
    outlook: JobOutlook, parts: PartMap, alike: Sequence[FinishedJob], same: Sequence[FinishedJob]
) -> tuple[Took, ...]:
    """One line a component, likeliest first; the chances of the part numbers that it may be are added up."""
    chance: dict[str, float] = {}
    for need in outlook.needs:
        chance[need.component] = chance.get(need.component, 0.0) + need.probability
    return tuple(
        Took(component, min(odds, 1.0), _count(alike, component, parts), _count(same, component, parts))
        for component, odds in sorted(chance.items(), key=lambda row: (-row[1], row[0]))
    )


def _count(jobs: Sequence[FinishedJob], component: str, parts: PartMap) -> int:
    return sum(any(parts.component_of.get(part, part) == component for part in job.needs) for job in jobs)


def _readings(job: Job) -> tuple[tuple[str, str], ...]:
    return tuple((show_reading(one), judge(one).words) for one in read_readings(job.readings)) if job.readings else ()
