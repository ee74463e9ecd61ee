"""The need series of every stocked part, from the ledger. Gathers; `forecast.weekly` does the sums.

Called by the routines that forecast. Return visits are settled and parts that stand in for each other are one
by the time the past is read (see `past`).
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import TYPE_CHECKING

from vanstock.model import EVERY_FAMILY
from vanstock.routines.past import Past
from vanstock.routines.session import Session
from vanstock.routines.settings import calendar

if TYPE_CHECKING:
    from vanstock.forecast.weekly import WeeklyPanel


def need_panel(session: Session, past: Past) -> WeeklyPanel:
    """What was needed of every stocked part by week, up to and with yesterday."""
    from vanstock.forecast.weekly import weekly_panel
    from vanstock.needs.returns import need_lines

    last_day = session.today - timedelta(days=1)
    needs = [(past.groups[part], day, qty) for part, day, qty in need_lines(past.finished)]
    first_days = _first_days(past, last_day)
    return weekly_panel(needs, first_days=first_days, last_day=last_day, calendar=calendar(session))


def _first_days(past: Past, last_day: date) -> dict[str, date | None]:
    """The day of the first finished job that each stocked part could have been fitted on."""
    first: dict[str, date] = {}
    for job in past.finished:
        if job.date <= last_day:
            first[job.family] = min(job.date, first.get(job.family, job.date))
    first[EVERY_FAMILY] = min(first.values(), default=date.max)
    fits = _families(past)
    stocked = [part for part in past.catalogue.parts if past.groups[part] == part]
    days = {part: min(first.get(family, date.max) for family in fits[part] or {EVERY_FAMILY}) for part in stocked}
    return {part: None if day == date.max else day for part, day in days.items()}


def _families(past: Past) -> defaultdict[str, set[str]]:
    """The families each stock group fits, by any of its numbers."""
    fits: defaultdict[str, set[str]] = defaultdict(set)
    for row in past.catalogue.fits:
        if row.part in past.groups:
            fits[past.groups[row.part]].add(row.family)
    return fits
