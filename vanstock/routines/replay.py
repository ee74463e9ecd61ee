"""The firm's own past gone through again, week by week, under several ways to set the levels: what each comes to.

Each week's levels rest on what was known by then: the jobs finished before, no bookings; the catalogue is today's.
Every way starts with its shelves at their max. Gathers the past, calls the pure rooms, returns values. Called by
`cli.replay`.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from functools import cache
from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

from vanstock.errors import BadValue
from vanstock.kit.levels import choose, steady
from vanstock.kit.minmax import Buying, min_and_max
from vanstock.kit.optimism import to_ask
from vanstock.kit.policies import covering
from vanstock.kit.replay import Firm, Item, Levels, Outcome, Stretch, Terms, play
from vanstock.kit.reviews import reviews
from vanstock.ledger import reading
from vanstock.ledger.jobrows import missed_between
from vanstock.ledger.worth import jobs_known_from
from vanstock.model import Forecast, Supplier
from vanstock.needs.returns import return_visits
from vanstock.quantity import MONEY_SCALE, PRICE_SCALE, format_money, round_half_up, unit
from vanstock.routines.coming import Coming, comes_after, coming
from vanstock.routines.forecasts import forecast_all
from vanstock.routines.levels import bounds_of
from vanstock.routines.past import MANY_JOBS, Past, group_supply, known_on, read_past, standing_for_all
from vanstock.routines.session import Session
from vanstock.routines.settings import calendar, level_change_pays, review_day, target
from vanstock.workdays import week_start

if TYPE_CHECKING:
    from vanstock.needs.mapping import PartMap

JOBS_DRAWN = 4_000
THUMB = 2.5
"""The rule of thumb: so many times the average use of the last half year over review and lead time."""
_THUMB_WEEKS = 26
_WEEKS_BEFORE, _LEAST_WEEKS = 13, 4
_FEW_JOBS, _FEW_WEEKS_BEFORE = 100, 26
_SURENESS = (
    0.5, 0.6, 0.7, 0.75, 0.8, 0.825, 0.85, 0.875, 0.9, 0.91, 0.92, 0.93, 0.94, 0.95, 0.955, 0.96, 0.965, 0.97, 0.975,
    0.98, 0.9825, 0.985, 0.9875, 0.99, 0.9925, 0.995, 0.9975, 0.999,
)  # fmt: skip
"""Odds of lasting the protection interval that equal service is tried at."""
MOST_WEEKS = 520
_WEEKLY_FOR, _WEEKS_APART = 13, 4
"""A large firm's levels are set every week of so many at most; of more weeks every four."""
_WEEK = timedelta(days=7)


class Run(NamedTuple):
    """What one way to set levels came to: jobs, those finished on the first visit with what was there, those finished
    by way of a counter, second visits; pence on the shelves on average, at most, and week by week; orders, their lines,
    and carriage. What is not known of what really happened is None."""

    policy: str
    told: str
    jobs: int
    finished: int
    counter_runs: int
    second_visits: int
    average_cash: float | None = None
    peak_cash: int | None = None
    cash: tuple[float, ...] = ()
    orders: int | None = None
    lines: int | None = None
    carriage: int | None = None

    @property
    def completion(self) -> float:
        """The share of jobs finished on the first visit."""
        return self.finished / self.jobs if self.jobs else 1.0


class Replayed(NamedTuple):
    """The Mondays gone through, weeks of history before them, the ways with what each came to, the standard error of
    the completions, and why to be careful with all of it (empty: nothing)."""

    mondays: tuple[date, ...]
    weeks_before: int
    runs: tuple[Run, ...]
    standard_error: float
    warnings: tuple[str, ...]


class _Week(NamedTuple):
    """The levels of one week by way, and how each group is bought: no more, since many weeks are kept."""

    whole_job: dict[str, int]
    forecasts: Mapping[str, Forecast]
    thumb: dict[str, float]
    buying: Mapping[str, Buying]
    usable: Mapping[str, int]


class _Stretch(NamedTuple):
    """The working days of the weeks, the Mondays, and everything that happens on them."""

    dates: tuple[date, ...]
    mondays: tuple[date, ...]
    jobs: tuple[tuple[int, Mapping[str, int]], ...]
    ids: tuple[str, ...]


def weeks_there(session: Session, asked: int) -> int:
    """How many full weeks can be gone through of those asked for; raises `BadValue` like `replay`."""
    if not _LEAST_WEEKS <= asked <= MOST_WEEKS:
        raise BadValue(f"{asked} weeks cannot be gone through: ask for {_LEAST_WEEKS} to {MOST_WEEKS}")
    return min(asked, _most_weeks(session, _first_known(session)))


def times_learnt(session: Session, weeks: int) -> int:
    """How often levels are set in so many weeks, which is what takes the time: every week, but where very many jobs
    are known every few weeks of a long time."""
    return len(range(0, weeks, _every(reading.finished_count(session.ledger), weeks)))


def is_large(session: Session) -> bool:
    """Whether so many jobs are known that some of them stand for all."""
    return reading.finished_count(session.ledger) > MANY_JOBS


