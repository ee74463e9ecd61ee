"""How many are coming: `forecast`. Parse, call one routine, show; the page of one part is in `why`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, drawing, figure, paragraph, say, table, width, working
from vanstock.errors import BadValue
from vanstock.quantity import format_qty
from vanstock.quantity import unit as unit_of
from vanstock.routines.forecastwords import mean_text, rough

if TYPE_CHECKING:
    from vanstock.model import Forecast
    from vanstock.routines.forecasts import PartForecast

Named = Annotated[str, typer.Argument(metavar="[PART]", help="Part number, GTIN or words; all when left out.")]
_BARS = " ▁▂▃▄▅▆▇█"
_MOST_WEEKS = 26
_LEAST_WEEKS = 8
_SHORT = {"intermittent": "interm."}


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    lines = (
        'vanstock forecast "cleaning fluid"',
        "vanstock forecast FL-UNI-800-A --why",
        "vanstock forecast FL-UNI-800-A --chart fluid.png",
    )
    app.command("forecast", epilog=example(*lines))(forecast)


def forecast(
    ctx: typer.Context,
    part: Named = "",
    why: Annotated[bool, typer.Option("--why", help="Show what one part's forecast rests on.")] = False,
    chart: Annotated[
        Path | None, typer.Option("--chart", metavar="FILE", help="Draw one part to a .svg or .png file.")
    ] = None,
    json: Json = False,
) -> None:
    """Show how many of each part are coming, and why."""
    from vanstock.routines import forecasts as routine

    if (why or chart) and not part:
        raise BadValue("name the part: vanstock forecast PART --why, or --chart FILE.png")
    if why or chart:
        from vanstock.cli.why import explain

        explain(ctx, part, chart=chart, told=why, json=json)
        return
    with opened(ctx) as session, working("forecasting"):
        rows = routine.forecast(session, part)
    if json:
        as_json({"parts": [forecast_json(row) for row in rows]})
        return
    if not rows:
        say("no parts yet: `vanstock import FOLDER` brings them in")
        return
    _show(sorted(rows, key=lambda row: -row.forecast.weeks_with_need))


def _show(rows: Sequence[PartForecast]) -> None:
    cells = [_cells(row) for row in rows]
    shown = _weeks_shown(cells)
    headings = (Column("part"), Column("kind, method"), drawing(f"last {shown} weeks"), figure("a week"),
                figure("days"), figure("50%"), figure("95%"))  # fmt: skip
    table(headings, [(*c[:2], bars(row.history[-shown:]), *c[2:]) for row, c in zip(rows, cells, strict=True)])
    paragraph(
        "a week: the mean need; days: working days that stock must last, review and lead time together; "
        "50%, 95%: what the need over those days stays within, in 50 or 95 of 100 cases; PART --why says more"
    )


def _weeks_shown(cells: Sequence[tuple[str, ...]]) -> int:
    """As many weeks as the other columns leave room for in a line."""
    headings = ("part", "kind, method", "a week", "days", "50%", "95%")
    others = sum(max(map(len, column)) + 2 for column in zip(headings, *cells, strict=True))
    return min(max(width() - others, _LEAST_WEEKS), _MOST_WEEKS)


def bars(needs: Sequence[float]) -> str:
    """One block a week, the tallest for the largest need; a dot for a week without."""
    top = max(needs, default=0.0)
    steps = len(_BARS) - 1
    return "".join(_BARS[-(-round(need * steps * 1000) // round(top * 1000))] if need else "." for need in needs)


def _cells(row: PartForecast) -> tuple[str, ...]:
    found, unit = row.forecast, row.part.unit
    kind = _SHORT.get(found.demand_class, found.demand_class)
    how = f"{kind} {found.method.removeprefix('damped ')}" if found.weeks_with_need else "never needed"
    return (found.part, how, mean_text(found.weekly_mean, unit), str(found.interval_days),
            rough(found.quantiles[0.5], unit), rough(found.quantiles[0.95], unit))  # fmt: skip


def decimal_text(base_units: float, unit: str) -> str:
    """A mean in the part's unit, without the unit, as JSON has it."""
    return f"{base_units / unit_of(unit).scale:.4f}"


def forecast_json(row: PartForecast) -> dict[str, object]:
    """A part's forecast as machines read it."""
    return {"part": row.forecast.part, **figures_json(row.forecast, row.part.unit)}


def figures_json(found: Forecast, unit: str) -> dict[str, object]:
    """The figures of a forecast as machines read them."""
    return {
        "class": found.demand_class,
        "method": found.method,
        "constants": list(found.constants),
        "own": found.own,
        "weeks": found.weeks,
        "weeks_with_need": found.weeks_with_need,
        "weekly_mean": decimal_text(found.weekly_mean, unit),
        "interval_days": found.interval_days,
        "interval_mean": decimal_text(found.interval_mean, unit),
        "quantiles": {f"{p:g}": format_qty(round(q), unit) for p, q in found.quantiles.items()},
    }
