"""Readings taken by hand: `reading`. Parse, call one routine, show what they say; they warn and never block."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, paragraph, say, table, words
from vanstock.errors import BadValue

if TYPE_CHECKING:
    from vanstock.model import Job
    from vanstock.readings import Reading


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    lines = ("vanstock reading J0123 idle 35mbar", "vanstock reading J0123 idle 8mbar --after", "vanstock reading")
    app.command("reading", epilog=example(*lines))(reading)


def reading(
    ctx: typer.Context,
    job: Annotated[str, typer.Argument(metavar="[JOB]", help="The job; its readings are shown.")] = "",
    kind: Annotated[str, typer.Argument(metavar="[KIND]", help="What was read: idle, 3000 ...")] = "",
    value: Annotated[str, typer.Argument(metavar="[VALUE]", help="With its unit, like 35mbar, 3.5kPa, 620C.")] = "",
    after: Annotated[bool, typer.Option("--after", help="Taken after the work.")] = False,
    json: Json = False,
) -> None:
    """Write a reading on a job and say what it tells; with JOB alone show its readings, alone the kinds."""
    if not job:
        _show_kinds(json=json)
        return
    if bool(kind) != bool(value):
        raise BadValue("a reading has a kind and a value with its unit, like `vanstock reading J0123 idle 35mbar`")
    from vanstock.readings import parse_reading
    from vanstock.routines import booking as routine
    from vanstock.routines.naming import find_job

    with opened(ctx) as session:
        if kind:
            found = routine.add_reading(session, job, parse_reading(kind, value, after=after))
        else:
            found = find_job(session, job)
    if json:
        as_json({"job": found.job, "readings": [_json(one) for one in _of(found)]})
    else:
        _show(found)


def _of(job: Job) -> tuple[Reading, ...]:
    from vanstock.readings import read_readings

    return read_readings(job.readings)


def _show(job: Job) -> None:
    from vanstock.readings import DEFER, compared, judge, show_reading

    taken = _of(job)
    if not taken:
        say(f"{job.job} has no readings: `vanstock reading {job.job} idle 35mbar` writes one")
        return
    say(f"{job.job}  {job.family} {job.job_type}")
    for one in taken:
        paragraph(f"{show_reading(one)}: {judge(one).words}", then="  ")
    before = {one.kind: one for one in taken if not one.after}
    for one in taken:
        if one.after and one.kind in before:
            paragraph(compared(before[one.kind], one).words, then="  ")
    paragraph(DEFER)


def _show_kinds(*, json: bool) -> None:
    from vanstock.readings import DEFER, KINDS

    if json:
        as_json({"kinds": [{"kind": kind.kind, "what": kind.title} for kind in KINDS]})
        return
    table(
        (Column("kind"), words("what is read"), Column("value")),
        [(kind.kind, kind.title, f"like {kind.example}") for kind in KINDS],
    )
    paragraph(DEFER)


def _json(one: Reading) -> dict[str, object]:
    from vanstock.readings import judge

    judged = judge(one)
    return {
        "kind": one.kind,
        "amount": str(one.amount),
        "unit": one.unit,
        "after": one.after,
        "side": judged.side,
        "words": judged.words,
    }
