"""The forecast of every part from the weekly panel: class, method, rate, and need over its interval. Pure.

A part's protection interval is its review period plus lead time in working days; its need there has the
smoothed mean week's rate and the variance of its weekly needs, both in proportion to the interval.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from vanstock.forecast.choose import DEFAULT_CONSTANT, best_constant, scores
from vanstock.forecast.classes import METHOD_OF_CLASS, demand_class
from vanstock.forecast.smoothers import METHODS
from vanstock.forecast.spread import interval_quantile, spread_name
from vanstock.forecast.weekly import WeeklyPanel
from vanstock.model import Forecast

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MEASURED = frozenset({"LTR", "MTR", "KGM"})


@dataclass(frozen=True, slots=True)
class PartInterval:
    """A part's unit and its protection interval in working days, of which a week has `days_per_week`."""

    unit: str
    interval_days: int
    days_per_week: int = 5

    @property
    def weeks(self) -> float:
        """The interval in weeks."""
        return self.interval_days / self.days_per_week


def forecast_parts(
    panel: WeeklyPanel,
    intervals: Mapping[str, PartInterval],
    *,
    target: float,
    probabilities: Sequence[float] = (0.5, 0.8, 0.9, 0.95),
) -> dict[str, Forecast]:
    """The forecast of each part of the panel; its quantiles are at `probabilities` and at `target`."""
    classes = [demand_class(row) for row in panel.need]
    methods = [METHOD_OF_CLASS[name] for name in classes]
    constant = _pooled_constant(panel, intervals, methods, target=target)
    rates = _last_rates(panel, methods, constant)
    asked = sorted({*probabilities, target})
    return {
        part: _forecast(part, panel.need[i], rates[i], intervals[part], (classes[i], methods[i], constant, asked))
        for i, part in enumerate(panel.parts)
    }


def _kinds(
    panel: WeeklyPanel, intervals: Mapping[str, PartInterval], methods: Sequence[str]
) -> Iterable[tuple[tuple[str, int, bool], list[int]]]:
    """Rows that can be scored together: one method, one number of whole weeks ahead, counted or measured."""
    rows: dict[tuple[str, int, bool], list[int]] = defaultdict(list)
    for i, part in enumerate(panel.parts):
        if panel.need[i].any():
            interval = intervals[part]
            rows[methods[i], max(ceil(interval.weeks), 1), interval.unit in MEASURED].append(i)
    return rows.items()


def _pooled_constant(
    panel: WeeklyPanel, intervals: Mapping[str, PartInterval], methods: Sequence[str], *, target: float
) -> float:
    losses = [
        scores(panel.need[rows], method, weeks, target=target, measured=measured)
        for (method, weeks, measured), rows in _kinds(panel, intervals, methods)
    ]
    return best_constant(sum(losses[1:], start=losses[0])) if losses else DEFAULT_CONSTANT


def _last_rates(panel: WeeklyPanel, methods: Sequence[str], constant: float) -> NDArray[np.float64]:
    """The smoothed mean week at the end of history, by part."""
    import numpy as np

    rates = np.zeros(len(panel.parts))
    for name, smooth in METHODS.items():
        rows = [i for i, method in enumerate(methods) if method == name]
        if rows and panel.need.shape[1]:
            rates[rows] = smooth(panel.need[rows], np.array([constant]))[0, :, -1]
    return rates


def _forecast(
    part: str,
    need: NDArray[np.float64],
    rate: float,
    interval: PartInterval,
    how: tuple[str, str, float, Sequence[float]],
) -> Forecast:
    import numpy as np

    name, method, constant, asked = how
    measured = interval.unit in MEASURED
    mean, variance = float(rate) * interval.weeks, float(need.var()) * interval.weeks if len(need) else 0.0
    at = (np.array([mean]), np.array([variance]))
    return Forecast(
        part=part, demand_class=name, method=method, constant=constant, weeks=len(need),
        weeks_with_need=int((need > 0).sum()), weekly_mean=float(rate), interval_days=interval.interval_days,
        interval_mean=mean, interval_variance=variance, spread=spread_name(mean, variance, measured=measured),
        quantiles={p: float(interval_quantile(*at, p, measured=measured)[0]) for p in asked},
    )  # fmt: skip
