"""Min and max of one part from its forecast: the first version, each part by itself. Pure.

    min = quantile of the need over the protection interval at the target
    max = min + one review's mean need, rounded up to whole packs

(Base-stock with periodic review; Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. 2019, ch. 4.)
Where the target is met with nothing on the shelf, min and max are 0 and the part is bought for booked jobs.
"""

from __future__ import annotations

from math import ceil

from vanstock.model import Forecast, MinMax, Part
from vanstock.quantity import round_up_to_packs, unit

_FEW_WEEKS = 12


def levels_from_forecast(
    forecast: Forecast, part: Part, *, target: float, review_days: int = 5, days_per_week: int = 5
) -> MinMax:
    """The levels of a part in base units; `forecast.quantiles` must hold `target`."""
    low = _round_up(forecast.quantiles[target], part.unit)
    review_need = ceil(forecast.weekly_mean * review_days / days_per_week - 1e-9)
    high = low + round_up_to_packs(review_need, part.pack_size) if low else 0
    return MinMax(part.part, low, high, pinned=False, basis=_basis(forecast, target))


def _round_up(base_units: float, code: str) -> int:
    """Whole pieces; a tenth of a litre, metre or kilogram, because nobody measures finer on a shelf."""
    step = max(unit(code).scale // 10, 1)
    return max(ceil(base_units / step - 1e-9), 0) * step


def _basis(forecast: Forecast, target: float) -> str:
    if not forecast.weeks_with_need:
        return f"never needed in {forecast.weeks} weeks"
    seen = f"needed in {forecast.weeks_with_need} of {forecast.weeks} weeks"
    if forecast.weeks <= _FEW_WEEKS:
        seen += f", too few to judge by itself: its class's {forecast.how} is used"
    return f"lasts {forecast.interval_days} working days in {target:.0%} of cases; {seen}"


def pinned(part: str, low: int, high: int) -> MinMax:
    """Levels that a person set by hand."""
    return MinMax(part, low, high, pinned=True, basis="pinned by hand")
