"""What is worked out turned into what is drawn: the curve and the forecast of a part, to a file or as part of a page.

No arithmetic beyond the part's unit and the currency, and no drawing (see `exchange.curvechart` and `exchange.chart`).
Called by `cli.curve`, `cli.why` and the phone face.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from vanstock.exchange import chart, curvechart
from vanstock.exchange.onpage import as_svg
from vanstock.quantity import MONEY_SCALE
from vanstock.quantity import unit as unit_of
from vanstock.routines.wording import clean

if TYPE_CHECKING:
    from vanstock.routines.curve import Curve
    from vanstock.routines.why import Why


def draw_curve(path: Path, found: Curve, currency: str) -> None:
    """Write the curve to a .svg or .png file; raises `BadValue` or `VanstockError` when it cannot be written."""
    curvechart.draw(path, _curve_picture(found, currency))


def curve_svg(found: Curve, currency: str, *, dark: bool) -> str:
    """The curve as part of a page."""
    return as_svg(partial(curvechart.figure_of, _curve_picture(found, currency), in_page=True), dark=dark)


def draw_part(path: Path, found: Why) -> None:
    """Write the forecast of a part to a .svg or .png file; raises `BadValue` or `VanstockError` when it cannot be."""
    chart.draw(path, _part_picture(found))


def part_svg(found: Why, *, dark: bool) -> str:
    """The forecast of a part as part of a page."""
    return as_svg(partial(chart.figure_of, _part_picture(found), in_page=True), dark=dark)


def _curve_picture(found: Curve, currency: str) -> curvechart.CurvePicture:
    marks = (("min and max today", found.levels), ("stock today", found.stock))
    return curvechart.CurvePicture(
        currency=currency,
        points=tuple((spot.cash / MONEY_SCALE, spot.completion) for spot in found.points),
        target=found.target,
        marks=tuple((label, spot.cash / MONEY_SCALE, spot.completion) for label, spot in marks if spot),
    )


def _part_picture(found: Why) -> chart.Picture:
    row, level = found.now.row, found.now.level
    forecast, unit = row.forecast, unit_of(row.part.unit)
    return chart.Picture(
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
