"""The weekly panel: what was needed of each part in each local week, and how much of the week was open. Pure.

Weeks start on Monday. Three things that look like weeks of no need are not, and are kept out of the figures:

    the weeks before a part could first have been used      NaN, not 0
    a week in which every working day was a closed day      left out; what was needed in it all the same
                                                            counts in the next open week
    closed days, and the days of the running week to come   `open_share` of the week is less than 1

It does not know what a need is (see `needs.returns`) nor which parts stand in for each other: `routines.series`
brings both. NumPy alone: adding a few thousand lines up is quicker than making a table of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from vanstock.workdays import Calendar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Lines = list[tuple[int, int, int]]


@dataclass(frozen=True, slots=True)
class WeeklyPanel:
    """Needs in base units, shape (parts, weeks), with the part numbers and the Monday of each week.

    `need` is NaN before the week a part could first have been used. `open_share`, shape (weeks,), is the
    share of each week's working days that were open and are over, above 0 and up to 1.
    """

    parts: tuple[str, ...]
    weeks: tuple[date, ...]
    need: NDArray[np.float64]
    open_share: NDArray[np.float64]


def weekly_panel(
    needs: Iterable[tuple[str, date, int]],
    *,
    first_days: Mapping[str, date | None],
    last_day: date,
    calendar: Calendar,
) -> WeeklyPanel:
    """Sum needs (part, date, base units) by week, for the parts of `first_days` in its order.

    `first_days` is the day each part could first have been used; its first need counts when that is
    earlier, and a part with neither (None) has the last week alone, as 0. Needs after `last_day` and of
    other parts are left out. The panel has no weeks when no part has a start, or no day was open yet.
    """
    import numpy as np

    parts = tuple(first_days)
    lines = _by_week(needs, {part: row for row, part in enumerate(parts)}, last_day)
    starts = _first_weeks(first_days.values(), lines, last_day)
    known = [week for week in starts if week is not None]
    mondays, share = _open_weeks(min(known), last_day, calendar) if known else ([], [])
    need = np.zeros((len(parts), len(mondays)))
    if mondays:
        _fill(need, lines, starts, np.array(mondays))
    weeks = tuple(date.fromordinal(7 * week + 1) for week in mondays)
    return WeeklyPanel(parts, weeks, need, np.array(share, dtype=np.float64))


def _week_number(day: date) -> int:
    """Weeks from Monday since the first of them: 1 January of the year 1 was a Monday."""
    return (day.toordinal() - 1) // 7


def _by_week(needs: Iterable[tuple[str, date, int]], rows: Mapping[str, int], last_day: date) -> Lines:
    """The needs as (row, week number, base units)."""
    return [(rows[p], _week_number(day), qty) for p, day, qty in needs if day <= last_day and p in rows]


def _first_weeks(first_days: Iterable[date | None], lines: Lines, last_day: date) -> list[int | None]:
    """The week number each row starts in: its first day's or its first need's; None for neither."""
    starts = [_week_number(day) if day and day <= last_day else None for day in first_days]
    for row, week, qty in lines:
        before = starts[row]
        if qty > 0 and (before is None or week < before):
            starts[row] = week
    return starts


def _open_weeks(first: int, last_day: date, calendar: Calendar) -> tuple[list[int], list[float]]:
    """The numbers of the weeks with an open day that is over, and the share of the working days that are."""
    found = [(week, _share(week, last_day, calendar)) for week in range(first, _week_number(last_day) + 1)]
    return [week for week, share in found if share], [share for _, share in found if share]


def _share(week: int, last_day: date, calendar: Calendar) -> float:
    monday = date.fromordinal(7 * week + 1)
    days = [monday + timedelta(days=day) for day in calendar.working]
    return sum(day <= last_day and day not in calendar.closed for day in days) / max(len(days), 1)


def _fill(need: NDArray[np.float64], lines: Lines, starts: list[int | None], mondays: NDArray[np.int_]) -> None:
    """Put the needs into `need`, a closed week's into the next open one or else the last, and NaN before the starts."""
    import numpy as np

    last = len(mondays) - 1
    row, week, qty = np.array(lines, dtype=np.int64).reshape(-1, 3).T
    np.add.at(need, (row, np.minimum(np.searchsorted(mondays, week), last)), qty)
    begins = [last if start is None else min(int(np.searchsorted(mondays, start)), last) for start in starts]
    need[np.arange(last + 1) < np.array(begins)[:, None]] = np.nan