def _every(known: int, weeks: int) -> int:
    return _WEEKS_APART if known > MANY_JOBS and weeks > _WEEKLY_FOR else 1


def replay(session: Session, weeks: int, progress: Callable[[int], None] = lambda _: None) -> Replayed:
    """Go through the last so many full weeks; raises `BadValue` when there is too little history before them."""
    past = read_past(session)
    stretch, before = _stretch(session, past, weeks)
    firm = _firm(session, past, stretch)
    known = _learnt(session, past, stretch, progress)
    runs = (*_runs(session, firm, stretch, known), _really(session, past, firm, stretch))
    share = runs[0].completion
    error = sqrt(max(share * (1 - share), 0.0) / max(runs[0].jobs, 1))
    warnings = _warnings(before, runs[0].jobs, reading.finished_count(session.ledger), len(stretch.mondays))
    return Replayed(stretch.mondays, before, runs, error, warnings)


def _first_known(session: Session) -> date:
    first = jobs_known_from(session.ledger)
    return week_start(date.fromisoformat(first) if first else session.today)


def _most_weeks(session: Session, first: date) -> int:
    """How many weeks can be gone through with enough history before them, from the Monday of the first job on."""
    most = (week_start(session.today) - first).days // 7 - _WEEKS_BEFORE
    if most < _LEAST_WEEKS:
        raise BadValue(
            f"too little history to replay: {_WEEKS_BEFORE + _LEAST_WEEKS} full weeks of finished jobs are needed, "
            f"there are {max(most + _WEEKS_BEFORE, 0)}"
        )
    return most


def _stretch(session: Session, past: Past, asked: int) -> tuple[_Stretch, int]:
    """The last full weeks, fewer where the history before them would be too short, and the weeks before them."""
    first, end = _first_known(session), week_start(session.today)
    weeks = min(asked, _most_weeks(session, first))
    begin = end - weeks * _WEEK
    days = calendar(session)
    dates = tuple(days.working_days(begin, end))
    mondays = tuple(begin + i * _WEEK for i in range(weeks))
    second = return_visits(past.jobs, reading.used(session.ledger))
    done = [job for job in past.finished if begin <= job.date < end and job.job not in second]
    jobs = tuple((min(bisect_left(dates, job.date), len(dates) - 1), group_supply(past, job.needs)) for job in done)
    return _Stretch(dates, mondays, jobs, tuple(job.job for job in done)), (begin - first).days // 7


def _firm(session: Session, past: Past, stretch: _Stretch) -> Firm:
    items, parts = {}, past.catalogue.parts
    for group in sorted(set(past.groups.values())):
        part = parts[group]
        price = round_half_up(part.cost * MONEY_SCALE * 1000, PRICE_SCALE * unit(part.unit).scale)
        counter = bool(part.supplier) and not past.catalogue.lead_working_days(group)
        items[group] = Item(part.pack_size, price, part.supplier, comes_after(past, group), counter)
    names = {item.supplier for item in items.values()}
    suppliers = {name: past.catalogue.suppliers.get(name, Supplier(name)) for name in names}
    terms = {name: Terms(one.carriage, one.carriage_paid_over, one.least_order) for name, one in suppliers.items()}
    preferred = review_day(session)
    due = {name: reviews(one, stretch.dates, preferred) for name, one in suppliers.items()}
    return Firm(items, terms, {name: frozenset(places) for name, places in due.items()})


def _learnt(session: Session, past: Past, stretch: _Stretch, progress: Callable[[int], None]) -> list[_Week]:
    """What each way would have learnt by the Monday of each week, or by the last one on which it learnt anew."""
    from vanstock.needs.mapping import PartMap

    found: list[_Week] = []
    parts = PartMap.build(past.catalogue).remembering()
    every = _every(reading.finished_count(session.ledger), len(stretch.mondays))
    for number, monday in enumerate(stretch.mondays):
        if number % every:
            found.append(found[-1])
            continue
        found.append(_learnt_by(session, (past, parts), monday, found[-1].whole_job if found else {}))
        progress(1)
    return found


def _learnt_by(session: Session, whole: tuple[Past, PartMap], monday: date, before: Mapping[str, int]) -> _Week:
    """What each way would have learnt by a Monday. The stream, by far the largest of it, is not kept."""
    past, parts = whole
    then = session._replace(now=datetime.combine(monday, datetime.min.time()))
    known = known_on(past, monday)
    ahead = coming(then, known, jobs=JOBS_DRAWN, cases=standing_for_all(known.finished), parts=parts)
    forecasts = forecast_all(then, known, _SURENESS)
    thumb = {
        group: THUMB * sum(row.history[-_THUMB_WEEKS:]) / max(len(row.history[-_THUMB_WEEKS:]), 1)
        * row.forecast.interval_days / max(len(calendar(session).working), 1)
        for group, row in forecasts.items()
    }  # fmt: skip
    levels = _whole_job(session, ahead, len(known.finished), before)
    return _Week(levels, {group: row.forecast for group, row in forecasts.items()}, thumb, ahead.buying, ahead.usable)


