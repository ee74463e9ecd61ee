"""Panels of weekly needs that the forecast is put to the test on: drawn with a seed, and two from the world.

A panel is a table of needs with, where it was drawn, the true mean week behind every one of them. Used by
`forecast_gates.py` beside it and by the tests of the forecast.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from vanstock.forecast.parts import PartInterval, forecast_parts
from vanstock.forecast.weekly import WeeklyPanel
from vanstock.model import Forecast

Array = NDArray[np.float64]
DATA = Path(__file__).parents[2] / "data"
SERIES, WEEKS = 1_000, 104
_DAY = date(2025, 1, 6)


class Panel(NamedTuple):
    """Needs and true mean weeks, both of shape (series, weeks)."""

    need: Array
    rate: Array


def _rates(dice: np.random.Generator, series: int) -> tuple[Array, Array]:
    """Mean weeks that give an ADI from 1 to 10, and variance over mean: Poisson for every other series."""
    adi = np.exp(dice.uniform(0, np.log(10), series))
    some = np.minimum(1 / np.maximum(adi, 1.02), 0.98)
    spread = np.where(np.arange(series) % 2 == 0, 1.0, dice.uniform(1.5, 3, series))
    poisson = -np.log(1 - some)
    over = poisson * (spread - 1) / np.log(np.maximum(spread, 1.0001))
    return np.where(spread == 1, poisson, over), spread


def _drawn(rate: Array, spread: Array, dice: np.random.Generator) -> Array:
    shape = rate / np.maximum(spread - 1, 1e-9)[:, None]
    mixed = dice.gamma(np.maximum(shape, 1e-12), np.maximum(spread - 1, 1e-9)[:, None])
    return dice.poisson(np.where((spread > 1)[:, None], mixed, rate)).astype(float)


def _stationary(base: Array, _: np.random.Generator) -> Array:
    return np.repeat(base[:, None], WEEKS, axis=1)


def _level_change(base: Array, dice: np.random.Generator) -> Array:
    """Four times or a quarter as many from week 60 on."""
    factor = np.where(dice.random(len(base)) < 0.5, 4.0, 0.25)[:, None]
    return base[:, None] * np.where(np.arange(WEEKS) < 60, 1.0, factor)


def _steps(base: Array, dice: np.random.Generator) -> Array:
    """A new level at about every fortieth week, each for itself."""
    level, found = np.zeros(len(base)), np.ones((len(base), WEEKS))
    for week in range(WEEKS):
        level = np.where(dice.random(len(base)) < 1 / 40, dice.normal(0, 0.8, len(base)), level)
        found[:, week] = np.exp(level)
    return base[:, None] * found


def _dying(base: Array, dice: np.random.Generator) -> Array:
    """No longer needed from some week between 40 and 90: half at once, half fading."""
    when = dice.integers(40, 90, len(base))[:, None]
    after = np.arange(WEEKS) - when
    fading = np.where(np.arange(len(base))[:, None] % 2 == 0, np.exp(-after / 8), 0.0)
    return base[:, None] * np.where(after < 0, 1.0, fading)


def _newborn(base: Array, dice: np.random.Generator) -> Array:
    return base[:, None] * (np.arange(WEEKS) >= dice.integers(60, 100, len(base))[:, None])


def _trend(base: Array, dice: np.random.Generator) -> Array:
    """Slowly four times as many, or a fifth, over the whole time."""
    gone = np.arange(WEEKS) / WEEKS
    return base[:, None] * np.where((dice.random(len(base)) < 0.5)[:, None], 0.5 + 1.5 * gone, 2 - 1.6 * gone)


KINDS: dict[str, Callable[[Array, np.random.Generator], Array]] = {
    "stationary": _stationary, "level change": _level_change, "steps": _steps, "dying": _dying,
    "newborn": _newborn, "trend": _trend,
}  # fmt: skip


def panel(kind: str, seed: int, series: int = SERIES) -> Panel:
    """A drawn panel of one kind, or "mixed", every kind in turn."""
    dice = np.random.default_rng([seed, len(kind)])
    base, spread = _rates(dice, series)
    if kind == "mixed":
        every = np.stack([make(base, dice) for make in KINDS.values()])
        rate = every[np.arange(series) % len(KINDS), np.arange(series)]
    else:
        rate = KINDS[kind](base, dice)
    return Panel(_drawn(rate, spread, dice), rate)


def cdnow() -> Array:
    """Weekly purchases of 958 customers over 78 whole weeks (see data/README.md), shape (series, weeks)."""
    with (DATA / "cdnow_weekly.csv").open(encoding="utf-8", newline="") as lines:
        rows = [tuple(map(int, row)) for row in list(csv.reader(lines))[1:]]
    customers = {name: number for number, name in enumerate(dict.fromkeys(row[0] for row in rows))}
    need = np.zeros((len(customers), 78))
    for customer, week, units in rows:
        if week < need.shape[1]:
            need[customers[customer], week] = units
    return need


def j06() -> Array:
    """Monthly prescriptions of group J06, shape (1, 204)."""
    with (DATA / "fpp3_J06.csv").open(encoding="utf-8", newline="") as lines:
        return np.array([[float(row[0]) for row in list(csv.reader(lines))[1:]]])


def forecasts(need: Array, weeks_ahead: int, probabilities: tuple[float, ...]) -> list[Forecast]:
    """Our forecast at the end of a table of needs, as the program makes it."""
    parts = tuple(map(str, range(len(need))))
    weeks = tuple(_DAY + timedelta(weeks=week) for week in range(need.shape[1]))
    table = WeeklyPanel(parts, weeks, need, np.ones(need.shape[1]))
    intervals = {part: PartInterval("C62", 5 * weeks_ahead) for part in parts}
    found = forecast_parts(table, intervals, target=0.95, probabilities=probabilities)
    return [found[part] for part in parts]
