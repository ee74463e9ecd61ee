"""The page of one part: what its forecast and levels rest on, in words, as JSON, or as a picture.

Not the table of all parts (see `forecast`, which calls `explain`).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from vanstock.cli.forecast import bars, decimal_text, forecast_json, mean_text, method_name, rough
from vanstock.cli.options import check_chart, opened
from vanstock.cli.show import as_json, clean, is_read_aloud, paragraph, say, working
from vanstock.quantity import format_qty, show_qty
from vanstock.quantity import unit as unit_of

if TYPE_CHECKING:
    from vanstock.exchange.chart import Picture
    from vanstock.model import Forecast, MinMax
    from vanstock.routines.why import Figures, Why

_WEEKS_SHOWN = 68
_EVERY = 17
_MARGIN = 11
_FEW_WEEKS = 12
_KINDS = {
    "smooth": "needed in most weeks, much the same amount each time",
    "erratic": "needed in most weeks, in amounts that differ a lot",
    "intermittent": "weeks without need lie in between; much the same amount each time",
    "lumpy": "weeks without need lie in between, and the amounts differ a lot",
}


def explain(ctx: typer.Context, part: str, *, chart: Path | None, told: bool, json: bool) -> None:
    """Say what one part's forecast rests on, and draw it when `chart` is given; `told` prints the page too."""
    from vanstock.routines.why import why

    check_chart(chart)
    with opened(ctx) as session, working("forecasting"):
        found = why(session, part)
    if chart is not None:
        from vanstock.exchange.chart import draw

        draw(chart, _picture(found))
    if json:
        as_json({"parts": [_json(found)]})
        return
    if told:
        _page(found)
    if chart is not None:
        say(f"{found.now.row.part.part} drawn to {chart}")


def _page(found: Why) -> None:
    part, forecast = found.now.row.part, found.now.row.forecast
    paragraph(f"{part.part}  {part.description}")
    _history(found.now)
    for heading, text in (
        ("kind", _kind(found)),
        ("method", _method(forecast)),
        ("rests on", _evidence(forecast)),
        ("coming", _coming(found)),
        ("how many", _quantiles(found)),
        ("spread", _spread(found)),
        ("levels", _levels(found)),
        ("changed", _changes(found)),
    ):
        if text:
            paragraph(text, first=heading.ljust(_MARGIN), then=" " * _MARGIN)


def _history(figures: Figures) -> None:
    """The last weeks as bars, and the Monday of every seventeenth under its bar."""
    history, mondays = figures.row.history[-_WEEKS_SHOWN:], figures.row.mondays[-_WEEKS_SHOWN:]
    if not any(figures.row.history):
        return
    if is_read_aloud():
        each = ", ".join(rough(need, figures.row.part.unit) for need in history)
        say(f"the need of each week from Monday {mondays[0]} on: {each}")
        return
    blocks = bars(history)
    marks = [f"└{monday}".ljust(_EVERY) for monday in mondays[::_EVERY]]
    indent = " " * _MARGIN
    say()
    say(f"{'each week'.ljust(_MARGIN)}{blocks}")
    say(f"{indent}{''.join(marks)[: len(blocks) + _EVERY]}".rstrip())
    top = max(history)
    if top:
        say(f"{indent}week from Monday; the tallest is {rough(top, figures.row.part.unit)}")
    say()


def _kind(found: Why) -> str:
    forecast = found.now.row.forecast
    if not forecast.weeks_with_need:
        return "never needed"
    return (
        f"{forecast.demand_class}: {_KINDS[forecast.demand_class]} "
        f"(ADI {found.adi:.2f}: a week with need every {found.adi:.1f}; CV2 {found.cv2:.2f}: how far amounts differ)"
    )


def _method(forecast: Forecast) -> str:
    if not forecast.weeks_with_need:
        return ""
    kind = forecast.demand_class
    if forecast.own:
        why = f"The part departs from the other {kind} parts: on its own record this was clearly nearer."
    elif forecast.weeks < _FEW_WEEKS:
        why = f"Its own weeks are too few to compare methods, so it goes with the other {kind} parts."
    else:
        why = f"It serves {kind} parts best, and nothing in this part's own record speaks clearly against it."
    return f"{method_name(forecast)}: {_what_it_does(forecast)}. {why}"


def _what_it_does(forecast: Forecast) -> str:
    """One plain sentence, without its stop, on what a method does with its constants."""
    shares = [f"{constant * 100:g}%" for constant in forecast.constants]
    sentences = {
        "mean": "the plain average of all weeks, each counting the same",
        "simple": "an average that leans to late weeks: each new one counts for {0}",
        "SBA": "how much at a time over how many weeks between, each new need counting for {0}",
        "TSB": "how much at a time ({0} for a new need) times how often ({1} for a new week), so that a part no "
        "longer asked for fades away",
        "damped trend": "an average that leans to late weeks ({0}) and follows a rise or fall, a little less each week",
        "pair": "a slow average ({0} for a new week) and a fast one ({1}), leaning to the one that was lately nearer",
    }
    return sentences.get(forecast.method, "smoothed").format(*shares)


def _evidence(forecast: Forecast) -> str:
    return f"{forecast.weeks} weeks, {forecast.weeks_with_need} with need"


