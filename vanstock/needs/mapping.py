"""From components to a family's own part numbers, and to what goes on new with them. Pure.

Parts are named by *stock group*: superseded numbers and two-way interchangeable parts share one name (see
`model.stock_groups`), so that stock of either serves. A split by engine number is two groups.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from vanstock.model import EVERY_FAMILY, Catalogue, stock_groups
from vanstock.quantity import unit

Need = dict[str, int]
Variants = list[tuple[float, Need]]


@dataclass(frozen=True, slots=True)
class PartMap:
    """Which groups serve which component in which family, and what rides along with each group."""

    groups: Mapping[str, str]
    component_of: Mapping[str, str]
    shares: Mapping[tuple[str, str], tuple[tuple[float, str], ...]]
    riders: Mapping[str, tuple[tuple[str, int, int], ...]]

    @classmethod
    def build(cls, catalogue: Catalogue) -> PartMap:
        """Work the tables out once for many jobs."""
        groups = stock_groups(catalogue)
        component_of = {part: known.component or part for part, known in catalogue.parts.items()}
        return cls(groups, component_of, _shares(catalogue, groups), _riders(catalogue, groups))

    def for_component(self, family: str, component: str) -> tuple[tuple[float, str], ...]:
        """The (share, group) pairs of a component in a family, shares adding up to 1; empty for none."""
        return self.shares.get((family, component)) or self.shares.get((EVERY_FAMILY, component), ())

    def variants(self, family: str, components: Mapping[str, int]) -> Variants:
        """Every way that so much of each component becomes part numbers, with its probability.

        Components that no part of this family serves drop out: the family has none.
        """
        found: Variants = [(1.0, {})]
        for component, qty in components.items():
            choices = self.for_component(family, component)
            if choices:
                found = [(p * share, _plus(need, group, qty)) for p, need in found for share, group in choices]
        return [(p, self.with_riders(need)) for p, need in found]

    def with_riders(self, need: Mapping[str, int]) -> Need:
        """A need with at least what goes on new with each part of it; what was recorded is never doubled."""
        full = dict(need)
        required: dict[str, int] = defaultdict(int)
        waiting = [(group, qty, frozenset((group,))) for group, qty in need.items()]
        while waiting:
            group, qty, above = waiting.pop()
            for also, each, scale in self.riders.get(group, ()):
                if also not in above:
                    more = -(-qty * each // scale)
                    required[also] += more
                    waiting.append((also, more, above | {also}))
        for also, qty in required.items():
            full[also] = max(full.get(also, 0), qty)
        return full


def _plus(need: Need, group: str, qty: int) -> Need:
    return need | {group: need.get(group, 0) + qty}


def _shares(catalogue: Catalogue, groups: Mapping[str, str]) -> dict[tuple[str, str], tuple[tuple[float, str], ...]]:
    table: dict[tuple[str, str], dict[str, float]] = defaultdict(dict)
    for fits in catalogue.fits:
        part = catalogue.parts.get(fits.part)
        if part and fits.share > 0:
            cell = table[fits.family, part.component or part.part]
            group = groups[fits.part]
            cell[group] = max(cell.get(group, 0.0), fits.share)
    return {
        key: tuple((share / sum(cell.values()), group) for group, share in sorted(cell.items()))
        for key, cell in table.items()
    }


def _riders(catalogue: Catalogue, groups: Mapping[str, str]) -> dict[str, tuple[tuple[str, int, int], ...]]:
    """By group: (group that goes with it, base units for each `scale` base units of the part, `scale`).

    Where an old number and its successor both list a rider, the successor's line holds.
    """
    table: dict[str, dict[str, tuple[int, int, bool]]] = defaultdict(dict)
    for line in catalogue.goes_with:
        scale = unit(catalogue.parts[line.part].unit).scale
        leads = groups[line.part] == line.part
        group, also = groups[line.part], groups[line.also]
        known = table[group].get(also)
        if also != group and (known is None or (leads and not known[2])):
            table[group][also] = (line.qty, scale, leads)
    return {
        group: tuple((also, qty, scale) for also, (qty, scale, _) in sorted(lines.items()))
        for group, lines in table.items()
    }
