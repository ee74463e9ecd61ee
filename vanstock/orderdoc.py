"""An order as a supplier reads it, as it passes from the routine that makes it to the documents. Values only."""

from __future__ import annotations

from datetime import date, datetime
from typing import NamedTuple

from vanstock.model import Part, Supplier


class OrderDocLine(NamedTuple):
    """A line of an order as a supplier reads it: base units, whole packs, the price per unit in ten-thousandths and
    the cost in pence, ex VAT."""

    part: Part
    qty: int
    packs: int
    price: int
    cost: int


class OrderDoc(NamedTuple):
    """An order as it goes to a supplier: its number and day, who orders, by when it must be in and when it is expected
    (None: not known), the lines, and goods, carriage and total in pence ex VAT."""

    number: str
    day: date
    supplier: Supplier
    firm: str
    currency: str
    cutoff: datetime | None
    expected: date | None
    lines: tuple[OrderDocLine, ...]
    goods: int
    carriage: int
    note: str = ""

    @property
    def total(self) -> int:
        """Goods and carriage."""
        return self.goods + self.carriage
