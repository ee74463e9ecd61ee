"""What a spreadsheet would change, before anything is written: new rows, prices and packs first, what stays.

Compares rows as the import folder has them, so that what is shown is what would be stored. Called by `sheetfile`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

from vanstock.exchange.csvfile import Sheet

ALERT_PERCENT = 30
"""A price that moves by more is pointed out; common practice, no source."""
_FIRST_SHOWN = {"cost", "pack_size"}


class PriceChange(NamedTuple):
    """A part's cost before and after, as text, by how many percent it moves (None from nothing), and whether to look
    twice."""

    part: str
    description: str
    was: str
    now: str
    percent: Decimal | None

    @property
    def alert(self) -> bool:
        """Whether it moves by more than a price usually does."""
        return self.percent is None or abs(self.percent) > ALERT_PERCENT


class Change(NamedTuple):
    """Another cell that changes: of which row, which column, before and after."""

    row: str
    column: str
    was: str
    now: str


class Changes(NamedTuple):
    """New rows, prices the largest move first, packs, other cells, how many rows stay, and what is not in the list."""

    new: tuple[Mapping[str, str], ...] = ()
    prices: tuple[PriceChange, ...] = ()
    packs: tuple[Change, ...] = ()
    others: tuple[Change, ...] = ()
    same: int = 0
    not_listed: int = 0

    @property
    def any(self) -> bool:
        """Whether anything would be written."""
        return bool(self.new or self.prices or self.packs or self.others)


def compare(
    sheet: Sheet, keys: Sequence[str], before: Sequence[Mapping[str, str]], after: Sequence[Mapping[str, str]]
) -> Changes:
    """What `after` changes of `before`, rows told apart by `keys`."""
    there = {_key(row, keys): row for row in before}
    new, prices, packs, others = [], [], [], []
    same = 0
    for row in after:
        old = there.get(_key(row, keys))
        if old is None:
            new.append(row)
            continue
        name = " ".join(_key(row, keys))
        differ = [column for column in sheet.columns if old[column] != row[column]]
        moved = [Change(name, column, old[column], row[column]) for column in differ]
        same += not moved
        prices += [_price(change, row) for change in moved if change.column == "cost"]
        packs += [change for change in moved if change.column == "pack_size"]
        others += [change for change in moved if change.column not in _FIRST_SHOWN]
    prices.sort(key=lambda change: (change.percent is not None, -abs(change.percent or Decimal(0)), change.part))
    return Changes(tuple(new), tuple(prices), tuple(packs), tuple(others), same)


def _key(row: Mapping[str, str], keys: Sequence[str]) -> tuple[str, ...]:
    return tuple(row[key] for key in keys)


def _price(change: Change, row: Mapping[str, str]) -> PriceChange:
    was, now = Decimal(change.was), Decimal(change.now)
    percent = ((now - was) / was * 100).quantize(Decimal("0.1"), ROUND_HALF_UP) if was else None
    return PriceChange(change.row, row.get("description", ""), change.was, change.now, percent)
