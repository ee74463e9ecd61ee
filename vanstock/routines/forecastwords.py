"""The forecast of a part in words, which the terminal and the phone share: its kind and method, what it rests on, how
many are coming, the levels, and what changed since a week ago.

No arithmetic (see `why`) and no layout. Called by `cli.forecast`, `cli.why`, `cli.levelwhy` and the phone face.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from vanstock.quantity import show_qty
from vanstock.quantity import unit as unit_of

if TYPE_CHECKING:
    from datetime import date

    from vanstock.model import Forecast
    from vanstock.routines.why import Figures, Why

_FEW_WEEKS = 12
_KINDS = {
    "smooth": "needed in most weeks, much the same amount each time",
    "erratic": "needed in most weeks, in amounts that differ a lot",
    "intermittent": "weeks without need lie in between; much the same amount each time",
    "lumpy": "weeks without need lie in between, and the amounts differ a lot",
}


def told_of(found: Why) -> list[tuple[str, str]]:
    """Everything there is to say, each with its heading of one or two words."""
    forecast = found.now.row.forecast
    every = (
        ("kind", _kind(found)),
        ("method", _method(forecast)),
        ("rests on", _evidence(forecast)),
        ("coming", _coming(found)),
        ("how many", _quantiles(found)),
        ("spread", _spread(found)),
        ("levels", _levels(found)),
        ("changed", _changes(found)),
    )
    return [(heading, text) for heading, text in every if text]


def figures_of(found: Why) -> list[tuple[str, str]]:
    """What the picture of a part draws, in figures: what each is, and how much."""
    forecast, level, unit = found.now.row.forecast, found.now.level, found.now.row.part.unit
    days = f"the next {forecast.interval_days} working days, in {{}} of 100 cases at most"
    return [
        ("mean week", f"{mean_text(forecast.weekly_mean, unit)} {unit_of(unit).symbol}".rstrip()),
        *((days.format(f"{p * 100:g}"), rough(value, unit)) for p, value in forecast.quantiles.items()),
        ("min", show_qty(level.min, unit)),
        ("max", show_qty(level.max, unit)),
    ]


def weeks_of(found: Why, most: int = 52) -> list[tuple[date, str]]:
    """The last weeks by their Monday with what was needed, the newest first."""
    row = found.now.row
    return [(monday, rough(need, row.part.unit)) for monday, need in zip(row.mondays, row.history, strict=True)][
        -1 : -most - 1 : -1
    ]


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
    return f"{method_name(forecast)}: {what_it_does(forecast)}. {why}"


def what_it_does(forecast: Forecast) -> str:
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
    told = compared(found.now, found.before)
    changed = [f"{what} from {then} to {now}" for what, now, then in told if now != then]
    same = ", ".join(f"{what} {now}" for what, now, then in told[:3] if now == then)
    since = f"since {found.before.today:%a} {found.before.today}"
    if not changed:
        return f"{since}: nothing changed ({same})"
    return f"{since}: {'; '.join(changed)}{f'; as before: {same}' if same else ''}"


def compared(now: Figures, before: Figures) -> list[tuple[str, str, str]]:
    """Each figure by name, as it is now and as it was."""

    def figures(of: Figures) -> tuple[str, ...]:
        forecast, level, unit = of.row.forecast, of.level, of.row.part.unit
        levels = (show_qty(level.min, unit), show_qty(level.max, unit))
        top = rough(forecast.quantiles[0.95], unit)
        return (mean_text(forecast.weekly_mean, unit), method_name(forecast), top, forecast.demand_class, *levels)

    names = ("mean week", "method", "95% figure", "kind", "min", "max")
    return list(zip(names, figures(now), figures(before), strict=True))


def method_name(found: Forecast) -> str:
    """The method with its constants: `TSB 0.1/0.05`, `mean`."""
    return " ".join([found.method, "/".join(f"{constant:g}" for constant in found.constants)]).rstrip()


def rough(base_units: float, unit: str) -> str:
    """A quantity as it is shown with its unit: whole pieces; litres, metres and kilograms to a tenth below ten."""
    scale = unit_of(unit).scale
    step = max(scale // 10, 1) if base_units < 10 * scale else scale
    return show_qty(round(base_units / step) * step, unit)


def mean_text(base_units: float, unit: str) -> str:
    """A mean in the part's unit, without the unit, to two decimals."""
    return f"{base_units / unit_of(unit).scale:.2f}"
