"""Bookings: adding, listing, moving and cancelling jobs. Each change is an entry and can be undone."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date

from vanstock.errors import BadValue, NotFound
from vanstock.ledger import catalogue, reading
from vanstock.ledger.entries import Draft
from vanstock.model import Job
from vanstock.routines.naming import find_job
from vanstock.routines.session import Session, once, one_act
from vanstock.workdays import parse_cutoff

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
        named = job._replace(van=van, job=job.job or _next_id(session))
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


def _next_id(session: Session) -> str:
    """One more than the largest number that ends any job's id, in that id's own shape."""
    numbered = [match for job in reading.jobs(session.ledger) if (match := re.fullmatch(r"(.*?)(\d+)", job.job))]
    if not numbered:
        return "J0001"
    last = max(numbered, key=lambda match: int(match[2]))
    return f"{last[1]}{str(int(last[2]) + 1).zfill(len(last[2]))}"


def job_types(session: Session) -> list[str]:
    """The job types named by past jobs and by the usual table, to check a new booking against."""
    known = {job.job_type for job in reading.jobs(session.ledger)}
    return sorted(known | {usual.job_type for usual in catalogue.read_catalogue(session.ledger).usual})


def list_bookings(session: Session, first: date, last: date, *, van: str = "") -> list[Job]:
    """The booked jobs from one date to another, in time order."""
    found = reading.jobs_between(session.ledger, first, last)
    return [job for job in found if job.status == "booked" and van in ("", job.van)]


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


def _still_booked(session: Session, name: str) -> Job:
    job = find_job(session, name)
    if job.status != "booked":
        what = "finished" if job.status == "done" else "cancelled"
        raise BadValue(f"job {job.job} is {what} already: `vanstock undo` takes the last entry back")
    return job


def today_and_on(jobs: Sequence[Job], day: date) -> list[Job]:
    """The booked jobs of a list from a day on."""
    return [job for job in jobs if job.status == "booked" and job.date >= day]
