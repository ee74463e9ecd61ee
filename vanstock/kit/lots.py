"""What is left of each lot of a part when first expired goes first out, and what of it has expired. Pure.

The ledger knows what came in, with its use-by date where there is one, and when how many went, but not which. Of what
goes on a day are assumed to be taken

1. the lots that have not expired, the earliest date first;
2. then what has no date: nothing says that it can wait less than what must not wait;
3. then what has expired, the earliest first; but first of all where it is written off as expired.

So an expired can stays expired until it is written off: that nobody wrote it off is no reason to believe that it was
used. What has no date never counts as expired. A look at the dates on the shelf comes before all this. ("First expired,
first out" is common practice, no source.)

A use-by date is the last day of use: expired is what has a date before the day. Called by `routines.expiry`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Literal, NamedTuple

Way = Literal["came", "went", "expired", "said"]


class Flow(NamedTuple):
    """On a day so many base units came (with a use-by date, None: none known), went, or went because they had expired;
    or it was `said` that of what is there so many more (below 0: fewer) have this date."""

    day: date
    way: Way
    qty: int
    use_by: date | None = None


class Lot(NamedTuple):
    """So many base units that have one use-by date."""

    qty: int
    use_by: date


class Remains(NamedTuple):
    """What is on hand, lot by lot, the earliest date first, and base units of unknown age."""

    lots: tuple[Lot, ...]
    unknown: int = 0

    @property
    def on_hand(self) -> int:
        """All of it."""
        return sum(lot.qty for lot in self.lots) + self.unknown


def remaining(flows: Iterable[Flow]) -> Remains:
    """What is left of one part after all that came and went, in the order it happened.

    What went before the ledger knew that it had come is taken from what comes next; with none or less than none on hand
    nothing is left.

    >>> june, july, august = date(2027, 6, 1), date(2027, 7, 1), date(2027, 8, 1)
    >>> came = [Flow(june, "came", 5, june), Flow(june, "came", 5, august)]
    >>> [lot.qty for lot in remaining([*came, Flow(june, "went", 2)]).lots]
    [3, 5]
    >>> [lot.qty for lot in remaining([*came, Flow(july, "went", 2)]).lots]
    [5, 3]
    """
    dated: dict[date, int] = {}
    unknown = 0
    for flow in flows:
        if flow.way in ("came", "said") and flow.use_by is not None:
            more = flow.qty if flow.way == "came" else max(flow.qty, -dated.get(flow.use_by, 0))
            dated[flow.use_by] = dated.get(flow.use_by, 0) + more
            unknown -= more if flow.way == "said" else 0
        elif flow.way == "came":
            unknown += flow.qty
        else:
            unknown = _take(dated, unknown, flow)
        unknown = _take(dated, 0, flow._replace(qty=-unknown)) if unknown < 0 else unknown
    return Remains(tuple(Lot(qty, day) for day, qty in sorted(dated.items()) if qty), max(unknown, 0))


def _take(dated: dict[date, int], unknown: int, flow: Flow) -> int:
    """Take what went from the lots and from what has no date, of which is left then: below 0 for what there was not."""
    left = flow.qty
    for use_by in _in_order(dated, flow):
        taken = min(left, max(unknown, 0) if use_by is None else dated[use_by])
        left -= taken
        if use_by is None:
            unknown -= taken
        else:
            dated[use_by] -= taken
    return unknown - left


def _in_order(dated: Iterable[date], flow: Flow) -> Iterator[date | None]:
    days = sorted(dated)
    late = [day for day in days if day < flow.day]
    fit = [day for day in days if day >= flow.day]
    yield from (*late, *fit, None) if flow.way == "expired" else (*fit, None, *late)


def expired(remains: Remains, day: date) -> int:
    """Base units whose use-by date is before the day, if none are used until then."""
    return sum(lot.qty for lot in remains.lots if lot.use_by < day)


def expiring(remains: Remains, today: date, by: date) -> int:
    """Base units that can be used today and will have expired on a later day, if none are used until then."""
    return max(expired(remains, by) - expired(remains, today), 0)


def available(remains: Remains, day: date) -> int:
    """Base units on hand less what is expired on the day; what is of unknown age counts as fit."""
    return remains.on_hand - expired(remains, day)


def next_out(remains: Remains, day: date) -> Lot | None:
    """The lot to take from on the day: the first that is not expired, None where no lot is known to be fit."""
    return next((lot for lot in remains.lots if lot.use_by >= day), None)


def counted_against(qty: int, held: Sequence[tuple[str, int]]) -> dict[str, int]:
    """Where so many base units of a part are counted, its lots having no place: against the first of the places that
    `held` lists with what lies there, as far as that goes, then the next; nothing against one at or below zero.

    >>> counted_against(5, [("van", 3), ("other van", -1), ("store", 9)])
    {'van': 3, 'store': 2}
    """
    found = {}
    for place, there in held:
        taken = min(max(there, 0), max(qty, 0))
        if taken:
            found[place] = taken
            qty -= taken
    return found
