"""What counts found, added up: by part, by place and in all, units and value. Called by `cli.count`."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from typing import NamedTuple

from vanstock.kit.counting import Repeated
from vanstock.ledger import catalogue, counts
from vanstock.ledger.counts import CountRow
from vanstock.model import Part
from vanstock.routines.counting import repeated
from vanstock.routines.session import Session


class Sums(NamedTuple):
    """So many lines counted, how many disagreed, base units more (below 0: fewer) than the ledger had, and pence found
    and lost."""

    counts: int = 0
    disagreed: int = 0
    difference: int = 0
    found: int = 0
    lost: int = 0

    @property
    def net(self) -> int:
        """Pence by which stock is worth more."""
        return self.found - self.lost

    @property
    def absolute(self) -> int:
        """Pence that the ledger was wrong by, whichever way."""
        return self.found + self.lost


class CountReport(NamedTuple):
    """The counts that stand, from the oldest, and their sums: by part (only those that disagreed, the most pence wrong
    first), by place, in all; and what keeps disagreeing."""

    since: date | None
    rows: tuple[CountRow, ...]
    parts: dict[str, Part]
    by_part: tuple[tuple[str, Sums], ...]
    by_place: tuple[tuple[str, Sums], ...]
    total: Sums
    repeated: tuple[Repeated, ...]


def add_up(rows: Iterable[CountRow]) -> Sums:
    """The sums of so many counted lines."""
    listed = list(rows)
    return Sums(
        len(listed),
        sum(row.difference != 0 for row in listed),
        sum(row.difference for row in listed),
        sum(max(row.value, 0) for row in listed),
        sum(max(-row.value, 0) for row in listed),
    )


def report(session: Session, *, since: date | None = None, place: str = "") -> CountReport:
    """The counts that stand, since a date or ever, at one place or all."""
    where = catalogue.place_named(session.ledger, place).place if place else ""
    rows = counts.counts(session.ledger, since=since.isoformat() if since else "")
    rows = [row for row in rows if not where or row.place == where]
    by_part = [(part, sums) for part, sums in _by(rows, lambda row: row.part) if sums.disagreed or sums.absolute]
    return CountReport(
        since,
        tuple(rows),
        {part.part: part for part in catalogue.part_names(session.ledger)},
        tuple(sorted(by_part, key=lambda pair: (-pair[1].absolute, pair[0]))),
        tuple(_by(rows, lambda row: row.place)),
        add_up(rows),
        tuple(repeated(session, {(row.part, row.place) for row in rows})),
    )


def _by(rows: Iterable[CountRow], name: Callable[[CountRow], str]) -> list[tuple[str, Sums]]:
    groups: dict[str, list[CountRow]] = {}
    for row in rows:
        groups.setdefault(name(row), []).append(row)
    return [(key, add_up(listed)) for key, listed in groups.items()]
