"""Levels: `minmax`. Parse, call one routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.forecast import Named
from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words, working
from vanstock.errors import BadValue
from vanstock.quantity import format_money, format_qty, parse_decimal, parse_money, show_qty

if TYPE_CHECKING:
    from vanstock.model import MinMax, Part
    from vanstock.routines.levels import Aim, Change, Levels

_SIGNS = "--min/--max, --unpin, --past, --why, --completion/--cash"


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = (
        "vanstock minmax",
        "vanstock minmax --completion 0.9",
        "vanstock minmax --cash 2500",
        "vanstock minmax GK-KRA-011-A --why",
        "vanstock minmax GK-KRA-011-A --min 2 --max 6",
        "vanstock minmax GK-KRA-011-A --unpin",
        "vanstock minmax GK-KRA-011-A --past",
    )
    app.command("minmax", epilog=example(*lines))(minmax)


def minmax(
    ctx: typer.Context,
    part: Named = "",
    low: Annotated[str, typer.Option("--min", metavar="QTY", help="Pin this min by hand, with --max.")] = "",
    high: Annotated[str, typer.Option("--max", metavar="QTY", help="Pin this max by hand, with --min.")] = "",
    unpin: Annotated[bool, typer.Option("--unpin", help="Go back to the levels worked out.")] = False,
    past: Annotated[bool, typer.Option("--past", help="Show the levels that past lists used, and why.")] = False,
    why: Annotated[bool, typer.Option("--why", help="Show what one part's levels do for coming jobs.")] = False,
    completion: Annotated[
        str, typer.Option("--completion", metavar="SHARE", help="Levels to finish this share of jobs, like 0.9.")
    ] = "",
    cash: Annotated[str, typer.Option("--cash", metavar="AMOUNT", help="Levels that cost no more than this.")] = "",
    json: Json = False,
) -> None:
    """Show min and max of each part, ask for others, pin them by hand, or explain them."""
    from vanstock.routines import levels as routine

    _refuse_mixtures(part, low, high, (unpin, past, why, bool(completion or cash)))
    if past or why:
        from vanstock.cli import levelwhy

        (levelwhy.show_past if past else levelwhy.explain)(ctx, part, json=json)
        return
    with opened(ctx) as session:
        if low:
            pinned, level = routine.pin(session, part, low, high)
            if json:
                as_json(_level_json(pinned, level))
                return
            say(f"pinned {pinned.part}: {from_to(pinned, level)} (--unpin takes it off)")
            return
        if unpin:
            freed = routine.unpin(session, part)
            if json:
                as_json({"part": freed.part, "pinned": False})
                return
            say(f"{freed.part} follows the levels worked out again")
            return
        with working("working out levels"):
            found = routine.minmax(session, part, _aim(completion, cash))
    if json:
        as_json(_json(found))
        return
    _show(found, one=bool(part))


def _refuse_mixtures(part: str, low: str, high: str, others: tuple[bool, ...]) -> None:
    unpin, past, why, _ = others
    if (low or high or unpin) and not part:
        raise BadValue("name the part to pin: vanstock minmax PART --min N --max N")
    if bool(low) != bool(high):
        raise BadValue("give both --min and --max to pin a part")
    if past and not part:
        raise BadValue("name the part whose past levels you want: vanstock minmax PART --past")
    if why and not part:
        raise BadValue("name the part whose levels you want explained: vanstock minmax PART --why")
    if bool(low) + sum(others) > 1:
        raise BadValue(f"one at a time of {_SIGNS}")


def _aim(completion: str, cash: str) -> Aim:
    from vanstock.routines.levels import Aim

    share, pence = None, None
    if completion:
        share = float(parse_decimal(completion, "--completion"))
        if not 0 < share < 1:
            raise BadValue(f"--completion {completion!r} is not a share of jobs between 0 and 1, like 0.9")
    if cash:
        pence = parse_money(cash, "--cash")
        if pence < 0:
            raise BadValue(f"--cash {cash!r} is below zero")
    return Aim(share, pence)


def _show(found: Levels, *, one: bool) -> None:
    held = [(known, level) for known, level in found.parts if level.max or one]
    columns = (Column("part"), words("what"), figure("min"), figure("max"), words("why"))
    table(columns, [_level_cells(known, level) for known, level in held])
    _show_sum(found)
    left_out = len(found.parts) - len(held)
    if left_out:
        paragraph(f"{left_out} parts would finish too few jobs for what they cost: max 0, bought for booked jobs")
    if found.changed:
        say("\nCHANGED since the last list that had another")
        headings = (Column("part"), Column("list of"), figure("min, max"), figure("now"), words("why"))
        table(headings, [_change_cells(change) for change in found.changed])


def _show_sum(found: Levels) -> None:
    say(f"with every part at its max: {format_money(found.cash)} on the shelves")
    if found.completion is None:
        say("no jobs are known to come yet: book some, or import finished ones")
        return
    say(f"to expect: {100 * found.completion:.1f} of 100 jobs finished on the first visit")
    if found.asked_cash is not None and found.pinned_cash > found.asked_cash:
        paragraph(f"{format_money(found.asked_cash)} cannot be kept to: the pinned parts alone cost more")
    elif found.target is not None and found.completion < found.target - 0.01:
        paragraph(
            f"{100 * found.target:g} of 100 cannot be reached within the cash, the pins and the shelf lives given"
        )


def _change_cells(change: Change) -> tuple[str, ...]:
    unit = change.part.unit
    then, now = (f"{show_qty(level.min, unit)}, {show_qty(level.max, unit)}" for level in (change.before, change.now))
    return change.part.part, change.since.isoformat(), then, now, change.why


def _json(found: Levels) -> dict[str, object]:
    return {
        "target": found.target,
        "completion": None if found.completion is None else round(found.completion, 4),
        "cash": format_money(found.cash),
        "parts": [_level_json(known, level) for known, level in found.parts],
        "changed": [
            {
                "part": row.part.part,
                "since": row.since.isoformat(),
                "min_before": format_qty(row.before.min, row.part.unit),
                "max_before": format_qty(row.before.max, row.part.unit),
                "why": row.why,
            }
            for row in found.changed
        ],
    }


def from_to(part: Part, level: MinMax) -> str:
    """Min and max in words."""
    return f"min {show_qty(level.min, part.unit)}, max {show_qty(level.max, part.unit)}"


def _level_cells(part: Part, level: MinMax) -> tuple[str, ...]:
    unit = part.unit
    return (part.part, part.description, show_qty(level.min, unit), show_qty(level.max, unit), level.basis)


def _level_json(part: Part, level: MinMax) -> dict[str, object]:
    return {
        "part": part.part,
        "min": format_qty(level.min, part.unit),
        "max": format_qty(level.max, part.unit),
        "pinned": level.pinned,
        "basis": level.basis,
    }
