"""Levels: `minmax`. Parse, call one routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.forecast import Named, decimal_text, mean_text, method_name
from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words, working
from vanstock.errors import BadValue
from vanstock.quantity import format_money, format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.model import MinMax, Part
    from vanstock.routines.levels import Levels
    from vanstock.routines.why import Basis


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = (
        "vanstock minmax",
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
    unpin: Annotated[bool, typer.Option("--unpin", help="Go back to the forecast.")] = False,
    past: Annotated[bool, typer.Option("--past", help="Show the levels that past lists used, and why.")] = False,
    json: Json = False,
) -> None:
    """Show min and max of each part, pin them by hand, or explain past ones."""
    from vanstock.routines import levels as routine

    _refuse_mixtures(part, low, high, unpin, past)
    with opened(ctx) as session:
        if past:
            from vanstock.routines.why import past_levels

            _show_past(*past_levels(session, part), json=json)
            return
        if low:
            pinned, level = routine.pin(session, part, low, high)
            say(f"pinned {pinned.part}: {_from_to(pinned, level)} (--unpin takes it off)")
            return
        if unpin:
            say(f"{routine.unpin(session, part).part} follows the forecast again")
            return
        with working("working out levels"):
            found = routine.minmax(session, part)
    if json:
        as_json({
            "target": found.target,
            "completion": found.completion,
            "cash": format_money(found.cash),
            "parts": [_level_json(known, level) for known, level in found.parts],
        })  # fmt: skip
        return
    _show(found, one=bool(part))


def _refuse_mixtures(part: str, low: str, high: str, unpin: bool, past: bool) -> None:
    if (low or high or unpin) and not part:
        raise BadValue("name the part to pin: vanstock minmax PART --min N --max N")
    if bool(low) != bool(high):
        raise BadValue("give both --min and --max to pin a part")
    if past and not part:
        raise BadValue("name the part whose past levels you want: vanstock minmax PART --past")
    if sum((bool(low), unpin, past)) > 1:
        raise BadValue("pin a part, unpin it, or look at its past levels: one at a time")


def _show(found: Levels, *, one: bool) -> None:
    held = [(known, level) for known, level in found.parts if level.max or one]
    columns = (Column("part"), words("what"), figure("min"), figure("max"), words("why"))
    table(columns, [_level_cells(known, level) for known, level in held])
    say(f"with every part at its max: {format_money(found.cash)} on the shelves")
    if found.completion is not None:
        say(f"and {found.completion:.0%} of jobs like last year's, each taken alone, find all they need")
    left_out = len(found.parts) - len(held)
    if left_out:
        say(f"{left_out} parts are needed too seldom to keep: max 0")


def _show_past(part: Part, rows: list[Basis], *, json: bool) -> None:
    if json:
        as_json({"part": part.part, "past": [_past_json(row, part.unit) for row in rows]})
        return
    if not rows:
        say(f"no past levels of {part.part} yet: `vanstock reorder` keeps what each list rests on")
        return
    paragraph(f"{part.part}  {part.description}: past levels, newest first")
    columns = (Column("from"), figure("min"), figure("max"), words("why"))
    table(columns, [_past_cells(row, part.unit) for row in rows])
    paragraph("As the reorder lists used them; each holds until the next.")


def _past_cells(row: Basis, unit: str) -> tuple[str, ...]:
    return (row.at[:16].replace("T", " "), show_qty(row.level.min, unit), show_qty(row.level.max, unit),
            _phrase(row, unit))  # fmt: skip


def _phrase(row: Basis, unit: str) -> str:
    found = row.forecast
    by_hand = "pinned by hand; " if row.level.pinned else ""
    if not found.weeks_with_need:
        return f"{by_hand}never needed in {found.weeks} weeks"
    return (
        f"{by_hand}{found.demand_class}, {method_name(found)}: {mean_text(found.weekly_mean, unit)} a week, must last "
        f"{found.interval_days} working days; needed in {found.weeks_with_need} of {found.weeks} weeks"
    )


def _past_json(row: Basis, unit: str) -> dict[str, object]:
    found = row.forecast
    return {
        "at": row.at,
        "min": format_qty(row.level.min, unit),
        "max": format_qty(row.level.max, unit),
        "pinned": row.level.pinned,
        "class": found.demand_class,
        "method": found.method,
        "constants": list(found.constants),
        "own": found.own,
        "weeks": found.weeks,
        "weeks_with_need": found.weeks_with_need,
        "weekly_mean": decimal_text(found.weekly_mean, unit),
        "interval_days": found.interval_days,
        "interval_mean": decimal_text(found.interval_mean, unit),
        "spread": found.spread,
        "quantiles": {f"{p:g}": format_qty(round(q), unit) for p, q in found.quantiles.items()},
    }


def _from_to(part: Part, level: MinMax) -> str:
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
