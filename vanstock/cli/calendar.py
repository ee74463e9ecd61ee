"""Calendar files: `booking import|export|words`, in the group of `cli.booking`. Parse, call one routine, show."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Day, Json, Van, example, opened
from vanstock.cli.show import Column, as_json, many, paragraph, say, table, tell, words
from vanstock.errors import BadValue, LedgerUnusable, VanstockError
from vanstock.workdays import parse_date

if TYPE_CHECKING:
    from vanstock.model import Job, Word
    from vanstock.routines.calendarin import Asked, Imported, Watched
    from vanstock.routines.calendarplan import Act

_POLL_SECONDS = 2.0
_TEACH = (
    "`vanstock booking words PHRASE` with --family FAMILY, --job-type TYPE or --not-a-job teaches what such words "
    "mean; import again then"
)


def add_to(group: typer.Typer) -> None:
    """Add these commands to the group `booking`."""
    lines = ("vanstock booking import phone.ics --look", "vanstock booking import --watch from-phone")
    group.command("import", epilog=example(*lines))(import_)
    lines = ("vanstock booking export", "vanstock booking export --file week.ics --date 2027-03-01 --days 7")
    group.command("export", epilog=example(*lines))(export)
    lines = ("vanstock booking words", 'vanstock booking words "limp mode" --job-type heat-source')
    group.command("words", epilog=example(*lines))(words_)


def import_(
    ctx: typer.Context,
    file: Annotated[Path | None, typer.Argument(metavar="[FILE.ics]", help="A calendar file.")] = None,
    first: Annotated[str, typer.Option("--from", metavar="DATE", help="First day; else a week back.")] = "",
    last: Annotated[str, typer.Option("--to", metavar="DATE", help="Last day; else 120 days on.")] = "",
    van: Van = "van",
    look: Annotated[bool, typer.Option("--look", help="Only show what it would do.")] = False,
    watch: Annotated[
        Path | None, typer.Option("--watch", metavar="FOLDER", help="Wait for files in a folder until Ctrl-C.")
    ] = None,
    json: Json = False,
) -> None:
    """Bring jobs in from a calendar file: book new ones, move and cancel those known."""
    from vanstock.routines import calendarin as routine

    if (file is None) == (watch is None):
        raise BadValue("name one calendar file, or --watch and a folder")
    day = (parse_date(first) if first else None, parse_date(last) if last else None)
    asked = routine.Asked(*day, van)
    if watch:
        if look or json:
            raise BadValue("--watch goes without --look and --json: look at one file by its name")
        _watch(ctx, watch, asked)
        return
    if file is None:
        return
    with opened(ctx) as session:
        done = routine.import_calendar(session, file, asked, look=look)
    if json:
        as_json(_json(done))
    else:
        _show(done, file, look=look)


def _show(done: Imported, file: Path, *, look: bool = False) -> None:
    would = "would be " if look else ""
    say(f"{file.name}, {done.first} to {done.last}: {_counts(done)}")
    for act in done.acts:
        paragraph(f"{would}{_act(act)}", then="  ")
    if done.look:
        say("\nFOR YOU TO LOOK AT")
    for one in done.look:
        paragraph(one.text, first="- ", then="  ")
        if one.command:
            say(f"  {one.command}")
    if any({"FAMILY", "TYPE"} & set(one.command.split()) for one in done.look):
        paragraph(_TEACH)
    if done.past:
        tell(f"note: {many(done.past, 'job')} of days past not booked: --from {done.first} books them too")
    if done.entry:
        say("\nvanstock undo takes all of it back")


def _counts(done: Imported) -> str:
    kinds = [act.what for act in done.acts]
    told = [f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)]
    told += [f"{done.same} as before"] if done.same else []
    told += [f"{many(done.no_jobs, 'no job')}, left alone"] if done.no_jobs else []
    return ", ".join(told) or "nothing in it is a job"


def _act(act: Act) -> str:
    job = act.job
    what = f"{act.what} {job.job}: {_when(job)}, {job.family} {job.job_type} {';'.join(job.codes)}".rstrip()
    before = act.before
    if act.what in ("moved", "booked again") and before and _when(before) != _when(job):
        return f"{what}, {job.van} (was {_when(before)})"
    return f"{what}, {job.van}"


def _when(job: Job) -> str:
    return f"{job.date:%a} {job.date} {job.time}".rstrip()


def _json(done: Imported) -> dict[str, object]:
    return {
        "from": done.first.isoformat(),
        "to": done.last.isoformat(),
        "acts": [
            {
                "what": act.what, "job": act.job.job, "date": act.job.date.isoformat(), "time": act.job.time,
                "family": act.job.family, "job_type": act.job.job_type, "codes": list(act.job.codes),
                "van": act.job.van,
            }
            for act in done.acts
        ],
        "look": [{"text": one.text, "command": one.command} for one in done.look],
        "no_jobs": done.no_jobs,
        "same": done.same,
        "past": done.past,
        "entry": done.entry.id if done.entry else None,
    }  # fmt: skip


def _watch(ctx: typer.Context, folder: Path, asked: Asked) -> None:
    from vanstock.routines.calendarin import Watched

    watched = Watched(folder)
    say(f"watching {folder} for calendar files; Ctrl-C ends")
    try:
        while True:
            _bring_in(ctx, watched, asked)
            sys.stdout.flush()
            time.sleep(_POLL_SECONDS)
    except KeyboardInterrupt:
        say("no longer watching")


def _bring_in(ctx: typer.Context, watched: Watched, asked: Asked) -> None:
    """Bring in each file that is ready; one that cannot be read is told and does not end the watch, and one that the
    ledger could not take is tried again."""
    from vanstock.routines.calendarin import import_calendar

    for file in watched.ready():
        try:
            with opened(ctx) as session:
                done = import_calendar(session, file, asked)
            _show(done, file)
        except LedgerUnusable as mistake:
            watched.again(file)
            tell(f"{mistake}; {file} will be tried again")
        except VanstockError as mistake:
            tell(str(mistake))


def export(
    ctx: typer.Context,
    file: Annotated[Path, typer.Option("--file", metavar="FILE.ics", help="Where to.")] = Path("bookings.ics"),
    date: Day = "",
    days: Annotated[int, typer.Option("--days", metavar="N", help="How many days from then on.")] = 14,
    own: Annotated[bool, typer.Option("--own", help="Only jobs that came from no calendar.")] = False,
) -> None:
    """Write bookings as a calendar file, with what to load for each job in its notes."""
    from vanstock.routines import calendarout as routine

    with opened(ctx) as session:
        first = parse_date(date) if date else session.today
        done = routine.export_calendar(session, file, first, days, own=own)
    say(f"wrote {done.file}: {many(done.events, 'job')} from {done.first} to {done.last}")
    if done.references:
        named = "1 of them names" if done.references == 1 else f"{done.references} of them name"
        tell(f"note: {named} your reference for the customer: mind who can see the calendar")
    if done.from_calendar:
        tell(
            f"note: {done.from_calendar} of them came from a calendar: taken into it, this file replaces their titles "
            "and notes there (--own leaves them out)"
        )


def words_(
    ctx: typer.Context,
    phrase: Annotated[str, typer.Argument(metavar="[PHRASE]", help="Words as an event has them.")] = "",
    family: Annotated[str, typer.Option("--family", metavar="FAMILY", help="They mean this family.")] = "",
    job_type: Annotated[str, typer.Option("--job-type", metavar="TYPE", help="They mean this job type.")] = "",
    not_a_job: Annotated[bool, typer.Option("--not-a-job", help="An event with them is no job.")] = False,
    nothing: Annotated[bool, typer.Option("--nothing", help="They stand for nothing.")] = False,
    forget: Annotated[bool, typer.Option("--forget", help="Take their meaning away again.")] = False,
    json: Json = False,
) -> None:
    """Show the words by which calendar events are read, or say what some mean."""
    from vanstock.routines import calendarwords as routine

    chosen = [bool(family), bool(job_type), not_a_job, nothing, forget]
    if sum(chosen) != bool(phrase):
        raise BadValue("give a phrase and one of --family, --job-type, --not-a-job, --nothing or --forget")
    with opened(ctx) as session:
        if forget:
            routine.forget(session, phrase)
        elif phrase:
            means = ("family", "job type", "not a job", "nothing")[chosen.index(True)]
            word = routine.teach(session, phrase, means, family or job_type)
        made, given = routine.made_words(session), routine.given_words(session)
    if json:
        by_hand = {word.phrase for word in made}
        every = [*made, *(word for word in given if word.phrase not in by_hand)]
        as_json({"words": [{**word._asdict(), "by_hand": word.phrase in by_hand} for word in every]})
    elif forget:
        say(f"{phrase!r} is no longer looked for")
    elif phrase:
        say(f"{word.phrase!r} means {word.means} {word.value}".rstrip())
    else:
        _list_words(made, given)


def _list_words(made: Sequence[Word], given: Sequence[Word]) -> None:
    by_hand = {word.phrase for word in made}
    known = [(word, "you") for word in made] + [(word, "given") for word in given if word.phrase not in by_hand]
    rows = [(word.phrase, word.means, word.value, by) for word, by in known if word.phrase]
    table((words("phrase"), Column("means"), words("which"), Column("by")), rows)
