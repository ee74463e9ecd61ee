"""The page of one part: what its forecast and levels rest on, in words, as JSON, or as a picture.

Not the table of all parts (see `forecast`, which calls `explain`).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from vanstock.cli.forecast import bars, decimal_text, forecast_json
from vanstock.cli.options import check_chart, opened
from vanstock.cli.show import as_json, is_read_aloud, paragraph, say, working
from vanstock.quantity import format_qty
from vanstock.routines.forecastwords import compared, rough, told_of, what_it_does

if TYPE_CHECKING:
    from vanstock.model import MinMax
    from vanstock.routines.why import Figures, Why

_WEEKS_SHOWN = 68
_EVERY = 17
_MARGIN = 11


def explain(ctx: typer.Context, part: str, *, chart: Path | None, told: bool, json: bool) -> None:
    """Say what one part's forecast rests on, and draw it when `chart` is given; `told` prints the page too."""
    from vanstock.routines.why import why

    check_chart(chart)
    with opened(ctx) as session, working("forecasting"):
        found = why(session, part)
    if chart is not None:
        from vanstock.routines.pictures import draw_part

        draw_part(chart, found)
    if json:
        as_json({"parts": [_json(found)]})
        return
    if told:
        _page(found)
    if chart is not None:
        say(f"{found.now.row.part.part} drawn to {chart}")


def _page(found: Why) -> None:
    part = found.now.row.part
    paragraph(f"{part.part}  {part.description}")
    _history(found.now)
    for heading, text in told_of(found):
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


def _json(found: Why) -> dict[str, object]:
    row, unit = found.now.row, found.now.row.part.unit
    weeks = zip(row.mondays, row.history, found.now.path, strict=True)
    return forecast_json(row) | {
        "description": row.part.description,
        "unit": unit,
        "adi": found.adi if row.forecast.weeks_with_need else None,
        "cv2": found.cv2,
        "what_the_method_does": what_it_does(row.forecast),
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
        "changed": [what for what, now, then in compared(found.now, found.before) if now != then]
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
