"""Levels: `minmax`. Parse, call one routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.forecast import Named
from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, many, paragraph, say, table, words, working
from vanstock.errors import BadValue
from vanstock.quantity import format_money, format_qty, in_hundred, parse_decimal, parse_money, show_qty

if TYPE_CHECKING:
    from vanstock.model import MinMax, Part
    from vanstock.routines.levels import Aim, Change, LeftOut, Levels, Pinned

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
    low: Annotated[str | None, typer.Option("--min", metavar="QTY", help="Pin this min by hand, with --max.")] = None,
    high: Annotated[str | None, typer.Option("--max", metavar="QTY", help="Pin this max by hand, with --min.")] = None,
    unpin: Annotated[bool, typer.Option("--unpin", help="Go back to the levels worked out.")] = False,
    past: Annotated[bool, typer.Option("--past", help="Show the levels that past lists used, and why.")] = False,
    why: Annotated[bool, typer.Option("--why", help="Show what one part's levels do for coming jobs.")] = False,
    completion: Annotated[
        str | None, typer.Option("--completion", metavar="SHARE", help="Levels to finish this share of jobs, like 0.9.")
    ] = None,
    cash: Annotated[
        str | None, typer.Option("--cash", metavar="AMOUNT", help="Levels that cost no more than this.")
    ] = None,
    json: Json = False,
) -> None:
    """Show min and max of each part, ask for others, pin them by hand, or explain them."""
    from vanstock.routines import levels as routine

    aim = _aim(completion, cash)
    _refuse_mixtures(part, low, high, (unpin, past, why, completion is not None or cash is not None))
    if past or why:
        from vanstock.cli import levelwhy

        (levelwhy.show_past if past else levelwhy.explain)(ctx, part, json=json)
        return
    with opened(ctx) as session:
        if low is not None and high is not None:
            _show_pin(routine.pin(session, part, low, high), json=json)
            return
        if unpin:
            freed = routine.unpin(session, part)
            if json:
                as_json({"part": freed.part, "pinned": False})
                return
            say(f"{freed.part} follows the levels worked out again")
            return
        with working("working out levels"):
            found = routine.minmax(session, part, aim)
    if json:
        as_json(_json(found))
        return
    _show(found, one=bool(part))


def _show_pin(found: Pinned, *, json: bool) -> None:
    part, level, at = found
    if json:
        orders_at = None if at is None else format_qty(at, part.unit)
        as_json({**_level_json(part, level), "orders_at": orders_at})
        return
    say(f"pinned {part.part}: {from_to(part, level)} (--unpin takes it off)")
    pack = show_qty(part.pack_size, part.unit)
    if at is None and level.max:
        paragraph(f"a pack is {pack}, more than max: it is never ordered to be kept, only for booked jobs")
    elif at is not None and at < level.min:
        paragraph(f"ordered at {show_qty(at, part.unit)}, not at min: a pack of {pack} more would go above max")


def _refuse_mixtures(part: str, low: str | None, high: str | None, others: tuple[bool, ...]) -> None:
    unpin, past, why, _ = others
    pins = low is not None, high is not None
    if (any(pins) or unpin) and not part:
        raise BadValue("name the part to pin: vanstock minmax PART --min N --max N")
    if any(pins) != all(pins):
        raise BadValue("give both --min and --max to pin a part")
    if past and not part:
        raise BadValue("name the part whose past levels you want: vanstock minmax PART --past")
    if why and not part:
        raise BadValue("name the part whose levels you want explained: vanstock minmax PART --why")
    if any(pins) + sum(others) > 1:
        raise BadValue(f"one at a time of {_SIGNS}")


def _aim(completion: str | None, cash: str | None) -> Aim:
    from vanstock.routines.levels import Aim

    share, pence = None, None
    if completion is not None:
        share = float(parse_decimal(completion, "--completion"))
        if not 0 < share < 1:
            raise BadValue(f"--completion {completion!r} is not a share of jobs between 0 and 1, like 0.9")
    if cash is not None:
        pence = parse_money(cash, "--cash")
        if pence < 0:
            raise BadValue(f"--cash {cash!r} is below zero: write zero or more")
    return Aim(share, pence)


def _show(found: Levels, *, one: bool) -> None:
    held = [(known, level) for known, level in found.parts if level.max or one]
    columns = (Column("part"), words("what"), figure("min"), figure("max"), words("why"))
    table(columns, [_level_cells(known, level) for known, level in held])
    _show_sum(found)
    if not one:
        _show_left_out(found.left_out)
    if found.changed:
        say("\nCHANGED since the last list that had another")
        headings = (Column("part"), Column("list of"), figure("min, max"), figure("now"), words("why"))
        table(headings, [_change_cells(change) for change in found.changed])


def _show_left_out(left_out: LeftOut) -> None:
    for parts, told in (
        (left_out.dear, "would finish too few jobs for what they cost: max 0, bought for booked jobs"),
        (left_out.expiring, "would expire before a pack is used: max 0, bought for booked jobs"),
        (left_out.untaken, "that no coming job is likely to take: max 0"),
        (left_out.pinned, "pinned at max 0"),
    ):
        if parts:
            paragraph(f"{many(parts, 'part')} {told}")


def _show_sum(found: Levels) -> None:
    say(f"with every part at its max: {format_money(found.cash)} on the shelves")
    if found.completion is None:
        say("no jobs are known to come yet: book some, or import finished ones")
        return
    say(f"to expect: {in_hundred(found.completion)} of 100 jobs finished on the first visit")
    if found.asked_cash is not None and found.pinned_cash > found.asked_cash:
        paragraph(f"{format_money(found.asked_cash)} cannot be kept to: the pinned parts alone cost more")
    elif found.target is not None and found.completion < min(found.target, found.surest) - 0.01:
        paragraph(
            f"{100 * found.target:g} of 100 cannot be reached within the cash, the pins and the shelf lives given"
        )
    elif found.target is not None and found.target > found.surest:
        known = many(found.jobs_known, "finished job")
        paragraph(f"{in_hundred(found.surest)} of 100 is the most that can be promised on {known}")


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
