"""The days on which a supplier is reviewed, once a week. Pure: working days are given.

Not what is ordered then (see `reorder`). Called by `routines.coming` and `routines.replay`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from vanstock.model import Supplier
from vanstock.workdays import parse_days, week_start


def reviews(supplier: Supplier, dates: Sequence[date], preferred: int, *, earlier: Sequence[date] = ()) -> list[int]:
    """The places among some working days of the reviews of a supplier: in each week on the order day that is, or comes
    soonest after, the `preferred` weekday; on the supplier's next order day where the firm is closed then. `earlier`
    working days may have had the first one already."""
    weekdays, usual = parse_days(supplier.order_days or "Mon-Fri"), reviews_weekday(supplier, preferred)
    if not any(day.weekday() in weekdays for day in dates):
        weekdays = frozenset(range(7))  # it never takes orders on a day that the firm works: the next one must do
    found: dict[int, int] = {}
    every = [*earlier, *dates]
    for place, day in enumerate(every):
        week = day.toordinal() - (day.weekday() - usual) % 7
        if day.weekday() in weekdays and week not in found and week >= week_start(every[0]).toordinal():
            found[week] = place - len(earlier)
    return sorted(place for place in found.values() if place >= 0)


def reviews_weekday(supplier: Supplier, preferred: int) -> int:
    """The order day of a supplier that is, or comes soonest after, the `preferred` weekday (Monday 0)."""
    return min(parse_days(supplier.order_days or "Mon-Fri"), key=lambda day: (day - preferred) % 7)
