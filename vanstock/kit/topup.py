"""Bring an order up to carriage paid, or to the least a supplier sends, with what would be ordered soon anyway. Pure.

    bringing a pack forward costs   holding x its cost x weeks earlier / 52
    worth it when                   the cheapest packs that reach the value cost less than the carriage they save

The first pack of a part comes as many weeks early as it would be ordered anyway, each further one a pack's use more:
the packs needed soonest are the first taken. Slow stock is never added: what is added of a part lasts no longer than so
many weeks, nor comes earlier by more than that. Which packs is a knapsack turned round, the least cost for at least a
value (Martello and Toth, Knapsack Problems, 1990, ch. 2, from memory), solved exactly by dynamic programming in pence;
of equal costs the least goods, then the soonest needed. With more than 1,000.00 to go it counts in coarser steps: the
value is still reached, almost as cheaply, or in rare cases not at all. The rule itself is common practice, no source.

An order below the least a supplier sends is brought up in the same way, or waits. To be called by the week's routine.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import floor, inf
from typing import NamedTuple

from vanstock.kit.minmax import WEEKS_A_YEAR
from vanstock.model import Supplier
from vanstock.quantity import format_money, round_half_up

MOST_WEEKS = 26.0
_MILLI = 1_000
_MOST_STEPS = 100_000
_MOST_PACKS = 200
_SAFE = 2**62


class Candidate(NamedTuple):
    """A part of the supplier that could be added: base units and pence of a pack, weeks until it would be ordered
    anyway, base units used in a week, and the most packs that stay sensible."""

    part: str
    pack_qty: int
    cost: int
    weeks_until: float
    weekly_use: float
    most_packs: int


class Prudence(NamedTuple):
    """The share of its cost that holding stock for a year costs, the weeks that added stock may last, and what letting
    an order wait until the next review costs in pence (None: not known, so that it is sent if it can be)."""

    holding: float
    most_weeks: float = MOST_WEEKS
    waiting: int | None = None


class Added(NamedTuple):
    """Packs to add of a part: base units, pence of goods, weeks until it would be ordered anyway."""

    part: str
    packs: int
    qty: int
    cost: int
    weeks_until: float


class TopUp(NamedTuple):
    """What to add to an order, soonest needed first; goods and carriage then, the carriage saved and what buying early
    costs, in pence; whether the order is to wait; and why, in words ("" where there is nothing to say)."""

    adds: tuple[Added, ...]
    goods: int
    carriage: int
    saved: int
    costs: int
    wait: bool
    why: str


class _Pack(NamedTuple):
    """One pack: how early it comes, whose, which of its part's, pence, and thousandths of a penny for bringing it
    forward."""

    weeks: float
    part: str
    number: int
    cost: int
    burden: int


def top_up(goods: int, supplier: Supplier, candidates: Sequence[Candidate], prudence: Prudence) -> TopUp:
    """The packs that make an order of so many pence of goods cheapest, carriage and bringing forward together.

    Nothing is added to an order of nothing, nor where it costs as much as it saves. Each part is one candidate.
    """
    if goods <= 0:
        return TopUp((), goods, 0, 0, 0, False, "")
    ways: list[list[_Pack]] = [[]] if goods >= supplier.least_order else []
    for value in _values(goods, supplier):
        packs = _sensible(candidates, prudence, value - goods)
        taken = cheapest_over([p.cost for p in packs], [p.burden for p in packs], value - goods)
        if taken is not None:
            ways.append([packs[i] for i in taken])
    best = min(ways, key=lambda way: _total(goods, supplier, way), default=None)
    if best is None or not _worth_sending(goods, supplier, best, prudence):
        return TopUp((), goods, carriage_of(goods, supplier), 0, 0, True, _why_wait(goods, supplier, best))
    return _result(goods, supplier, best, candidates)


def carriage_of(goods: int, supplier: Supplier) -> int:
    """Pence of carriage for so many pence of goods."""
    paid = supplier.carriage_paid_over is not None and goods >= supplier.carriage_paid_over
    return 0 if paid else supplier.carriage


def cheapest_over(costs: Sequence[int], burdens: Sequence[int], need: int) -> list[int] | None:
    """The things whose costs come to `need` or more for the least burden, then the least cost, as their places in
    ascending order; None where all together do not. Costs are positive, burdens not below zero.

    >>> cheapest_over([500, 300, 300], [9, 4, 4], 600)
    [1, 2]
    """
    import numpy as np

    if need <= 0:
        return []
    if sum(costs) < need:
        return None
    grain = -(-need // _MOST_STEPS)
    steps = -(-need // grain)
    keys, worst = _keys(costs, burdens)
    least = np.full(steps + 1, worst, dtype=np.int64)
    least[0] = 0
    better = np.zeros((len(costs), steps + 1), dtype=np.bool_)
    sizes = [min(cost // grain, steps) for cost in costs]
    for i, (size, key) in enumerate(zip(sizes, keys, strict=True)):
        with_it = np.concatenate([np.zeros(size, dtype=np.int64), least[: steps + 1 - size]]) + key
        better[i] = with_it < least
        least = np.where(better[i], with_it, least)
    if least[steps] >= worst:
        return None
    taken, left = [], steps
    for i in reversed(range(len(costs))):
        if better[i, left]:
            taken.append(i)
            left = max(left - sizes[i], 0)
    return taken[::-1]


def _keys(costs: Sequence[int], burdens: Sequence[int]) -> tuple[list[int], int]:
    """One number for each thing that orders sums by burden, then by cost, and one that is more than any sum.

    Where that would not fit in 64 bits, the burden alone."""
    scale = sum(costs) + 1
    keys = [burden * scale + cost for burden, cost in zip(burdens, costs, strict=True)]
    if sum(keys) >= _SAFE:
        keys = list(burdens)
    return keys, sum(keys) + 1


def _values(goods: int, supplier: Supplier) -> list[int]:
    """Values of goods worth reaching: the least that is sent, and where carriage is paid, each beyond `goods`."""
    values = {supplier.least_order}
    if supplier.carriage > 0 and supplier.carriage_paid_over is not None:
        values.add(max(supplier.carriage_paid_over, supplier.least_order))
    return sorted(value for value in values if value > goods)


def _sensible(candidates: Iterable[Candidate], prudence: Prudence, need: int) -> list[_Pack]:
    """The packs that may be added to reach `need`, soonest needed first, no more than a search can take."""
    packs = [pack for one in candidates for pack in _packs(one, prudence, need)]
    return sorted(packs)[:_MOST_PACKS]


def _packs(one: Candidate, prudence: Prudence, need: int) -> list[_Pack]:
    if not 0 < one.weekly_use < inf or one.pack_qty <= 0 or one.cost <= 0:
        return []
    lasts = one.pack_qty / one.weekly_use
    count = min(one.most_packs, floor(prudence.most_weeks / lasts + 1e-9), -(-need // one.cost))
    packs = []
    for number in range(count):
        weeks = max(one.weeks_until, 0.0) + number * lasts
        if weeks <= prudence.most_weeks:
            burden = round(prudence.holding * one.cost * weeks * _MILLI / WEEKS_A_YEAR)
            packs.append(_Pack(weeks, one.part, number, one.cost, burden))
    return packs


def _total(goods: int, supplier: Supplier, way: Sequence[_Pack]) -> int:
    """Thousandths of a penny for carriage and for bringing forward."""
    carriage = carriage_of(goods + sum(pack.cost for pack in way), supplier)
    return carriage * _MILLI + sum(pack.burden for pack in way)


def _worth_sending(goods: int, supplier: Supplier, way: Sequence[_Pack], prudence: Prudence) -> bool:
    """Whether an order that would not be sent as it is costs no more to bring up than to let wait."""
    if goods >= supplier.least_order or prudence.waiting is None:
        return True
    return _total(goods, supplier, way) <= (supplier.carriage + prudence.waiting) * _MILLI


def _result(goods: int, supplier: Supplier, way: Sequence[_Pack], candidates: Iterable[Candidate]) -> TopUp:
    adds = []
    for one in sorted(candidates, key=lambda one: (one.weeks_until, one.part)):
        packs = sum(pack.part == one.part for pack in way)
        if packs:
            adds.append(Added(one.part, packs, packs * one.pack_qty, packs * one.cost, one.weeks_until))
    after = goods + sum(add.cost for add in adds)
    carriage = carriage_of(after, supplier)
    saved = carriage_of(goods, supplier) - carriage
    costs = round_half_up(sum(pack.burden for pack in way), _MILLI)
    why = _why(goods, supplier, saved, costs) if adds else _why_nothing(goods, supplier)
    return TopUp(tuple(adds), after, carriage, saved, costs, False, why)


def _why(goods: int, supplier: Supplier, saved: int, costs: int) -> str:
    reasons = [f"saves {format_money(saved)} of carriage"] if saved else []
    if goods < supplier.least_order:
        reasons.insert(0, f"reaches the least order of {format_money(supplier.least_order)}")
    return f"{' and '.join(reasons)}; buying it early costs {format_money(costs)}"


def _why_nothing(goods: int, supplier: Supplier) -> str:
    paid_over = supplier.carriage_paid_over
    if paid_over is None or goods >= paid_over or supplier.carriage <= 0:
        return ""
    short = format_money(paid_over - goods)
    return f"{short} short of carriage paid; nothing needed soon gets there for less than the carriage"


def _why_wait(goods: int, supplier: Supplier, way: Sequence[_Pack] | None) -> str:
    short = f"{format_money(supplier.least_order - goods)} short of the least order"
    if way is None:
        return f"{short}, and too little is needed soon to reach it: let it wait"
    return f"{short}, and to reach it costs more than to wait: let it wait"
