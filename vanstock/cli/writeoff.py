"""Throwing stock away: `write-off`, and the dates on what is kept: `use-by`. Parse, call one routine, show."""

from __future__ import annotations

from typing import Annotated

import typer

from vanstock.cli.job import PartName
from vanstock.cli.options import example, opened
from vanstock.cli.show import say, tell
from vanstock.quantity import format_money, show_qty


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = ("vanstock write-off CH-UNI-813-A 1 --why broken", "vanstock write-off FL-UNI-800-A --expired")
    app.command("write-off", epilog=example(*lines))(write_off)
    app.command("use-by", epilog=example("vanstock use-by FL-UNI-800-A 10L 2027-09-30"))(use_by)


def write_off(
    ctx: typer.Context,
    part: PartName,
    qty: Annotated[str, typer.Argument(metavar="[QTY]", help="Like 2, 2.5L; with --expired all of it.")] = "",
    place: Annotated[str, typer.Option("--place", metavar="PLACE", help="A van or a store; else van.")] = "",
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="Why, in a few words.")] = "",
    expired: Annotated[bool, typer.Option("--expired", help="It is past its use-by date.")] = False,
) -> None:
    """Record stock that is thrown away: broken, stolen, spilt or past its use-by date."""
    from vanstock.routines import writeoff as routine

    with opened(ctx) as session:
        done = routine.write_off(session, routine.Thrown(part, qty, place, why, expired))
        unit = done.part.unit
        for row in done.gone:
            say(
                f"written off: {show_qty(row.qty, unit)} x {done.part.part} {done.part.description} in {row.place}, "
                f"worth {format_money(row.value)}; left: {show_qty(row.left, unit)}"
            )
        say(f"entry {done.entry.id[:8]} (vanstock undo takes it back)")
        for warning in done.warnings:
            tell(f"note: {warning}")


def use_by(
    ctx: typer.Context,
    part: PartName,
    qty: Annotated[str, typer.Argument(metavar="QTY", help="So much of what is on hand, like 10L.")],
    day: Annotated[str, typer.Argument(metavar="DATE", help="The last day to use it, like 2027-09-30.")],
) -> None:
    """Say by when so much of what is on hand must be used, after a look at the dates on it."""
    from vanstock.cli.expiry import dates
    from vanstock.routines import writeoff as routine

    with opened(ctx) as session:
        found = routine.say_use_by(session, part, qty, day)
        say(f"{found.part.part} on hand: {dates(found.remains, found.part, session.today)}")
        say(f"entry {found.entry.id[:8]} (vanstock undo takes it back)")
