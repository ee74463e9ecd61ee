"""What to load from the stores and what to buy before leaving. Pure: plans are values.

Whatever lies in a store costs nothing to bring, so the load list covers the day's need at a high quantile,
as far as the stores go; what is short after that is bought when buying raises the odds. Called by
`routines.morning`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from vanstock.jobneeds import ComponentChoice, JobNeeds
from vanstock.kit.draws import DayDraws
from vanstock.kit.odds import nothing, touched
from vanstock.model import Catalogue, Part
from vanstock.quantity import round_up_to_packs

COVER = 0.99
"""The share of such days whose need of each part the load list covers."""
LEAST_GAIN = 0.005
"""Expected finished jobs that a part must bring, or odds that its lack must cost, to be named."""
_WHOLE_PACKS = ("LTR", "MTR", "KGM", "PR")


class LoadLine(NamedTuple):
    """Carry `qty` base units of a part from a store to the van, which has `on_hand`."""

    part: str
    qty: int
    from_place: str
    on_hand: int
    group: str


class BuyLine(NamedTuple):
    """A group that is short after loading: `qty` base units to buy, the jobs finished for want of which it would be
    `worth` buying were it there before the first job, and those that it gains coming when it comes."""

    group: str
    qty: int
    worth: float
    gain: float


class ShortLine(NamedTuple):
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
        for place, part, held in _in_order([row for row in stores if groups.get(row[1], row[1]) == group], parts):
            if short <= 0:
                break
            known = parts[part]
            wanted = round_up_to_packs(short, known.pack_size) if known.unit in _WHOLE_PACKS else short
            taken = min(wanted, held)
            lines.append(LoadLine(part, taken, place, van.get(part, 0), group))
            short -= taken
    return lines


def _in_order(rows: Sequence[tuple[str, str, int]], parts: Mapping[str, Part]) -> list[tuple[str, str, int]]:
    """Stock in the stores: the oldest number of a chain first, then by part and place; nothing from below zero."""
    known = Catalogue(parts=parts)
    return sorted((row for row in rows if row[2] > 0), key=lambda row: (-len(known.chain(row[1])), row[1], row[0]))


def _by_group(held: Mapping[str, int], groups: Mapping[str, str]) -> dict[str, int]:
    total: dict[str, int] = {}
    for part, qty in held.items():
        group = groups.get(part, part)
        total[group] = total.get(group, 0) + qty
    return total


def after_loading(van: Mapping[str, int], lines: Sequence[LoadLine], groups: Mapping[str, str]) -> dict[str, int]:
    """Base units by group in the van with the load list aboard; a group below zero counts as none."""
    supply = {group: max(qty, 0) for group, qty in _by_group(van, groups).items()}
    for line in lines:
        supply[line.group] = supply.get(line.group, 0) + line.qty
    return supply


def plan_buy(
    day: DayDraws, supply: Mapping[str, int], needed: Mapping[str, int], since: Mapping[str, int]
) -> list[BuyLine]:
    """What to buy, most gain first: groups short of the day's need whose lack costs odds.

    `supply` is base units by group with the load list aboard; `since` the place of the first job before which a
    group can come (absent: not today). What a line is worth is what leaving it off would cost: expected jobs finished
    with every line filled, less the same without this one. Filled alone, a part whose gasket is missing too would
    seem worth nothing, and so would the gasket.
    """
    short = {group: qty for group, qty in needed.items() if qty > max(supply.get(group, 0), 0)}
    comes = {group: since.get(group, len(day.needs)) for group in short}
    worth = day.gains(supply, short)
    gains = day.gains(supply, short, since=comes)
    lines = [
        BuyLine(group, qty - max(supply.get(group, 0), 0), sum(worth[group]), sum(gains[group]))
        for group, qty in short.items()
        if max(sum(worth[group]), sum(gains[group])) >= LEAST_GAIN
    ]
    return sorted(lines, key=lambda line: (-line.worth, line.group))


def shortages(needs: JobNeeds, quantities: Mapping[str, int], supply: Mapping[str, int]) -> list[ShortLine]:
    """What one job may lack, taken alone, costliest first; `quantities` is what it takes when it does.

    The lost odds are exact: the probability that the job needs more of the group than `supply`.
    """
    found = shortfalls(needs, supply)
    lines = []
    for group, spread in found.items():
        missing = quantities.get(group, 0) - max(supply.get(group, 0), 0)
        lines.append(ShortLine(group, missing if missing > 0 else _median(spread), sum(spread.values())))
    return _worth_naming(lines)


def shortfalls(needs: JobNeeds, supply: Mapping[str, int]) -> dict[str, dict[int, float]]:
    """By group that one job alone can lack: the exact probability of lacking so many base units.

    Their sum is the odds that this group alone costs: what is lost when all else is plentiful.
    """
    lacking: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for case in needs.cases:
        for group, qty in case.needs.items():
            if qty > supply.get(group, 0):
                lacking[group][_missing(qty, supply.get(group, 0))] += case.weight
    for group in {group for choice in needs.prior for group in touched(choice.outcomes)}:
        for qty, probability in _amounts(needs.prior, group).items():
            if qty > max(supply.get(group, 0), 0) and probability > 0:
                lacking[group][_missing(qty, supply.get(group, 0))] += needs.prior_weight * probability
    return {group: dict(spread) for group, spread in lacking.items() if sum(spread.values()) > 0}


def _missing(qty: int, held: int) -> int:
    """Base units missing; a balance below zero is none aboard, not a debt."""
    return qty - max(held, 0)


def _amounts(prior: Sequence[ComponentChoice], group: str) -> dict[int, float]:
    """The distribution of a group's total over independent choices."""
    totals = {0: 1.0}
    for choice in prior:
        if group in touched(choice.outcomes):
            ways = [(nothing(choice.outcomes), 0), *((p, need.get(group, 0)) for p, need in choice.outcomes)]
            added: dict[int, float] = defaultdict(float)
            for qty, before in totals.items():
                for probability, more in ways:
                    added[qty + more] += before * probability
            totals = added
    return totals


def day_shortages(day: DayDraws, supply: Mapping[str, int]) -> list[list[ShortLine]]:
    """For each job of a day in order: what it may lack when its turn comes, costliest first, earlier jobs
    drawing first; `qty` is the median base units missing when it is short. The first job is exact."""
    found = day.shortfalls(supply)
    lists = [[ShortLine(group, qty, lost) for group, (lost, qty) in job.items()] for job in found]
    if day.needs:
        first = shortfalls(day.needs[0], supply)
        lists[0] = [ShortLine(group, _median(spread), sum(spread.values())) for group, spread in first.items()]
    return [_worth_naming(lines) for lines in lists]


def _worth_naming(lines: list[ShortLine]) -> list[ShortLine]:
    kept = [line for line in lines if line.lost_odds >= LEAST_GAIN]
    return sorted(kept, key=lambda line: (-line.lost_odds, line.group))


def _median(spread: Mapping[int, float]) -> int:
    """The least quantity at or below which half of the weight lies."""
    so_far, half = 0.0, sum(spread.values()) / 2 - 1e-12
    quantities = sorted(spread)
    for qty in quantities:
        so_far += spread[qty]
        if so_far >= half:
            return qty
    return quantities[-1]
