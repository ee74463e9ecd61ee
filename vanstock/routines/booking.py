"""Bookings: adding, listing, moving and cancelling jobs. Each change is an entry and can be undone."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from itertools import count
from typing import TYPE_CHECKING

from vanstock.errors import BadValue, NotFound
from vanstock.ledger import catalogue, reading
from vanstock.ledger.entries import Draft
from vanstock.model import Job
from vanstock.routines.naming import find_job, find_part
from vanstock.routines.session import Session, once, one_act
from vanstock.workdays import parse_cutoff

if TYPE_CHECKING:
    from vanstock.readings import Reading

_LONGEST = 64


def read_time(text: str) -> str:
    """A time HH:MM (or HH.MM, as some write it), or empty; raises `BadValue`."""
    if not text:
        return ""
    return parse_cutoff(text.replace(".", ":")).strftime("%H:%M")


@one_act
def add_booking(session: Session, job: Job, *, entry_id: str = "") -> Job:
    """Book a job; an empty id gets the next free number. Raises `NotFound` or `BadValue`."""

    def plan() -> Job:
        _check_words(session, job)
        van = catalogue.place_named(session.ledger, job.van, "van").place
        named = job._replace(van=van, job=job.job or next(next_ids(_names(session))))
        if reading.job_named(session.ledger, named.job):
            raise BadValue(f"job {named.job!r} is already in the ledger: choose another id, or move that one")
        return named

    asked = tuple(map(str, job))
    return _booked(session, Draft(session.now, "booked", id=entry_id, asked=asked), plan)


def _check_words(session: Session, job: Job) -> None:
    families = catalogue.read_catalogue(session.ledger).families
    if job.family not in families:
        raise NotFound(f"no family {job.family!r}: there is {', '.join(families) or 'none yet'}")
    for what, text in (("job id", job.job), ("job type", job.job_type), ("reference", job.reference)):
        if len(text) > _LONGEST or not text.isprintable():
            raise BadValue(f"{what} {text[:20]!r} cannot be used: at most {_LONGEST} plain characters")
    if not job.job_type:
        raise BadValue("a booking needs a job type: `vanstock booking add FAMILY TYPE --date DATE`")


def _booked(session: Session, head: Draft, plan: Callable[[], Job]) -> Job:
    entry = once(session, head, lambda: head._replace(bookings=(plan(),)))
    return reading.lines_of(session.ledger, entry).bookings[0]


def _names(session: Session) -> Iterator[str]:
    return (job.job for job in reading.jobs(session.ledger))


def told_by_codes(job: Job) -> list[str]:
    """What the job's generic fault codes mean, and what they point to together, a line each."""
    from vanstock.routines.meanings import hints, meaning_of

    told = [f"{code}: {meaning}" for code in job.codes if (meaning := meaning_of(code))]
    return [*told, *hints(job.codes)]


def next_ids(jobs: Iterable[str]) -> Iterator[str]:
    """The free ids after the largest number that ends any of these, in that id's own shape."""
    numbered = [match for job in jobs if (match := re.fullmatch(r"(.*?)(\d+)", job))]
    last = max(numbered, key=lambda match: int(match[2])) if numbered else None
    shape, number, width = (last[1], int(last[2]), len(last[2])) if last else ("J", 0, 4)
    return (f"{shape}{str(more).zfill(width)}" for more in count(number + 1))


def job_types(session: Session) -> list[str]:
    """The job types named by jobs that were not called off and by the usual table, to check a new booking against: a
    slip of the pen that was undone is not known."""
    known = {job.job_type for job in reading.jobs(session.ledger) if job.status != "cancelled"}
    return sorted(known | {usual.job_type for usual in catalogue.read_catalogue(session.ledger).usual})


def list_bookings(session: Session, first: date, last: date, *, van: str = "") -> list[Job]:
    """The booked jobs from one date to another, in time order."""
    found = reading.jobs_between(session.ledger, first, last)
    return [job for job in found if job.status == "booked" and van in ("", job.van)]


