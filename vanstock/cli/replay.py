"""The past gone through again: `replay`. Parse, call the routine, show or draw."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from math import ceil
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, check_chart, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, tell, working
from vanstock.quantity import MONEY_SCALE, format_money

if TYPE_CHECKING:
    from vanstock.routines.replay import Replayed, Run

_UNKNOWN = "-"
_NAME = 19
_TOLD_AFTER = 2


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = ("vanstock replay", "vanstock replay --weeks 26", "vanstock replay --chart replay.png")
    app.command("replay", epilog=example(*lines))(replay)


def replay(
    ctx: typer.Context,
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="How many full weeks back, from 4 to 520.")] = 52,
    chart: Annotated[
        Path | None, typer.Option("--chart", metavar="FILE", help="Draw cash by week to a .svg or .png file.")
    ] = None,
    json: Json = False,
) -> None:
    """Go through your own past week by week: what other ways to set min and max would have come to."""
    from vanstock.routines import replay as routine
    from vanstock.routines.settings import setting_text

    check_chart(chart)
    with opened(ctx) as session:
        there = routine.weeks_there(session, weeks)
        times = routine.times_learnt(session, there)
        with working("setting the levels of each time", total=times) as progress:
            found = routine.replay(session, there, _timed(progress, times) if routine.is_large(session) else progress)
        currency = setting_text(session, "currency")
    if chart is not None:
        _draw(chart, found, currency)
    if json:
        as_json(_json(found))
        return
    _show(found, weeks)
    if chart is not None:
        say(f"written to {chart}")


def _timed(progress: Callable[[int], None], times: int) -> Callable[[int], None]:
    """Progress that says after the second of so many steps how long the others will take: the first one also loads."""
    at: list[float] = []

    def step(more: int) -> None:
        progress(more)
        at.append(perf_counter())
        if len(at) == _TOLD_AFTER:
            minutes = ceil((times - len(at)) * (at[1] - at[0]) / 60)
            tell(f"many jobs: levels are set {times} times, which takes about {minutes} min more; fewer --weeks, less")

    return step


def _show(found: Replayed, asked: int) -> None:
    first, last = found.mondays[0], found.mondays[-1]
    say(f"{len(found.mondays)} weeks, from the week of {first} to that of {last}: {found.runs[0].jobs} jobs\n")
    if len(found.mondays) < asked:
        paragraph(f"{asked} weeks were asked for; the history reaches back for so many, with 13 more to learn from.")
        say()
    amounts = ("of 100", "runs", "second", "cash", "peak", "orders", "carriage")
    columns = (Column("levels"), *map(figure, amounts))
    table(columns, [_cells(run) for run in found.runs])
    say()
    for run in found.runs:
        paragraph(run.told, first=run.policy.ljust(_NAME), then=" " * _NAME)
    say()
    share = 200 * found.standard_error
    paragraph(
        f"of 100: jobs finished on the first visit with what was there, give or take {share:.0f} by chance; runs: jobs "
        "that lacked only what is sold over a counter; second: second visits; cash: on the shelves, on average and at "
        "its peak. Each week's levels rest on what was known by its Monday, without bookings; every way starts with "
        "full shelves and today's prices, ex VAT."
    )
    for warning in found.warnings:
        paragraph(f"CAREFUL: {warning}")


def _cells(run: Run) -> tuple[str, ...]:
    return (
        run.policy,
        f"{100 * run.completion:.1f}",
        str(run.counter_runs),
        str(run.second_visits),
        _UNKNOWN if run.average_cash is None else format_money(round(run.average_cash)),
        _UNKNOWN if run.peak_cash is None else format_money(run.peak_cash),
        _UNKNOWN if run.orders is None else str(run.orders),
        _UNKNOWN if run.carriage is None else format_money(run.carriage),
    )


def _json(found: Replayed) -> dict[str, object]:
    return {
        "weeks": len(found.mondays),
        "from": found.mondays[0].isoformat(),
        "weeks_before": found.weeks_before,
        "standard_error": round(found.standard_error, 4),
        "policies": [_run_json(run) for run in found.runs],
        "warnings": list(found.warnings),
    }


def _run_json(run: Run) -> dict[str, object]:
    return {
        "policy": run.policy,
        "how": run.told,
        "jobs": run.jobs,
        "completion": round(run.completion, 4),
        "counter_runs": run.counter_runs,
        "second_visits": run.second_visits,
        "cash": None if run.average_cash is None else format_money(round(run.average_cash)),
        "peak_cash": None if run.peak_cash is None else format_money(run.peak_cash),
        "orders": run.orders,
        "lines": run.lines,
        "carriage": None if run.carriage is None else format_money(run.carriage),
    }


def _draw(path: Path, found: Replayed, currency: str) -> None:
    from vanstock.exchange.replaychart import ReplayLine, ReplayPicture, draw

    lines = tuple(
        ReplayLine(run.policy, run.completion, run.average_cash / MONEY_SCALE, _by_week(run, len(found.mondays)))
        for run in found.runs
        if run.average_cash is not None
    )
    draw(path, ReplayPicture(currency, found.mondays, lines))


def _by_week(run: Run, weeks: int) -> tuple[float, ...]:
    """The mean of each week's days, in the currency."""
    edges = [round(i * len(run.cash) / weeks) for i in range(weeks + 1)]
    return tuple(sum(run.cash[a:b]) / max(b - a, 1) / MONEY_SCALE for a, b in pairwise(edges))
