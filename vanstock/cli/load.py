"""Loading: `load`. Parse, call one routine, show."""

from __future__ import annotations

from typing import Annotated

import typer

from vanstock.cli.options import Day, Van, example, opened
from vanstock.cli.show import say, tell
from vanstock.errors import BadValue
from vanstock.quantity import show_qty


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("load", epilog=example("vanstock load --all", "vanstock load GK-KRA-011-A 2"))(load)


def load(
    ctx: typer.Context,
    part: Annotated[str, typer.Argument(metavar="[PART]", help="Part number, GTIN or words.")] = "",
    qty: Annotated[str, typer.Argument(metavar="[QTY]", help="Like 2, 2.5L, 600mm, 1pack.")] = "",
    everything: Annotated[bool, typer.Option("--all", help="Everything on the load list.")] = False,
    source: Annotated[str, typer.Option("--from", metavar="PLACE", help="Where it comes from.")] = "store",
    van: Van = "van",
    date: Day = "",
) -> None:
    """Record what you carry from store to van: one part, or the whole load list."""
    if everything == bool(part):
        raise BadValue("name one part to load, or --all for the whole load list")
    with opened(ctx) as session:
        if part:
            from vanstock.routines import stock as routine

            posted = routine.move(session, part, qty, source=source, target=van)
            unit = posted.part.unit
            say(
                f"loaded {show_qty(posted.qty, unit)} x {posted.part.part} {posted.part.description} from "
                f"{posted.from_place}; {posted.to_place} now has {show_qty(posted.left, unit)}"
            )
            for warning in posted.warnings:
                tell(f"note: {warning}")
            say(f"entry {posted.entry.id[:8]} (vanstock undo takes it back)")
            return
        from vanstock.routines import morning
        from vanstock.workdays import parse_date

        plan, entry = morning.load_all(session, parse_date(date) if date else None, van=van)
    if entry is None:
        stays = "1 line stays" if len(plan.left) == 1 else f"{len(plan.left)} lines stay"
        why = f"the van carries no more, {stays} behind" if plan.left else "what the store can give is aboard"
        say(f"nothing to load for {plan.date}: {why}")
        return
    for row in plan.load:
        say(f"loaded {show_qty(row.qty, row.part.unit)} x {row.part.part} {row.part.description} from {row.from_place}")
    say(f"entry {entry.id[:8]} (vanstock undo takes it back)")
