"""The morning: `loadout` and `load`. Parse, call one routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Day, Json, Van, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, tell, words
from vanstock.errors import BadValue
from vanstock.quantity import format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.routines.morning import Buy, JobOutlook, Load, LoadOut, Need

_SHOWN_FROM = 0.1
_FEW_JOBS = 5


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("loadout", epilog=example("vanstock loadout", "vanstock loadout --date 2027-03-02"))(loadout)
    app.command("load", epilog=example("vanstock load --all", "vanstock load GK-KRA-011-A 2"))(load)


def loadout(ctx: typer.Context, date: Day = "", van: Van = "van", json: Json = False) -> None:
    """Show the day's jobs, their odds, what to load and what to buy."""
    from vanstock.routines import morning as routine
    from vanstock.workdays import parse_date

    with opened(ctx) as session:
        found = routine.load_out(session, parse_date(date) if date else None, van=van)
    if json:
        as_json(_json(found))
    else:
        _show(found)


def _show(found: LoadOut) -> None:
    when = f"{found.date:%A} {found.date}, {found.van}"
    if not found.jobs:
        say(f"{when}: nothing booked (vanstock booking add books a job)")
        return
    jobs = "1 job" if len(found.jobs) == 1 else f"{len(found.jobs)} jobs"
    day = "" if found.day_odds is None else f", chance that all finish first time {percent(found.day_odds)}"
    say(f"{when}: {jobs}{day}")
    for outlook in found.jobs:
        _show_job(outlook)
    _show_load(found.load)
    _show_buy(found)
    if found.cautions:
        say("\nTAKE CARE")
        for caution in found.cautions:
            paragraph(caution, first="- ", then="  ")


def _show_job(outlook: JobOutlook) -> None:
    job = outlook.job
    codes = f" {' '.join(job.codes)}" if job.codes else ""
    say(f"\n{job.time or '--:--'}  {job.job}  {job.family} {job.job_type}{codes}")
    say(f"       {_odds(outlook)}")
    likely = [need for need in outlook.needs if need.probability >= _SHOWN_FROM]
    components = [need.component for need in likely]
    takes = [_need(need, split=components.count(need.component) > 1) for need in likely]
    short = [f"{show_qty(s.qty, s.part.unit)} x {s.part.part} (costs {percent(s.lost_odds)})" for s in outlook.short]
    for heading, items in (("takes", takes), ("SHORT", short)):
        if items:
            paragraph(", ".join(items), first=f"       {heading}  ", then=" " * 14)


def _odds(outlook: JobOutlook) -> str:
    if outlook.odds is None or outlook.odds_now is None:
        return "odds not known: no finished job and no usual table to go by"
    told = f"{percent(outlook.odds)} {_in_words(outlook.odds)}"
    if percent(outlook.odds_now) != percent(outlook.odds):
        told += f", {percent(outlook.odds_now)} as the van stands"
    few = "only " if outlook.jobs_like_it < _FEW_JOBS else ""
    return f"{told} (from {few}{outlook.jobs_like_it} jobs like it)"


def percent(share: float) -> str:
    """Odds as a person reads them; never a promise of 100%."""
    return ">99%" if share >= 0.995 else f"{share:.0%}"


def _in_words(odds: float) -> str:
    for least, text in ((0.9, "should finish"), (0.75, "will probably finish"), (0.5, "may need a second visit")):
        if odds >= least:
            return text
    return "IN DANGER"


def _need(need: Need, *, split: bool) -> str:
    what = f"{need.component} {need.part.part}" if split else need.component
    return f"{what} {show_qty(need.qty, need.part.unit)} ({percent(need.probability)})"


def _show_load(lines: tuple[Load, ...]) -> None:
    if not lines:
        say("\nLOAD  nothing: what the store can give is aboard")
        return
    say("\nLOAD  (vanstock load --all records it)")
    columns = (Column("part"), words("what"), figure("quantity"), Column("from"), words("why"))
    rows = [
        (row.part.part, row.part.description, show_qty(row.qty, row.part.unit), row.from_place, row.reason)
        for row in lines
    ]
    table(columns, rows)


