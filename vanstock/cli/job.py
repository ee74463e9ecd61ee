"""On the job: `fit`, `missed`, `finish`, `undo`. Parse, call one routine, say what was recorded."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import example, opened
from vanstock.cli.show import clean, paragraph, say, tell
from vanstock.quantity import format_money, show_qty

if TYPE_CHECKING:
    from vanstock.routines.job import Logged, Taken
    from vanstock.routines.session import Session

JobName = Annotated[str, typer.Argument(metavar="JOB", help="The job's id, like J0123.")]
PartName = Annotated[str, typer.Argument(metavar="PART", help="Part number, GTIN or words.")]
Qty = Annotated[str, typer.Argument(metavar="[QTY]", help="Like 2, 2.5L, 600mm, 1pack; one unit when left out.")]


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("fit", epilog=example('vanstock fit J0123 "vaporiser gasket" --with'))(fit)
    app.command("missed", epilog=example("vanstock missed J0123 GK-KRA-011-A 1"))(missed)
    app.command("finish", epilog=example("vanstock finish J0123 --used FL-UNI-800-A=2.5"))(finish)
    app.command("undo", epilog=example("vanstock undo", "vanstock undo 3f9c21aa"))(undo)


def fit(
    ctx: typer.Context,
    job: JobName,
    part: PartName,
    qty: Qty = "",
    with_: Annotated[bool | None, typer.Option("--with/--without", help="Log what goes on new with it too.")] = None,
    place: Annotated[str, typer.Option("--from", metavar="PLACE", help="Where it came from; else the job's van.")] = "",
) -> None:
    """Log a part fitted on a job."""
    from vanstock.routines import job as routine

    with opened(ctx) as session:
        wanted = _ask(session, job, part, qty, place) if with_ is None else with_
        logged = routine.fit(session, job, part, qty, with_riders=wanted, place=place)
        _say("fitted on", logged)
        if logged.goes_with and with_ is None:
            listed = ", ".join(_amount(taken) for taken in logged.goes_with)
            tell(f"goes on new with it, not logged: {listed} (add --with, or fit them one by one)")


def _ask(session: Session, job: str, part: str, qty: str, place: str) -> bool:
    """Ask whether what goes with the part was fitted too, when a person is there to answer."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    from vanstock.routines import job as routine

    riders = routine.riders_of(session, job, part, qty, place)
    if not riders:
        return False
    listed = clean(", ".join(_amount(taken) for taken in riders))
    return typer.confirm(f"Also fitted new: {listed}?", default=True)


def _amount(taken: Taken) -> str:
    part = taken.part
    return f"{show_qty(taken.qty, part.unit)} x {part.part} {part.description}"


def _say(what: str, logged: Logged) -> None:
    for taken in logged.taken:
        say(f"{what} {logged.job.job}: {_amount(taken)}; left: {show_qty(taken.left, taken.part.unit)}")
    for off in logged.old_units:
        paragraph(f"the old unit goes back to {off.supplier} by {off.due} ({off.claim}, {format_money(off.amount)})")
    say(f"entry {logged.entry.id[:8]} (vanstock undo takes it back)")
    for warning in logged.warnings:
        tell(f"note: {warning}")


def missed(ctx: typer.Context, job: JobName, part: PartName, qty: Qty = "") -> None:
    """Log a part the job needed that was not aboard."""
    from vanstock.routines import job as routine

    with opened(ctx) as session:
        _say("missed on", routine.miss(session, job, part, qty))


def finish(
    ctx: typer.Context,
    job: JobName,
    used: Annotated[list[str] | None, typer.Option(metavar="PART=QTY", help="A part fitted; may be repeated.")] = None,
) -> None:
    """Mark a job finished, logging parts in the same go."""
    from vanstock.routines import job as routine

    with opened(ctx) as session:
        logged = routine.finish(session, job, used or [])
        say(f"finished {logged.job.job}")
        _say("fitted on", logged)
        if logged.goes_with:
            listed = ", ".join(_amount(taken) for taken in logged.goes_with)
            tell(f"note: usually goes on new and was not logged: {listed}")


def undo(
    ctx: typer.Context,
    entry: Annotated[str, typer.Argument(metavar="[ENTRY]", help="An entry's id as it was told; else the last.")] = "",
) -> None:
    """Take back the last entry, or one by its id; the ledger keeps both."""
    from vanstock.routines import job as routine

    with opened(ctx) as session:
        undone, undoing = routine.undo(session, entry)
        say(f"undone: {undone.kind} of {undone.at[:16].replace('T', ' ')} (entry {undone.id[:8]})")
        say(f"entry {undoing.id[:8]} (vanstock undo {undoing.id[:8]} puts it back)")
