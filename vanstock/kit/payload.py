"""A load list that the van can carry: what stays behind when weight or room runs out, and what that costs. Pure.

As long as the list is too much, the line that costs fewest finished jobs for what it weighs (or fills, whichever is
the tighter) is left behind, and in the end as much of it as still goes is put back. Called by `routines.morning`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from vanstock.kit.draws import DayDraws
from vanstock.kit.load import LoadLine
from vanstock.model import Part
from vanstock.quantity import unit


class Limits(NamedTuple):
    """What the van may carry in parts and what they may fill, in grams and millilitres; None for no limit."""

    grams: int | None
    millilitres: int | None


class LeftBehind(NamedTuple):
    """A line of the load list that stays behind, `qty` base units of it, and the finished jobs that this costs."""

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


class Fitter(NamedTuple):
    """The day and the stock against which lines are weighed."""

    day: DayDraws
    van: Mapping[str, int]
    parts: Mapping[str, Part]

    def fit(self, lines: Sequence[LoadLine], aboard: tuple[float, float], limits: Limits) -> Fitted:
        """The part of a load list that goes into a van which carries `aboard` already; `van` is by group."""
        free = (
            None if limits.grams is None else limits.grams - aboard[0],
            None if limits.millilitres is None else limits.millilitres - aboard[1],
        )
        kept, gone = list(lines), list[LoadLine]()
        while kept and self._tightness(kept, free) > 1:
            gone.append(kept.pop(self._least_worth(kept, free)))
        for line in reversed(gone):
            qty = self._most_of(line, kept, free)
            if qty:
                kept.append(line._replace(qty=qty))
        kept.sort(key=lambda line: (line.part, line.from_place))
        over = tuple(0 if room is None else max(0, round(-room)) for room in free)
        return Fitted(tuple(kept), self._left(lines, kept), (over[0], over[1]))

    def _tightness(self, lines: Sequence[LoadLine], free: tuple[float | None, float | None]) -> float:
        """The larger share of what is free that these lines take; above 1 they do not go."""
        burdens = [burden(self.parts[line.part], line.qty) for line in lines]
        totals = [sum(each) for each in zip(*burdens, strict=True)] or [0.0, 0.0]
        shares = [_share(total, room) for total, room in zip(totals, free, strict=True) if room is not None]
        return max(shares, default=0.0)

    def _least_worth(self, lines: Sequence[LoadLine], free: tuple[float | None, float | None]) -> int:
        gains = self._gains(lines)
        burdens = [self._tightness([line], free) for line in lines]
        worth = [
            gains[line.group] / share if share > 0 else float("inf") for line, share in zip(lines, burdens, strict=True)
        ]
        return min(range(len(lines)), key=lambda i: (worth[i], -burdens[i], lines[i].part))

    def _gains(self, lines: Sequence[LoadLine]) -> dict[str, float]:
        found = self.day.gains(self.van, self._filled(lines))
        return {group: sum(jobs) for group, jobs in found.items()}

    def _filled(self, lines: Sequence[LoadLine]) -> dict[str, int]:
        filled: dict[str, int] = {}
        for line in lines:
            filled[line.group] = filled.get(line.group, max(self.van.get(line.group, 0), 0)) + line.qty
        return filled

    def _most_of(self, line: LoadLine, kept: Sequence[LoadLine], free: tuple[float | None, float | None]) -> int:
        """As many whole packs, or units where it comes loose, of a line as still go."""
        part = self.parts[line.part]
        step = part.pack_size if line.qty % part.pack_size == 0 else unit(part.unit).scale
        fits = [n * step for n in range(1, line.qty // step + 1) if self._goes(line._replace(qty=n * step), kept, free)]
        return max(fits, default=0)

    def _goes(self, line: LoadLine, kept: Sequence[LoadLine], free: tuple[float | None, float | None]) -> bool:
        return self._tightness([*kept, line], free) <= 1

    def _left(self, lines: Sequence[LoadLine], kept: Sequence[LoadLine]) -> tuple[LeftBehind, ...]:
        """What of the list stays behind, and what each line of it would add to what goes."""
        going = {(line.part, line.from_place): line.qty for line in kept}
        with_kept = {**self.van, **self._filled(kept)}
        found = []
        for line in lines:
            rest = line.qty - going.get((line.part, line.from_place), 0)
            if rest > 0:
                more = {line.group: max(with_kept.get(line.group, 0), 0) + rest}
                cost = sum(self.day.gains(with_kept, more)[line.group])
                found.append(LeftBehind(line, rest, cost))
        return tuple(sorted(found, key=lambda row: (-row.cost, row.line.part)))


def _share(total: float, room: float) -> float:
    if room > 0:
        return total / room
    return float("inf") if total > 0 else 0.0
