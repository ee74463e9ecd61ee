"""A load list that the van can carry: what stays behind when weight or room runs out, and what that costs. Pure.

Three loads are tried and the one that finishes most jobs is taken: whole lines left off, the one that costs fewest jobs
for what it weighs first (or fills, whichever is the tighter); a pack or piece of any line left off in the same order;
and a van filled up from nothing, what gains most first. Exchanging what is aboard for what is not would now and then
find a little more. Called by `routines.morning`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from vanstock.kit.draws import DayDraws
from vanstock.kit.load import LoadLine
from vanstock.model import Part
from vanstock.quantity import unit

_MOST_RUNGS = 12
Load = dict[str, int]
"""By group, the rung of its ladder up to which it is loaded."""


class Limits(NamedTuple):
    """What the van may carry in parts and what they may fill, in grams and millilitres; None for no limit."""

    grams: int | None
    millilitres: int | None


class LeftBehind(NamedTuple):
    """A line of the load list that stays behind, `qty` base units of it, and the jobs finished with all of the list but
    not without this."""

    line: LoadLine
    qty: int
    cost: float


class Fitted(NamedTuple):
    """The lines that go, those that stay, and by how much the van alone is over its limits (grams, millilitres)."""

    kept: tuple[LoadLine, ...]
    left: tuple[LeftBehind, ...]
    over: tuple[int, int]


def burden(part: Part, qty: int) -> tuple[float, float]:
    """Grams and millilitres of `qty` base units; a part with no weight or bulk on record counts nothing."""
    units = qty / unit(part.unit).scale
    return units * (part.weight_grams or 0), units * (part.bulk_ml or 0)


def carried(held: Mapping[str, int], parts: Mapping[str, Part]) -> tuple[float, float]:
    """Grams and millilitres of what lies in a van, base units by part number."""
    burdens = [burden(parts[part], qty) for part, qty in held.items() if qty > 0]
    return sum(grams for grams, _ in burdens), sum(room for _, room in burdens)


def fit(
    day: DayDraws, van: Mapping[str, int], lines: Sequence[LoadLine], parts: Mapping[str, Part], free: Limits
) -> Fitted:
    """The part of a load list that goes into what is `free` of a van's limits, below zero for a van already over them;
    `van` is base units aboard by group."""
    over = tuple(max(0, -room) if room is not None else 0 for room in free)
    hold = _Hold(day, van, _ladders(lines, parts), free)
    load = hold.full() if hold.goes(hold.full()) else hold.best()
    going = {line: qty for group, rung in load.items() for line, qty in hold.ladders[group].at(rung)}
    every = hold.supply(hold.full())
    cost = day.gains(hold.supply(load), {group: every[group] for group in hold.ladders})
    left = [LeftBehind(line, line.qty - going[line], sum(cost[line.group])) for line in lines if going[line] < line.qty]
    kept = tuple(line._replace(qty=going[line]) for line in lines if going[line])
    return Fitted(kept, tuple(sorted(left, key=lambda row: (-row.cost, row.line.part))), (over[0], over[1]))


class _Ladder(NamedTuple):
    """The lines of one group in the order they are taken; by rung the quantity of each, and the burden of all."""

    lines: tuple[LoadLine, ...]
    rungs: tuple[tuple[int, ...], ...]
    burdens: tuple[tuple[float, float], ...]

    def qty(self, rung: int) -> int:
        """Base units of the group at a rung."""
        return sum(self.rungs[rung])

    def at(self, rung: int) -> list[tuple[LoadLine, int]]:
        """Each line with its quantity at a rung."""
        return list(zip(self.lines, self.rungs[rung], strict=True))


def _ladders(lines: Sequence[LoadLine], parts: Mapping[str, Part]) -> dict[str, _Ladder]:
    by_group: dict[str, list[LoadLine]] = {}
    for line in lines:
        by_group.setdefault(line.group, []).append(line)
    return {group: _ladder(tuple(mine), parts) for group, mine in sorted(by_group.items())}


def _ladder(lines: tuple[LoadLine, ...], parts: Mapping[str, Part]) -> _Ladder:
    """Rungs a pack apart where a line is whole packs, else a unit; the last is the whole line, whatever that is."""
    rungs = [(0,) * len(lines)]
    for place, line in enumerate(lines):
        part = parts[line.part]
        step = part.pack_size if line.qty % part.pack_size == 0 else unit(part.unit).scale
        step *= max(1, -(-line.qty // (step * _MOST_RUNGS)))
        for qty in [*range(step, line.qty, step), line.qty]:
            before = tuple(one.qty for one in lines[:place])
            rungs.append((*before, qty, *(0,) * (len(lines) - place - 1)))
    burdens = []
    for rung in rungs:
        each = [burden(parts[line.part], qty) for line, qty in zip(lines, rung, strict=True)]
        burdens.append((sum(grams for grams, _ in each), sum(room for _, room in each)))
    return _Ladder(lines, tuple(rungs), tuple(burdens))


@dataclass(frozen=True, slots=True)
class _Hold:
    """The day, what is aboard by group, the ladders of the load list, and what the van can still take."""

    day: DayDraws
    van: Mapping[str, int]
    ladders: Mapping[str, _Ladder]
    free: Limits

    def full(self) -> Load:
        """The whole list."""
        return {group: len(one.rungs) - 1 for group, one in self.ladders.items()}

    def supply(self, load: Load) -> dict[str, int]:
        """Base units by group with this much of the list aboard."""
        more = {g: max(self.van.get(g, 0), 0) + self.ladders[g].qty(rung) for g, rung in load.items()}
        return {**self.van, **more}

    def tightness(self, load: Load) -> float:
        """The larger share of what is free that a load takes; above 1 it does not go."""
        burdens = [self.ladders[group].burdens[rung] for group, rung in load.items()]
        return self._strain(sum(grams for grams, _ in burdens), sum(room for _, room in burdens))

    def _strain(self, *burden: float) -> float:
        known = zip(burden, self.free, strict=True)
        return max((_share(total, room) for total, room in known if room is not None), default=0.0)

    def goes(self, load: Load) -> bool:
        """Whether the van can carry it."""
        return self.tightness(load) <= 1

    def best(self) -> Load:
        """The load of the three that finishes most jobs."""
        nothing = dict.fromkeys(self.ladders, 0)
        loads = [self._filled(self._lessened(lambda _: 0)), self._filled(self._lessened(lambda r: r - 1)),
                 self._filled(nothing)]  # fmt: skip
        return max(loads, key=lambda load: self.day.expected(self.supply(load)))

    def _lessened(self, lower: Callable[[int], int]) -> Load:
        """The full list, lessened until it goes: each time the group that costs fewest jobs for what that frees."""
        load = self.full()
        while not self.goes(load):
            less = {group: lower(rung) for group, rung in load.items() if rung}
            lost = self.day.gains(self.supply({**load, **less}), {g: self.supply(load)[g] for g in less})
            freed = {group: self._freed(group, load[group], rung) for group, rung in less.items()}
            rate = {group: sum(lost[group]) / freed[group] if freed[group] > 0 else float("inf") for group in less}
            chosen = min(less, key=lambda group: (rate[group], -freed[group], group))
            load = {**load, chosen: less[chosen]}
        return load

    def _freed(self, group: str, now: int, then: int) -> float:
        (grams, room), (less_grams, less_room) = (self.ladders[group].burdens[rung] for rung in (now, then))
        return self._strain(grams - less_grams, room - less_room)

    def _filled(self, load: Load) -> Load:
        """The load with as much more as goes, each time a rung of what gains most."""
        while True:
            more = [{**load, g: rung + 1} for g, rung in load.items() if rung + 1 < len(self.ladders[g].rungs)]
            can = [one for one in more if self.goes(one)]
            if not can:
                return load
            load = max(can, key=lambda one: (self.day.expected(self.supply(one)), -self.tightness(one)))


def _share(total: float, room: float) -> float:
    if room > 0:
        return total / room
    return float("inf") if total > 0 else 0.0