def _whole_job(session: Session, ahead: Coming, known: int, before: Mapping[str, int]) -> dict[str, int]:
    bounds = bounds_of(ahead, {})
    chosen = choose(ahead.stream, bounds, completion=to_ask(target(session), known))
    return dict(steady(ahead.stream, chosen, before, pays=level_change_pays(session), bounds=bounds).levels)


def _runs(session: Session, firm: Firm, stretch: _Stretch, known: list[_Week]) -> list[Run]:
    def played(levels: Callable[[_Week], Mapping[str, int]]) -> Outcome:
        return _played(firm, stretch, [_min_max(levels(week), week) for week in known])

    whole = played(lambda week: week.whole_job)
    thumb = played(lambda week: covering(week.thumb, week.buying))

    @cache
    def alike(odds: float) -> Outcome:
        return played(lambda week: _equal_service(week, odds))

    same = _least_that(lambda odds: alike(odds).finished >= whole.finished)
    at = _SURENESS[-1] if same is None else same
    how = "the most that was tried: it finishes fewer"
    if same is not None:
        how = "found afterwards: the least tried that finishes as many" + _below(same, alike)
    aim = target(session)
    return [
        _run("whole job", f"levels for whole jobs, to finish {100 * aim:g} of 100", whole),
        _run("each part alike", f"every part at {100 * at:g} % to last, {how}", alike(at)),
        _run("each part at 95 %", "every part at 95 % to last until the next goods", alike(0.95)),
        _run("rule of thumb", f"{THUMB:g} times the average use of {_THUMB_WEEKS} weeks until the next goods", thumb),
    ]


def _below(odds: float, alike: Callable[[float], Outcome]) -> str:
    """What the next lower odds that are tried come to, in words."""
    place = _SURENESS.index(odds)
    if not place:
        return ""
    lower = _SURENESS[place - 1]
    came_to = alike(lower)
    cash = format_money(round(came_to.average_cash))
    return f"; {100 * lower:g} % finishes {100 * came_to.completion:.1f} of 100 with {cash}"


def _least_that(is_enough: Callable[[float], bool]) -> float | None:
    """The least odds of lasting, of those that are tried, that are enough, as all higher ones are taken to be; None
    where none is."""
    place = bisect_left(_SURENESS, True, key=is_enough)
    return _SURENESS[place] if place < len(_SURENESS) else None


def _equal_service(week: _Week, odds: float) -> dict[str, int]:
    need = {group: row.quantiles[odds] for group, row in week.forecasts.items()}
    return covering(need, week.buying)


def _min_max(levels: Mapping[str, int], week: _Week) -> Levels:
    how = week.buying
    return {group: min_and_max(level, how[group], most=week.usable.get(group)) for group, level in levels.items()}


def _played(firm: Firm, stretch: _Stretch, weeks: list[Levels]) -> Outcome:
    first = stretch.mondays[0]
    week_of = [(day - first).days // 7 for day in stretch.dates]
    stock = {group: high for group, (_, high) in weeks[0].items()}
    return play(firm, Stretch(len(stretch.dates), stretch.jobs, stock), lambda day: weeks[week_of[day]])


def _run(policy: str, told: str, came_to: Outcome) -> Run:
    return Run(
        policy, told, came_to.jobs, came_to.finished, came_to.counter_runs, came_to.second_visits,
        came_to.average_cash, came_to.peak_cash, tuple(map(float, came_to.cash)), came_to.orders, came_to.lines,
        came_to.carriage,
    )  # fmt: skip


def _really(session: Session, past: Past, firm: Firm, stretch: _Stretch) -> Run:
    """What really happened, as far as it was recorded: a job that lacked nothing but what a counter sells is taken to
    have been finished by way of one."""
    missed: dict[str, list[str]] = defaultdict(list)
    for job, part, _ in missed_between(session.ledger, stretch.mondays[0], session.today):
        missed[job].append(past.groups.get(part, part))
    lacked = [missed[job] for job in stretch.ids if job in missed]
    counter = sum(all(group in firm.items and firm.items[group].counter for group in groups) for groups in lacked)
    jobs = len(stretch.ids)
    return Run("what happened", "as recorded", jobs, jobs - len(lacked), counter, len(lacked) - counter)


def _warnings(weeks_before: int, jobs: int, known: int, weeks: int) -> tuple[str, ...]:
    found = []
    if weeks_before < _FEW_WEEKS_BEFORE:
        found.append(f"only {weeks_before} weeks of history came before: the first weeks' levels knew little")
    if jobs < _FEW_JOBS:
        found.append(f"only {jobs} jobs came in these weeks: too few to tell ways that differ by a few jobs apart")
    if known > MANY_JOBS:
        often = "every week" if _every(known, weeks) == 1 else f"every {_WEEKS_APART} weeks"
        found.append(f"{known} jobs are known: some stood for all in what a job takes; levels were set {often}")
    return tuple(found)
