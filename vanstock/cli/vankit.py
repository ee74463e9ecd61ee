"""A van's kit: `kit`. Parse, call one routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from vanstock.cli.options import Json, Van, example, opened
from vanstock.cli.show import Column, as_json, figure, many, paragraph, say, table, words, working
from vanstock.quantity import format_money, format_qty, in_hundred, show_qty

if TYPE_CHECKING:
    from vanstock.routines.vankit import KitLine, VanKit


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("kit", epilog=example("vanstock kit", 'vanstock kit --van "van 2"'))(kit)


def kit(ctx: typer.Context, van: Van = "van", json: Json = False) -> None:
    """Show what one van should carry for its own jobs, filled up from the stores every evening."""
    from vanstock.routines import vankit as routine

    with opened(ctx) as session, working("working out the kit"):
        found = routine.van_kit(session, van)
    if json:
        as_json(_json(found))
    else:
        _show(found)


def _show(found: VanKit) -> None:
    mine = f"{many(found.finished, 'finished job')} of its own"
    paragraph(f"{found.van}: about {found.weekly:.1f} jobs a week, by {mine}", then="  ")
    columns = (Column("part"), words("what"), figure("carry"), figure("aboard"), words("load"), figure("take it"),
               figure("lost"))  # fmt: skip
    table(columns, [_cells(line) for line in found.lines])
    say("of 1,000 jobs so many take it; so many are lost with one piece, or pack, less")
    say(f"the kit is worth {format_money(found.cash)}{_weight(found)}")
    paragraph(
        f"to expect: {in_hundred(found.completion)} of 100 of its jobs finished on the first visit with the kit alone, "
        "filled up every evening"
    )
    if found.limit is not None and found.grams > found.limit:
        paragraph(f"that is more than payload_kg allows: {found.limit / 1000:.0f} kg; load what the day needs first")
    if found.beyond:
        parts = "1 part" if found.beyond == 1 else f"{found.beyond} parts"
        paragraph(f"aboard and not of the kit: {parts} worth {format_money(found.beyond_value)}, which another van or "
                  "the store may want")  # fmt: skip


def _weight(found: VanKit) -> str:
    return f" and weighs {found.grams / 1000:.1f} kg, as far as weights are known" if found.grams else ""


def _cells(line: KitLine) -> tuple[str, ...]:
    from vanstock.routines.levels import in_thousand

    unit = line.part.unit
    load = ", ".join(f"{show_qty(one.qty, unit)} from {one.place}" for one in line.load)
    if line.lacking:
        load = ", ".join(filter(None, (load, f"{show_qty(line.lacking, unit)} in no store")))
    carry, aboard = show_qty(line.carry, unit), show_qty(line.aboard, unit)
    take, lost = in_thousand(line.does.taken), in_thousand(line.does.lost)
    return line.part.part, line.part.description, carry, aboard, load, take, lost


def _json(found: VanKit) -> dict[str, object]:
    return {
        "van": found.van,
        "weekly_jobs": round(found.weekly, 3),
        "finished_jobs": found.finished,
        "target": found.target,
        "completion": round(found.completion, 4),
        "cash": format_money(found.cash),
        "weight_kg": round(found.grams / 1000, 3),
        "parts": [
            {
                "part": line.part.part,
                "carry": format_qty(line.carry, line.part.unit),
                "aboard": format_qty(line.aboard, line.part.unit),
                "load": [
                    {"part": one.part, "qty": format_qty(one.qty, line.part.unit), "from": one.place}
                    for one in line.load
                ],
                "lacking": format_qty(line.lacking, line.part.unit),
            }
            for line in found.lines
        ],
        "beyond": {"parts": found.beyond, "value": format_money(found.beyond_value)},
    }
