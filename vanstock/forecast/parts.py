"""The forecast of every part from the weekly panel: class, method, rate, and need over its interval. Pure.

A part's protection interval is its review period plus lead time in working days. Its need there has the
smoothed mean week's rate in proportion to the interval, and the variance that forecasts of its kind had.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from vanstock.forecast import candidates, choose, empirical, spread
from vanstock.forecast.classes import demand_class
from vanstock.forecast.weekly import WeeklyPanel
from vanstock.model import Forecast

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

_CLEARLY = 0.95
MEASURED = frozenset({"LTR", "MTR", "KGM"})


@dataclass(frozen=True, slots=True)
class PartInterval:
    """A part's unit and component, and its protection interval in working days, of which a week has so many."""

    unit: str
    interval_days: int
    days_per_week: int = 5
    component: str = ""

    @property
    def weeks(self) -> float:
        """The interval in weeks."""
        return self.interval_days / self.days_per_week

    @property
    def whole_weeks(self) -> int:
        """The interval in weeks, rounded up, as past forecasts are scored."""
        return max(ceil(self.weeks), 1)


@dataclass(frozen=True, slots=True)
class _Tried:
    """The parts with one length of interval: their rows, their past trials, and the scores of these."""

    rows: NDArray[np.int_]
    weeks: int
    trial: choose.Trial
    loss: Array


@dataclass(slots=True)
class _Found:
    """What is found of each part, in panel order: candidate, departed, errors, variance over mean, correction."""

    candidate: NDArray[np.int_]
    own: NDArray[np.bool_]
    squared: Array
    expected: Array
    below: Array


def forecast_parts(
    panel: WeeklyPanel,
    intervals: Mapping[str, PartInterval],
    *,
    target: float,
    probabilities: Sequence[float] = (0.5, 0.8, 0.9, 0.95),
) -> dict[str, Forecast]:
    """The forecast of each part of the panel; its quantiles are at `probabilities` and at `target`."""
    import numpy as np

    of = [intervals[part] for part in panel.parts]
    names = [demand_class(row[~np.isnan(row)]) for row in panel.need]
    classes = _numbered(names)
    paths = candidates.rates(panel.need, panel.open_share)
    measured = np.array([interval.unit in MEASURED for interval in of], dtype=bool)
    lots = choose.lots(panel.need)
    tried = _try_out(panel, of, paths, measured)
    found = _choose(tried, classes, len(of))
    _sum_errors(tried, found, lots)
    factor = _dispersion(found, classes, of) * lots
    _recalibrate(tried, found, classes, measured, factor)
    last = paths[found.candidate, np.arange(len(of)), -1] if panel.need.shape[1] else np.zeros(len(of))
    mean = last * np.array([interval.weeks for interval in of])
    asked = sorted({*probabilities, target})
    quantiles = dict(zip(asked, _quantiles(mean, mean * factor, asked, found, measured), strict=True))
    as_before = _past_needs(tried, found, classes, measured, mean, quantiles)
    return {
        part: Forecast(
            part=part, demand_class=names[i], method=candidates.CANDIDATES[found.candidate[i]].method,
            constants=candidates.CANDIDATES[found.candidate[i]].constants, own=bool(found.own[i]),
            weeks=int((~np.isnan(panel.need[i])).sum()), weeks_with_need=int((panel.need[i] > 0).sum()),
            weekly_mean=float(last[i]), interval_days=of[i].interval_days, interval_mean=float(mean[i]),
            interval_variance=float(mean[i] * factor[i]),
            spread=_spread(float(mean[i]), float(mean[i] * factor[i]), bool(measured[i]), bool(as_before[i])),
            quantiles={p: float(row[i]) for p, row in quantiles.items()},
        )
        for i, part in enumerate(panel.parts)
    }  # fmt: skip


def _numbered(names: Sequence[str]) -> NDArray[np.int_]:
    import numpy as np

    order = {name: number for number, name in enumerate(dict.fromkeys(names))}
    return np.array([order[name] for name in names], dtype=int)


def _try_out(panel: WeeklyPanel, of: Sequence[PartInterval], paths: Array, measured: NDArray[np.bool_]) -> list[_Tried]:
    """Forecast every part at past weeks with every candidate, parts with one length of interval together."""
    import numpy as np

    by_length: dict[int, list[int]] = defaultdict(list)
    for i, interval in enumerate(of):
        if np.nansum(panel.need[i]) > 0:
            by_length[interval.whole_weeks].append(i)
    tried = []
    for weeks, found in by_length.items():
        rows = np.array(found)
        if not len(choose.origins_of(panel.need.shape[1], weeks)):
            continue
        trial = choose.try_out(panel.need[rows], paths[:, rows], weeks, panel.open_share)
        scale = np.nanmean(panel.need[rows], axis=1) * weeks
        tried.append(_Tried(rows, weeks, trial, choose.scores(trial, ~measured[rows], scale)))
    return tried


def _choose(tried: Sequence[_Tried], classes: NDArray[np.int_], parts: int) -> _Found:
    """Choose each class's candidate from all its parts, then each part's."""
    import numpy as np

    knots = np.tile(spread.recalibration(np.zeros((1, 1)), np.zeros(1), 0.0), (parts, 1))
    zeros = np.zeros((2, parts))
    found = _Found(np.full(parts, candidates.DEFAULT), np.zeros(parts, dtype=bool), zeros[0], zeros[1], knots)
    for number in range(int(classes.max(initial=-1)) + 1):
        mine = [(one, classes[one.rows] == number) for one in tried]
        tallies = [choose.tally(one.loss[:, rows], one.trial.of(rows)) for one, rows in mine if rows.any()]
        whole = choose.together(tallies)
        found.candidate[classes == number] = whole.pool
        for one, rows in mine:
            if rows.any():
                at = one.rows[rows]
                trial = one.trial.of(rows)
                found.candidate[at], found.own[at] = choose.settle(one.loss[:, rows], trial, whole, one.weeks)
    return found


