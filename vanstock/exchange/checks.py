"""What rows of the import folder say of each other: names that must exist, ids given once, no loops."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from vanstock.errors import Problem
from vanstock.exchange.csvfile import Unread
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
    """Everything that rows may refer to: the ledger's and the folder's own together, and what of the folder could
    not be read, by the name of its file."""

    suppliers: Mapping[str, object]
    families: Mapping[str, object]
    parts: Mapping[str, Part]
    jobs: Mapping[str, Job]
    places: Mapping[str, str]
    unread: Mapping[str, Unread] = field(default_factory=dict)

    @property
    def components(self) -> set[str]:
        """The components that some part has."""
        return {part.component for part in self.parts.values()}

    def unknown(self, kind: str, name: str) -> str:
        """What to tell of a name that no row has; nothing when it has one, or a row that could not be read may."""
        what, file = _KINDS[kind]
        known: Mapping[str, object] = getattr(self, kind)
        if name in known or self._unread(kind).may_hold(name):
            return ""
        return _unknown(what, name, file)

    def all_read(self, kind: str) -> bool:
        """Whether every row of a file could be read."""
        unread = self._unread(kind)
        return not (unread.others or unread.ids)

    def _unread(self, kind: str) -> Unread:
        return self.unread.get(kind) or Unread()


_KINDS = {
    "suppliers": ("supplier", "suppliers.csv"),
    "families": ("family", "families.csv"),
    "parts": ("part", "parts.csv"),
    "jobs": ("job", "jobs.csv"),
    "places": ("place", "places.csv"),
}
"""What a row of each file is called that others refer to."""


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


def spelled_one_way(file: str, names: Iterable[tuple[int, str]], known: Iterable[str]) -> Iterable[Problem]:
    """Names that another one is, in other letters: a person who types one may mean either."""
    there = set(known)
    spelled = {name.casefold(): name for name in there}
    for line, name in names:
        other = spelled.setdefault(name.casefold(), name)
        if other != name and name not in there:
            yield Problem(file, line, f"{name!r} is {other!r} in other letters: spell it one way, or choose another")


def same_units(rows: Lined[Part], known: Mapping[str, Part]) -> Iterable[Problem]:
    """Parts that the ledger keeps in one unit already: another would change what its quantities mean."""
    for line, row in rows:
        there = known.get(row.part)
        if there and row.unit not in ("", there.unit):
            text = f"unit: the ledger keeps {row.part} in {there.unit}; give a part in {row.unit} a number of its own"
            yield Problem("parts.csv", line, text)


def gtins(rows: Lined[Part], known: Mapping[str, Part]) -> Iterable[Problem]:
    """GTINs that another part has, here or in the ledger; one with noughts before it is the same one."""
    here = {row.part for _, row in rows}
    owners = {part.gtin.lstrip("0"): part.part for part in known.values() if part.gtin and part.part not in here}
    for line, row in rows:
        owner = owners.setdefault(row.gtin.lstrip("0"), row.part) if row.gtin else row.part
        if owner != row.part:
            yield Problem("parts.csv", line, f"gtin {row.gtin} is that of {owner} already: a GTIN names one part")


def components_kept(rows: Lined[Part], known: Catalogue, names: Names) -> Iterable[Problem]:
    """Components that the ledger's usual rows speak of and that would be left without a part, or in another unit."""
    before = {part.component: part.unit for part in reversed(list(known.parts.values()))}
    after = {part.component: part.unit for part in reversed(list(names.parts.values()))}
    spoken_of = {usual.component for usual in known.usual}
    for line, row in rows:
        old = known.parts.get(row.part)
        if old and old.component != row.component and old.component in spoken_of and names.all_read("parts"):
            kept = before[old.component]
            if after.get(old.component, "") not in ("", kept) or old.component not in after:
                text = (
                    f"component: usual jobs in the ledger take a {old.component!r} in {kept}, and no part would be one"
                )
                yield Problem("parts.csv", line, f"{text}: keep {row.part} as it is, or name another part for it first")


def parts(rows: Lined[Part], names: Names) -> Iterable[Problem]:
    """Suppliers and successors that exist, no loop of successors, one unit for each component."""
    known = reversed(list(names.parts.values()))
    units = {part.component: (part.unit, part.part) for part in known if part.unit}
    for line, row in rows:
        if row.supplier and (text := names.unknown("suppliers", row.supplier)):
            yield Problem("parts.csv", line, text)
        if row.superseded_by:
            yield from _successor(line, row, names)
        code, other = units.get(row.component, (row.unit, row.part))
        if row.component and row.unit not in ("", code):
            text = f"unit {row.unit}: component {row.component!r} is kept in {code} for {other}: give both one unit"
            yield Problem("parts.csv", line, text)


_SPLIT = (
    "If several take its place, each on its own vehicles, leave superseded_by empty and list it in fits.csv with share "
    "0 beside each of them"
)


