"""Orders: `order` and its `list`, `show`, `sent`, `cancel`. Parse, call one routine, show."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Commands, Json, example, opened
from vanstock.cli.show import Column, as_json, figure, many, paragraph, say, table, tell, words, working
from vanstock.errors import BadValue
from vanstock.quantity import format_money, format_price, format_qty, parse_money, show_qty

if TYPE_CHECKING:
    from vanstock.model import Part
    from vanstock.orderdoc import OrderDoc
    from vanstock.routines.ordering import LastLook, LineState, Ordered, OrderState, Proposal, Proposed

    Lines = Sequence[tuple[Part, LineState]]

Number = Annotated[str, typer.Argument(metavar="ORDER", help="The order's number, like O0007.")]
Folder = Annotated[Path | None, typer.Option("--to", metavar="FOLDER", help="Also write the documents there.")]


def add_to(app: typer.Typer) -> None:
    """Add the `order` group to the program."""
    lines = ("vanstock order", "vanstock order --drop GP-KRA-100-A --set FL-UNI-800-A=20L --yes --to orders")
    group = typer.Typer(
        cls=Commands,
        help="Order what the reorder list says; list, show, send and cancel orders.",
        invoke_without_command=True,
        rich_markup_mode=None,
        epilog=example(*lines, "vanstock order list"),
    )
    group.callback()(order)
    group.command("list", epilog=example("vanstock order list --all"))(list_)
    group.command("show", epilog=example("vanstock order show O0007 --to orders"))(show)
    group.command("sent", epilog=example("vanstock order sent O0007"))(sent)
    group.command("cancel", epilog=example("vanstock order cancel O0007", "vanstock order cancel O0007 GP-KRA-100-A"))(
        cancel
    )
    app.add_typer(group, name="order")


def order(
    ctx: typer.Context,
    amounts: Annotated[
        list[str] | None, typer.Option("--set", metavar="PART=QTY", help="Order so much of a part.")
    ] = None,
    drop: Annotated[list[str] | None, typer.Option("--drop", metavar="PART", help="Leave a part off.")] = None,
    supplier: Annotated[str, typer.Option("--supplier", metavar="ID", help="From this supplier only.")] = "",
    budget: Annotated[str, typer.Option("--budget", metavar="AMOUNT", help="Goods for no more, ex VAT.")] = "",
    again: Annotated[bool, typer.Option("--again", help="Let --set order what is on order already.")] = False,
    no_top_up: Annotated[bool, typer.Option("--no-top-up", help="Add nothing to save carriage.")] = False,
    to: Folder = None,
    yes: Annotated[bool, typer.Option("--yes", help="Draft without asking.")] = False,
    json: Json = False,
) -> None:
    """Draft a numbered order for each supplier from the reorder list, after a last look."""
    if ctx.invoked_subcommand is not None:
        return
    from vanstock.routines import ordering as routine

    look = _look(amounts or (), drop or (), (supplier, budget), (again, not no_top_up))
    with opened(ctx) as session:
        with working("working out the orders"):
            proposal = routine.propose(session, look)
        if not json:
            _show_proposal(proposal)
        wanted = yes or (not json and _asked(proposal))
        orderable = [one for one in proposal.orders if one.supplier.supplier]
        drafted = [routine.draft(session, one) for one in orderable] if wanted else []
    for one in drafted:
        _written(one, to, json=json)
    if json:
        numbers = [one.order.order_no for one in drafted]
        as_json({"orders": [_proposed_json(one) for one in proposal.orders], "drafted": numbers})
    elif not wanted and orderable:
        say("nothing drafted: add --yes to draft these orders")


def _look(amounts: Sequence[str], drop: Sequence[str], which: tuple[str, str], flags: tuple[bool, bool]) -> LastLook:
    from vanstock.routines.ordering import LastLook

    supplier, budget = which
    again, top_up = flags
    pence = parse_money(budget, "--budget") if budget else None
    if pence is not None and pence < 0:
        raise BadValue(f"--budget {budget!r} is below zero: write zero or more")
    return LastLook(pairs("--set", amounts), tuple(drop), supplier, pence, again, top_up)


def pairs(option: str, typed: Sequence[str] | None, like: str = "GK-KRA-011-A=2") -> dict[str, str]:
    """PART=VALUE as typed, by part; raises `BadValue` with how it is written, and for a part named twice."""
    found: dict[str, str] = {}
    for one in typed or ():
        part, equals, value = one.partition("=")
        if not equals or not part.strip() or not value.strip():
            raise BadValue(f"{option} {one!r} cannot be read: write it like {option} {like}")
        if part.strip() in found:
            raise BadValue(f"{option} names {part.strip()} twice: say it once")
        found[part.strip()] = value.strip()
    return found


def _asked(proposal: Proposal) -> bool:
    """Whether a person at a terminal wants these orders drafted."""
    if not proposal.orders or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    return typer.confirm("Draft these orders?", default=False)


def _show_proposal(proposal: Proposal) -> None:
    if not proposal.orders:
        say("nothing to order")
    for one in proposal.orders:
        until = f"order by {one.cutoff:%a} {one.cutoff:%Y-%m-%d %H:%M}" if one.cutoff else "no cut-off known"
        expected = f", goods by {one.expected:%a} {one.expected}" if one.expected else ""
        name = f"{one.supplier.supplier} {one.supplier.name}".strip() or "NO SUPPLIER"
        paragraph(f"{name}: {until}{expected}")
        columns = (Column("part"), words("what"), figure("order"), figure("cost"), words("why"))
        table(columns, [(line.part.part, line.part.description, show_qty(line.qty, line.part.unit),
                         format_money(line.cost), line.why) for line in one.lines])  # fmt: skip
        carriage = format_money(one.carriage) if one.carriage else "free"
        total = format_money(one.goods + one.carriage)
        say(f"goods {format_money(one.goods)}, carriage {carriage}, total {total} ex VAT")
        if one.topped is not None and one.topped.why:
            paragraph(one.topped.why)
        for warning in one.warnings:
            paragraph(f"note: {warning}")
        say()
    for line in proposal.left_off:
        amount = show_qty(line.qty, line.part.unit)
        say(f"over the budget, left off: {amount} x {line.part.part} ({format_money(line.cost)})")


def _written(one: Ordered, to: Path | None, *, json: bool) -> None:
    paths = _documents(one.document, to) if to is not None else ()
    if json:
        return
    say(f"{one.order.shown} {one.order.order_no}: {many(len(one.order.lines), 'line')} from {one.order.supplier}")
    for path in paths:
        say(f"  {path}")


def _documents(doc: OrderDoc, to: Path) -> tuple[Path, ...]:
    from vanstock.exchange.orderdocs import write_all

    return write_all(to, doc)


def list_(
    ctx: typer.Context,
    everything: Annotated[bool, typer.Option("--all", help="Those that are done or cancelled too.")] = False,
    json: Json = False,
) -> None:
    """List the orders that something is still to come of."""
    from vanstock.routines import ordering as routine
    from vanstock.routines.naming import parts_of

    with opened(ctx) as session:
        found = routine.order_list(session, only_open=not everything)
        late = {one.order_no: bool(routine.late_lines(session, one)) for one in found}
        lines = {one.order_no: parts_of(session, one) for one in found} if json else {}
    if json:
        as_json({"orders": [_state_json(one, lines[one.order_no]) for one in found]})
        return
    if not found:
        say("no orders" if everything else "nothing is on order")
        return
    amounts = (figure("lines"), figure("open"), Column("expected"))
    table((Column("order"), Column("supplier"), Column("state"), *amounts), [
        (one.order_no, one.supplier, one.shown, str(len(one.lines)), str(sum(line.to_come > 0 for line in one.lines)),
         one.expected + (" overdue" if late[one.order_no] else ""))
        for one in found
    ])  # fmt: skip


def show(ctx: typer.Context, number: Number, to: Folder = None, json: Json = False) -> None:
    """Show an order as it stands, and write its documents."""
    from vanstock.exchange.orderdocs import as_text
    from vanstock.routines import ordering as routine
    from vanstock.routines.naming import parts_of

    with opened(ctx) as session:
        found = routine.order_named(session, number)
        doc, lines = routine.document(session, found), parts_of(session, found)
    paths = _documents(doc, to) if to is not None else ()
    if json:
        as_json(_state_json(found, lines))
        return
    for line in as_text(doc).splitlines():
        say(line)
    say(f"{found.order_no} is {found.shown}")
    columns = (Column("part"), figure("ordered"), figure("received"), figure("cancelled"), figure("to come"))
    table(columns, [_state_cells(part, line) for part, line in lines])
    for path in paths:
        say(f"written to {path}")


def _state_cells(part: Part, line: LineState) -> tuple[str, ...]:
    amounts = (line.ordered, line.received, line.cancelled, line.to_come)
    return (part.part, *(show_qty(qty, part.unit) for qty in amounts))


def _state_json(found: OrderState, lines: Lines) -> dict[str, object]:
    return {
        "order": found.order_no,
        "supplier": found.supplier,
        "state": found.shown,
        "drafted": found.drafted,
        "expected": found.expected or None,
        "lines": [
            {
                "part": part.part,
                "ordered": format_qty(line.ordered, part.unit),
                "received": format_qty(line.received, part.unit),
                "cancelled": format_qty(line.cancelled, part.unit),
                "to_come": format_qty(line.to_come, part.unit),
                "price": format_price(line.price),
                "expected": line.expected or None,
            }
            for part, line in lines
        ],
    }


def _proposed_json(one: Proposed) -> dict[str, object]:
    return {
        "supplier": one.supplier.supplier,
        "cutoff": one.cutoff.isoformat(timespec="minutes") if one.cutoff else None,
        "expected": one.expected.isoformat() if one.expected else None,
        "lines": [
            {
                "part": line.part.part,
                "qty": format_qty(line.qty, line.part.unit),
                "cost": format_money(line.cost),
                "why": line.why,
            }
            for line in one.lines
        ],
        "goods": format_money(one.goods),
        "carriage": format_money(one.carriage),
        "total": format_money(one.goods + one.carriage),
        "top_up": one.topped.why if one.topped else "",
        "notes": list(one.warnings),
    }


def sent(ctx: typer.Context, number: Number) -> None:
    """Record that an order went out to its supplier."""
    from vanstock.routines import ordering as routine

    with opened(ctx) as session:
        done = routine.sent(session, number)
    expected = f", expected {done.order.expected}" if done.order.expected else ""
    say(f"sent {done.order.order_no} to {done.order.supplier}{expected}")
    say(f"entry {done.entry.id[:8]} (vanstock undo takes it back)")


def cancel(
    ctx: typer.Context,
    number: Number,
    part: Annotated[str, typer.Argument(metavar="[PART]", help="Of this part only.")] = "",
) -> None:
    """Cancel what is still to come of an order."""
    from vanstock.routines import ordering as routine

    with opened(ctx) as session:
        done = routine.cancelled(session, number, part)
    of_part = f" of {part}" if part else ""
    say(f"cancelled on {done.order.order_no}: what was still to come{of_part}; it is {done.order.shown}")
    say(f"entry {done.entry.id[:8]} (vanstock undo takes it back)")
    tell("note: tell the supplier too")
