"""What rows of the import folder say of each other: names that must exist, ids given once, no loops."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from vanstock.errors import Problem
from vanstock.model import EVERY_FAMILY, Catalogue, Fits, GoesWith, Job, OpeningStock, Part, Place, Used, Usual

T = TypeVar("T")
Lined = list[tuple[int, T]]

OUTSIDE = dict.fromkeys(("supplier", "customer", "history", "count difference", "write-off"), "place outside the firm")
"""Names of places that the ledger keeps for itself."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the ledger has already: an import may refer to it without naming it again."""

    catalogue: Catalogue = field(default_factory=Catalogue)
    jobs: Mapping[str, Job] = field(default_factory=dict)
    places: Mapping[str, str] = field(default_factory=lambda: {"van": "van", "store": "store"})


@dataclass(frozen=True, slots=True)
class Names:
    """Everything that rows may refer to: the ledger's and the folder's own together."""

    suppliers: Mapping[str, object]
    families: Mapping[str, object]
    parts: Mapping[str, Part]
    jobs: Mapping[str, Job]
    places: Mapping[str, str]

    @property
    def components(self) -> set[str]:
        """The components that some part has."""
        return {part.component for part in self.parts.values()}


def duplicates(file: str, rows: Lined[T], key: Callable[[T], tuple[str, ...]]) -> Iterable[Problem]:
    """Rows whose key an earlier row has."""
    first: dict[tuple[str, ...], int] = {}
    for line, row in rows:
        earlier = first.setdefault(key(row), line)
        if earlier != line:
            yield Problem(file, line, f"{' '.join(key(row))} stands on line {earlier} already: keep one of the two")


def _unknown(kind: str, name: str, file: str) -> str:
    return f"unknown {kind} {name!r}: add it to {file} or correct the name"


def places(rows: Lined[Place], known: Mapping[str, str]) -> Iterable[Problem]:
    """Names that the ledger does not use for a place of another kind."""
    spelled = {name.casefold(): (name, kind) for name, kind in {**OUTSIDE, **known}.items()}
    for line, row in rows:
        name, kind = spelled.setdefault(row.place.casefold(), (row.place, row.kind))
        if kind != row.kind:
            yield Problem("places.csv", line, f"{row.place!r} is the name of a {kind} already: choose another name")
        elif name != row.place:
            yield Problem("places.csv", line, f"{row.place!r} is {name!r} in other letters: spell a place one way")


def same_units(rows: Lined[Part], known: Mapping[str, Part]) -> Iterable[Problem]:
    """Parts that the ledger keeps in one unit already: another would change what its quantities mean."""
    for line, row in rows:
        there = known.get(row.part)
        if there and there.unit != row.unit:
            text = f"unit: the ledger keeps {row.part} in {there.unit}; give a part in {row.unit} a number of its own"
            yield Problem("parts.csv", line, text)


def parts(rows: Lined[Part], names: Names) -> Iterable[Problem]:
    """Suppliers and successors that exist, no loop of successors, one unit for each component."""
    units = {part.component: (part.unit, part.part) for part in reversed(list(names.parts.values()))}
    for line, row in rows:
        if row.supplier and row.supplier not in names.suppliers:
            yield Problem("parts.csv", line, _unknown("supplier", row.supplier, "suppliers.csv"))
        if row.superseded_by == row.part:
            yield Problem("parts.csv", line, f"superseded_by: {row.part} cannot replace itself: name the new part")
        elif row.superseded_by and row.superseded_by not in names.parts:
            yield Problem("parts.csv", line, "superseded_by: " + _unknown("part", row.superseded_by, "parts.csv"))
        elif row.superseded_by:
            yield from _loop(line, row, names)
        code, other = units.get(row.component, (row.unit, row.part))
        if row.component and code != row.unit:
            text = f"unit {row.unit}: component {row.component!r} is kept in {code} for {other}: give both one unit"
            yield Problem("parts.csv", line, text)


def _loop(line: int, row: Part, names: Names) -> Iterable[Problem]:
    chain = [row.part]
    while (after := names.parts[chain[-1]].superseded_by) and after in names.parts and after not in chain:
        chain.append(after)
    if after == row.part:
        path = " -> ".join([*chain, after])
        yield Problem("parts.csv", line, f"superseded_by goes in a loop: {path}; take one of these out")


def fits(rows: Lined[Fits], names: Names) -> Iterable[Problem]:
    """Families and parts that exist."""
    for line, row in rows:
        if row.family != EVERY_FAMILY and row.family not in names.families:
            yield Problem("fits.csv", line, _unknown("family", row.family, "families.csv"))
        if row.part not in names.parts:
            yield Problem("fits.csv", line, _unknown("part", row.part, "parts.csv"))


def goes_with(rows: Lined[GoesWith], names: Names) -> Iterable[Problem]:
    """Parts that exist, none that goes with itself, no loop."""
    after: dict[str, set[str]] = {}
    for _, row in rows:
        after.setdefault(row.part, set()).add(row.also)
    for line, row in rows:
        for name in (row.part, row.also):
            if name not in names.parts:
                yield Problem("goes_with.csv", line, _unknown("part", name, "parts.csv"))
        if row.part == row.also:
            yield Problem("goes_with.csv", line, f"{row.part} cannot go with itself")
        elif row.part in _reached(row.also, after):
            text = f"{row.part} goes with {row.also}, which leads back to it: take one of these rows out"
            yield Problem("goes_with.csv", line, text)


def _reached(start: str, after: Mapping[str, set[str]]) -> set[str]:
    found, waiting = set[str](), [start]
    while waiting:
        for name in after.get(waiting.pop(), set()) - found:
            found.add(name)
            waiting.append(name)
    return found


def usual(rows: Lined[Usual], names: Names) -> Iterable[Problem]:
    """Families and components that exist."""
    components = names.components
    for line, row in rows:
        if row.family != EVERY_FAMILY and row.family not in names.families:
            yield Problem("usual.csv", line, _unknown("family", row.family, "families.csv"))
        if row.component not in components:
            text = f"unknown component {row.component!r}: no part in parts.csv has it"
            yield Problem("usual.csv", line, text)


def jobs(rows: Lined[Job], names: Names) -> Iterable[Problem]:
    """Families and vans that exist."""
    for line, row in rows:
        if row.family not in names.families:
            yield Problem("jobs.csv", line, _unknown("family", row.family, "families.csv"))
        if names.places.get(row.van) != "van":
            yield Problem("jobs.csv", line, _unknown("van", row.van, "places.csv"))


def used(rows: Lined[Used], names: Names, unreadable_jobs: set[str]) -> Iterable[Problem]:
    """Jobs and parts that exist; what a job used before it was cancelled was used all the same."""
    for line, row in rows:
        job = names.jobs.get(row.job)
        if job is None and row.job not in unreadable_jobs:
            yield Problem("used.csv", line, _unknown("job", row.job, "jobs.csv"))
        if row.part not in names.parts:
            yield Problem("used.csv", line, _unknown("part", row.part, "parts.csv"))


def stock(rows: Lined[OpeningStock], names: Names) -> Iterable[Problem]:
    """Parts that exist, at vans and stores that exist."""
    for line, row in rows:
        if row.part not in names.parts:
            yield Problem("stock.csv", line, _unknown("part", row.part, "parts.csv"))
        if row.place not in names.places:
            yield Problem("stock.csv", line, _unknown("place", row.place, "places.csv"))
