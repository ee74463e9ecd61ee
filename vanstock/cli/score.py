"""How good the odds were, on the terminal: `score`. Parse, call one routine, show."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words
from vanstock.quantity import format_money
from vanstock.workdays import parse_date

if TYPE_CHECKING:
    from vanstock.routines.score import Band, Score

_FEW = 30


def add_to(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("score", epilog=example("vanstock score", "vanstock score --since 2027-01-01"))(score)


def score(
    ctx: typer.Context,
    since: Annotated[str, typer.Option("--since", metavar="DATE", help="Second visits from here; else a year.")] = "",
    json: Json = False,
) -> None:
    """Show how good the odds were, and which parts caused second visits."""
    from vanstock.routines.score import score as worked_out

    with opened(ctx) as session:
        found = worked_out(session, parse_date(since) if since else None)
    if json:
        as_json(_json(found))
        return
    say("JOBS: odds told by the load-out, and how many were finished on the first visit")
    if found.jobs:
        _show_bands(found.jobs, "jobs", "finished")
    else:
        paragraph(
            "none yet: `vanstock loadout` keeps what it tells, and a finished job is held against it",
            first="  ",
            then="  ",
        )
    say("\nPARTS: the chance given to each part of a job, and how often the job took it")
    if found.parts:
        _show_bands(found.parts, "chances", "taken")
        paragraph(f"Tried on {found.parts_jobs} finished jobs, each from the jobs before it alone.")
    else:
        paragraph("too few finished jobs to tell", first="  ")
    _show_visits(found)


def _show_bands(bands: Sequence[Band], what: str, came: str) -> None:
    rows = [
        (
            f"{band.low:.0%}-{band.high:.0%}",
            str(band.number),
            f"{band.said:.0%}",
            f"{band.came:.0%}",
            "few: a rough figure" if band.number < _FEW else "",
        )
        for band in bands
    ]
    table((figure("said"), figure(what), figure("mean said"), figure(came), Column("")), rows)


def _show_visits(found: Score) -> None:
    visits = found.finished - found.first_time
    share = f" ({found.first_time / found.finished:.0%})" if found.finished else ""
    say(f"\nSECOND VISITS since {found.since}")
    cost = format_money(visits * found.second_visit_cost)
    paragraph(
        f"{found.first_time} of {found.finished} jobs finished on the first visit{share}; {visits} second visits at "
        f"{format_money(found.second_visit_cost)} each cost {cost} (vanstock setting second_visit_cost changes the "
        "estimate)."
    )
    if found.second_visits:
        rows = [
            (row.part.part, row.part.description, str(row.jobs), format_money(row.cost)) for row in found.second_visits
        ]
        table((Column("part"), words("wanted and not aboard"), figure("jobs"), figure("cost")), rows)


def _json(found: Score) -> dict[str, object]:
    return {
        "jobs": [band._asdict() for band in found.jobs],
        "parts": [band._asdict() for band in found.parts],
        "parts_jobs": found.parts_jobs,
        "since": found.since.isoformat(),
        "finished": found.finished,
        "first_time": found.first_time,
        "second_visit_cost": format_money(found.second_visit_cost),
        "second_visits": [
            {"part": row.part.part, "jobs": row.jobs, "cost": format_money(row.cost)} for row in found.second_visits
        ],
    }
