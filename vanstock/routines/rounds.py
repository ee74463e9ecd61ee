"""When a part bought now can be in the van: the supplier's cut-off, lead time, and time of day that goods come.

Called by `morning`. Where a supplier's time is not on record, goods of a lead time of 0 days come an hour after the
cut-off (at once over a counter that has none), others before the first job of the day they come. A time of day before
the cut-off is the next working day's.
"""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import NamedTuple

from vanstock.model import Catalogue, Part
from vanstock.workdays import Calendar, arrival_date, next_cutoff, parse_cutoff

AFTER_CUTOFF = timedelta(hours=1)


class Round(NamedTuple):
    """Order by `cutoff` (None: no order day ahead), and the goods come at `comes` (None: not known)."""

    cutoff: datetime | None
    comes: datetime | None


def next_round(catalogue: Catalogue, part: Part, now: datetime, calendar: Calendar) -> Round:
    """The next order that a part can go on, and when it comes; local times with the offset of `now`."""
    supplier = catalogue.suppliers.get(part.supplier)
    if supplier is None:
        return Round(None, None)
    cutoff = next_cutoff(supplier.order_days, supplier.cutoff, now=now, calendar=calendar)
    if cutoff is None:
        return Round(None, None)
    lead = catalogue.lead_working_days(part.part)
    if not lead and not supplier.cutoff and not supplier.comes_at:
        return Round(cutoff, max(now, datetime.combine(cutoff.date(), time(), tzinfo=now.tzinfo)))
    if not lead and not supplier.comes_at:
        return Round(cutoff, cutoff + AFTER_CUTOFF)
    day = arrival_date(cutoff.date(), lead, calendar)
    at = parse_cutoff(supplier.comes_at) if supplier.comes_at else time()
    if not lead and at < cutoff.time():
        day = calendar.next_working(day)
    return Round(cutoff, max(now, datetime.combine(day, at, tzinfo=now.tzinfo)))
