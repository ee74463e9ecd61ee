"""The load-out on the terminal: `loadout`. Parse, call one routine, show.

The day first, a line a job with its odds and what it may lack; then what to do, most gain first; what to load, by
where it lies; what to buy; what each job takes; the cautions.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.dangerous import show_aboard, show_over
from vanstock.cli.expiry import show_expiry
from vanstock.cli.options import Day, Json, example, opened
from vanstock.cli.show import Column, as_json, figure, many, paragraph, say, table, tell, words
from vanstock.errors import BadValue
from vanstock.quantity import show_qty
from vanstock.routines.wording import in_other_van, in_words, lacking, percent, takes, unknown

if TYPE_CHECKING:
    from vanstock.routines.loadout import Buy, JobOutlook, Left, Load, LoadOut

_LACKS = " " * 13


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    lines = ("vanstock loadout", "vanstock loadout --date 2027-03-02", "vanstock loadout J0123 --why")
    app.command("loadout", epilog=example(*lines))(loadout)


def loadout(
    ctx: typer.Context,
    job: Annotated[str, typer.Argument(metavar="[JOB]", help="Only this booked job, on its day and van.")] = "",
    date: Day = "",
    van: Annotated[str, typer.Option("--van", metavar="VAN", help="Which van; else van.")] = "",
    why: Annotated[bool, typer.Option("--why", help="The past jobs that JOB's odds rest on.")] = False,
    print_: Annotated[
        Path | None, typer.Option("--print", metavar="FILE.html", help="Write a page to print, with boxes to tick.")
    ] = None,
    json: Json = False,
) -> None:
    """Show the day's jobs, their odds, what to do, what to load and what to buy."""
    if why or job:
        from vanstock.cli.jobwhy import show_job

        if not job:
            raise BadValue("--why explains one job: name it, as in `vanstock loadout J0123 --why`")
        if date or van or print_:
            raise BadValue("a job has its own day and van: leave --date, --van and --print out")
        show_job(ctx, job, why=why, json=json)
        return
    from vanstock.routines import morning as routine
    from vanstock.routines.score import keep_odds
    from vanstock.workdays import parse_date

    with opened(ctx) as session:
        found = routine.load_out(session, parse_date(date) if date else None, van=van or "van")
        if print_:
            from vanstock.routines.printing import print_load_out

            print_load_out(session, found, print_)
        if json:
            from vanstock.cli.loadout_json import load_out_json

            as_json(load_out_json(found))
        else:
            _show(found)
        not_kept = keep_odds(session, found)
    if print_ and not json:
        say(f"\nwritten to {print_}: open it and print, one A4 page where it fits")
    if not_kept:
        tell(f"note: these odds were not kept for `vanstock score`: {not_kept}")


def _show(found: LoadOut) -> None:
    when = f"{found.date:%A} {found.date}, {found.van}"
    if not found.jobs:
        say(f"{when}: nothing booked (vanstock booking add books a job)")
        _show_over(found)
        _show_carried(found)
        _show_cautions(found.cautions)
        return
    jobs = many(len(found.jobs), "job")
    paragraph(f"{when}: {jobs}{_expected(found)}", then="  ")
    _show_over(found)
    say()
    show_day(found.jobs)
    if found.do:
        say("\nDO, most gain first  (+ is jobs finished on the first visit)")
        for do in found.do:
            paragraph(do.words, first=f"+{do.gain:.2f}  {do.job.time or do.job.job:<5}  ", then=" " * 14)
    if found.load or not found.left:
        _show_load(found.load)
    _show_left(found.left)
    _show_elsewhere(found)
    _show_buy(found.buy)
    _show_carried(found)
    say("\nWHAT THEY TAKE")
    for outlook in found.jobs:
        show_takes(outlook)
    drawn = max(outlook.standard_error for outlook in found.jobs)
    if drawn:
        say(f"Odds after the first job are drawn: standard error at most {max(drawn, 0.001):.1%}.")
    _show_cautions(found.cautions)


def _show_over(found: LoadOut) -> None:
    if found.aboard:
        show_over(found.aboard)


def _show_carried(found: LoadOut) -> None:
    show_expiry(found.expired, found.expiring)
    if found.aboard:
        show_aboard(found.aboard, loaded=bool(found.load))


