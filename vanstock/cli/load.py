"""Loading: `load`. Parse, call one routine, show."""

from __future__ import annotations

from typing import Annotated

import typer

from vanstock.cli.options import Day, Van, example, opened
from vanstock.cli.show import say, tell
from vanstock.errors import BadValue
from vanstock.quantity import show_qty

STORE = "store"


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    lines = (
        "vanstock load --all",
        "vanstock load GK-KRA-011-A 2",
        'vanstock load GK-KRA-011-A=1 BT-UNI-012-A=2 --from "van 2"',
        "vanstock load GK-KRA-011-A 1 --from van --to store",
        "vanstock load --kit",
    )
    app.command("load", epilog=example(*lines))(load)


def load(
    ctx: typer.Context,
    parts: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PART [QTY]]", help="A part and how much of it, or several as PART=QTY."),
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Everything on the load list.")] = False,
    kit: Annotated[bool, typer.Option("--kit", help="Everything that the van's kit lacks.")] = False,
    source: Annotated[str, typer.Option("--from", metavar="PLACE", help="A store or a van it comes from.")] = STORE,
    van: Van = "van",
    target: Annotated[str, typer.Option("--to", metavar="PLACE", help="Where it goes, instead of --van.")] = "",
    date: Day = "",
) -> None:
    """Record what you carry to a van, or from any place to another: parts, the load list, or the van's kit."""
    part, qty, several = _named(parts or [])
    if sum((everything, kit, bool(parts))) != 1:
        raise BadValue("name one part to load, or --all for the whole load list, or --kit for what the kit lacks")
    _fits_together(listed=everything or kit, source=source, target=target)
    if date and not everything:
        raise BadValue("--date belongs to --all: leave it out")
    if several:
        _carry(ctx, several, source, target or van)
        return
    if kit:
        _fill_up(ctx, van)
        return
    if part:
        _one(ctx, (part, qty), source, target or van)
        return
    _everything(ctx, van, date)


def _fits_together(*, listed: bool, source: str, target: str) -> None:
    """Raise `BadValue` where a list, which says itself where each line comes from, is given a place."""
    if listed and target:
        raise BadValue("--all and --kit are for a van: name it with --van and leave --to out")
    if listed and source != STORE:
        raise BadValue("--all and --kit say where each line comes from: leave --from out, or name the parts")


def _one(ctx: typer.Context, named: tuple[str, str], source: str, target: str) -> None:
    from vanstock.routines import stock as routine

    with opened(ctx) as session:
        posted = routine.move(session, *named, source=source, target=target)
        unit = posted.part.unit
        say(
            f"loaded {show_qty(posted.qty, unit)} x {posted.part.part} {posted.part.description} from "
            f"{posted.from_place}; {posted.to_place} now has {show_qty(posted.left, unit)}"
        )
        for warning in posted.warnings:
            tell(f"note: {warning}")
        say(f"entry {posted.entry.id[:8]} (vanstock undo takes it back)")


def _everything(ctx: typer.Context, van: str, date: str) -> None:
    from vanstock.routines import morning
    from vanstock.workdays import parse_date

    with opened(ctx) as session:
        plan, entry = morning.load_all(session, parse_date(date) if date else None, van=van)
    if entry is None:
        stays = "1 line stays" if len(plan.left) == 1 else f"{len(plan.left)} lines stay"
        why = f"the van carries no more, {stays} behind" if plan.left else "what the store can give is aboard"
        say(f"nothing to load for {plan.date}: {why}")
        return
    for row in plan.load:
        say(f"loaded {show_qty(row.qty, row.part.unit)} x {row.part.part} {row.part.description} from {row.from_place}")
    say(f"entry {entry.id[:8]} (vanstock undo takes it back)")


def _named(typed: list[str]) -> tuple[str, str, dict[str, str]]:
    """A part with its quantity, or several with theirs; raises `BadValue` for a mixture."""
    several = [word for word in typed if "=" in word]
    if not several:
        if len(typed) > 2:
            raise BadValue(f"name one part and its quantity, or several as PART=QTY, not {' '.join(typed)!r}")
        part, qty, *_ = [*typed, "", ""]
        return part, qty, {}
    from vanstock.cli.order import pairs

    return "", "", pairs("load", typed)


def _carry(ctx: typer.Context, several: dict[str, str], source: str, target: str) -> None:
    from vanstock.routines import stock as routine

    with opened(ctx) as session:
        done = routine.carry(session, [(part, qty, source) for part, qty in several.items()], target=target)
    for part, qty, place in done.lines:
        say(f"loaded {show_qty(qty, part.unit)} x {part.part} {part.description} from {place} into {done.to_place}")
    for warning in done.warnings:
        tell(f"note: {warning}")
    say(f"entry {done.entry.id[:8]} (vanstock undo takes it back)")


def _fill_up(ctx: typer.Context, van: str) -> None:
    from vanstock.routines.vankit import fill_up

    with opened(ctx) as session:
        kit, entry = fill_up(session, van)
    if entry is None:
        say(f"nothing to load: what the stores have of the kit of {kit.van} is aboard")
        return
    for line in kit.lines:
        for one in line.load:
            say(f"loaded {show_qty(one.qty, line.part.unit)} x {one.part} {line.part.description} from {one.place}")
    say(f"entry {entry.id[:8]} (vanstock undo takes it back)")
