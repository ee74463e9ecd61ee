"""Forecasts and levels: `forecast`, `minmax`. Parse, call one routine, show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from vanstock.cli.options import Json, example, opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words, working
from vanstock.errors import BadValue
from vanstock.quantity import format_money, format_qty, show_qty

if TYPE_CHECKING:
    from vanstock.model import Forecast, MinMax, Part
    from vanstock.routines.levels import PartForecast

Named = Annotated[str, typer.Argument(metavar="[PART]", help="Part number, GTIN or words; all when left out.")]
_BARS = " ▁▂▃▄▅▆▇█"
_WEEKS_SHOWN = 16


def add_to(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("forecast", epilog=example('vanstock forecast "cleaning fluid"'))(forecast)
    lines = ("vanstock minmax", "vanstock minmax GK-KRA-011-A --min 2 --max 6", "vanstock minmax GK-KRA-011-A --unpin")
    app.command("minmax", epilog=example(*lines))(minmax)


def forecast(ctx: typer.Context, part: Named = "", json: Json = False) -> None:
    """Show how many of each part are coming."""
    from vanstock.routines import levels as routine

    with opened(ctx) as session, working("forecasting"):
        rows = routine.forecast(session, part)
    if json:
        as_json({"parts": [_forecast_json(row) for row in rows]})
        return
    rows = sorted(rows, key=lambda row: -row.forecast.weeks_with_need)
    if not rows:
        say("no parts yet: `vanstock import FOLDER` brings them in")
        return
    columns = (
        Column("part"), words("class, method"), Column(f"last {_WEEKS_SHOWN} weeks"), figure("a week"),
        figure("days"), figure("50%"), figure("95%"),
    )  # fmt: skip
    table(columns, [_forecast_cells(row) for row in rows])
    paragraph(
        "a week: the mean need; days: working days that stock must last, review and lead time together; "
        "50%, 95%: what the need over those days stays within, in 50 or 95 of 100 cases"
    )


def _bars(history: tuple[float, ...]) -> str:
    shown = history[-_WEEKS_SHOWN:]
    top = max(shown, default=0.0)
    steps = len(_BARS) - 1
    return "".join(_BARS[-(-round(need * steps * 1000) // round(top * 1000))] if need else "." for need in shown)


def _forecast_cells(row: PartForecast) -> tuple[str, ...]:
    found, unit = row.forecast, row.part.unit
    how = f"{found.demand_class}, {_method(found)}" if found.weeks_with_need else "never needed"
    return (
        found.part, how, _bars(row.history), _mean(found.weekly_mean, unit), str(found.interval_days),
        _quantile(row, 0.5), _quantile(row, 0.95),
    )  # fmt: skip


def _method(found: Forecast) -> str:
    return " ".join([found.method, "/".join(f"{constant:g}" for constant in found.constants)]).rstrip()


def _quantile(row: PartForecast, probability: float) -> str:
    """Whole pieces; litres, metres and kilograms to a tenth."""
    exact = row.forecast.quantiles[probability]
    step = 100 if row.part.unit in ("LTR", "MTR", "KGM") else 1
    return show_qty(round(exact / step) * step, row.part.unit)


def _mean(base_units: float, unit: str) -> str:
    from vanstock.quantity import unit as unit_of

    return f"{base_units / unit_of(unit).scale:.2f}"


def _forecast_json(row: PartForecast) -> dict[str, object]:
    found, unit = row.forecast, row.part.unit
    return {
        "part": found.part,
        "class": found.demand_class,
        "method": found.method,
        "constants": list(found.constants),
        "own": found.own,
        "weeks": found.weeks,
        "weeks_with_need": found.weeks_with_need,
        "weekly_mean": _decimal(found.weekly_mean, unit),
        "interval_days": found.interval_days,
        "interval_mean": _decimal(found.interval_mean, unit),
        "quantiles": {f"{p:g}": format_qty(round(q), unit) for p, q in found.quantiles.items()},
    }


def _decimal(base_units: float, unit: str) -> str:
    from vanstock.quantity import unit as unit_of

    return f"{base_units / unit_of(unit).scale:.4f}"


def minmax(
    ctx: typer.Context,
    part: Named = "",
    low: Annotated[str, typer.Option("--min", metavar="QTY", help="Pin this min by hand, with --max.")] = "",
    high: Annotated[str, typer.Option("--max", metavar="QTY", help="Pin this max by hand, with --min.")] = "",
    unpin: Annotated[bool, typer.Option("--unpin", help="Go back to the forecast.")] = False,
    json: Json = False,
) -> None:
    """Show min and max of each part, or pin them by hand."""
    from vanstock.routines import levels as routine

    if (low or high or unpin) and not part:
        raise BadValue("name the part to pin: vanstock minmax PART --min N --max N")
    if bool(low) != bool(high):
        raise BadValue("give both --min and --max to pin a part")
    with opened(ctx) as session:
        if low:
            pinned, level = routine.pin(session, part, low, high)
            say(f"pinned {pinned.part}: {_from_to(pinned, level)} (--unpin takes it off)")
            return
        if unpin:
            say(f"{routine.unpin(session, part).part} follows the forecast again")
            return
        with working("working out levels"):
            found = routine.minmax(session, part)
    if json:
        as_json({
            "target": found.target,
            "completion": found.completion,
            "cash": format_money(found.cash),
            "parts": [_level_json(known, level) for known, level in found.parts],
        })  # fmt: skip
        return
    held = [(known, level) for known, level in found.parts if level.max or part]
    columns = (Column("part"), words("what"), figure("min"), figure("max"), words("why"))
    table(columns, [_level_cells(known, level) for known, level in held])
    say(f"with every part at its max: {format_money(found.cash)} on the shelves")
    if found.completion is not None:
        say(f"and {found.completion:.0%} of jobs like last year's, each taken alone, find all they need")
    left_out = len(found.parts) - len(held)
    if left_out:
        say(f"{left_out} parts are needed too seldom to keep: max 0")


def _from_to(part: Part, level: MinMax) -> str:
    return f"min {show_qty(level.min, part.unit)}, max {show_qty(level.max, part.unit)}"


def _level_cells(part: Part, level: MinMax) -> tuple[str, ...]:
    unit = part.unit
    return (part.part, part.description, show_qty(level.min, unit), show_qty(level.max, unit), level.basis)


def _level_json(part: Part, level: MinMax) -> dict[str, object]:
    return {
        "part": part.part,
        "min": format_qty(level.min, part.unit),
        "max": format_qty(level.max, part.unit),
        "pinned": level.pinned,
        "basis": level.basis,
    }