def _show_buy(found: LoadOut) -> None:
    late = [row for row in found.buy if row.arrives is None or row.arrives > found.date]
    for heading, rows in (
        ("BUY BEFORE LEAVING", [row for row in found.buy if row not in late]),
        ("CANNOT COME IN TIME  (order it, and warn the customer or move the job)", late),
    ):
        if rows:
            say(f"\n{heading}")
            columns = (
                Column("part"),
                words("what"),
                figure("quantity"),
                Column("from"),
                words("order by"),
                words("comes"),
            )
            table(columns, [_buy_cells(row) for row in rows])


def _buy_cells(row: Buy) -> tuple[str, ...]:
    until = f"{row.cutoff:%a %H:%M}" if row.cutoff else "not known"
    comes = f"{row.arrives:%a} {row.arrives.day} {row.arrives:%b}" if row.arrives else "not known"
    qty = show_qty(row.qty, row.part.unit)
    return (row.part.part, row.part.description, qty, row.part.supplier or "no supplier", until, comes)


def _json(found: LoadOut) -> dict[str, object]:
    return {
        "date": found.date.isoformat(),
        "van": found.van,
        "day_odds": found.day_odds,
        "jobs": [_job_json(outlook) for outlook in found.jobs],
        "load": [
            {
                "part": row.part.part,
                "qty": format_qty(row.qty, row.part.unit),
                "from": row.from_place,
                "on_hand": format_qty(row.on_hand, row.part.unit),
                "reason": row.reason,
            }
            for row in found.load
        ],
        "buy": [
            {
                "part": row.part.part,
                "qty": format_qty(row.qty, row.part.unit),
                "supplier": row.part.supplier,
                "cutoff": row.cutoff.isoformat(timespec="minutes") if row.cutoff else None,
                "arrives": row.arrives.isoformat() if row.arrives else None,
                "gain": row.gain,
            }
            for row in found.buy
        ],
        "cautions": list(found.cautions),
    }


def _job_json(outlook: JobOutlook) -> dict[str, object]:
    job = outlook.job
    return {
        "job": job.job,
        "time": job.time,
        "family": job.family,
        "job_type": job.job_type,
        "odds": outlook.odds,
        "odds_now": outlook.odds_now,
        "standard_error": outlook.standard_error,
        "needs": [
            {
                "component": need.component,
                "part": need.part.part,
                "probability": need.probability,
                "qty": format_qty(need.qty, need.part.unit),
                "on_hand": format_qty(need.on_hand, need.part.unit),
                "jobs_like_it": need.jobs_like_it,
            }
            for need in outlook.needs
        ],
        "short": [
            {"part": s.part.part, "qty": format_qty(s.qty, s.part.unit), "lost_odds": s.lost_odds}
            for s in outlook.short
        ],
    }


def load(
    ctx: typer.Context,
    part: Annotated[str, typer.Argument(metavar="[PART]", help="Part number, GTIN or words.")] = "",
    qty: Annotated[str, typer.Argument(metavar="[QTY]", help="Like 2, 2.5L, 600mm, 1pack.")] = "",
    everything: Annotated[bool, typer.Option("--all", help="Everything on the load list.")] = False,
    source: Annotated[str, typer.Option("--from", metavar="PLACE", help="Where it comes from.")] = "store",
    van: Van = "van",
    date: Day = "",
) -> None:
    """Record what you carry from store to van: one part, or the whole load list."""
    if everything == bool(part):
        raise BadValue("name one part to load, or --all for the whole load list")
    with opened(ctx) as session:
        if part:
            from vanstock.routines import stock as routine

            posted = routine.move(session, part, qty, source=source, target=van)
            unit = posted.part.unit
            say(
                f"loaded {show_qty(posted.qty, unit)} x {posted.part.part} {posted.part.description} from "
                f"{posted.from_place}; {posted.to_place} now has {show_qty(posted.left, unit)}"
            )
            for warning in posted.warnings:
                tell(f"note: {warning}")
            say(f"entry {posted.entry.id[:8]} (vanstock undo takes it back)")
            return
        from vanstock.routines import morning
        from vanstock.workdays import parse_date

        plan, entry = morning.load_all(session, parse_date(date) if date else None, van=van)
    if entry is None:
        say(f"nothing to load for {plan.date}: what the store can give is aboard")
        return
    for row in plan.load:
        say(f"loaded {show_qty(row.qty, row.part.unit)} x {row.part.part} {row.part.description} from {row.from_place}")
    say(f"entry {entry.id[:8]} (vanstock undo takes it back)")
