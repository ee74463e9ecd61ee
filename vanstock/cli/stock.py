"""Stock: `stock`, `history`, `received`. Parse, call one routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.entries import entry_json, entry_table
from vanstock.cli.expiry import dates, lots_json
from vanstock.cli.job import PartName, Qty
from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, many, paragraph, say, table, tell, words
from vanstock.errors import BadValue
from vanstock.quantity import format_money, format_qty, parse_money, parse_price, show_qty

if TYPE_CHECKING:
    from vanstock.routines.session import Session
    from vanstock.routines.stock import Posted, StockRow

Place = Annotated[str, typer.Option("--place", metavar="PLACE", help="A van or a store.")]


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command(
        "stock", epilog=example("vanstock stock gasket", "vanstock stock --place van", "vanstock stock --dangerous")
    )(stock)
    app.command(
        "history", epilog=example("vanstock history J0123", "vanstock history GK-KRA-011-A", "vanstock history R0003")
    )(history)
    app.command("received", epilog=example("vanstock received FL-UNI-800-A 2packs --cost 5.60"))(received)


def stock(
    ctx: typer.Context,
    part: Annotated[str, typer.Argument(metavar="[PART]", help="Part number, GTIN or words.")] = "",
    place: Place = "",
    dangerous: Annotated[bool, typer.Option("--dangerous", help="Dangerous goods and their points, by van.")] = False,
    json: Json = False,
) -> None:
    """Show what lies where."""
    from vanstock.routines import stock as routine

    with opened(ctx) as session:
        if dangerous:
            _dangerous(session, part, place, json=json)
            return
        rows = routine.stock(session, part, place=place)
    if json:
        as_json({"parts": [_stock_json(row) for row in rows]})
        return
    if not rows:
        say("nothing in stock: `vanstock import FOLDER` brings opening stock in, `vanstock count` sets it")
        return
    columns = (Column("part"), words("what"), Column("place"), figure("quantity"), figure("value"), Column(""))
    table(columns, [_stock_cells(row) for row in rows])
    say(f"{many(len(rows), 'line')}, worth {format_money(routine.totals(rows))}")


def _dangerous(session: Session, part: str, place: str, *, json: bool) -> None:
    from vanstock.cli.dangerous import show_vans

    if part:
        raise BadValue("points are of all that is in a van: leave the part out")
    show_vans(session, place, json=json)


def _stock_json(row: StockRow) -> dict[str, object]:
    held = row.balance
    return {
        "part": held.part,
        "place": held.place,
        "qty": format_qty(held.qty, row.part.unit),
        "value": format_money(held.value),
        "count_needed": held.count_needed,
        "expired": format_qty(row.expired, row.part.unit),
    }


def _stock_cells(row: StockRow) -> tuple[str, ...]:
    held = row.balance
    qty = show_qty(held.qty, row.part.unit)
    late = f"{show_qty(row.expired, row.part.unit)} expired" if row.expired else ""
    flag = ", ".join(filter(None, (late, "count it" if held.count_needed else "")))
    return (held.part, row.part.description, held.place, qty, format_money(held.value), flag)


def say_entry(posted: Posted) -> None:
    """Say under which id something was recorded, and what to know of it."""
    say(f"entry {posted.entry.id[:8]} (vanstock undo takes it back)")
    for warning in posted.warnings:
        tell(f"note: {warning}")


def received(
    ctx: typer.Context,
    part: PartName,
    qty: Qty = "",
    cost: Annotated[str, typer.Option(metavar="PRICE", help="For one unit ex VAT; else the list cost.")] = "",
    carriage: Annotated[str, typer.Option(metavar="AMOUNT", help="Carriage paid on these goods.")] = "0",
    place: Place = "store",
    use_by: Annotated[str, typer.Option("--use-by", metavar="DATE", help="By when; else its shelf life.")] = "",
) -> None:
    """Take goods in."""
    from vanstock.routines import stock as routine

    price = parse_price(cost, "--cost") if cost else None
    with opened(ctx) as session:
        pence = parse_money(carriage, "--carriage")
        posted = routine.receive(session, part, qty, cost=price, carriage=pence, place=place, use_by=use_by)
    unit = posted.part.unit
    say(
        f"received {show_qty(posted.qty, unit)} x {posted.part.part} {posted.part.description} into {posted.to_place},"
        f" worth {format_money(posted.value)}; now {show_qty(posted.left, unit)} there"
    )
    say_entry(posted)


def history(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument(metavar="[NAME]", help="A part, job, claim or order; else everything.")] = "",
    limit: Annotated[int, typer.Option(metavar="N", min=1, max=1_000_000, help="How many entries at most.")] = 50,
    json: Json = False,
) -> None:
    """Show the entries behind a part, a job, a claim or an order, newest first."""
    from vanstock.routines import stock as routine

    with opened(ctx) as session:
        found, today = routine.history(session, name, limit=limit), session.today
    if json:
        entries: dict[str, object] = {"entries": [entry_json(past, found.parts) for past in found.entries]}
        if found.part and found.ages:
            entries["lots"] = lots_json(found.ages.remains, found.part, today)
        as_json(entries)
        return
    count = len(found.entries)
    say(f"{found.title}: {count} {'entry' if count == 1 else 'entries, newest first'}")
    if found.part and found.ages:
        paragraph(f"on hand: {dates(found.ages.remains, found.part, today)}", then="  ")
    entry_table(found.entries, found.parts)
