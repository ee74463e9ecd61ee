"""The week on one screen: `week`. Parse, call one routine, show."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

import typer

from vanstock.cli.expiry import expiry_json, show_expiry
from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, many, paragraph, say, table, words, working
from vanstock.quantity import format_money, format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.routines.week import ToOrder, Week

_MOST_VISITS = 5
_MOST_OPEN = 8


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("week", epilog=example("vanstock week"))(week)


def week(ctx: typer.Context, json: Json = False) -> None:
    """Show what the week asks for: what to order, what is late, goes back, is not finished, is to be counted, expires,
    was missed."""
    from vanstock.routines import week as routine

    with opened(ctx) as session, working("looking through the week"):
        found = routine.week(session)
    if json:
        as_json(_json(found))
    else:
        _show(found)


def _show(found: Week) -> None:
    say(f"{found.day:%A} {found.day}")
    _show_orders(found)
    _show_late(found)
    _show_back(found)
    _show_not_finished(found)
    _show_count(found)
    show_expiry(found.expired, found.expiring)
    _show_visits(found)
    _show_unused(found)


def _show_orders(found: Week) -> None:
    if not found.to_order and not found.waiting:
        say("\nORDER: nothing this week")
    if found.to_order:
        say("\nORDER  (vanstock reorder shows each line, vanstock order drafts the orders)")
        columns = (Column("order by"), Column("supplier"), words("name"), figure("lines"), figure("total ex VAT"))
        table((*columns, words("note")), [_order_cells(row, found.day) for row in found.to_order])
    if found.waiting:
        say("\nDRAFTED, NOT SENT  (vanstock order sent ORDER, once it is)")
        sending = (Column("send by"), Column("order"), Column("supplier"), figure("lines"))
        table(sending, [(_moment(row.cutoff, found.day), row.order_no, row.supplier, str(row.lines))
                        for row in found.waiting])  # fmt: skip


def _order_cells(row: ToOrder, today: date) -> tuple[str, ...]:
    short = f"{format_money(row.below_least)} short of its least order" if row.below_least else ""
    name = row.supplier.supplier or "NONE NAMED"
    return (_moment(row.cutoff, today), name, row.supplier.name, str(row.lines), format_money(row.total), short)


def _moment(moment: datetime | None, today: date) -> str:
    if moment is None:
        return "no cut-off known"
    return f"{'today' if moment.date() == today else f'{moment:%a %Y-%m-%d}'} {moment:%H:%M}"


def _show_late(found: Week) -> None:
    if found.late:
        say("\nOVERDUE: ask the supplier  (vanstock receive ORDER, once it is there)")
        columns = (Column("order"), Column("supplier"), figure("quantity"), Column("part"), words("what"))
        table((*columns, Column("expected")), [
            (row.order_no, row.supplier, show_qty(row.qty, row.part.unit), row.part.part, row.part.description,
             row.expected.isoformat())
            for row in found.late
        ])  # fmt: skip


def _show_back(found: Week) -> None:
    if found.goes_back:
        say("\nGOES BACK  (vanstock owed shows all, vanstock sent-back CLAIM, once it is sent)")
        columns = (Column("claim"), Column("supplier"), Column("kind"), Column("part"), words("what"), figure("owed"))
        table((*columns, words("send by")), [
            (row.claim.claim, row.claim.supplier, row.claim.kind, row.part.part, row.part.description,
             format_money(row.claim.open_amount), f"{row.claim.due or 'no day known'}{' OVERDUE' * row.overdue}")
            for row in found.goes_back
        ])  # fmt: skip
    if found.may_go_back:
        say("\nMAY STILL GO BACK, UNUSED  (vanstock goes-back PART QTY --order ORDER)")
        unused = (figure("quantity"), Column("part"), words("what"), Column("order"), Column("last day"))
        table((*unused, figure("paid")), [
            (show_qty(row.qty, row.part.unit), row.part.part, row.part.description, row.order_no,
             row.last_day.isoformat(), format_money(row.amount))
            for row in found.may_go_back
        ])  # fmt: skip
    if found.still_owed:
        say(f"owed by suppliers in all: {format_money(found.still_owed)}")


def _show_not_finished(found: Week) -> None:
    if not found.not_finished:
        return
    say("\nNOT FINISHED  (vanstock finish JOB --used PART=QTY, or booking move or cancel)")
    columns = (Column("job"), Column("day"), Column("family"), Column("type"), Column("van"), words("ref"))
    table(columns, [(job.job, f"{job.date:%a} {job.date}", job.family, job.job_type, job.van, job.reference)
                    for job in found.not_finished[-_MOST_OPEN:]])  # fmt: skip
    if (more := len(found.not_finished) - _MOST_OPEN) > 0:
        say(f"and {many(more, 'older job')}: vanstock booking list --from {found.not_finished[0].date}")


def _show_count(found: Week) -> None:
    if found.to_count:
        say("\nCOUNT  (vanstock count --sheet prints the sheet)")
        columns = (Column("part"), words("what"), Column("in"), words("why"))
        table(columns, [(row.part.part, row.part.description, row.place, row.why) for row in found.to_count])


def _show_visits(found: Week) -> None:
    from vanstock.routines.week import VISIT_WEEKS

    if not found.second_visits:
        say(f"\nSECOND VISITS: no part was missed in {VISIT_WEEKS} weeks")
        return
    say(f"\nMISSED IN {VISIT_WEEKS} WEEKS  (vanstock minmax PART --why says why it was not there)")
    columns = (figure("jobs"), Column("part"), words("what"), Column("last"), Column("job"))
    table(columns, [
        (str(row.jobs), row.part.part, row.part.description, row.last_day.isoformat(), row.last_job)
        for row in found.second_visits[:_MOST_VISITS]
    ])  # fmt: skip
    if (more := len(found.second_visits) - _MOST_VISITS) > 0:
        say(f"and {many(more, 'more part')}")


def _show_unused(found: Week) -> None:
    if found.unused is None:
        paragraph("UNUSED FOR A YEAR: not known yet, jobs are known for less than that", first="\n")
    elif not found.unused.parts:
        say("\nUNUSED FOR A YEAR: nothing")
    else:
        unused = found.unused
        say(f"\nUNUSED FOR A YEAR: {many(unused.parts, 'part')}, "
            f"{format_money(unused.value)} in them  (vanstock value --slow)")  # fmt: skip
        for part, value in unused.dearest:
            paragraph(f"{part.part} {part.description}", first=f"{format_money(value):>9}  ", then=" " * 11)


def _json(found: Week) -> dict[str, object]:
    unused = found.unused
    return {
        "date": found.day.isoformat(),
        **_orders_json(found),
        "goes_back": [
            {"claim": row.claim.claim, "supplier": row.claim.supplier, "kind": row.claim.kind, "part": row.claim.part,
             "owed": format_money(row.claim.open_amount), "due": row.claim.due or None, "overdue": row.overdue}
            for row in found.goes_back
        ],
        "may_go_back": [
            {"part": row.part.part, "qty": format_qty(row.qty, row.part.unit), "order": row.order_no,
             "last_day": row.last_day.isoformat(), "paid": format_money(row.amount)}
            for row in found.may_go_back
        ],
        "owed": format_money(found.still_owed),
        "not_finished": [
            {"job": job.job, "date": job.date.isoformat(), "family": job.family, "job_type": job.job_type,
             "van": job.van, "reference": job.reference}
            for job in found.not_finished
        ],
        "count": [{"part": row.part.part, "place": row.place, "why": row.why} for row in found.to_count],
        "expired": [expiry_json(row) for row in found.expired],
        "expiring": [expiry_json(row) for row in found.expiring],
        "missed": [
            {"part": row.part.part, "jobs": row.jobs, "last_job": row.last_job, "last": row.last_day.isoformat()}
            for row in found.second_visits
        ],
        "unused_for_a_year": unused and {
            "parts": unused.parts,
            "value": format_money(unused.value),
            "dearest": [{"part": part.part, "value": format_money(value)} for part, value in unused.dearest],
        },
    }  # fmt: skip


def _orders_json(found: Week) -> dict[str, object]:
    return {
        "order": [
            {"supplier": row.supplier.supplier, "cutoff": _iso(row.cutoff), "lines": row.lines,
             "total": format_money(row.total), "below_least_order": format_money(row.below_least)}
            for row in found.to_order
        ],
        "drafted": [
            {"order": row.order_no, "supplier": row.supplier, "lines": row.lines, "cutoff": _iso(row.cutoff)}
            for row in found.waiting
        ],
        "overdue": [
            {"order": row.order_no, "supplier": row.supplier, "part": row.part.part,
             "qty": format_qty(row.qty, row.part.unit), "expected": row.expected.isoformat()}
            for row in found.late
        ],
    }  # fmt: skip


def _iso(moment: datetime | None) -> str | None:
    return moment.isoformat(timespec="minutes") if moment else None
