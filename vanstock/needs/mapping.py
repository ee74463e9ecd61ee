"""From components to a family's own part numbers, and to what goes on new with them. Pure.

Parts are named by *stock group*: superseded numbers and two-way interchangeable parts share one name (see
`model.stock_groups`), so that stock of either serves. A split by engine number is two groups.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import accumulate
from math import prod, sqrt

from vanstock.model import EVERY_FAMILY, Catalogue, FinishedJob, stock_groups
from vanstock.needs.levels import HALF_LIFE_DAYS
from vanstock.needs.shrink import shrunken
from vanstock.quantity import unit

SHARE_WORTH = 10.0
"""How many jobs the shares of the fits table are worth beside the parts that a family's jobs took."""
MOST_WAYS = 64
"""Ways in which a need becomes part numbers that are gone through one by one; five numbers for each of three components
make more already."""
MOST_REMEMBERED = 50_000
"""Cases in part numbers that are kept at most: a van's firm has fewer, of fifty vans all would take 300 MB."""
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47)
Components = tuple[tuple[str, int], ...]
"""So much of each component (of a need: of each group), in order of names."""
Need = dict[str, int]
Choices = tuple[tuple[float, str], ...]
Variants = list[tuple[float, Need]]
Ways = tuple[tuple[float, Components], ...]
Served = Mapping[str, tuple[tuple[float, str], ...]]
"""The (share, group) pairs that serve each component."""


