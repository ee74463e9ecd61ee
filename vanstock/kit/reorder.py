"""What to order at a review: from stock positions to order lines, supplier by supplier. Pure.

    position = on hand + on order - reserved for bookings beyond the interval

Order when the position is at or below min, or below what booked jobs may take, up to the larger of max and
that need, in whole packs. (Continuous-review names; (s, S) policy, Snyder and Shen 2019, ch. 4.)
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
        """What can be counted on when the next order comes in."""
        return self.on_hand + self.on_order - self.reserved


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
    """The lines for one supplier with goods, carriage and total in pence ex VAT."""

    supplier: str
    lines: tuple[OrderLine, ...]
    goods: int
    carriage: int

    @property
    def total(self) -> int:
        """Goods and carriage."""
        return self.goods + self.carriage


def order_line(stock: StockPosition) -> OrderLine | None:
    """The line that brings one part up, or None when nothing is to be ordered."""
    level, position = stock.levels, stock.position
    at_min = level.max > 0 and position <= level.min
    if not at_min and position >= stock.booked_need:
        return None
    upto = max(level.max, stock.booked_need)
    qty = round_up_to_packs(upto - position, stock.part.pack_size)
    if qty == 0:
        return None
    part = stock.part
    return OrderLine(
        part=part.part, qty=qty, packs=qty // part.pack_size, cost=value_of(qty, part.unit, part.cost),
        position=position, on_hand=stock.on_hand, on_order=stock.on_order, min=level.min, max=level.max,
        why=_why(stock, at_min=at_min),
    )  # fmt: skip


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
    return SupplierOrder(name, tuple(sorted(lines, key=lambda line: line.part)), goods, carriage)