def _coming(found: Why) -> str:
    forecast, unit = found.now.row.forecast, found.now.row.part.unit
    weeks = ", ".join(f"{mean_text(week.mean, unit)} in the week of {week.monday}" for week in found.coming)
    symbol = f" {unit_of(unit).symbol}".rstrip()
    return (
        f"{mean_text(forecast.weekly_mean, unit)}{symbol} a week. Stock must last {forecast.interval_days} working "
        f"days, review and lead time together, to {found.last_day}: {weeks}"
    )


def _quantiles(found: Why) -> str:
    forecast, unit = found.now.row.forecast, found.now.row.part.unit
    if not forecast.weeks_with_need:
        return ""
    first, *others = [f"{rough(value, unit)} in {p * 100:g}" for p, value in forecast.quantiles.items()]
    return f"over those days at most {', '.join([f'{first} of 100 cases', *others])}"


def _spread(found: Why) -> str:
    forecast, part = found.now.row.forecast, found.now.row.part
    if forecast.spread == "none":
        return ""
    kind = "past needs beside their forecasts" if forecast.spread == "empirical" else f"{forecast.spread} curve"
    if not found.borrowed:
        return f"{kind}, as wide as forecasts of this part have missed by"
    others = f"other parts called {part.component} and " if part.component else ""
    with_need = f"{forecast.weeks_with_need} {'week' if forecast.weeks_with_need == 1 else 'weeks'} with need"
    return f"{kind}; {with_need} say little, so most is borrowed from {others}all {forecast.demand_class} parts"


def _levels(found: Why) -> str:
    level, unit = found.now.level, found.now.row.part.unit
    return f"min {show_qty(level.min, unit)}, max {show_qty(level.max, unit)}: {level.basis}"


def _changes(found: Why) -> str:
    if found.before is None:
        return "a week ago there was nothing to forecast from"
    told = _compared(found.now, found.before)
    changed = [f"{what} from {then} to {now}" for what, now, then in told if now != then]
    same = ", ".join(f"{what} {now}" for what, now, then in told[:3] if now == then)
    since = f"since {found.before.today:%a} {found.before.today}"
    if not changed:
        return f"{since}: nothing changed ({same})"
    return f"{since}: {'; '.join(changed)}{f'; as before: {same}' if same else ''}"


def _compared(now: Figures, before: Figures) -> list[tuple[str, str, str]]:
    """Each figure by name, as it is now and as it was."""

    def figures(of: Figures) -> tuple[str, ...]:
        forecast, level, unit = of.row.forecast, of.level, of.row.part.unit
        levels = (show_qty(level.min, unit), show_qty(level.max, unit))
        top = rough(forecast.quantiles[0.95], unit)
        return (mean_text(forecast.weekly_mean, unit), method_name(forecast), top, forecast.demand_class, *levels)

    names = ("mean week", "method", "95% figure", "kind", "min", "max")
    return list(zip(names, figures(now), figures(before), strict=True))


def _json(found: Why) -> dict[str, object]:
    row, unit = found.now.row, found.now.row.part.unit
    weeks = zip(row.mondays, row.history, found.now.path, strict=True)
    return forecast_json(row) | {
        "description": row.part.description,
        "unit": unit,
        "adi": found.adi if row.forecast.weeks_with_need else None,
        "cv2": found.cv2,
        "what_the_method_does": _what_it_does(row.forecast),
        "history": [
            {"week": monday.isoformat(), "need": format_qty(round(need), unit), "level": decimal_text(level, unit)}
            for monday, need, level in weeks
        ],
        "next_weeks": [
            {"week": week.monday.isoformat(), "days": week.days, "mean": decimal_text(week.mean, unit)}
            for week in found.coming
        ],
        "interval_ends": found.last_day.isoformat(),
        "spread": row.forecast.spread,
        "spread_borrowed": found.borrowed,
        **_levels_json(found.now.level, unit),
        "basis": found.now.level.basis,
        "week_ago": _before_json(found.before),
        "changed": [what for what, now, then in _compared(found.now, found.before) if now != then]
        if found.before
        else [],
    }


def _levels_json(level: MinMax, unit: str) -> dict[str, object]:
    return {"min": format_qty(level.min, unit), "max": format_qty(level.max, unit), "pinned": level.pinned}


def _before_json(before: Figures | None) -> dict[str, object] | None:
    if before is None:
        return None
    return (
        {"date": before.today.isoformat()}
        | forecast_json(before.row)
        | _levels_json(before.level, before.row.part.unit)
    )


def _picture(found: Why) -> Picture:
    from vanstock.exchange.chart import Picture

    row, level = found.now.row, found.now.level
    forecast, unit = row.forecast, unit_of(row.part.unit)
    return Picture(
        part=clean(row.part.part).replace("\n", " "),
        description=clean(row.part.description).replace("\n", " "),
        unit={"C62": "pieces", "PR": "pairs"}.get(unit.code, unit.symbol),
        whole=unit.scale == 1,
        mondays=row.mondays,
        need=tuple(need / unit.scale for need in row.history),
        level=tuple(mean / unit.scale for mean in found.now.path),
        interval_days=forecast.interval_days,
        half=forecast.quantiles[0.5] / unit.scale,
        most=forecast.quantiles[0.95] / unit.scale,
        min=level.min / unit.scale,
        max=level.max / unit.scale,
    )
