"""What the stock is worth, and what of it lies long: `value`. Parse, call one routine, show."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Day, Json, example, opened
from vanstock.cli.show import Column, as_json, figure, many, paragraph, say, table, tell, words
from vanstock.quantity import format_money, format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.routines.slow import Candidate, Slow, SlowStock
    from vanstock.routines.value import StockValue, ValueRow


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    lines = ("vanstock value", "vanstock value --date 2026-12-31", "vanstock value --slow")
    app.command("value", epilog=example(*lines))(value)


def value(
    ctx: typer.Context,
    date: Day = "",
    slow: Annotated[bool, typer.Option("--slow", help="Show what no job took for long, and may lose worth.")] = False,
    json: Json = False,
) -> None:
    """Show what the stock was worth at the end of a day, by place and component."""
    from vanstock.routines import slow as slow_routine
    from vanstock.routines import value as routine
    from vanstock.workdays import parse_date

    day = parse_date(date) if date else None
    with opened(ctx) as session:
        if slow:
            lying = slow_routine.slow_stock(session, day)
        else:
            found = routine.stock_value(session, day)
    if slow:
        as_json(_slow_json(lying)) if json else _show_slow(lying)
    else:
        as_json(_json(found)) if json else _show(found)


def _show(found: StockValue) -> None:
    say(f"stock at the end of {found.day:%a} {found.day}, in {found.currency}")
    if not found.rows:
        since = f"it follows the stock from {found.since}" if found.since else "it holds no stock yet"
        say(f"the ledger knows of none: {since}")
        return
    columns = (Column("place"), words("component"), figure("lines"), figure("value"))
    table(columns, _rows_with_sums(found.rows))
    say(found.basis)
    if found.below_zero:
        lines = "1 line is" if found.below_zero == 1 else f"{found.below_zero} lines are"
        below = f"{lines} below zero and take {format_money(-found.below_zero_value)} off"
        paragraph(f"{below}: count them, `vanstock stock` marks them", then="  ")
    if found.later:
        entries = "1 entry is" if found.later == 1 else f"{found.later} entries are"
        tell(f"note: {entries} dated after {found.day} and not counted here")


def _rows_with_sums(rows: Sequence[ValueRow]) -> list[tuple[str, str, str, str]]:
    places = list(dict.fromkeys(row.place for row in rows))
    shown = []
    for place in places:
        here = [row for row in rows if row.place == place]
        shown += [(row.place, row.component, str(row.lines), format_money(row.value)) for row in here]
        shown.append(_sum(place, here))
    return [*shown, _sum("", rows)] if len(places) > 1 else shown


def _sum(place: str, rows: Sequence[ValueRow]) -> tuple[str, str, str, str]:
    what = f"all in {place}" if place else "all places"
    return ("", what, str(sum(row.lines for row in rows)), format_money(sum(row.value for row in rows)))


def _json(found: StockValue) -> dict[str, object]:
    return {
        "date": found.day.isoformat(),
        "currency": found.currency,
        "basis": found.basis,
        "value": format_money(found.total),
        "rows": [
            {"place": row.place, "component": row.component, "lines": row.lines, "value": format_money(row.value)}
            for row in found.rows
        ],
        "below_zero": {"lines": found.below_zero, "value": format_money(found.below_zero_value)},
    }


def _show_slow(found: SlowStock) -> None:
    from vanstock.routines.value import ASK

    say(f"stock at the end of {found.day:%a} {found.day} that no job took for long")
    for months in (6, 12):
        if months in found.told:
            parts, pence = found.lain(months)
            say(f"{months} months or more: {many(parts, 'part')}, {format_money(pence)} in them")
        else:
            known = f"jobs are known from {found.known_from} on" if found.known_from else "no finished job is known"
            say(f"{months} months: {known}, too short to say")
    if found.slow:
        columns = (Column("part"), words("what"), Column("last used"), figure("6 months"), figure("12 months"))
        table((*columns, figure("value")), [_slow_cells(one) for one in found.slow])
    say("\ncandidates for writing down")
    if not found.candidates:
        say("none: nothing unused for 12 months, superseded beyond a year's use or past its use-by date")
    else:
        columns = (Column("part"), words("what"), figure("quantity"), figure("value"), words("why"))
        table(columns, [_candidate_cells(one) for one in found.candidates])
        worth = format_money(sum(one.value for one in found.candidates))
        say(f"{many(len(found.candidates), 'line')}, {worth} at what they cost")
    paragraph(f"Candidates only: what stock is worth below its cost is a judgement. {ASK[:1].upper()}{ASK[1:]}.")


def _slow_cells(one: Slow) -> tuple[str, ...]:
    amounts = [show_qty(one.lain[months][0], one.part.unit) if months in one.lain else "" for months in (6, 12)]
    pence = max(value for _, value in one.lain.values())
    return (one.part.part, one.part.description, str(one.last or "none known"), *amounts, format_money(pence))


def _candidate_cells(one: Candidate) -> tuple[str, ...]:
    why = "; ".join(one.why)
    return (one.part.part, one.part.description, show_qty(one.qty, one.part.unit), format_money(one.value), why)


def _slow_json(found: SlowStock) -> dict[str, object]:
    return {
        "date": found.day.isoformat(),
        "jobs_known_from": found.known_from.isoformat() if found.known_from else None,
        "months_told": list(found.told),
        "slow": [_one_slow_json(one) for one in found.slow],
        "candidates": [
            {"part": one.part.part, "qty": format_qty(one.qty, one.part.unit), "value": format_money(one.value),
             "why": list(one.why)}
            for one in found.candidates
        ],
    }  # fmt: skip


def _one_slow_json(one: Slow) -> dict[str, object]:
    lain = {
        f"{months}_months": {"qty": format_qty(qty, one.part.unit), "value": format_money(pence)}
        for months, (qty, pence) in one.lain.items()
    }
    return {"part": one.part.part, "last_used": one.last.isoformat() if one.last else None, **lain}
