"""The weekly panel: needs by part and local week, zero-filled. Pure; pandas inside.

Weeks start on Monday. The running part-week is left out: it would look like a week of little need.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from vanstock.workdays import week_start

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class WeeklyPanel:
    """Needs in base units, shape (parts, weeks), with the part numbers and the Monday of each week."""

    parts: tuple[str, ...]
    weeks: tuple[date, ...]
    need: NDArray[np.float64]


def weekly_panel(
    needs: Iterable[tuple[str, date, int]], *, parts: Sequence[str], first_day: date, last_day: date
) -> WeeklyPanel:
    """Sum needs (part, date, base units) by week, from the week of `first_day` to the last one over by `last_day`.

    A week is over when `last_day` is its Sunday or later. Needs of parts not named are left out.
    """
    import pandas as pd

    weeks = _weeks(first_day, last_day)
    lines = pd.DataFrame([(p, week_start(d), q) for p, d, q in needs], columns=["part", "week", "qty"])
    table = lines.pivot_table(index="part", columns="week", values="qty", aggfunc="sum", fill_value=0)
    full = table.reindex(index=list(parts), columns=list(weeks), fill_value=0)
    return WeeklyPanel(tuple(parts), weeks, full.to_numpy(dtype="float64"))


def _weeks(first_day: date, last_day: date) -> tuple[date, ...]:
    first, end = week_start(first_day), week_start(last_day + timedelta(days=1))
    return tuple(first + step * _WEEK for step in range(max((end - first).days // 7, 0)))
