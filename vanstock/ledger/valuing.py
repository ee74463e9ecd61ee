"""What a movement is worth: moving weighted average over vans and stores together. Pure.

The *pool* of a part is what lies in all vans and stores. Stock leaves the pool, and moves inside it, at
the pool's average; it comes in at its cost. After every entry each place holds its share of the pool's
value to the penny, which a line of quantity 0 between two places restores when the average has moved.
Sums are conserved because every line has a from and a to. Source: IAS 2.25, weighted average cost.

Where the pool is at or below zero (reality was recorded before the ledger knew of the goods) there is no
average: lines are valued at the part's list cost, and when goods come in the difference to what they
really cost is moved to where the parts went, the customer, so that the average is not wrecked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from vanstock.quantity import round_half_up, value_of

CUSTOMER = "customer"


class Line(NamedTuple):
    """A movement to be made: `value` pence is given for goods that come in, None to be valued here."""

    part: str
    qty: int
    from_place: str
    to_place: str
    value: int | None = None
    job: str = ""
    order_no: str = ""


class Pool:
    """Quantity and value of one part by van and store, changed line by line while an entry is valued."""

    def __init__(self, unit: str, cost: int, places: dict[str, tuple[int, int]]) -> None:
        self.unit = unit
        self.cost = cost
        self.places = places

    @property
    def qty(self) -> int:
        """Base units in all vans and stores."""
        return sum(qty for qty, _ in self.places.values())

    @property
    def value(self) -> int:
        """Pence in all vans and stores."""
        return sum(value for _, value in self.places.values())

    def at_cost(self, qty: int) -> int:
        """Pence for so much at the part's list cost."""
        return value_of(qty, self.unit, self.cost)

    def at_average(self, qty: int) -> int:
        """Pence for so much at the pool's average; list cost for what the pool does not hold."""
        held, worth = self.qty, self.value
        if held <= 0 or worth < 0:
            return self.at_cost(qty)
        if qty >= held:
            return worth + self.at_cost(qty - held)
        return round_half_up(worth * qty, held)

    def add(self, place: str, qty: int, value: int) -> None:
        """Change what lies at a place."""
        old_qty, old_value = self.places.get(place, (0, 0))
        self.places[place] = (old_qty + qty, old_value + value)


def value_lines(lines: Sequence[Line], pool: Pool, stock_places: Iterable[str]) -> list[Line]:
    """The lines of one part with their values, and the lines that even out and settle its pool.

    `pool` is changed to what it is after them. Lines with a value given keep it.
    """
    inside = set(stock_places)
    before = pool.qty
    valued = []
    for line in lines:
        value = _value(line, pool, inside) if line.value is None else line.value
        valued.append(line._replace(value=value))
        if line.from_place in inside:
            pool.add(line.from_place, -line.qty, -value)
        if line.to_place in inside:
            pool.add(line.to_place, line.qty, value)
    part = lines[0].part
    return valued + _settle(part, pool, before, _incoming(valued, inside)) + _even_out(part, pool)


def _value(line: Line, pool: Pool, inside: set[str]) -> int:
    if line.from_place in inside:
        held, worth = pool.places.get(line.from_place, (0, 0))
        average = pool.at_average(line.qty)
        return worth if line.qty == held and abs(worth - average) <= 1 and worth >= 0 else average
    if line.to_place in inside:
        return pool.at_average(line.qty) if pool.qty > line.qty else _alike(line.qty, pool)
    return 0


def _alike(qty: int, pool: Pool) -> int:
    """More of what the pool holds, at its average even when more comes in than is there."""
    if pool.qty > 0 and pool.value >= 0:
        return round_half_up(pool.value * qty, pool.qty)
    return pool.at_cost(qty)


def _incoming(valued: Sequence[Line], inside: set[str]) -> tuple[int, int]:
    came = [line for line in valued if line.to_place in inside and line.from_place not in inside]
    return sum(line.qty for line in came), sum(line.value or 0 for line in came)


