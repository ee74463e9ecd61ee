"""Where a part is: `where`. Parse, call one routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from vanstock.cli.job import PartName
from vanstock.cli.options import Json, Van, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words
from vanstock.quantity import format_qty, show_qty
from vanstock.routines.wording import percent

if TYPE_CHECKING:
    from vanstock.routines.where import Lies, Where

_MOST_JOBS = 12


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("where", epilog=example("vanstock where GK-KRA-011-A", 'vanstock where gasket --van "van 2"'))(where)


def where(ctx: typer.Context, part: PartName, van: Van = "van", json: Json = False) -> None:
    """Show every place a part is, on order, which booked jobs may take it, and the nearest."""
    from vanstock.routines import where as routine

    with opened(ctx) as session:
        found = routine.where(session, part, van=van)
    if json:
        as_json(_json(found))
    else:
        _show(found)


def _show(found: Where) -> None:
    say(f"{found.part.part} {found.part.description}, for {found.van}")
    for number, words_ in enumerate(found.nearest):
        paragraph(words_, first="nearest  " if not number else "else     ", then=" " * 9)
    if not found.nearest:
        paragraph("nowhere, on no order, and no supplier known to buy it from", first="nearest  ")
    _show_lies(found)
    if found.comes:
        say("\nON ORDER")
        columns = (Column("order"), words("state"), Column("supplier"), Column("part"), figure("to come"),
                   Column("expected"))  # fmt: skip
        cells = [(r.order_no, r.state, r.supplier, r.part.part, show_qty(r.qty, r.part.unit), r.expected or "?")
                 for r in found.comes]  # fmt: skip
        table(columns, cells)
    _show_takes(found)
    if found.stands_in:
        say("\nSTANDS IN FOR IT")
        table((Column("part"), words("what"), words("why")),
              [(one.part.part, one.part.description, one.why) for one in found.stands_in])  # fmt: skip


def _show_lies(found: Where) -> None:
    if not found.lies:
        return
    say("\nLIES")
    columns = (Column("place"), Column("kind"), Column("part"), figure("quantity"), Column(""))
    cells = [(r.place, r.kind, r.part.part, show_qty(r.qty, r.part.unit), _flag(r)) for r in found.lies]
    table(columns, cells)


def _flag(row: Lies) -> str:
    late = f"{show_qty(row.expired, row.part.unit)} expired" if row.expired else ""
    return ", ".join(filter(None, (late, "count it" if row.count_needed else "")))


def _show_takes(found: Where) -> None:
    if found.takes:
        say("\nBOOKED JOBS THAT MAY TAKE IT")
        columns = (Column("job"), Column("date"), Column("time"), Column("van"), words("what"), figure("chance"),
                   figure("quantity"))  # fmt: skip
        cells = [
            (r.job.job, r.job.date.isoformat(), r.job.time, r.job.van, f"{r.job.family} {r.job.job_type}",
             percent(r.probability), show_qty(r.qty, found.part.unit))
            for r in found.takes[:_MOST_JOBS]
        ]  # fmt: skip
        table(columns, cells)
        if len(found.takes) > _MOST_JOBS:
            say(f"and {len(found.takes) - _MOST_JOBS} more (--json has them all)")
    if found.looked_at < found.bookings:
        paragraph(f"the next {found.looked_at} of {found.bookings} booked jobs were looked at")


def _json(found: Where) -> dict[str, object]:
    return {
        "part": found.part.part,
        "van": found.van,
        "nearest": list(found.nearest),
        "lies": [
            {
                "place": r.place,
                "kind": r.kind,
                "part": r.part.part,
                "qty": format_qty(r.qty, r.part.unit),
                "expired": format_qty(r.expired, r.part.unit),
                "count_needed": r.count_needed,
            }
            for r in found.lies
        ],
        "on_order": [
            {
                "order": r.order_no,
                "state": r.state,
                "supplier": r.supplier,
                "part": r.part.part,
                "to_come": format_qty(r.qty, r.part.unit),
                "expected": r.expected or None,
            }
            for r in found.comes
        ],
        "jobs": [
            {
                "job": r.job.job,
                "date": r.job.date.isoformat(),
                "time": r.job.time,
                "van": r.job.van,
                "probability": round(r.probability, 4),
                "qty": format_qty(r.qty, found.part.unit),
            }
            for r in found.takes
        ],
        "stands_in": [{"part": one.part.part, "why": one.why} for one in found.stands_in],
        "jobs_looked_at": found.looked_at,
        "jobs_booked": found.bookings,
    }
