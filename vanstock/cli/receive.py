"""Goods in: `receive`. Parse, call the routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.order import Number, pairs
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words
from vanstock.errors import BadValue
from vanstock.quantity import format_money, format_price, format_qty, parse_money, show_qty

if TYPE_CHECKING:
    from vanstock.routines.goodsin import Arrived, Received

Pairs = list[str] | None
_WRONG = "GP-KRA-100-A=GP-FEN-100-A:2"
"""How a part that came in place of another is written: the part that was ordered first."""


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = (
        "vanstock receive O0007",
        "vanstock receive O0007 --came GP-KRA-100-A=3 --rest cancel --carriage 7.50",
        f"vanstock receive O0007 --wrong {_WRONG}",
        "vanstock receive O0007 --came FL-UNI-800-A=20L --use-by FL-UNI-800-A=2028-06-30",
    )
    app.command("receive", epilog=example(*lines))(receive)


def receive(
    ctx: typer.Context,
    number: Number,
    came: Annotated[Pairs, typer.Option("--came", metavar="PART=QTY", help="So much came; 0 for none.")] = None,
    price: Annotated[Pairs, typer.Option("--price", metavar="PART=COST", help="It cost so much a unit.")] = None,
    damaged: Annotated[Pairs, typer.Option("--damaged", metavar="PART=QTY", help="So much of it goes back.")] = None,
    use_by: Annotated[Pairs, typer.Option("--use-by", metavar="PART=DATE", help="It must be used by then.")] = None,
    wrong: Annotated[
        Pairs, typer.Option("--wrong", metavar="PART=OTHER:QTY", help="So much of another part came in its place.")
    ] = None,
    carriage: Annotated[str, typer.Option("--carriage", metavar="AMOUNT", help="Carriage charged, ex VAT.")] = "0",
    rest: Annotated[str, typer.Option("--rest", metavar="later|cancel", help="What becomes of the rest.")] = "later",
    expected: Annotated[str, typer.Option("--expected", metavar="DATE", help="When the rest is to come.")] = "",
    place: Annotated[str, typer.Option("--place", metavar="PLACE", help="Where it was put.")] = "store",
    json: Json = False,
) -> None:
    """Take an order's goods in: all as ordered, or what came otherwise line by line."""
    from vanstock.routines import goodsin as routine

    if rest not in ("later", "cancel"):
        raise BadValue(f"--rest {rest!r} is neither later nor cancel: say which of the two")
    pence = parse_money(carriage, "--carriage")
    if pence < 0:
        raise BadValue(f"--carriage {carriage!r} is below zero: write zero or more")
    typed = routine.Came(pairs("--came", came), pairs("--price", price), pairs("--damaged", damaged),
                         pairs("--use-by", use_by, "FL-UNI-800-A=2028-06-30"), pence, rest, expected, place,
                         pairs("--wrong", wrong, _WRONG))  # fmt: skip
    with opened(ctx) as session:
        found = routine.receive(session, number, typed)
    if json:
        as_json(_json(found))
        return
    columns = (Column("part"), words("what"), figure("in"), figure("cost"), figure("carriage"), figure("to come"))
    table(columns, [_cells(row) for row in found.arrived])
    say(f"{found.order.order_no} is {found.order.shown}; into {found.place}")
    for text in found.told:
        paragraph(f"note: {text}")
    say(f"entry {found.entry.id[:8]} (vanstock undo takes it back)")


def _cells(row: Arrived) -> tuple[str, ...]:
    unit = row.part.unit
    came = show_qty(row.qty, unit) + (f" ({show_qty(row.damaged, unit)} damaged)" if row.damaged else "")
    return (row.part.part, row.part.description, came, format_price(row.price), format_money(row.carriage),
            show_qty(row.to_come, unit))  # fmt: skip


def _json(found: Received) -> dict[str, object]:
    return {
        "order": found.order.order_no,
        "state": found.order.shown,
        "place": found.place,
        "lines": [
            {
                "part": row.part.part,
                "received": format_qty(row.qty, row.part.unit),
                "damaged": format_qty(row.damaged, row.part.unit),
                "price": format_price(row.price),
                "carriage": format_money(row.carriage),
                "to_come": format_qty(row.to_come, row.part.unit),
            }
            for row in found.arrived
        ],
        "notes": list(found.told),
        "entry": found.entry.id,
    }
