"""A stretch of weeks gone through day by day under a rule for stock. Pure: jobs and their needs are given.

Each day: what was ordered comes in; the day's jobs take what they need, in order, and a job is finished on its first
visit when everything it needs is there; on the days of a supplier's review what is at or below its min is ordered up
to its max in whole packs. What a job lacked is owed to its second visit and taken from the next goods in, so that a
balance below zero is what is owed. Called by `routines.replay`, and by whoever puts a rule to the test.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

Levels = Mapping[str, tuple[int, int]]
"""Min and max in base units by group."""


class Item(NamedTuple):
    """A group as it is bought: base units in a pack, pence for 1,000 base units, its supplier, working days from a
    review until the goods are there."""

    pack: int
    price: int
    supplier: str
    comes_after: int


class Carriage(NamedTuple):
    """What a supplier charges for an order, in pence, and from what value of goods it is free (None: never)."""

    charge: int
    free_from: int | None


class Firm(NamedTuple):
    """What is bought from whom: items by group, carriage by supplier, and for each supplier the days of its reviews."""

    items: Mapping[str, Item]
    carriage: Mapping[str, Carriage]
    reviews: Mapping[str, frozenset[int]]


class Outcome(NamedTuple):
    """What a rule came to from a day on: jobs and those finished on the first visit, average and peak stock in pence,
    orders, order lines and carriage."""

    jobs: int
    finished: int
    average_cash: float
    peak_cash: int
    orders: int
    lines: int
    carriage: int

    @property
    def completion(self) -> float:
        """The share of jobs finished on the first visit; 1 of none."""
        return self.finished / self.jobs if self.jobs else 1.0


def play(
    firm: Firm,
    jobs: Sequence[tuple[int, Mapping[str, int]]],
    rule: Callable[[int], Levels],
    *,
    days: int,
    stock: Mapping[str, int],
    counted_from: int = 0,
) -> Outcome:
    """Go through working days 0 to `days` - 1; `rule` gives the levels in force on the day of a review, `stock` is what
    there is at the start; only days from `counted_from` on count."""
    state = _State(firm, dict(stock))
    todays: dict[int, list[Mapping[str, int]]] = defaultdict(list)
    for day, needs in jobs:
        todays[day].append(needs)
    total = finished = 0
    for day in range(days):
        state.come_in(day)
        done = [state.take(needs) for needs in todays.get(day, ())]
        state.review(day, rule, counts=day >= counted_from)
        if day >= counted_from:
            total, finished = total + len(done), finished + sum(done)
            state.cash.append(state.worth())
    return Outcome(
        total, finished, sum(state.cash) / max(len(state.cash), 1), max(state.cash, default=0), state.orders,
        state.lines, state.charged,
    )  # fmt: skip


class _State:
    """Stock, what is on its way, and the sums so far."""

    def __init__(self, firm: Firm, stock: dict[str, int]) -> None:
        self.firm, self.stock = firm, stock
        self.coming: dict[int, list[tuple[str, int]]] = defaultdict(list)
        self.on_order: dict[str, int] = defaultdict(int)
        self.cash: list[int] = []
        self.orders = self.lines = self.charged = 0

    def come_in(self, day: int) -> None:
        """Take in what was ordered for this day."""
        for group, qty in self.coming.pop(day, ()):
            self.stock[group] = self.stock.get(group, 0) + qty
            self.on_order[group] -= qty

    def take(self, needs: Mapping[str, int]) -> bool:
        """Take what a job needs; whether all of it was there."""
        there = all(self.stock.get(group, 0) >= qty for group, qty in needs.items())
        for group, qty in needs.items():
            self.stock[group] = self.stock.get(group, 0) - qty
        return there

    def review(self, day: int, rule: Callable[[int], Levels], *, counts: bool) -> None:
        """Order from every supplier whose review is today."""
        due = {name for name, days in self.firm.reviews.items() if day in days}
        if not due:
            return
        levels = rule(day)
        goods: dict[str, int] = defaultdict(int)
        for group, item in self.firm.items.items():
            if item.supplier in due:
                qty = packs_to_order(self.position(group), *levels.get(group, (0, 0)), item.pack)
                if qty:
                    goods[item.supplier] += qty * item.price // 1000
                    self.on_order[group] += qty
                    self.coming[day + max(item.comes_after, 1)].append((group, qty))
                    self.lines += counts
        if counts:
            self.orders += len(goods)
            self.charged += sum(self._carriage(name, value) for name, value in goods.items())

    def position(self, group: str) -> int:
        """On hand, less what is owed, and on order."""
        return self.stock.get(group, 0) + self.on_order[group]

    def _carriage(self, supplier: str, value: int) -> int:
        known = self.firm.carriage.get(supplier)
        if known is None or (known.free_from is not None and value >= known.free_from):
            return 0
        return known.charge

    def worth(self) -> int:
        """Pence on the shelf."""
        items = self.firm.items
        return sum(qty * items[group].price // 1000 for group, qty in self.stock.items() if qty > 0 and group in items)


def packs_to_order(position: int, low: int, high: int, pack: int) -> int:
    """Base units in whole packs: at or below min (and below nothing owed) as many as stay within max, one at least, and
    never less than is owed.

    >>> packs_to_order(1, 2, 6, 1), packs_to_order(3, 2, 6, 1), packs_to_order(1, 2, 6, 4), packs_to_order(-2, 0, 0, 1)
    (5, 0, 4, 2)
    """
    owed = -(-max(-position, 0) // pack) * pack
    if high <= 0 or position > low:
        return owed
    return max((high - position) // pack * pack, pack, owed)