def _sum_errors(tried: Sequence[_Tried], found: _Found, lots: Array) -> None:
    """Add up each part's squared errors and expected needs at past weeks, in lots, with its own candidate."""
    for one in tried:
        trial = one.trial.chosen(found.candidate[one.rows])
        lot = lots[one.rows]
        found.squared[one.rows] = ((trial.actual - trial.mean[0]) ** 2 * trial.known).sum(axis=1) / lot**2
        found.expected[one.rows] = (trial.mean[0] * trial.known).sum(axis=1) / lot


def _dispersion(found: _Found, classes: NDArray[np.int_], of: Sequence[PartInterval]) -> Array:
    components = _numbered([interval.component or str(i) for i, interval in enumerate(of)])
    return spread.dispersion(spread.Errors(found.squared, found.expected), classes, components)


def _recalibrate(
    tried: Sequence[_Tried],
    found: _Found,
    classes: NDArray[np.int_],
    measured: NDArray[np.bool_],
    factor: Array,
) -> None:
    """See how often past needs fell below what was forecast, by class and by counted or measured."""
    import numpy as np

    for number in range(int(classes.max(initial=-1)) + 1):
        for kind in (False, True):
            masses, weights, separate = [], [], 0.0
            for one in tried:
                rows = (classes[one.rows] == number) & (measured[one.rows] == kind)
                trial = one.trial.of(rows).chosen(found.candidate[one.rows[rows]])
                known = trial.known
                variance = trial.mean[0] * factor[one.rows[rows], None]
                outcomes = (trial.actual[known], trial.mean[0][known], variance[known])
                masses.append(spread.transform_mass(*outcomes, measured=kind))
                weights.append(np.broadcast_to(choose.fading(trial.age), known.shape)[known])
                separate += weights[-1].sum() / one.weeks
            if masses:
                below = spread.recalibration(np.concatenate(masses), np.concatenate(weights), separate)
                found.below[(classes == number) & (measured == kind)] = below


def _spread(mean: float, variance: float, measured: bool, as_before: bool) -> str:
    return empirical.NAME if as_before else spread.spread_name(mean, variance, measured=measured)


def _past_needs(
    tried: Sequence[_Tried],
    found: _Found,
    classes: NDArray[np.int_],
    measured: NDArray[np.bool_],
    mean: Array,
    quantiles: Mapping[float, Array],
) -> NDArray[np.bool_]:
    """Put in the quantiles of past needs where their class is served better by them; which parts got them."""
    import numpy as np

    trials = [one.trial.chosen(found.candidate[one.rows]) for one in tried]
    better = _better_as_before(tried, trials, classes, measured)
    took = np.zeros(len(mean), dtype=bool)
    for one, trial in zip(tried, trials, strict=True):
        mine = np.array([(classes[row], measured[row]) in better for row in one.rows], dtype=bool)
        drawn_at = empirical.quantiles(trial, ~measured[one.rows], mean[one.rows], list(quantiles))
        for drawn, values in zip(drawn_at, quantiles.values(), strict=True):
            rows = mine & ~np.isnan(drawn)
            values[one.rows[rows]] = drawn[rows]
            took[one.rows[rows]] = True
    return took


def _better_as_before(
    tried: Sequence[_Tried],
    trials: Sequence[choose.Trial],
    classes: NDArray[np.int_],
    measured: NDArray[np.bool_],
) -> set[tuple[int, bool]]:
    """The classes, counted and measured apart, that past needs as they were scored clearly better for.

    Better for the middle part, and over all parts together: one that a single part made is not enough.
    """
    import numpy as np

    drawn: dict[tuple[int, bool], list[float]] = defaultdict(list)
    curve: dict[tuple[int, bool], list[float]] = defaultdict(list)
    for one, trial in zip(tried, trials, strict=True):
        counted = ~measured[one.rows]
        drawn_loss, curve_loss = empirical.losses(trial, counted), choose.curve_losses(trial, counted)
        both = ~np.isnan(drawn_loss)
        scale = np.maximum(trial.actual.mean(axis=1), 1e-9)
        for i in np.flatnonzero(both.any(axis=1)):
            kind = int(classes[one.rows[i]]), bool(measured[one.rows[i]])
            drawn[kind].append(float(drawn_loss[i][both[i]].sum() / scale[i]))
            curve[kind].append(float(curve_loss[i][both[i]].sum() / scale[i]))
    return {
        kind
        for kind in drawn
        if sum(drawn[kind]) < _CLEARLY * sum(curve[kind])
        and np.median(np.array(drawn[kind]) / np.maximum(curve[kind], 1e-12)) < _CLEARLY
    }


def _quantiles(
    mean: Array, variance: Array, probabilities: Sequence[float], found: _Found, measured: NDArray[np.bool_]
) -> Array:
    """Of each probability (row) the quantile of each part (column)."""
    import numpy as np

    if not len(mean):
        return np.zeros((len(probabilities), 0))
    below, place = np.unique(found.below, axis=0, return_inverse=True)  # parts of a class share their correction
    asked = np.array([spread.corrected(np.array(probabilities), row) for row in below])[place.reshape(-1)].T
    values = np.zeros((len(probabilities), len(mean)))
    for kind in (False, True):
        rows = measured == kind
        values[:, rows] = spread.interval_quantile(mean[rows], variance[rows], asked[:, rows], measured=kind)
    return values
