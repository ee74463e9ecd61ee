"""Why a part's forecast and levels are what they are: now, a week ago, and when past lists were made.

The forecast of a week ago is worked out again from the history up to then; what past lists rested on is read back
from the ledger (see `ledger.basis`), where `keep_basis` puts it. Called by `cli.forecast`, `cli.levels` and
`cli.reorder`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import date, timedelta

from vanstock.errors import VanstockError
from vanstock.ledger import basis
from vanstock.ledger.basis import Basis as Basis
from vanstock.ledger.file import open_ledger, writing
from vanstock.model import Forecast, MinMax, Part
from vanstock.routines.forecasts import PartForecast, forecast_panel, review_days
from vanstock.routines.levels import plan_levels
from vanstock.routines.naming import find_part
from vanstock.routines.past import Past, known_on, read_past
from vanstock.routines.session import Session
from vanstock.routines.settings import calendar, target
from vanstock.workdays import week_start

_WEEK = timedelta(days=7)
FEW_WEEKS = 8
"""Below so many weeks with need, most of what the spread rests on is other parts' (see `forecast.spread`)."""


@dataclass(frozen=True, slots=True)
class Coming:
    """The mean need of the working days that a protection interval has in one week, in base units."""

    monday: date
    days: int
    mean: float


@dataclass(frozen=True, slots=True)
class Figures:
    """What was forecast of a part and the levels from it, with the history up to the day before `today`."""

    today: date
    row: PartForecast
    level: MinMax
    path: tuple[float, ...]
    """The mean week as it was smoothed after each week of the history, in base units."""


@dataclass(frozen=True, slots=True)
class Why:
    """The figures of a part now and a week ago (None when it had no history yet), and what they rest on.

    `adi` is weeks per week with need (infinite for a part never needed), `cv2` the squared coefficient of
    variation of the needs; `last_day` is the end of the protection interval.
    """

    now: Figures
    before: Figures | None
    adi: float
    cv2: float
    coming: tuple[Coming, ...]
    last_day: date
    target: float

    @property
    def borrowed(self) -> bool:
        """Whether most of the spread comes from other parts, because this one has few weeks with need."""
        return self.now.row.forecast.weeks_with_need < FEW_WEEKS


def why(session: Session, text: str) -> Why:
    """Everything the forecast of one part rests on; raises `NotFound` or `Ambiguous`."""
    import numpy as np

    from vanstock.forecast.classes import interval_and_variation

    past = read_past(session)
    part = past.groups[find_part(session, text).part]
    now = _figures(session, past, part)
    then = session._replace(now=session.now - _WEEK)
    before = _figures(then, known_on(past, then.today), part)
    adi, cv2 = interval_and_variation(np.array(now.row.history))
    coming, last_day = _coming(session, now.row.forecast)
    return Why(now, before if before.row.history else None, adi, cv2, coming, last_day, target(session))


def _figures(session: Session, past: Past, part: str) -> Figures:
    from vanstock.forecast.candidates import CANDIDATES, Candidate, rates
    from vanstock.routines.series import need_panel

    panel = need_panel(session, past)
    row = forecast_panel(session, past, panel)[part]
    path: tuple[float, ...] = ()
    if row.history:
        chosen = CANDIDATES.index(Candidate(row.forecast.method, row.forecast.constants))
        place = panel.parts.index(part)
        smoothed = rates(panel.need[place : place + 1], panel.open_share)[chosen, 0]
        path = tuple(smoothed[-len(row.history) :].tolist())
    return Figures(session.today, row, plan_levels(session, past).levels[part], path)


def _coming(session: Session, found: Forecast) -> tuple[tuple[Coming, ...], date]:
    """The mean need by week from tomorrow to the end of the protection interval, and its last day."""
    days = calendar(session)
    day, counted = session.today, Counter[date]()
    for _ in range(found.interval_days):
        day = days.next_working(day)
        counted[week_start(day)] += 1
    a_day = found.weekly_mean / review_days(session)
    return tuple(Coming(monday, count, count * a_day) for monday, count in counted.items()), day


def bases(session: Session, forecasts: Mapping[str, PartForecast], wanted: Mapping[str, MinMax]) -> tuple[Basis, ...]:
    """What a list made now rests on, part by part."""
    at = session.now.astimezone().isoformat(timespec="seconds")
    return tuple(Basis(at, wanted[part], row.forecast) for part, row in forecasts.items())


def keep_basis(session: Session, rows: Iterable[Basis]) -> str:
    """Keep in the ledger what a list rested on, in one transaction; why it could not be kept, or nothing.

    On a connection of its own: this is no entry of a person's, after which the day's copy would be due.
    """
    try:
        with closing(open_ledger(session.path)) as ledger, writing(ledger):
            basis.keep(ledger, rows)
    except VanstockError as error:
        return str(error)
    return ""


def past_levels(session: Session, text: str) -> tuple[Part, list[Basis]]:
    """A stocked part and what past lists rested on for it, newest first; raises `NotFound` or `Ambiguous`."""
    from vanstock.ledger.catalogue import read_catalogue
    from vanstock.model import stock_groups

    known = read_catalogue(session.ledger)
    part = known.parts[stock_groups(known)[find_part(session, text).part]]
    return part, basis.past(session.ledger, part.part)
