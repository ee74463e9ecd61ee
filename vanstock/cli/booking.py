"""Bookings: `booking add|list|move|cancel|pin`; calendar files are in `cli.calendar`. Parse, call one routine, show."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli import calendar
from vanstock.cli.job import JobName
from vanstock.cli.options import Commands, Day, Json, Van, example, opened
from vanstock.cli.show import Column, as_json, many, paragraph, say, table, tell, words
from vanstock.codes import read_codes
from vanstock.errors import BadValue
from vanstock.workdays import parse_date

if TYPE_CHECKING:
    from vanstock.model import Job

Clock = Annotated[str, typer.Option("--time", metavar="HH:MM", help="When the job starts.")]

_PAST = "note: that day is past: `vanstock finish` it if it is done, or give it another --date"


def add_to(app: typer.Typer) -> None:
    """Add the `booking` group to the program."""
    group = typer.Typer(
        cls=Commands,
        help="Book, list, move and cancel jobs.",
        no_args_is_help=True,
        rich_markup_mode=None,
        epilog=example("vanstock booking list"),
    )
    line = "vanstock booking add KRA heat-source --date 2027-03-02 --time 09:00 --codes P20CB"
    group.command("add", epilog=example(line))(add)
    group.command("list", epilog=example("vanstock booking list --to 2027-03-07"))(list_)
    group.command("move", epilog=example("vanstock booking move J0123 --date 2027-03-04 --time 14:00"))(move)
    group.command("cancel", epilog=example("vanstock booking cancel J0123"))(cancel)
    pins = ("vanstock booking pin J0123 DS-KRB-020-A", "vanstock booking pin J0123 --none")
    group.command("pin", epilog=example(*pins))(pin)
    calendar.add_to(group)
    app.add_typer(group, name="booking")


def add(
    ctx: typer.Context,
    family: Annotated[str, typer.Argument(metavar="FAMILY", help="The vehicle's family.")],
    job_type: Annotated[str, typer.Argument(metavar="TYPE", help="The job type.")],
    date: Day,
    time: Clock = "",
    codes: Annotated[str, typer.Option(metavar="CODES", help="Fault codes, ;-separated.")] = "",
    van: Van = "van",
    reference: Annotated[str, typer.Option("--ref", metavar="REF", help="Your own reference; no name is needed.")] = "",
    job: Annotated[str, typer.Option("--job", metavar="JOB", help="The job's id; else the next number.")] = "",
) -> None:
    """Book a job."""
    from vanstock.model import Job
    from vanstock.routines import booking as routine

    with opened(ctx) as session:
        known = routine.job_types(session)
        wanted = Job(
            job=job.strip(),
            date=parse_date(date),
            time=routine.read_time(time),
            family=family,
            job_type=job_type.strip(),
            codes=read_codes(codes),
            van=van,
            reference=reference.strip(),
        )
        booked = routine.add_booking(session, wanted)
        past = booked.date < session.today
    say(f"booked {_words(booked)}")
    for text in routine.told_by_codes(booked):
        paragraph(text, then="  ")
    if past:
        tell(_PAST)
    if known and booked.job_type not in known:
        tell(f"note: job type {booked.job_type!r} is new; there was {', '.join(known)} (vanstock undo takes it back)")


def _words(job: Job) -> str:
    when = f"{job.date:%a} {job.date} {job.time}".rstrip()
    codes = f" {';'.join(job.codes)}" if job.codes else ""
    chosen = f", takes {' and '.join(job.chosen)}" if job.chosen else ""
    return f"{job.job}: {when}, {job.family} {job.job_type}{codes}, {job.van}{chosen}"


def list_(
    ctx: typer.Context,
    first: Annotated[str, typer.Option("--from", metavar="DATE", help="First date; else today.")] = "",
    last: Annotated[str, typer.Option("--to", metavar="DATE", help="Last date; else two weeks on.")] = "",
    van: Annotated[str, typer.Option("--van", metavar="VAN", help="Only this van.")] = "",
    json: Json = False,
) -> None:
    """List booked jobs in time order."""
    from vanstock.routines import booking as routine

    with opened(ctx) as session:
        start = parse_date(first) if first else session.today
        end = parse_date(last) if last else start + timedelta(days=14)
        jobs = routine.list_bookings(session, start, end, van=van)
        others = [] if json else routine.still_booked(session, van=van)
    if json:
        as_json({"jobs": [_json(job) for job in jobs]})
        return
    if not jobs:
        say(f"nothing booked from {start} to {end}: `vanstock booking add` books a job")
        _tell_others(others, start, end)
        return
    columns = (
        Column("job"),
        Column("when"),
        Column("family"),
        Column("type"),
        words("codes"),
        Column("van"),
        words("ref"),
    )
    table(columns, [_cells(job) for job in jobs])
    _tell_others(others, start, end)


def _tell_others(jobs: Sequence[Job], start: date, end: date) -> None:
    """Say how many booked jobs lie before and after the days that were listed."""
    before, after = [job.date for job in jobs if job.date < start], [job.date for job in jobs if job.date > end]
    if before:
        verb = "is" if len(before) == 1 else "are"
        tell(
            f"note: {many(len(before), 'booked job')} before {start} {verb} not finished: --from {before[0]} lists them"
        )
    if after:
        tell(f"note: {many(len(after), 'booked job')} after {end}: --to {after[-1]} lists them")


def _cells(job: Job) -> tuple[str, ...]:
    when = f"{job.date:%a} {job.date} {job.time}".rstrip()
    return (job.job, when, job.family, job.job_type, " ".join(job.codes), job.van, job.reference)


def _json(job: Job) -> dict[str, object]:
    return {
        "job": job.job,
        "date": job.date.isoformat(),
        "time": job.time,
        "family": job.family,
        "job_type": job.job_type,
        "codes": list(job.codes),
        "status": job.status,
        "van": job.van,
        "reference": job.reference,
        "chosen": list(job.chosen),
        "readings": job.readings,
    }


def move(
    ctx: typer.Context,
    job: JobName,
    date: Day = "",
    time: Annotated[str | None, typer.Option("--time", metavar="HH:MM", help="When the job starts.")] = None,
    van: Annotated[str | None, typer.Option("--van", metavar="VAN", help="Which van.")] = None,
) -> None:
    """Move a booked job to another date, time or van."""
    from vanstock.routines import booking as routine

    with opened(ctx) as session:
        at = None if time is None else routine.read_time(time)
        moved = routine.move_booking(session, job, day=parse_date(date) if date else None, at=at, van=van)
        past = moved.date < session.today
    say(f"moved {_words(moved)}")
    if past:
        tell(_PAST)


def pin(
    ctx: typer.Context,
    job: JobName,
    part: Annotated[str, typer.Argument(metavar="[PART]", help="Part number, GTIN or words.")] = "",
    none: Annotated[bool, typer.Option("--none", help="Leave it open again.")] = False,
) -> None:
    """Say which of several part numbers a booked job takes, once its engine number is known."""
    from vanstock.routines import booking as routine

    if none == bool(part):
        raise BadValue("name the part that the job takes, or --none to leave it open again")
    with opened(ctx) as session:
        pinned = routine.pin_part(session, job, part)
    takes = " and ".join(pinned.chosen) or "whichever part it turns out to be"
    say(f"{pinned.job} takes {takes} (vanstock undo takes it back)")


def cancel(ctx: typer.Context, job: JobName) -> None:
    """Cancel a booked job."""
    from vanstock.routines import booking as routine

    with opened(ctx) as session:
        say(f"cancelled {_words(routine.cancel_booking(session, job))} (vanstock undo takes it back)")
