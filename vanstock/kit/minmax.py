"""From a part's level to its min and max: steps, packs, the quantity it is ordered by, shelf life. Pure.

    min = level - one step      order at or below it
    max = min + Q               so that a review leaves the position above min and never above max
    Q   = whole packs, nearest to the economic quantity sqrt(2 K D / h), one pack at least

K is what handling one order line costs, D the use of a year, h what holding one unit for a year costs (Harris 1913;
Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. 2019, sec. 3.2). Of a part with a shelf life no more is
held than will be used before it expires in nine cases of ten. Called by `routines.coming` and `routines.levels`.
"""

from __future__ import annotations

from math import ceil, floor, inf, sqrt
from typing import NamedTuple

from vanstock.kit.reorder import orders_at
from vanstock.model import Part
from vanstock.quantity import MONEY_SCALE, PRICE_SCALE, round_half_up, round_up_to_packs, unit

WEEKS_A_YEAR = 52
SURELY_USED = 0.9
_LONGEST_WEEKS = 13
"""An economic quantity is no more than this many weeks' use: a forecast does not see further."""


class Handling(NamedTuple):
    """What an order line costs to pick, check and put away, in pence, the share of its cost that holding stock for a
    year costs, and what another quantity must save in a year, in pence, to be ordered from now on."""

    line_cost: int
    holding: float
    change_pays: int = 0


class Buying(NamedTuple):
    """How a group is stocked and bought: base units in one step of its level, what a step costs in pence, the least
    that it is bought by (a whole number of packs and of steps), and the multiple of that which it is ordered by."""

    step: int
    cash: int
    lot: int
    quantity: int

    def highest_level(self, most: int) -> int:
        """The highest level that never leaves more than `most` base units."""
        return max(most - self.quantity + self.step, 0) // self.step * self.step

    def within(self, most: int) -> Buying:
        """The same, ordered by no more than half of what may be held at most, so that a level has room too."""
        return self._replace(quantity=min(self.quantity, max(self.lot, most // 2 // self.lot * self.lot)))


def economic_quantity(*, line_cost: float, use: float, holding: float) -> float:
    """The quantity at which handling and holding together cost least: sqrt(2 K D / h); 0 where nothing is used or
    handling costs nothing, endless where holding does not.

    `use` and `holding` are for the same length of time, `holding` for one unit.
    """
    if use <= 0 or line_cost <= 0:
        return 0.0
    return sqrt(2 * line_cost * use / holding) if holding > 0 else inf


def step_of(part: Part) -> int:
    """Base units in one step of a level: a whole piece; of what is poured or cut a tenth of a pack, but no finer than
    anybody measures on a shelf, a tenth of the unit for small packs."""
    scale, pack = unit(part.unit).scale, part.pack_size
    if scale == 1:
        return 1
    if pack % 10 == 0 and pack // 10 >= scale // 100:
        return pack // 10
    return round_up_to_packs(scale // 10, pack) if pack < scale // 10 else pack


def buying(part: Part, weekly_use: float, handling: Handling, *, before: int = 0) -> Buying:
    """How a part is bought when so many base units are used in a week; by the quantity `before` as long as another
    does not save enough."""
    step, scale = step_of(part), unit(part.unit).scale
    lot = max(part.pack_size, step)
    use = weekly_use * WEEKS_A_YEAR / scale
    holding = handling.holding * part.cost * MONEY_SCALE / PRICE_SCALE
    best = economic_quantity(line_cost=handling.line_cost, use=use, holding=holding)
    most = max(floor(weekly_use * _LONGEST_WEEKS / lot), 1)
    lots = max(1, floor(min(best * scale / lot + 0.5, most)))
    if before > 0 and before % lot == 0 and before <= most * lot:

        def a_year(quantity: float) -> float:
            return handling.line_cost * use / quantity + holding * quantity / 2

        if a_year(before / scale) - a_year(lots * lot / scale) <= handling.change_pays:
            lots = before // lot
    cash = round_half_up(step * part.cost * MONEY_SCALE, scale * PRICE_SCALE)
    return Buying(step, max(cash, 1), lot, lots * lot)


def surely_used(weekly_mean: float, weekly_variance: float, weeks: float, *, whole: bool) -> int:
    """Base units that will be used up within so many weeks in nine cases of ten, rounded down.

    Poisson, above that negative binomial; gamma for what does not come in whole pieces.
    """
    from scipy import special

    mean, variance = weekly_mean * weeks, weekly_variance * weeks
    if mean <= 0:
        return 0
    tail = 1 - SURELY_USED
    if not whole:
        spread = max(variance, mean * 1e-9)
        return floor(special.gammaincinv(mean**2 / spread, tail) * spread / mean)
    if variance <= mean * 1.0001:
        return _least(float(special.pdtrik(tail, mean)))
    return _least(float(special.nbdtrik(tail, mean**2 / (variance - mean), mean / variance)))


def _least(between: float) -> int:
    """The least whole number whose chance of at most as much reaches the one asked, from where it is reached between
    whole ones (NaN: 0 reaches it)."""
    return max(ceil(between - 1e-9), 0) if between == between else 0


def min_and_max(level: int, how: Buying, *, most: int | None = None) -> tuple[int, int]:
    """Min and max in base units for a level, no higher than `most` allows; none for none."""
    level = level if most is None else min(level, how.highest_level(most))
    return (level - how.step, level - how.step + how.quantity) if level > 0 else (0, 0)


def level_of(low: int, high: int, step: int) -> int:
    """The level that some min and max hold up, in base units: 0 where nothing is kept."""
    return low // step * step + step if high > 0 else 0


def level_pinned(low: int, high: int, how: Buying) -> int:
    """The level that a min and max pinned by hand hold up: never above max, so 0 where no pack fits within it."""
    at = orders_at(low, high, how.lot)
    return level_of(at, high, how.step) if at >= 0 else 0
