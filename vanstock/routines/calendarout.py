"""Bookings as a calendar file: each job an event that keeps its UID, with what to load for it in the notes.

What stands above the line `What to load` is what `eventwords` reads back, so that taking a file in again changes
nothing. Called by `cli.calendar`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.exchange.calendarfile import moment_of
from vanstock.exchange.calendarwriting import OutEvent, check_ending, write_calendar
from vanstock.ledger import calendarrows, reading
from vanstock.model import Job, Part
from vanstock.quantity import show_qty
from vanstock.routines.calendarin import revisions
from vanstock.routines.calendarplan import own_uid
from vanstock.routines.eventwords import LOAD_LINE
from vanstock.routines.loadout import JobOutlook, LoadOut
from vanstock.routines.session import Session
from vanstock.routines.settings import time_zone
from vanstock.routines.wording import in_words, lacking, percent, takes, unknown

MOST_DAYS = 62
_TAKES_FROM = 0.1


class Exported(NamedTuple):
    """What was written: the file, its days, how many events, how many of them came from a calendar, and how many name
    a customer's reference."""

    file: Path
    first: date
    last: date
    events: int
    from_calendar: int
    references: int


def export_calendar(session: Session, path: Path, first: date, days: int, *, own: bool = False) -> Exported:
    """Write the jobs of so many days from `first` on; with `own` only those that came from no calendar. Raises
    `BadValue` or `VanstockError`."""
    check_ending(path)
    if not 1 <= days <= MOST_DAYS:
        raise BadValue(f"{days} days cannot be written: name 1 to {MOST_DAYS} with --days")
    last = first + timedelta(days=days - 1)
    jobs, read = jobs_between(session, first, last, own=own)
    write_calendar(path, events_of(session, jobs))
    came = [job for job in jobs if job.job in read]
    named = [job for job in jobs if job.reference]
    return Exported(path, first, last, len(jobs), len(came), len(named))


def jobs_between(session: Session, first: date, last: date, *, own: bool) -> tuple[list[Job], set[str]]:
    """The jobs to write from one day to another, and those of all jobs that came from a calendar."""
    ours = f"@vanstock-{calendarrows.ledger_id(session.ledger)}"
    rows = calendarrows.events(session.ledger).values()
    read = {row.job for row in rows if not row.uid.endswith(ours)}
    jobs = reading.jobs_between(session.ledger, first, last)
    return [job for job in jobs if not (own and job.job in read)], read


def events_of(session: Session, jobs: Sequence[Job]) -> Iterator[OutEvent]:
    """Each job as an event."""
    keys: dict[str, tuple[str, str]] = {}
    for key, row in calendarrows.events(session.ledger).items():
        keys.setdefault(row.job, key)
    ledger = calendarrows.ledger_id(session.ledger)
    sequences, written = revisions(session), calendarrows.revisions(session.ledger)
    loads = _load_outs(session, jobs)
    zone = time_zone(session)
    for job in jobs:
        uid, recurrence = keys.get(job.job, (own_uid(job.job, ledger), ""))
        yield OutEvent(
            uid=uid, recurrence=recurrence, sequence=sequences[job.job],
            stamp=moment_of(session.today, f"{session.now:%H:%M:%S}", zone),
            changed=datetime.fromisoformat(written[job.job].last),
            start=moment_of(job.date, job.time, zone) if job.time else job.date,
            summary=" ".join((job.family, job.job_type, *job.codes)),
            description=_description(session, job, loads),
            cancelled=job.status == "cancelled",
        )  # fmt: skip


def _load_outs(session: Session, jobs: Sequence[Job]) -> Mapping[tuple[date, str], LoadOut]:
    from vanstock.routines.morning import load_out, shared_by_vans

    wanted: dict[date, dict[str, None]] = {}
    for job in jobs:
        if job.status == "booked" and job.date >= session.today:
            wanted.setdefault(job.date, {})[job.van] = None
    found: dict[tuple[date, str], LoadOut] = {}
    for day, vans in wanted.items():
        shared = shared_by_vans(session, day)
        found |= {(day, van): load_out(session, day, van=van, shared=shared) for van in vans}
    return found


def _description(session: Session, job: Job, loads: Mapping[tuple[date, str], LoadOut]) -> str:
    said = [("family", job.family), ("type", job.job_type), ("codes", ";".join(job.codes) or "none"), ("van", job.van)]
    lines = [f"{label}: {value}" for label, value in (*said, ("ref", job.reference)) if value]
    found = loads.get((job.date, job.van)) if job.status == "booked" else None
    outlook = next((one for one in found.jobs if one.job.job == job.job), None) if found else None
    if found and outlook:
        lines += ["", f"{LOAD_LINE}{session.now:%Y-%m-%d %H:%M}:", *load_lines(found, outlook)]
    return "\n".join(lines)


def load_lines(found: LoadOut, outlook: JobOutlook) -> list[str]:
    """What a load-out says of one job, in its own words: the odds, what to load and buy for it, what it takes and may
    lack."""
    likely = {need.part.part for need in outlook.needs if need.probability >= _TAKES_FROM}
    load = [f"{_what(row.qty, row.part)} from {row.from_place}" for row in found.load if row.part.part in likely]
    buy = [_what(row.qty, row.part) for row in found.buy if row.part.part in likely]
    odds = f"{in_words(outlook.odds)}, {percent(outlook.odds)}" if outlook.odds is not None else in_words(None)
    parts = [("load for the day", load), ("buy for the day", buy)]
    return [
        odds,
        *(f"{label}: {'; '.join(rows)}" for label, rows in parts if rows),
        f"takes: {takes(outlook)}",
        *lacking(outlook),
        *unknown(outlook),
    ]


def _what(qty: int, part: Part) -> str:
    return f"{show_qty(qty, part.unit)} x {part.part} {part.description}".rstrip()
