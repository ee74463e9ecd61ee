"""A stretch of weeks gone through day by day under a rule for stock. Pure: jobs and their needs are given.

Each day: what was ordered comes in; on the days of a supplier's review what is at or below its min is ordered up to
its max in whole packs, unless the goods are worth less than the least the supplier takes; then the day's jobs take what
they need, in order, and a job is finished on its first visit when everything it needs is there. What is lacking is
bought over the counter where all of it is sold over one, else it is owed to a second visit and taken from the next
goods in, so that a balance below zero is what is owed. Called by `routines.replay`, and by whoever puts a rule to the
test.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from vanstock.kit.reorder import packs_to_order

Levels = Mapping[str, tuple[int, int]]
"""Min and max in base units by group."""
Rule = Callable[[int], Levels]
"""The levels in force on a day of reviews."""


class Item(NamedTuple):
    """A group as it is bought: base units in a pack, pence for 1,000 base units, its supplier, working days from a
    review until the goods are there, and whether it is sold over a counter the same day."""

    pack: int
    price: int
    supplier: str
    comes_after: int
    counter: bool = False

    def cost(self, qty: int) -> int:
        """Pence for so many base units."""
        return qty * self.price // 1000


class Terms(NamedTuple):
    """What a supplier charges for the carriage of an order, in pence, from what value of goods it is free (None:
    never), and the least value of goods that it sends."""

    carriage: int
    free_from: int | None
    least: int = 0

    def charge(self, goods: int) -> int:
        """The carriage for goods of a value."""
        return 0 if self.free_from is not None and goods >= self.free_from else self.carriage


class Firm(NamedTuple):
    """What is bought from whom: items by group, terms by supplier, and for each supplier the days of its reviews."""

    items: Mapping[str, Item]
    terms: Mapping[str, Terms]
    reviews: Mapping[str, frozenset[int]]


class Stretch(NamedTuple):
    """What is gone through: so many working days, jobs by day in order with what each needs, the stock at the start,
    and the day from which on things count."""

    days: int
    jobs: Sequence[tuple[int, Mapping[str, int]]]
    stock: Mapping[str, int]
    counted_from: int = 0


class Outcome(NamedTuple):
    """What a rule came to: jobs, those finished on the first visit, those finished by way of a counter, second visits;
    pence on the shelves at the end of each day; orders, their lines, and the carriage in pence."""

    jobs: int
    finished: int
    counter_runs: int
    second_visits: int
    cash: tuple[int, ...]
    orders: int
    lines: int
    carriage: int

    @property
    def completion(self) -> float:
        """The share of jobs finished on the first visit with what was there; 1 of none."""
        return self.finished / self.jobs if self.jobs else 1.0

    @property
    def average_cash(self) -> float:
        """Pence on the shelves, on average."""
        return sum(self.cash) / max(len(self.cash), 1)

    @property
    def peak_cash(self) -> int:
        """The most pence on the shelves at the end of a day."""
        return max(self.cash, default=0)


def play(firm: Firm, stretch: Stretch, rule: Rule) -> Outcome:
    """Go through the days of a stretch under a rule."""
    todays: dict[int, list[Mapping[str, int]]] = defaultdict(list)
    for day, needs in stretch.jobs:
        todays[day].append(needs)
    state = _State(firm, dict(stretch.stock))
    for day in range(stretch.days):
        state.counts = day >= stretch.counted_from
        state.come_in(day)
        state.review(day, rule)
        for needs in todays.get(day, ()):
            state.visit(needs)
        if state.counts:
            state.cash.append(state.worth())
    sums = state.sums
    return Outcome(
        sums["jobs"], sums["finished"], sums["counter"], sums["second"], tuple(state.cash), sums["orders"],
        sums["lines"], sums["carriage"],
    )  # fmt: skip


class _State:
    """Stock, what is on its way, and the sums so far of the days that count."""

    def __init__(self, firm: Firm, stock: dict[str, int]) -> None:
        self.firm, self.stock = firm, stock
        self.coming: dict[int, list[tuple[str, int]]] = defaultdict(list)
        self.on_order: dict[str, int] = defaultdict(int)
        self.cash: list[int] = []
        self.sums: dict[str, int] = defaultdict(int)
        self.counts = True

    def _count(self, what: str, more: int = 1) -> None:
        self.sums[what] += more * self.counts

    def come_in(self, day: int) -> None:
        """Take in what was ordered for this day."""
        for group, qty in self.coming.pop(day, ()):
            self.stock[group] = self.stock.get(group, 0) + qty
            self.on_order[group] -= qty

    def visit(self, needs: Mapping[str, int]) -> None:
        """Take what a job needs, from the shelf, over the counter or on a second visit."""
        self._count("jobs")
        lacking = [group for group, qty in needs.items() if self.stock.get(group, 0) < qty]
        over_counter = bool(lacking) and all(self._sold_over_counter(group) for group in lacking)
        self._count("counter" if over_counter else "second" if lacking else "finished")
        for group, qty in needs.items():
            there = self.stock.get(group, 0)
            self.stock[group] = max(there - qty, min(there, 0)) if over_counter else there - qty

    def _sold_over_counter(self, group: str) -> bool:
        item = self.firm.items.get(group)
        return item is not None and item.counter

    def review(self, day: int, rule: Rule) -> None:
        """Order from every supplier whose review is today."""
        due = {name for name, days in self.firm.reviews.items() if day in days}
        if not due:
            return
        levels = rule(day)
        wanted: dict[str, dict[str, int]] = defaultdict(dict)
        for group, item in self.firm.items.items():
            if item.supplier in due:
                qty = packs_to_order(self.position(group), *levels.get(group, (0, 0)), item.pack)
                if qty:
                    wanted[item.supplier][group] = qty
        for supplier, lines in wanted.items():
            self._order(day, supplier, lines)

    def _order(self, day: int, supplier: str, lines: Mapping[str, int]) -> None:
        items, terms = self.firm.items, self.firm.terms.get(supplier, Terms(0, None))
        goods = sum(items[group].cost(qty) for group, qty in lines.items())
        if goods < terms.least:
            return
        for group, qty in lines.items():
            self.on_order[group] += qty
            self.coming[day + max(items[group].comes_after, 1)].append((group, qty))
        self._count("orders")
        self._count("lines", len(lines))
        self._count("carriage", terms.charge(goods))

    def position(self, group: str) -> int:
        """On hand, less what is owed, and on order."""
        return self.stock.get(group, 0) + self.on_order[group]

    def worth(self) -> int:
        """Pence on the shelf."""
        items = self.firm.items
        return sum(items[group].cost(qty) for group, qty in self.stock.items() if qty > 0 and group in items)
