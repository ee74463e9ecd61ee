"""What is left of each lot of a part when first expired goes first out, and what of it has expired. Pure.

The ledger knows what came in, with its use-by date where there is one, and how many there are now, but not which were
taken. Taken are assumed to be

1. the lots with a date, the earliest first, of one date in the order they came;
2. then the lots without a date, in the order they came.

A lot without a date is used last because nothing says that it can wait less than one that must not wait; it never
counts as expired. Of all the ways in which the units could have been taken this one leaves the fewest expired on every
day. So what is expired here is at least so much, and a look at the dates on the shelf comes before it. ("First expired,
first out" is common practice, no source.)

A use-by date is the last day of use: expired is what has a date before the day. Called by what issues and lists stock.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple


class Lot(NamedTuple):
    """So many base units, their use-by date (None: none known), and the words on them that tell them apart."""

    qty: int
    use_by: date | None = None
    mark: str = ""


class Remains(NamedTuple):
    """What is on hand, lot by lot in the order to use it, and base units that no lot accounts for: of unknown age."""

    lots: tuple[Lot, ...]
    unknown: int = 0

    @property
    def on_hand(self) -> int:
        """All of it."""
        return sum(lot.qty for lot in self.lots) + self.unknown


def remaining(receipts: Sequence[Lot], on_hand: int) -> Remains:
    """What is left of the lots of one part, given in the order they came, when so many base units are on hand.

    With more on hand than came in lots the rest is of unknown age; with none or less than none nothing is left. A
    receipt of nothing, or less, counts as none: leave out receipts that were undone.

    >>> june, may = date(2027, 6, 1), date(2027, 5, 1)
    >>> [lot.qty for lot in remaining([Lot(5, june), Lot(5), Lot(5, may)], 8).lots]
    [3, 5]
    """
    known = sorted((lot for lot in receipts if lot.qty > 0), key=_first_out)
    came = sum(lot.qty for lot in known)
    used = came - max(on_hand, 0)
    left = []
    for lot in known:
        taken = min(max(used, 0), lot.qty)
        used -= taken
        if lot.qty > taken:
            left.append(lot._replace(qty=lot.qty - taken))
    return Remains(tuple(left), max(on_hand - came, 0))


def _first_out(lot: Lot) -> tuple[bool, date]:
    return lot.use_by is None, lot.use_by or date.max


def expired(remains: Remains, day: date) -> int:
    """Base units whose use-by date is before the day, if none are used until then."""
    return sum(lot.qty for lot in remains.lots if lot.use_by is not None and lot.use_by < day)


def expiring(remains: Remains, today: date, by: date) -> int:
    """Base units that can be used today and will have expired on a later day, if none are used until then."""
    return max(expired(remains, by) - expired(remains, today), 0)


def available(remains: Remains, day: date) -> int:
    """Base units on hand less what is expired on the day; what is of unknown age counts as fit."""
    return remains.on_hand - expired(remains, day)


def next_out(remains: Remains, day: date) -> Lot | None:
    """The lot to take from on the day: the first that is not expired, None where no lot is known to be fit."""
    return next((lot for lot in remains.lots if lot.use_by is None or lot.use_by >= day), None)
