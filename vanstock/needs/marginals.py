"""How likely a job takes each part, read off its weighted cases. Pure; for the screen, not for odds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from vanstock.jobneeds import ComponentChoice, JobNeeds

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class NeedLine:
    """The chance that a job takes a stock group at all, and how much when it does (base units, median)."""

    component: str
    group: str
    probability: float
    qty: int
    jobs_like_it: int


def marginals(needs: JobNeeds, component_of: Mapping[str, str]) -> list[NeedLine]:
    """One line for each group that the job may take, most likely first.

    The probability is exact: the weight of the cases that take it, plus the prior's weight times the
    chance that at least one of its choices does.
    """
    amounts: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for case in needs.cases:
        for group, qty in case.needs.items():
            amounts[group][qty] += case.weight
    for group, spread in _prior_amounts(needs.prior).items():
        for qty, probability in spread.items():
            amounts[group][qty] += needs.prior_weight * probability
    lines = [_line(group, spread, needs, component_of) for group, spread in amounts.items()]
    return sorted(lines, key=lambda line: (-line.probability, line.group))


def mean_use(jobs: Iterable[tuple[float, JobNeeds]]) -> dict[str, tuple[float, float]]:
    """Base units of each group that so many of each job take in all, on average, and their squares, component by
    component. Jobs that are alike, and cases of one family, share what they take, which is gone through once."""
    import numpy as np

    alike: dict[tuple[int, int, float], tuple[float, JobNeeds]] = {}
    for many, needs in jobs:
        key = id(needs.cases), id(needs.prior), needs.prior_weight
        alike[key] = alike.get(key, (0.0, needs))[0] + many, needs
    weights: list[NDArray[np.float64]] = []
    taken: list[Mapping[str, int]] = []
    for many, needs in alike.values():
        prior = ((needs.prior_weight * p, need) for choice in needs.prior for p, need in choice.outcomes)
        for weighed, mine in filter(None, (tuple(zip(*rows, strict=True)) for rows in (needs.cases, prior))):
            weights.append(many * np.array(weighed))
            taken += mine
    if not taken:
        return {}
    _, first, which = np.unique(np.fromiter(map(id, taken), np.int64), return_index=True, return_inverse=True)
    sums = np.bincount(which, np.concatenate(weights)).tolist()
    use: dict[str, tuple[float, float]] = {}
    for place, weight in sorted(zip(first.tolist(), sums, strict=True)):  # never in the order of addresses
        for group, qty in taken[place].items():
            mean, square = use.get(group, (0.0, 0.0))
            use[group] = mean + weight * qty, square + weight * qty * qty
    return use


def _prior_amounts(prior: tuple[ComponentChoice, ...]) -> dict[str, dict[int, float]]:
    """The distribution of each group's total over independent choices, zero left out."""
    totals: dict[str, dict[int, float]] = {}
    for choice in prior:
        touched = {group for _, need in choice.outcomes for group in need}
        for group in touched:
            totals[group] = _added(totals.get(group, {0: 1.0}), choice, group)
    return {group: {qty: p for qty, p in spread.items() if qty and p} for group, spread in totals.items()}


def _added(spread: Mapping[int, float], choice: ComponentChoice, group: str) -> dict[int, float]:
    nothing = 1.0 - sum(probability for probability, _ in choice.outcomes)
    outcomes = [(nothing, 0), *((p, need.get(group, 0)) for p, need in choice.outcomes)]
    added: dict[int, float] = defaultdict(float)
    for qty, before in spread.items():
        for probability, more in outcomes:
            added[qty + more] += before * probability
    return added


def _line(group: str, spread: Mapping[int, float], needs: JobNeeds, component_of: Mapping[str, str]) -> NeedLine:
    probability = sum(spread.values())
    qty = _median(spread, probability)
    return NeedLine(component_of.get(group, group), group, min(probability, 1.0), qty, needs.jobs_like_it)


def _median(spread: Mapping[int, float], total: float) -> int:
    """The least quantity at or below which half of the weight lies."""
    so_far = 0.0
    for qty, weight in sorted(spread.items()):
        so_far += weight
        if so_far >= total / 2 - 1e-12:
            return qty
    return 0