def _successor(line: int, row: Part, names: Names) -> Iterable[Problem]:
    after = names.parts.get(row.superseded_by)
    if after is None and len(row.superseded_by.split(";")) > 1:
        yield Problem("parts.csv", line, f"superseded_by: {row.superseded_by!r} names several parts. {_SPLIT}")
    elif row.superseded_by == row.part:
        yield Problem("parts.csv", line, f"superseded_by: {row.part} cannot replace itself: name the new part")
    elif text := names.unknown("parts", row.superseded_by):
        yield Problem("parts.csv", line, f"superseded_by: {text}")
    elif after:
        if row.unit and after.unit not in ("", row.unit):
            text = (
                f"superseded_by: {after.part} is kept in {after.unit} and {row.part} in {row.unit}: give both one unit"
            )
            yield Problem("parts.csv", line, text)
        yield from _loop(line, row, names)


def _loop(line: int, row: Part, names: Names) -> Iterable[Problem]:
    chain = [row.part]
    while (after := names.parts[chain[-1]].superseded_by) and after in names.parts and after not in chain:
        chain.append(after)
    if after == row.part:
        path = " -> ".join([*chain, after])
        both = "leave it empty on the one to order: their stock is one either way" if len(chain) == 2 else ""
        yield Problem("parts.csv", line, f"superseded_by goes in a loop: {path}; {both or 'take one of these out'}")


def splits(rows: Lined[Part], names: Names, every_fits: Iterable[Fits]) -> Iterable[Problem]:
    """A part that is said to be superseded though in some family another one takes its place: stock of one number would
    be counted for a job that it does not fit."""
    known = Catalogue(parts=names.parts)
    fitting: dict[str, dict[str, float]] = {}
    for one in every_fits:
        fitting.setdefault(one.family, {})[one.part] = one.share
    for line, row in rows:
        later = known.chain(row.part)[1:]
        if not row.component or not later or fitting.get(EVERY_FAMILY, {}).keys() & {*later}:
            continue
        for family, shares in sorted(fitting.items()):
            if shares.get(row.part) and not shares.keys() & {*later} and (other := _instead(row, shares, known)):
                text = (
                    f"superseded_by: {row.part} fits {family}, where {later[-1]} is not listed and {other} is: add "
                    f"{family},{later[-1]} to fits.csv if it fits there. {_SPLIT}"
                )
                yield Problem("parts.csv", line, text)
                break


def _instead(row: Part, shares: Mapping[str, float], known: Catalogue) -> str:
    """A part of the same component that a family takes and that is no number of the same chain; "" for none."""
    return next(
        (
            part for part, share in sorted(shares.items())
            if share > 0 and part in known.parts and known.parts[part].component == row.component
            and known.current(part) != known.current(row.part)
        ),
        "",
    )  # fmt: skip


def fits(rows: Lined[Fits], names: Names) -> Iterable[Problem]:
    """Families and parts that exist."""
    for line, row in rows:
        if row.family != EVERY_FAMILY and (text := names.unknown("families", row.family)):
            yield Problem("fits.csv", line, text)
        if text := names.unknown("parts", row.part):
            yield Problem("fits.csv", line, text)


def goes_with(rows: Lined[GoesWith], names: Names, known: Iterable[GoesWith]) -> Iterable[Problem]:
    """Parts that exist, none that goes with itself, no loop, also not one closed through the ledger's rows."""
    after: dict[str, set[str]] = {}
    for row in (*known, *(row for _, row in rows)):
        after.setdefault(row.part, set()).add(row.also)
    for line, row in rows:
        for name in (row.part, row.also):
            if text := names.unknown("parts", name):
                yield Problem("goes_with.csv", line, text)
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
    components = names.components if names.all_read("parts") else None
    for line, row in rows:
        if row.family != EVERY_FAMILY and (text := names.unknown("families", row.family)):
            yield Problem("usual.csv", line, text)
        if components is not None and row.component not in components:
            text = f"unknown component {row.component!r}: no part in parts.csv has it"
            yield Problem("usual.csv", line, text)


def jobs(rows: Lined[Job], names: Names) -> Iterable[Problem]:
    """Families, vans and chosen parts that exist."""
    for line, row in rows:
        for part in row.chosen:
            if text := names.unknown("parts", part):
                yield Problem("jobs.csv", line, text)
        if text := names.unknown("families", row.family):
            yield Problem("jobs.csv", line, text)
        if names.places.get(row.van) != "van" and (row.van in names.places or names.unknown("places", row.van)):
            yield Problem("jobs.csv", line, _unknown("van", row.van, "places.csv"))


def used(rows: Lined[Used], names: Names) -> Iterable[Problem]:
    """Jobs and parts that exist; what a job used before it was cancelled was used all the same."""
    for line, row in rows:
        for text in (names.unknown("jobs", row.job), names.unknown("parts", row.part)):
            if text:
                yield Problem("used.csv", line, text)


def stock(rows: Lined[OpeningStock], names: Names) -> Iterable[Problem]:
    """Parts that exist, at vans and stores that exist."""
    for line, row in rows:
        for text in (names.unknown("parts", row.part), names.unknown("places", row.place)):
            if text:
                yield Problem("stock.csv", line, text)
