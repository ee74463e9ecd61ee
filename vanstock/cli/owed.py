"""What must go back: `owed`, `goes-back`, `sent-back`, `credited`, `give-up`. Parse, call the routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.job import PartName, Qty
from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words
from vanstock.quantity import format_money, format_qty, parse_money, show_qty

if TYPE_CHECKING:
    from vanstock.routines.apart import SetApart
    from vanstock.routines.goingback import Stepped
    from vanstock.routines.oldunits import Owed
    from vanstock.routines.owed import MayGoBack, OwedBy, OwedList

Name = Annotated[str, typer.Argument(metavar="CLAIM", help="The claim's number, like R0003.")]
Names = Annotated[list[str], typer.Argument(metavar="CLAIM...", help="Numbers of claims, like R0003.")]


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("owed", epilog=example("vanstock owed", "vanstock owed --all"))(owed)
    lines = (
        "vanstock goes-back EV-KRA-500-A --job J0790 --warranty",
        "vanstock goes-back DS-KRB-020-A 1 --order O0007 --from store",
    )
    app.command("goes-back", epilog=example(*lines))(goes_back)
    app.command("sent-back", epilog=example("vanstock sent-back R0003 R0004"))(sent_back)
    app.command("credited", epilog=example("vanstock credited R0003", "vanstock credited R0004 30.00"))(credited)
    app.command("give-up", epilog=example("vanstock give-up R0003"))(give_up)


def owed(
    ctx: typer.Context,
    everything: Annotated[bool, typer.Option("--all", help="What is credited or given up too.")] = False,
    json: Json = False,
) -> None:
    """Show what must go back to whom by when, what is owed for it, and what may still go back."""
    from vanstock.routines import owed as routine

    with opened(ctx) as session:
        found = routine.owed(session, everything=everything)
    if json:
        as_json(_json(found))
        return
    if not found.suppliers:
        say("nothing must go back")
    for one in found.suppliers:
        _show_supplier(one)
    if found.may_go_back:
        _show_may_go_back(found.may_go_back)
    if found.suppliers:
        say(f"owed in all: {format_money(found.total)}")


def _show_supplier(one: OwedBy) -> None:
    paragraph(f"{one.supplier.supplier}  {one.supplier.name}".rstrip())
    columns = (Column("claim"), words("what goes back"), figure("owed"), words("send by"), words("stands at"))
    table(columns, [_cells(row) for row in one.rows])
    say(f"owed by {one.supplier.supplier}: {format_money(one.total)}")
    say()


def _cells(row: Owed) -> tuple[str, ...]:
    claim = row.claim
    by = f"{claim.due}{' OVERDUE' if row.overdue else ''}" if claim.due else "no day known"
    by = "" if claim.sent or claim.closed else by
    return (claim.claim, _what(row), format_money(claim.open_amount), by, _stands(row))


def _what(row: Owed) -> str:
    claim, part = row.claim, row.part
    amount = show_qty(claim.qty, part.unit)
    if claim.kind == "old unit":
        many = "" if (claim.qty, part.unit) == (1, "C62") else f"{amount} x "
        return f"old unit of {many}{part.part} {part.description}"
    return f"{amount} x {part.part} {part.description}, {claim.why}"


def _stands(row: Owed) -> str:
    claim = row.claim
    if claim.closed:
        sums = ((claim.credited, "credited"), (claim.given_up, "given up"))
        told = [f"{format_money(amount)} {what}" for amount, what in sums if amount]
        return f"{', '.join(told) or claim.step} {claim.since}"
    if claim.credited:
        return f"{format_money(claim.credited)} credited {claim.since}, the rest owed"
    if claim.step == "owed":
        return f"owed, in {claim.place}" if claim.place else _at_owed(claim.kind)
    return f"{claim.step}{f' on {claim.job}' if claim.step == 'taken off' else ''} {claim.since}"


def _at_owed(kind: str) -> str:
    return "owed, not taken off yet" if kind == "old unit" else "owed"


def _show_may_go_back(rows: tuple[MayGoBack, ...]) -> None:
    say("may still go back, unused")
    columns = (Column("part"), words("what"), figure("qty"), Column("order"), Column("last day"), figure("paid"))
    table((*columns, words("why")), [_may_cells(row) for row in rows])
    paragraph("`vanstock goes-back PART QTY --order ORDER` sets it apart; ask the supplier first")
    say()


def _may_cells(row: MayGoBack) -> tuple[str, ...]:
    jobs = f"; {' and '.join(row.jobs)} may take it" if row.jobs else ""
    return (row.part.part, row.part.description, show_qty(row.qty, row.part.unit), row.order_no,
            row.last_day.isoformat(), format_money(row.amount), f"{row.why}{jobs}")  # fmt: skip


def _json(found: OwedList) -> dict[str, object]:
    return {
        "total": format_money(found.total),
        "suppliers": [
            {
                "supplier": one.supplier.supplier,
                "name": one.supplier.name,
                "owed": format_money(one.total),
                "claims": [_claim_json(row) for row in one.rows],
            }
            for one in found.suppliers
        ],
        "may_go_back": [
            {
                "part": row.part.part,
                "qty": format_qty(row.qty, row.part.unit),
                "order": row.order_no,
                "supplier": row.supplier,
                "last_day": row.last_day.isoformat(),
                "paid": format_money(row.amount),
                "why": row.why,
                "jobs": list(row.jobs),
            }
            for row in found.may_go_back
        ],
    }


def _claim_json(row: Owed) -> dict[str, object]:
    claim = row.claim
    return {
        "claim": claim.claim,
        "kind": claim.kind,
        "part": claim.part,
        "qty": format_qty(claim.qty, row.part.unit),
        "why": claim.why,
        "owed": format_money(claim.open_amount),
        "amount": format_money(claim.amount),
        "credited": format_money(claim.credited),
        "given_up": format_money(claim.given_up),
        "due": claim.due or None,
        "overdue": row.overdue,
        "step": claim.shown,
        "since": claim.since,
        "order": claim.order_no or None,
        "job": claim.job or None,
        "place": claim.place or None,
    }


def goes_back(
    ctx: typer.Context,
    part: PartName,
    qty: Qty = "",
    job: Annotated[str, typer.Option("--job", metavar="JOB", help="The job that a failed part came off.")] = "",
    warranty: Annotated[bool, typer.Option("--warranty", help="It failed; a claim on its maker.")] = False,
    order: Annotated[str, typer.Option("--order", metavar="ORDER", help="The order unused stock came on.")] = "",
    place: Annotated[
        str, typer.Option("--from", metavar="PLACE", help="Where unused stock lies; else looked up.")
    ] = "",
    by: Annotated[str, typer.Option("--by", metavar="DATE", help="The last day to send it.")] = "",
    json: Json = False,
) -> None:
    """Set apart a failed part, or unused stock, that goes back to its supplier."""
    from vanstock.routines import apart as routine

    with opened(ctx) as session:
        made = routine.goes_back(session, routine.Asked(part, qty, job, warranty, order, place, by))
    if json:
        as_json(_made_json(made))
        return
    _show_made(made)


def _show_made(made: SetApart) -> None:
    claim, part = made.row.claim, made.row.part
    what = f"{show_qty(claim.qty, part.unit)} x {part.part} {part.description}".rstrip()
    came = f", came on {claim.order_no}" if claim.order_no else ""
    until = f" by {claim.due}" if claim.due else ""
    paragraph(f"{claim.claim}: {what}, {claim.why}, goes back to {claim.supplier}{until}{came}; to be credited: "
              f"{format_money(claim.amount)}")  # fmt: skip
    if claim.place:
        paragraph(f"it stays stock in {claim.place} until `vanstock sent-back {claim.claim}`")
    for text in made.told:
        paragraph(f"note: {text}")
    say(f"entry {made.entry.id[:8]} (vanstock undo takes it back)")


def _made_json(made: SetApart) -> dict[str, object]:
    return {"claim": _claim_json(made.row), "notes": list(made.told), "entry": made.entry.id}


def sent_back(
    ctx: typer.Context,
    claims: Names,
    on: Annotated[str, typer.Option("--on", metavar="DATE", help="The day it went; else today.")] = "",
    json: Json = False,
) -> None:
    """Record that claims went back to their suppliers."""
    from vanstock.routines import goingback as routine

    with opened(ctx) as session:
        done = routine.sent_back(session, claims, on)
    if json:
        as_json(_stepped_json(done))
        return
    for claim in done.claims:
        paragraph(f"{claim.claim} sent back to {claim.supplier}, {format_money(claim.open_amount)} to be credited")
    _say_rest(done)


def _stepped_json(done: Stepped) -> dict[str, object]:
    return {
        "claims": [_claim_json(row) for row in done.rows],
        "credited": format_money(done.credited),
        "lost": format_money(done.lost),
        "notes": list(done.told),
        "entry": done.entry.id,
    }


def _say_rest(done: Stepped) -> None:
    for text in done.told:
        paragraph(text, first="  ", then="  ")
    say(f"entry {done.entry.id[:8]} (vanstock undo takes it back)")


def credited(
    ctx: typer.Context,
    claim: Name,
    amount: Annotated[str, typer.Argument(metavar="[AMOUNT]", help="Ex VAT; all that is owed when left out.")] = "",
    give_up_rest: Annotated[bool, typer.Option("--give-up-rest", help="The rest will not come.")] = False,
    more: Annotated[bool, typer.Option("--more", help="It is more than was owed.")] = False,
    json: Json = False,
) -> None:
    """Record what a supplier credited for a claim."""
    from vanstock.routines import goingback as routine

    pence = parse_money(amount) if amount else None
    with opened(ctx) as session:
        done = routine.credited(session, claim, pence, give_up_rest=give_up_rest, more=more)
    if json:
        as_json(_stepped_json(done))
        return
    (found,) = done.claims
    paragraph(f"{found.claim}: {format_money(done.credited)} credited by {found.supplier}; "
              f"{format_money(found.open_amount)} still owed")  # fmt: skip
    _say_rest(done)


def give_up(ctx: typer.Context, claim: Name, json: Json = False) -> None:
    """Record that what is still owed for a claim will not come."""
    from vanstock.routines import goingback as routine

    with opened(ctx) as session:
        done = routine.give_up(session, claim)
    if json:
        as_json(_stepped_json(done))
        return
    (found,) = done.claims
    paragraph(f"{found.claim} given up: {done.told[0]}")
    say(f"entry {done.entry.id[:8]} (vanstock undo takes it back)")
