"""The reorder list: `reorder`. Parse, call the routine, show or write the list."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Day, Json, example, opened
from vanstock.cli.show import Column, as_json, figure, say, table, tell, words, working
from vanstock.quantity import format_money, format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.kit.reorder import OrderLine
    from vanstock.model import Part
    from vanstock.routines.reorder import Reorder

_NO_SUPPLIER = "NO SUPPLIER: name one for these in parts.csv and suppliers.csv"


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("reorder", epilog=example("vanstock reorder", "vanstock reorder --csv order.csv"))(reorder)


def reorder(
    ctx: typer.Context,
    date: Day = "",
    csv: Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Also write the list to a file.")] = None,
    json: Json = False,
) -> None:
    """Print this week's reorder list, supplier by supplier."""
    from vanstock.routines import reorder as routine
    from vanstock.routines.why import keep_basis
    from vanstock.workdays import parse_date

    with opened(ctx) as session:
        with working("working out the reorder list"):
            found = routine.reorder(session, parse_date(date) if date else None)
        if csv is not None:
            routine.write_csv(csv, found)
        if json:
            as_json(_json(found))
        else:
            _show(found, csv)
        sys.stdout.flush()
        not_kept = keep_basis(session, found.basis)
    if not_kept:
        tell(f"note: what this list rests on was not kept for `vanstock minmax PART --past`: {not_kept}")


def _show(found: Reorder, csv: Path | None) -> None:
    if not found.orders:
        say(f"{found.date:%A} {found.date}: nothing to order")
    for order, supplier, cutoff in found.orders:
        until = f"order by {cutoff:%a} {cutoff:%Y-%m-%d %H:%M}" if cutoff else "no cut-off known"
        name = f"{order.supplier}  {supplier.name}".rstrip()
        say(f"{name}: {until}" if order.supplier else _NO_SUPPLIER)
        amounts = (figure("order"), figure("packs"), figure("cost"), figure("max"))
        columns = (Column("part"), words("what"), *amounts, words("why"))
        table(columns, [_cells(line, found.catalogue.parts[line.part]) for line in order.lines])
        carriage = format_money(order.carriage) if order.carriage else "free" if order.supplier else "not known"
        say(f"goods {format_money(order.goods)}, carriage {carriage}, total {format_money(order.total)} ex VAT")
        if order.below_least:
            least = format_money(supplier.least_order)
            say(f"{format_money(order.below_least)} short of its least order of {least}: add to it, or let it wait")
        say()
    if csv is not None:
        say(f"written to {csv}")


def _cells(line: OrderLine, part: Part) -> tuple[str, ...]:
    unit = part.unit
    cost, most = format_money(line.cost), show_qty(line.max, unit)
    return (line.part, part.description, show_qty(line.qty, unit), str(line.packs), cost, most, line.why)


def _json(found: Reorder) -> dict[str, object]:
    return {
        "date": found.date.isoformat(),
        "suppliers": [
            {
                "supplier": order.supplier,
                "cutoff": cutoff.isoformat(timespec="minutes") if cutoff else None,
                "lines": [_line_json(line, found.catalogue.parts[line.part]) for line in order.lines],
                "goods": format_money(order.goods),
                "carriage": format_money(order.carriage),
                "total": format_money(order.total),
                "below_least_order": format_money(order.below_least),
            }
            for order, _, cutoff in found.orders
        ],
    }


def _line_json(line: OrderLine, part: Part) -> dict[str, object]:
    unit = part.unit
    return {
        "part": line.part,
        "qty": format_qty(line.qty, unit),
        "packs": line.packs,
        "cost": format_money(line.cost),
        "position": format_qty(line.position, unit),
        "on_hand": format_qty(line.on_hand, unit),
        "on_order": format_qty(line.on_order, unit),
        "min": format_qty(line.min, unit),
        "max": format_qty(line.max, unit),
        "why": line.why,
    }
