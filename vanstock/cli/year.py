"""The stock of a year for the accountant: `year`. Parse, call one routine, show or write the file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import as_json, figure, paragraph, say, table, words
from vanstock.errors import BadValue
from vanstock.quantity import format_money

if TYPE_CHECKING:
    from datetime import date

    from vanstock.routines.session import Session
    from vanstock.routines.year import Sums, Year


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    lines = ("vanstock year", "vanstock year 2026 --file year.xlsx", "vanstock year --from 2027-01-01 --to 2027-03-31")
    app.command("year", epilog=example(*lines))(year)


def year(
    ctx: typer.Context,
    which: Annotated[str, typer.Argument(metavar="[YEAR]", help="The year it begins in; else this one.")] = "",
    first: Annotated[str, typer.Option("--from", metavar="DATE", help="First day, instead of a year.")] = "",
    last: Annotated[str, typer.Option("--to", metavar="DATE", help="Last day, instead of a year.")] = "",
    file: Annotated[Path | None, typer.Option("--file", metavar="FILE", help="Write a .csv or .xlsx file.")] = None,
    json: Json = False,
) -> None:
    """Show how the stock of a year came about, to the penny, for the accountant."""
    from vanstock.routines import year as routine
    from vanstock.routines import yearfile

    if file is not None:
        yearfile.check_ending(file)
    with opened(ctx) as session:
        found = routine.year(session, *_days(session, which, first, last))
        if file is not None:
            yearfile.write_year(session, file, found)
    if json:
        as_json(_json(found))
        return
    _show(found)
    if file is not None:
        say(f"written to {file}")


def _days(session: Session, which: str, first: str, last: str) -> tuple[date, date]:
    from vanstock.routines.year import accounting_year
    from vanstock.workdays import parse_date

    if which and (first or last):
        raise BadValue("name a year, or the days with --from and --to, not both")
    if last and not first:
        raise BadValue("--to without --from: name the first day too")
    if not first:
        return accounting_year(session, which)
    return parse_date(first), parse_date(last) if last else session.today


def _show(found: Year) -> None:
    from vanstock.routines.value import ASK
    from vanstock.routines.yearfile import CLAIMS, claim_summary, notes, summary, title

    say(title(found))
    rows = summary(found)
    table((words("what"), figure("value")), [(what, format_money(pence)) for what, pence in rows])
    say()
    claims = claim_summary(found)
    if claims:
        table((words(CLAIMS), figure("value")), [(what, format_money(pence)) for what, pence in claims])
        say()
    groups = found.by_component()
    if groups:
        heads = (words("component"), figure("start"), figure("in"), figure("used"), figure("other"), figure("end"))
        table(heads, [_cells(group) for group in groups])
        say()
    for note in notes(found):
        paragraph(note, then="  ")
    paragraph(ASK, then="  ")


def _cells(group: Sums) -> tuple[str, ...]:
    came = group.changes["brought in"] + group.changes["bought"]
    used = group.changes["used"]
    other = group.closing - group.opening - came - used
    return (group.name, *(format_money(pence) for pence in (group.opening, came, used, other, group.closing)))


def _json(found: Year) -> dict[str, object]:
    return {
        "from": found.first.isoformat(),
        "to": found.ends.isoformat(),
        "so_far_to": found.last.isoformat(),
        "currency": found.currency,
        "basis": found.basis,
        "first_in_first_out": format_money(found.fifo),
        **_sums_json(found.total),
        "components": [{"component": group.name, **_sums_json(group)} for group in found.by_component()],
        "places": [{"place": group.name, **_sums_json(group)} for group in found.by_place()],
        "months": [{"month": month.name, **_sums_json(month)} for month in found.months],
        "purchases": [
            {"supplier": row.supplier, "bought": format_money(row.bought), "sent_back": format_money(row.sent_back)}
            for row in found.purchases
        ],
        "claims": {way.replace(" ", "_"): format_money(pence) for way, pence in found.claim_sums.items()},
    }


def _sums_json(group: Sums) -> dict[str, object]:
    changes = {way.replace(" ", "_"): format_money(pence) for way, pence in group.changes.items()}
    return {"opening": format_money(group.opening), **changes, "closing": format_money(group.closing)}