def _show_cautions(cautions: Sequence[str]) -> None:
    if cautions:
        say("\nTAKE CARE")
    for caution in cautions:
        paragraph(caution, first="- ", then="  ")


def _expected(found: LoadOut) -> str:
    if found.expected is None or found.expected_now is None or found.day_odds is None:
        return ""
    every = f"; chance that all do {percent(found.day_odds)}" if len(found.jobs) > 1 else ""
    unloaded = f" ({found.expected_now:.1f} as the van stands)" if found.load else ""
    return f", {found.expected:.1f} expected to finish first time{unloaded}{every}"


def show_day(outlooks: Sequence[JobOutlook]) -> None:
    """One line a job in the order of the day, and under it what it may lack and what is not known of it."""
    said = {outlook.job.job: in_words(outlook.odds) for outlook in outlooks}
    width = max(map(len, said.values()))
    for outlook in outlooks:
        job = outlook.job
        figures = f"{percent(outlook.odds):>4}  " if outlook.odds is not None else "  ?   "
        codes = f" {' '.join(job.codes)}" if job.codes else ""
        what = f"{job.job}  {job.family} {job.job_type}{codes}"
        paragraph(what, first=f"{job.time or '--:--'}  {figures}{said[job.job]:<{width}}  ", then=_LACKS)
        for line in (*lacking(outlook), *unknown(outlook)):
            paragraph(line, first=_LACKS, then=f"{_LACKS}  ")


def show_takes(outlook: JobOutlook) -> None:
    """What one job may take, likeliest first, and how many past jobs say so."""
    job = outlook.job
    paragraph(f"{job.job}  {takes(outlook)}", first=f"{job.time or '--:--'}  ", then=" " * 14)


def _show_load(lines: Sequence[Load]) -> None:
    if not lines:
        say("\nLOAD  nothing: what the store can give is aboard")
        return
    columns = (figure("quantity"), Column("part"), words("what"), words("why"))
    hint = "  (vanstock load --all records it)"
    for place, rows in groupby(sorted(lines, key=lambda row: row.from_place), key=lambda row: row.from_place):
        say(f"\nLOAD from {place}{hint}")
        hint = ""
        table(columns, [(*_what(row), row.reason) for row in rows])


def _what(row: Load | Left | Buy) -> tuple[str, str, str]:
    return show_qty(row.qty, row.part.unit), row.part.part, row.part.description


def _show_left(lines: Sequence[Left]) -> None:
    if lines:
        say("\nSTAYS BEHIND  (the van carries no more; cost is jobs finished on the first visit)")
        columns = (figure("quantity"), Column("part"), words("what"), Column("from"), figure("cost"))
        cells = [
            (show_qty(r.qty, r.part.unit), r.part.part, r.part.description, r.from_place, f"{r.cost:.2f}")
            for r in lines
        ]
        table(columns, cells)


def _show_elsewhere(found: LoadOut) -> None:
    if not found.elsewhere:
        return
    say("\nIN OTHER VANS, and in no store")
    for row in found.elsewhere:
        paragraph(in_other_van(row), first="- ", then="  ")
    one = found.elsewhere[0]
    paragraph(f'when you have met: vanstock load {one.part.part} QTY --from "{one.van}" --van "{found.van}"')


def _show_buy(lines: Sequence[Buy]) -> None:
    for heading, rows in (
        ("BUY FOR THESE JOBS", [row for row in lines if row.in_time]),
        (
            "NOT IN TIME AS BOOKED  (order it, and move the job or warn the customer)",
            [r for r in lines if not r.in_time],
        ),
    ):
        if rows:
            say(f"\n{heading}")
            columns = (
                figure("quantity"),
                Column("part"),
                words("what"),
                Column("from"),
                words("order by"),
                words("comes"),
            )
            table(columns, [_buy_cells(row) for row in rows])


def _buy_cells(row: Buy) -> tuple[str, ...]:
    until = f"{row.cutoff:%a %H:%M}" if row.cutoff else "not known"
    comes = "not known"
    if row.comes:
        clock = "" if row.comes.hour == row.comes.minute == 0 else f" {row.comes:%H:%M}"
        comes = f"{row.comes:%a} {row.comes.day} {row.comes:%b}{clock}"
    return (*_what(row), row.part.supplier or "no supplier", until, comes)