def _settle(part: str, pool: Pool, before: int, incoming: tuple[int, int]) -> list[Line]:
    """Bring the pool's value to what its quantity can be worth, the rest to or from the customer."""
    qty, value = pool.qty, pool.value
    came, worth = incoming
    rose_from_below = before < 0 and qty > before
    if not (rose_from_below or (qty == 0 and value) or qty * value < 0):
        return []
    wanted = round_half_up(worth * abs(qty), came) if came else pool.at_cost(abs(qty))
    excess = value - (wanted if qty >= 0 else -wanted)
    place = max(pool.places, key=lambda name: (abs(pool.places[name][1]), name))
    pool.add(place, 0, -excess)
    if excess > 0:
        return [Line(part, 0, place, CUSTOMER, excess)]
    return [Line(part, 0, CUSTOMER, place, -excess)] if excess else []


def _even_out(part: str, pool: Pool) -> list[Line]:
    """Lines of quantity 0 that bring every place to its share, when one is a penny or more away."""
    held, worth = pool.qty, pool.value
    if held == 0:
        targets = dict.fromkeys(pool.places, 0) if worth == 0 else {}
        if all(qty == 0 for qty, _ in pool.places.values()):
            return _transfers(part, pool, targets)
        targets = {name: _signed(pool, qty) for name, (qty, _) in pool.places.items()}
        return _transfers(part, pool, _balanced(targets, worth))
    if all(_holds_its_share(place, held, worth) for place in pool.places.values()):
        return []
    targets = {n: round_half_up(worth * q * (1 if held > 0 else -1), abs(held)) for n, (q, _) in pool.places.items()}
    return _transfers(part, pool, _balanced(targets, worth))


def _signed(pool: Pool, qty: int) -> int:
    return pool.at_cost(qty) if qty >= 0 else -pool.at_cost(-qty)


def _holds_its_share(place: tuple[int, int], held: int, worth: int) -> bool:
    qty, value = place
    return value == 0 if qty == 0 else abs(value * held - worth * qty) < abs(held)


def _balanced(targets: dict[str, int], worth: int) -> dict[str, int]:
    """The targets with what rounding lost or gained put on the place that holds most."""
    largest = max(targets, key=lambda name: (abs(targets[name]), name))
    return targets | {largest: targets[largest] + worth - sum(targets.values())}


def _transfers(part: str, pool: Pool, targets: dict[str, int]) -> list[Line]:
    over = {name: pool.places[name][1] - target for name, target in targets.items()}
    lines = []
    givers = [name for name in sorted(over) if over[name] > 0]
    for taker in (name for name in sorted(over) if over[name] < 0):
        while over[taker] < 0:
            giver = givers[0]
            pence = min(over[giver], -over[taker])
            lines.append(Line(part, 0, giver, taker, pence))
            over[giver] -= pence
            over[taker] += pence
            pool.add(giver, 0, -pence)
            pool.add(taker, 0, pence)
            if over[giver] == 0:
                givers.pop(0)
    return lines


def share_carriage(values: Sequence[int], carriage: int) -> list[int]:
    """Carriage pence shared over lines in proportion to their value, adding up exactly.

    >>> share_carriage([1000, 500, 0], 100)
    [67, 33, 0]
    """
    weights = list(values) if sum(values) else [1] * len(values)
    total, shares, given, so_far = sum(weights), [], 0, 0
    for weight in weights:
        so_far += weight
        upto = round_half_up(carriage * so_far, total)
        shares.append(upto - given)
        given = upto
    return shares


def first_in_first_out(came: Sequence[tuple[int, int]], on_hand: int) -> tuple[int, int]:
    """Pence of so many base units if the oldest had gone first, and base units that nothing that came in accounts for.

    `came` is what came in, quantity and pence, the oldest first: what is left is then the newest of it. The ledger
    does not value stock so; it is for comparing (IAS 2.25 allows both).

    >>> first_in_first_out([(10, 4_000), (20, 10_000)], 15)
    (7500, 0)
    """
    left, worth = max(on_hand, 0), 0
    for qty, value in reversed(came):
        taken = min(left, qty)
        worth += round_half_up(value * taken, qty)
        left -= taken
        if not left:
            break
    return worth, left
