"""What to load from the stores and what to buy before leaving. Pure: plans are values.

Whatever lies in a store costs nothing to bring, so the load list covers the day's need at a high quantile,
as far as the stores go; what is short after that is bought when buying raises the odds. Called by
`routines.morning`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from vanstock.kit.odds import DayDraws, DayOdds, job_odds
from vanstock.model import JobNeeds, Part
from vanstock.quantity import round_up_to_packs

COVER = 0.99
"""The share of such days whose need of each part the load list covers."""
LEAST_GAIN = 0.005
"""Expected finished jobs that a bought part must bring to be named."""
_WHOLE_PACKS = ("LTR", "MTR", "KGM", "PR")


@dataclass(frozen=True, slots=True)
class LoadLine:
    """Carry `qty` base units of a part from a store to the van, which has `on_hand`."""

    part: str
    qty: int
    from_place: str
    on_hand: int
    group: str


@dataclass(frozen=True, slots=True)
class BuyLine:
    """A group that is short after loading: buy `qty` base units for `gain` more expected finished jobs."""

    group: str
    qty: int
    gain: float


@dataclass(frozen=True, slots=True)
class ShortLine:
    """A group that may run short on a job: `qty` base units missing, `lost_odds` gained were it plentiful."""

    group: str
    qty: int
    lost_odds: float


def plan_load(
    needed: Mapping[str, int],
    van: Mapping[str, int],
    stores: Sequence[tuple[str, str, int]],
    groups: Mapping[str, str],
    parts: Mapping[str, Part],
) -> list[LoadLine]:
    """The lines that bring the van up to what the day may need, as far as the stores hold it.

    `needed` is base units by group, `van` base units by part number, `stores` (place, part, base units).
    Old numbers are taken before the ones that replace them. Litres, metres, kilograms and pairs come in
    whole packs where the store has them.
    """
    aboard = _by_group(van, groups)
    lines = []
    for group, qty in sorted(needed.items()):
        short = qty - max(aboard.get(group, 0), 0)
        for place, part, held in _in_order(group, stores, groups):
            if short <= 0:
                break
            known = parts[part]
            wanted = round_up_to_packs(short, known.pack_size) if known.unit in _WHOLE_PACKS else short
            taken = min(wanted, held)
            lines.append(LoadLine(part, taken, place, van.get(part, 0), group))
            short -= taken
    return lines


def _in_order(
    group: str, stores: Sequence[tuple[str, str, int]], groups: Mapping[str, str]
) -> list[tuple[str, str, int]]:
    """Stock of a group in the stores: old numbers first, then by part and place."""
    mine = [row for row in stores if groups.get(row[1], row[1]) == group and row[2] > 0]
    return sorted(mine, key=lambda row: (row[1] == group, row[1], row[0]))


def _by_group(held: Mapping[str, int], groups: Mapping[str, str]) -> dict[str, int]:
    total: dict[str, int] = {}
    for part, qty in held.items():
        group = groups.get(part, part)
        total[group] = total.get(group, 0) + qty
    return total


def after_loading(van: Mapping[str, int], lines: Sequence[LoadLine], groups: Mapping[str, str]) -> dict[str, int]:
    """Base units by group in the van with the load list aboard."""
    supply = _by_group(van, groups)
    for line in lines:
        supply[line.group] = supply.get(line.group, 0) + line.qty
    return supply


def plan_buy(day: DayDraws, supply: Mapping[str, int], needed: Mapping[str, int]) -> list[BuyLine]:
    """What to buy before leaving, most gain first: groups short of the day's need whose lack costs odds."""
    now = _expected(day.with_stock(supply))
    lines = []
    for group, qty in needed.items():
        short = qty - supply.get(group, 0)
        if short > 0:
            gain = _expected(day.with_stock({**supply, group: qty})) - now
            if gain >= LEAST_GAIN:
                lines.append(BuyLine(group, short, gain))
    return sorted(lines, key=lambda line: (-line.gain, line.group))


def _expected(odds: DayOdds) -> float:
    """Expected finished jobs of a day."""
    return sum(job.probability for job in odds.jobs if job.probability is not None)


def shortages(needs: JobNeeds, quantities: Mapping[str, int], supply: Mapping[str, int]) -> list[ShortLine]:
    """What one job may lack, taken alone, costliest first; `quantities` is what it takes when it does."""
    odds = job_odds(needs, supply)
    if odds is None:
        return []
    lines = []
    for group, qty in quantities.items():
        plenty = job_odds(needs, {**supply, group: 10**12})
        lost = (plenty or 0.0) - odds
        if lost >= LEAST_GAIN:
            lines.append(ShortLine(group, max(qty - max(supply.get(group, 0), 0), 1), lost))
    return sorted(lines, key=lambda line: (-line.lost_odds, line.group))
