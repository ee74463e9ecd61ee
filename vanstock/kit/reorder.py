"""What to order at a review: from stock positions to order lines, supplier by supplier. Pure.

    position = on hand + on order - reserved for bookings beyond the interval

At or below min, order as many whole packs as stay within max; where a pack more would go above it, wait until one fits.
Below what booked jobs may take, order as many as hold that. (Periodic review in fixed quantities: Hadley and Whitin,
Analysis of Inventory Systems, 1963, ch. 5.)
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from vanstock.model import MinMax, Part, Supplier
from vanstock.quantity import round_up_to_packs, show_qty, value_of


@dataclass(frozen=True, slots=True)
class StockPosition:
    """A part's levels and stock at a review, in base units; `booked_need` is what booked jobs within the
    protection interval may take, `reserved` what later ones probably will."""

    part: Part
    levels: MinMax
    on_hand: int
    on_order: int = 0
    reserved: int = 0
    booked_need: int = 0

    @property
    def position(self) -> int:
        """What can be counted on when the next order comes in; what later jobs are kept is never owed, since an order
        for them can still come in time."""
        have = self.on_hand + self.on_order
        return max(have - self.reserved, min(have, 0))


@dataclass(frozen=True, slots=True)
class OrderLine:
    """Order `qty` base units (`packs` packs) of a part for `cost` pence, and why."""

    part: str
    qty: int
    packs: int
    cost: int
    position: int
    on_hand: int
    on_order: int
    min: int
    max: int
    why: str


@dataclass(frozen=True, slots=True)
class SupplierOrder:
    """The lines for one supplier with goods, carriage and total in pence ex VAT, and what the goods are short of the
    least that it sends."""

    supplier: str
    lines: tuple[OrderLine, ...]
    goods: int
    carriage: int
    below_least: int = 0

    @property
    def total(self) -> int:
        """Goods and carriage."""
        return self.goods + self.carriage


def order_line(stock: StockPosition) -> OrderLine | None:
    """The line that brings one part up, or None when nothing is to be ordered."""
    level, position = stock.levels, stock.position
    at_min = level.max > 0 and position <= level.min
    pack = stock.part.pack_size
    booked = round_up_to_packs(stock.booked_need - position, pack)
    qty = max(packs_to_order(position, level.min, level.max, pack), booked)
    if qty == 0:
        return None
    part = stock.part
    return OrderLine(
        part=part.part, qty=qty, packs=qty // part.pack_size, cost=value_of(qty, part.unit, part.cost),
        position=position, on_hand=stock.on_hand, on_order=stock.on_order, min=level.min, max=level.max,
        why=_why(stock, at_min=at_min),
    )  # fmt: skip


def orders_at(low: int, high: int, pack: int) -> int:
    """The highest position at which anything is ordered: min, or lower where a pack more would go above max; below
    zero where no pack fits within max.

    >>> orders_at(2, 6, 4), orders_at(1, 1, 1), orders_at(2, 4, 10)
    (2, 0, -6)
    """
    return min(low, high - pack)


def packs_to_order(position: int, low: int, high: int, pack: int) -> int:
    """Base units in whole packs: at or below min as many as stay within max, and never less than is owed.

    >>> packs_to_order(1, 2, 6, 1), packs_to_order(3, 2, 6, 1), packs_to_order(1, 2, 6, 4), packs_to_order(-2, 0, 0, 1)
    (5, 0, 4, 2)
    >>> packs_to_order(1, 1, 1, 1), packs_to_order(0, 1, 1, 1), packs_to_order(0, 2, 4, 10)
    (0, 1, 0)
    """
    owed = -(-max(-position, 0) // pack) * pack
    if high <= 0 or position > orders_at(low, high, pack):
        return owed
    return max((high - position) // pack * pack, owed)


def _why(stock: StockPosition, *, at_min: bool) -> str:
    unit = stock.part.unit
    left = f"{show_qty(stock.position, unit)} left"
    if stock.reserved:
        left += f" after {show_qty(stock.reserved, unit)} kept for later jobs"
    if stock.booked_need > max(stock.position, stock.levels.min if at_min else 0):
        return f"{left}, booked jobs may take {show_qty(stock.booked_need, unit)}"
    return f"{left}, min is {show_qty(stock.levels.min, unit)}"


def plan_reorder(positions: Iterable[StockPosition], suppliers: Mapping[str, Supplier]) -> list[SupplierOrder]:
    """The orders of a review, suppliers and parts by name; parts without a supplier come under ""."""
    by_supplier: dict[str, list[OrderLine]] = defaultdict(list)
    for stock in positions:
        line = order_line(stock)
        if line:
            by_supplier[stock.part.supplier].append(line)
    return [_order(name, lines, suppliers.get(name)) for name, lines in sorted(by_supplier.items())]


def _order(name: str, lines: list[OrderLine], supplier: Supplier | None) -> SupplierOrder:
    goods = sum(line.cost for line in lines)
    free = supplier is None or (supplier.carriage_paid_over is not None and goods >= supplier.carriage_paid_over)
    carriage = 0 if free or supplier is None else supplier.carriage
    below = max(supplier.least_order - goods, 0) if supplier else 0
    return SupplierOrder(name, tuple(sorted(lines, key=lambda line: line.part)), goods, carriage, below)
