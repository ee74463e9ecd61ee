"""Cash against finished jobs: `curve`. Parse, call the routine, show or draw."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, check_chart, example, opened
from vanstock.cli.show import Column, as_json, drawing, figure, is_read_aloud, paragraph, say, table, working
from vanstock.errors import BadValue
from vanstock.quantity import format_money, format_qty, in_hundred, parse_money, show_qty

if TYPE_CHECKING:
    from vanstock.routines.curve import Curve, Spot

_BAR = 22


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = ("vanstock curve", "vanstock curve --more 250", "vanstock curve --chart curve.png")
    app.command("curve", epilog=example(*lines))(curve)


def curve(
    ctx: typer.Context,
    more: Annotated[str, typer.Option("--more", metavar="AMOUNT", help="Say what so much more would buy.")] = "100",
    chart: Annotated[
        Path | None, typer.Option("--chart", metavar="FILE", help="Draw the curve to a .svg or .png file.")
    ] = None,
    json: Json = False,
) -> None:
    """Show how many jobs more cash on the shelves would finish, and where you stand."""
    from vanstock.routines import curve as routine
    from vanstock.routines.settings import setting_text

    pence = parse_money(more, "--more")
    if pence < 0:
        raise BadValue(f"--more {more!r} is below zero: write zero or more")
    check_chart(chart)
    with opened(ctx) as session:
        with working("working out the curve"):
            found = routine.curve(session, pence)
        currency = setting_text(session, "currency")
    if chart is not None:
        from vanstock.routines.pictures import draw_curve

        if found.levels is None:
            raise BadValue(f"nothing to draw: {routine.NO_JOBS}")
        draw_curve(chart, found, currency)
    if json:
        as_json(_json(found))
        return
    _show(found)
    if chart is not None:
        say(f"written to {chart}")


def _show(found: Curve) -> None:
    from vanstock.routines.curve import MEANING, NO_JOBS, told_spots

    if found.levels is None or found.stock is None:
        say(NO_JOBS)
        return
    columns = (figure("cash"), figure("of 100 jobs"), drawing(), Column(""))
    table(columns, [_cells(spot, mark) for spot, mark in told_spots(found)])
    paragraph(MEANING)
    _show_more(found)


def _cells(spot: Spot, mark: str) -> tuple[str, ...]:
    bar = ("=" if mark else "#") * round(_BAR * spot.completion)
    return (
        format_money(spot.cash),
        in_hundred(spot.completion),
        bar,
        f"{'' if is_read_aloud() else '<- '}{mark}" if mark else "",
    )


def _show_more(found: Curve) -> None:
    from vanstock.routines.curve import more_told

    more = found.more
    if found.levels is None:
        return
    say(f"\n{more_told(found)}")
    if not more.parts:
        return
    table(
        (Column("part"), Column("what"), figure("more")),
        [(part.part, part.description, show_qty(qty, part.unit)) for part, qty in more.parts],
    )


def _json(found: Curve) -> dict[str, object]:
    return {
        "points": _spots(found.points),
        "minmax": _spot(found.levels) if found.levels else None,
        "stock": _spot(found.stock) if found.stock else None,
        "target": found.target,
        "more": {
            "cash": format_money(found.more.cash),
            "spent": format_money(found.more.spent),
            "completion": None if found.more.completion is None else round(found.more.completion, 4),
            "parts": [{"part": part.part, "qty": format_qty(qty, part.unit)} for part, qty in found.more.parts],
        },
    }


def _spots(spots: Sequence[Spot]) -> list[dict[str, object]]:
    return [_spot(spot) for spot in spots]


def _spot(spot: Spot) -> dict[str, object]:
    return {"cash": format_money(spot.cash), "completion": round(spot.completion, 4)}