@dataclass(frozen=True, slots=True)
class PartMap:
    """Which groups serve which component in which family, and what rides along with each group."""

    groups: Mapping[str, str]
    component_of: Mapping[str, str]
    shares: Mapping[tuple[str, str], tuple[tuple[float, str], ...]]
    riders: Mapping[str, tuple[tuple[str, int, int], ...]]
    _remembered: dict[object, Ways] | None = field(default=None, repr=False, compare=False)

    @classmethod
    def build(cls, catalogue: Catalogue) -> PartMap:
        """Work the tables out once for many jobs."""
        groups = stock_groups(catalogue)
        component_of = {part: _component(catalogue, part, group) for part, group in groups.items()}
        return cls(groups, component_of, _shares(catalogue, groups, component_of), _riders(catalogue, groups))

    def remembering(self) -> PartMap:
        """The same tables, which keep how every case became part numbers: for one book after another of a catalogue."""
        return replace(self, _remembered={})

    def learning(self, finished: Iterable[FinishedJob], *, today: date) -> PartMap:
        """The same tables as a family's own jobs bear them out: where no fits row says what serves a component, what
        those jobs took; where several do, their shares leaning on the table for `SHARE_WORTH` jobs, older jobs fading.
        """
        took: dict[tuple[str, str], dict[str, float]] = defaultdict(lambda: defaultdict(float))
        for job in finished:
            faded = job.stands_for * 0.5 ** (max((today - job.date).days, 0) / HALF_LIFE_DAYS)
            for part in job.needs:
                took[job.family, self.component_of.get(part, part)][self.groups.get(part, part)] += faded
        shares = dict(self.shares)
        for (family, component), seen in took.items():
            listed = self.for_component(family, component)
            if len(listed) > 1:
                shares[family, component] = _borne_out(listed, seen)
            elif not {(family, component), (EVERY_FAMILY, component)} & self.shares.keys():
                total = sum(seen.values())
                shares[family, component] = tuple((count / total, group) for group, count in sorted(seen.items()))
        return replace(self, shares=shares)

    def for_component(
        self, family: str, component: str, *, chosen: Sequence[str] = ()
    ) -> tuple[tuple[float, str], ...]:
        """The (share, group) pairs of a component in a family, shares adding up to 1; empty for none.

        A family with rows of its own for a component takes none of the rows for every family. A part that is
        `chosen` for its component is the only one.
        """
        settled = {self.groups[part] for part in chosen if self.component_of.get(part) == component}
        if settled:
            return tuple((1 / len(settled), group) for group in sorted(settled))
        own = self.shares.get((family, component))
        return own if own is not None else self.shares.get((EVERY_FAMILY, component), ())

    def served(self, family: str, components: Iterable[str], *, chosen: Sequence[str] = ()) -> Served:
        """What `for_component` says of each component, worked out once for many needs."""
        return {component: self.for_component(family, component, chosen=chosen) for component in components}

    def ways(self, case: Components, served: Served) -> Ways:
        """`variants` of a case, each with its groups in order of names. Shares of several numbers change from day to
        day, so that a case with any is not remembered."""
        choices = tuple([served[component] for component, _ in case])
        if self._remembered is None or any(len(one) > 1 for one in choices):
            return self._ways(case, served)
        key = case, choices
        found = self._remembered.get(key)
        if found is None:
            found = self._ways(case, served)
            if len(self._remembered) < MOST_REMEMBERED:
                self._remembered[key] = found
        return found

    def _ways(self, case: Components, served: Served) -> Ways:
        return tuple([(p, tuple(sorted(need.items()))) for p, need in self.variants(dict(case), served)])

    def variants(self, components: Mapping[str, int], served: Served) -> Variants:
        """Every way that so much of each component becomes part numbers, with its probability; of very many ways
        `MOST_WAYS`, evenly spread.

        Components that no part of the family serves drop out: the family has none.
        """
        certain: Need = {}
        split = []
        for component, qty in components.items():
            choices = served[component]
            if len(choices) == 1:
                group = choices[0][1]
                certain[group] = certain.get(group, 0) + qty
            elif choices:
                split.append((choices, qty))
        if not split:
            return [(1.0, self.with_riders(certain))]
        if prod(len(choices) for choices, _ in split) > MOST_WAYS:
            return [(1 / MOST_WAYS, self.with_riders(_way(i, certain, split))) for i in range(MOST_WAYS)]
        found: Variants = [(1.0, certain)]
        for choices, qty in split:
            found = [(p * share, _plus(need, group, qty)) for p, need in found for share, group in choices]
        return [(p, self.with_riders(need)) for p, need in found]

    def with_riders(self, need: Mapping[str, int]) -> Need:
        """A need with at least what goes on new with each part of it; what was recorded is never doubled."""
        if self._has_its_riders(need):
            return dict(need)
        full: Need = {}
        required: dict[str, int] = defaultdict(int)
        for group in self._leaders_first(need):
            full[group] = max(need.get(group, 0), required[group])
            for also, each, scale in self.riders.get(group, ()):
                required[also] += -(-full[group] * each // scale)
        return {group: qty for group, qty in full.items() if qty > 0}

    def _has_its_riders(self, need: Mapping[str, int]) -> bool:
        """Whether a need holds all that goes on new with its parts, as most of what was recorded does."""
        required: dict[str, int] = {}
        for group in need.keys() & self.riders.keys():
            for also, each, scale in self.riders[group]:
                required[also] = required.get(also, 0) - (-need[group] * each // scale)
        return all(need.get(also, 0) >= qty for also, qty in required.items())

    def _leaders_first(self, need: Mapping[str, int]) -> list[str]:
        """The groups of a need and all that rides along, each after every one it rides along with; a loop
        is cut where it closes, the larger need leading."""
        after: list[str] = []
        seen: set[str] = set()
        for start in sorted(need, key=lambda group: (-need[group], group)):
            waiting = [(start, False)]
            while waiting:
                group, left = waiting.pop()
                if left:
                    after.append(group)
                elif group not in seen:
                    seen.add(group)
                    waiting.append((group, True))
                    waiting.extend((also, False) for also, _, _ in self.riders.get(group, ()))
        return after[::-1]


def _borne_out(listed: Sequence[tuple[float, str]], seen: Mapping[str, float]) -> tuple[tuple[float, str], ...]:
    """The shares of the parts listed for one place, leaning on the table; what is not listed does not count."""
    total = sum(seen.get(group, 0.0) for _, group in listed)
    return tuple((shrunken(seen.get(group, 0.0), total, share, SHARE_WORTH), group) for share, group in listed)


def _way(number: int, certain: Need, split: Sequence[tuple[Choices, int]]) -> Need:
    """One of `MOST_WAYS` ways: in turn, as multiples of irrational numbers fall between 0 and 1, which they do evenly
    and not together (Weyl, Mathematische Annalen 77, 1916)."""
    need = certain
    for place, (choices, qty) in enumerate(split):
        at = (number + 0.5) * sqrt(_PRIMES[place % len(_PRIMES)]) % 1.0
        edges = accumulate(share for share, _ in choices)
        group = next((group for edge, (_, group) in zip(edges, choices, strict=True) if at < edge), choices[-1][1])
        need = _plus(need, group, qty)
    return need


def _plus(need: Need, group: str, qty: int) -> Need:
    return need | {group: need.get(group, 0) + qty}


def _component(catalogue: Catalogue, part: str, group: str) -> str:
    """What a part is on the vehicle; a number with no component shares its successor's, or its group's name."""
    return catalogue.parts[part].component or catalogue.parts[catalogue.current(part)].component or group


def _shares(
    catalogue: Catalogue, groups: Mapping[str, str], component_of: Mapping[str, str]
) -> dict[tuple[str, str], tuple[tuple[float, str], ...]]:
    """By family and component, the groups that serve it. A share of 0 in a family takes the part out of what
    every family has; a component that loses all its parts that way stays, empty."""
    own: dict[str, dict[str, float]] = defaultdict(dict)
    for fits in catalogue.fits:
        if fits.part in catalogue.parts:
            own[fits.family][fits.part] = max(own[fits.family].get(fits.part, 0.0), fits.share)
    table: dict[tuple[str, str], tuple[tuple[float, str], ...]] = {}
    for family, rows in own.items():
        for component in {component_of[part] for part in rows}:
            mine = {part: share for part, share in rows.items() if component_of[part] == component}
            if not any(mine.values()):
                everyone = own.get(EVERY_FAMILY, {}).items()
                mine |= {p: s for p, s in everyone if component_of[p] == component and p not in mine}
            table[family, component] = _normalised(mine, groups)
    return table


def _normalised(rows: Mapping[str, float], groups: Mapping[str, str]) -> tuple[tuple[float, str], ...]:
    """(share, group) pairs that add up to 1; a group's share is the largest of its members'."""
    cell: dict[str, float] = {}
    for part, share in rows.items():
        if share > 0:
            cell[groups[part]] = max(cell.get(groups[part], 0.0), share)
    total = sum(cell.values())
    return tuple((share / total, group) for group, share in sorted(cell.items()))


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