def still_booked(session: Session, *, van: str = "") -> list[Job]:
    """Every job that is booked and not finished, whatever its day, in the order of their days."""
    found = reading.booked_from(session.ledger, date.min)
    return sorted((job for job in found if van in ("", job.van)), key=lambda job: job.date)


@one_act
def move_booking(
    session: Session, name: str, *, day: date | None, at: str | None, van: str | None, entry_id: str = ""
) -> Job:
    """Move a booked job to another date, time or van; what is None stays. Raises `BadValue`."""

    def plan() -> Job:
        job = _still_booked(session, name)
        new_van = job.van if van is None else catalogue.place_named(session.ledger, van, "van").place
        moved = job._replace(date=day or job.date, time=job.time if at is None else at, van=new_van)
        if moved == job:
            raise BadValue(f"job {job.job} is already there: give another --date, --time or --van")
        return moved

    return _booked(session, Draft(session.now, "moved", id=entry_id, asked=(name, str(day), at, van)), plan)


@one_act
def cancel_booking(session: Session, name: str, *, entry_id: str = "") -> Job:
    """Cancel a booked job; raises `BadValue` when it is finished or cancelled already."""
    head = Draft(session.now, "cancelled", id=entry_id, asked=(name,))
    return _booked(session, head, lambda: _still_booked(session, name)._replace(status="cancelled"))


@one_act
def pin_part(session: Session, name: str, text: str, *, entry_id: str = "") -> Job:
    """Settle which part number of its component a booked job takes, once the engine number is known; an empty `text`
    leaves all open again. Raises `NotFound`, `Ambiguous` or `BadValue`."""

    def plan() -> Job:
        job = _still_booked(session, name)
        chosen = _with_part(session, job, text) if text else ()
        if chosen == job.chosen:
            raise BadValue(f"job {job.job} is already so: {', '.join(chosen) or 'no part is pinned on it'}")
        return job._replace(chosen=chosen)

    return _booked(session, Draft(session.now, "part pinned", id=entry_id, asked=(name, text)), plan)


def _with_part(session: Session, job: Job, text: str) -> tuple[str, ...]:
    """The parts chosen for a job with this one in the place of any other of its component."""
    part = find_part(session, text, family=job.family)
    fitting = catalogue.parts_of_family(session.ledger, job.family)
    if part.part not in fitting:
        raise BadValue(f"{part.part} is not listed as fitting {job.family}: `vanstock stock` shows the part numbers")
    if ";" in part.part:
        raise BadValue(f"{part.part} cannot be pinned: its number holds a `;`, which parts the numbers of a list")
    known = catalogue.read_catalogue(session.ledger).parts
    others = [one for one in job.chosen if known[one].component != part.component or not part.component]
    return tuple(sorted({*others, part.part}))


@one_act
def add_reading(session: Session, name: str, taken: Reading, *, entry_id: str = "") -> Job:
    """Write a reading on a job, in the place of one of the same kind at the same stage; raises `BadValue` for a
    cancelled job."""
    from vanstock.readings import read_readings, write_readings

    def plan() -> Job:
        job = find_job(session, name)
        if job.status == "cancelled":
            raise BadValue(f"job {job.job} is cancelled: `vanstock undo` takes the last entry back")
        others = [one for one in read_readings(job.readings) if (one.kind, one.after) != (taken.kind, taken.after)]
        return job._replace(readings=write_readings([*others, taken]))

    asked = (name, write_readings([taken]))
    return _booked(session, Draft(session.now, "read", id=entry_id, asked=asked), plan)


def _still_booked(session: Session, name: str) -> Job:
    job = find_job(session, name)
    if job.status != "booked":
        what = "finished" if job.status == "done" else "cancelled"
        raise BadValue(f"job {job.job} is {what} already: `vanstock undo` takes the last entry back")
    return job


def today_and_on(jobs: Sequence[Job], day: date) -> list[Job]:
    """The booked jobs of a list from a day on."""
    return [job for job in jobs if job.status == "booked" and job.date >= day]
