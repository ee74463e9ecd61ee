"""The jobs that are coming, drawn against the stock: from the firm's past and bookings to a stream (see `kit.stream`).

Gathers rates, needs, reviews and lead times for the weeks ahead, and says how each part is bought. All vans and stores
are one stock, since what a job needs is carried to its van the evening before. Called by `levels`, `curve`, `replay`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from math import ceil
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from vanstock.jobneeds import JobNeeds, WeightedCase
from vanstock.kit.minmax import Buying, buying, surely_used
from vanstock.kit.reorder import orders_at
from vanstock.kit.reviews import reviews
from vanstock.kit.stream import JOBS, Ahead, Kind, Shelf, Stream, draw_stream, reviews_before
from vanstock.model import FinishedJob, Job, Supplier
from vanstock.quantity import unit
from vanstock.routines.past import Past, fitted_so_far
from vanstock.routines.session import Session
from vanstock.routines.settings import calendar, handling, review_day
from vanstock.workdays import Calendar, week_start

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from vanstock.needs.cases import CaseBook
    from vanstock.needs.mapping import PartMap

    Floats = NDArray[np.float64]

WEEKS = 13
"""Weeks ahead: near enough for bookings and closed days to count, far enough for levels to stay. So many open ones at
least, where a firm closes for longer, but none after two years."""
_FARTHEST_WEEKS = 104
SEED = 20_270_301
_MOST_WEEKS_APART = 13
_BETWEEN = "\t"


class Loss(NamedTuple):
    """Base units of a part that a count found lost (below 0: found) on a day."""

    part: str
    date: date
    qty: int


class Known(NamedTuple):
    """What is known beside jobs: losses found by counts, the day of the first count (None: nothing was counted yet),
    the quantity that each group was last ordered by, and the min and max of those pinned by hand."""

    losses: tuple[Loss, ...] = ()
    counted_since: date | None = None
    quantities: Mapping[str, int] = MappingProxyType({})
    pinned: Mapping[str, tuple[int, int]] = MappingProxyType({})


NOTHING_ELSE = Known()


class Reviews(NamedTuple):
    """When a supplier is ordered from in the weeks ahead, and every how many weeks its least order makes that."""

    dates: tuple[date, ...]
    weeks_apart: int


class Coming(NamedTuple):
    """A stream, the kind of job (family, type) behind each of its kinds, the booked jobs among it, by group how it is
    bought and the most that is surely used before it expires (left out where it keeps), the reviews by supplier, what
    the stream was drawn from, and the finished jobs that say what a job takes."""

    stream: Stream
    kinds: tuple[tuple[str, str], ...]
    booked: tuple[Job, ...]
    buying: Mapping[str, Buying]
    usable: Mapping[str, int]
    reviews: Mapping[str, Reviews]
    drawn_from: DrawnFrom
    book: CaseBook

    def never_above_its_level(self) -> Stream:
        """The same jobs, against stock that every review brings up to its level and no higher."""
        kinds, shelves, ahead, jobs = self.drawn_from
        return draw_stream(kinds, [one._replace(quantity=1) for one in shelves], ahead, seed=SEED, jobs=jobs)


class DrawnFrom(NamedTuple):
    """What a stream is drawn from, and about how many jobs."""

    kinds: Sequence[Kind]
    shelves: Sequence[Shelf]
    ahead: Ahead
    jobs: int


class Days(NamedTuple):
    """The working days of the weeks ahead in order, the week of each, how many a full week has, and the working days
    before them."""

    dates: tuple[date, ...]
    week_of: tuple[int, ...]
    full_week: int
    earlier: tuple[date, ...]


def coming(
    session: Session,
    past: Past,
    known: Known = NOTHING_ELSE,
    *,
    jobs: int = JOBS,
    cases: Sequence[FinishedJob] | None = None,
    parts: PartMap | None = None,
) -> Coming:
    """Draw the jobs of the weeks from today on, over and over, about so many in all; `cases` say what a job takes
    (None: every finished job does), `parts` the past's catalogue by component where that is known already."""
    from vanstock.needs.cases import CaseBook

    finished = past.finished if cases is None else cases
    book = CaseBook.build(finished, past.catalogue, today=session.today, parts=parts)
    days = days_ahead(session.today, calendar(session))
    names, kinds, dispersion = _kinds(session, past, book)
    numbers = {name: i for i, name in enumerate(names)}
    booked = _booked(session, past, days)
    lines = [(day, numbers.get((job.family, job.job_type), -1), _left(session, past, book, job)) for day, job in booked]
    kinds += _outside_jobs(session, past, known)
    use = _weekly_use(kinds, [needs for _, _, needs in lines])
    usable = _usable(past, use)
    how = _bought(session, past, known, use, usable)
    ahead = Ahead(days.week_of, days.full_week, dispersion, lines)
    orders = _order_days(session, past, days, (how, {group: mean for group, (mean, _) in use.items()}))
    source = DrawnFrom(kinds, _shelves(past, days, how, orders), ahead, jobs)
    stream = draw_stream(kinds, source.shelves, ahead, seed=SEED, jobs=jobs)
    return Coming(stream, names, tuple(job for _, job in booked), how, usable, orders, source, book)


def days_ahead(today: date, days: Calendar) -> Days:
    """The working days from today to the end of the last week, weeks without any left out."""
    monday, week = week_start(today), timedelta(days=7)
    ahead: dict[date, list[date]] = {}
    for number in range(_FARTHEST_WEEKS):
        if number > WEEKS and len(ahead) >= WEEKS:
            break
        begins = max(monday + number * week, today)
        if found := days.working_days(begins, monday + (number + 1) * week):
            ahead[monday + number * week] = found
    dates = tuple(day for found in ahead.values() for day in found)
    dates = dates or (days.next_working(monday + _FARTHEST_WEEKS * week),)
    places = [place for place, found in enumerate(ahead.values()) for _ in found] or [0]
    return Days(dates, tuple(places), len(days.working), days_before(today, days))


def days_before(first: date, days: Calendar) -> tuple[date, ...]:
    """The working days before a day, of its week and of the one before."""
    return tuple(days.working_days(week_start(first) - timedelta(days=7), first))


def _kinds(session: Session, past: Past, book: CaseBook) -> tuple[tuple[tuple[str, str], ...], list[Kind], float]:
    """Every kind of job (family and type) that was ever done, with what one takes and how many come in a week; and how
    much more or less than at random the jobs of a week vary."""
    from vanstock.forecast.jobs import job_rates

    done = [(f"{job.family}{_BETWEEN}{job.job_type}", job.date, 1) for job in past.finished]
    names = sorted({name for name, _, _ in done})
    counts, share = counted(session, names, done)
    rates = job_rates(counts, share)
    kinds = [(name.split(_BETWEEN)[0], name.split(_BETWEEN)[1]) for name in names]
    found = [
        Kind(book.needs_for(Job("", session.today, "", family, job_type)), float(weekly))
        for (family, job_type), weekly in zip(kinds, rates.weekly, strict=True)
    ]
    return tuple(kinds), found, rates.dispersion


def counted(
    session: Session, names: list[str], lines: list[tuple[str, date, int]], since: date | None = None
) -> tuple[Floats, Floats]:
    """What happened by name and week from `since` on (None: from the first of all), and the open share of each week."""
    from vanstock.forecast.weekly import weekly_panel

    first = min((day for _, day, _ in lines), default=None) if since is None else since
    panel = weekly_panel(
        lines, first_days=dict.fromkeys(names, first), last_day=session.today - timedelta(days=1),
        calendar=calendar(session),
    )  # fmt: skip
    return panel.need, panel.open_share


def _outside_jobs(session: Session, past: Past, known: Known) -> list[Kind]:
    """What counts find lost, as jobs of one part that draw on the stock: as often and as much as until now."""
    from vanstock.forecast.jobs import seldom_rates

    lost: dict[str, list[Loss]] = defaultdict(list)
    for row in known.losses:
        if row.part in past.groups:
            lost[past.groups[row.part]].append(row)
    sizes = {group: sum(row.qty for row in rows) for group, rows in lost.items()}
    events = [(group, row.date, 1) for group, rows in lost.items() for row in rows if sizes[group] > 0 and row.qty > 0]
    names = sorted({group for group, _, _ in events})
    since = known.counted_since
    weekly = seldom_rates(*counted(session, names, events, since)).tolist() if names else []
    many = {name: sum(group == name for group, _, _ in events) for name in names}
    return [
        Kind(JobNeeds("", (WeightedCase(1.0, {name: ceil(sizes[name] / many[name])}),), (), 0.0, 0), rate, asks=False)
        for name, rate in zip(names, weekly, strict=True)
    ]


def _booked(session: Session, past: Past, days: Days) -> list[tuple[int, Job]]:
    """The jobs booked for the weeks ahead, each on its day or the next working one."""
    from bisect import bisect_left

    open_jobs = sorted((j for j in past.jobs if j.status == "booked"), key=lambda j: (j.date, j.time, j.job))
    return [
        (bisect_left(days.dates, job.date), job) for job in open_jobs if session.today <= job.date <= days.dates[-1]
    ]


def _left(session: Session, past: Past, book: CaseBook, job: Job) -> JobNeeds:
    from vanstock.needs.begun import still_needed

    return still_needed(book.needs_for(job), fitted_so_far(session, past, job))


def _weekly_use(kinds: Sequence[Kind], booked: Sequence[JobNeeds]) -> dict[str, tuple[float, float]]:
    """Base units of each group used in a full week, mean and variance: at the rates of the kinds, or by what is booked
    where that is more."""
    from vanstock.needs.marginals import mean_use

    at_rates = mean_use((kind.weekly, kind.needs) for kind in kinds)
    as_booked = mean_use((1 / WEEKS, needs) for needs in booked)
    return as_booked | {group: max(use, as_booked.get(group, use)) for group, use in at_rates.items()}


def _usable(past: Past, use: Mapping[str, tuple[float, float]]) -> dict[str, int]:
    """By group with a shelf life, the most that is surely used before it expires."""
    found = {}
    for group in set(past.groups.values()):
        part = past.catalogue.parts[group]
        if part.shelf_life_days is not None:
            weeks, whole = part.shelf_life_days / 7, unit(part.unit).scale == 1
            found[group] = surely_used(*use.get(group, (0.0, 0.0)), weeks, whole=whole)
    return found


def _bought(
    session: Session, past: Past, known: Known, use: Mapping[str, tuple[float, float]], usable: Mapping[str, int]
) -> dict[str, Buying]:
    """How each group is bought: within its shelf life, and a pinned one as its pin says."""
    costs, found = handling(session), {}
    for group in sorted(set(past.groups.values())):
        part, mean = past.catalogue.parts[group], use.get(group, (0.0, 0.0))[0]
        how = buying(part, mean, costs, before=known.quantities.get(group, 0))
        if group in usable:
            how = how.within(usable[group])
        if group in known.pinned:
            low, high = known.pinned[group]
            span = high - orders_at(low, high, how.lot)
            how = how._replace(quantity=max(span // how.step, 1) * how.step)
        found[group] = how
    return found


def _shelves(past: Past, days: Days, how: Mapping[str, Buying], orders: Mapping[str, Reviews]) -> list[Shelf]:
    """How each group is stocked, with the reviews of its supplier."""
    places = {day: place for place, day in enumerate(days.dates)}
    since: dict[tuple[str, int], list[int]] = {}
    shelves = []
    for group, one in how.items():
        supplier, wait = past.catalogue.parts[group].supplier, comes_after(past, group)
        key = supplier, wait
        if key not in since:
            since[key] = reviews_before([places[day] for day in orders[supplier].dates], wait, len(days.dates))
        shelves.append(Shelf(group, one.step, one.cash, one.quantity // one.step, since[key]))
    return shelves


def comes_after(past: Past, group: str) -> int:
    """Working days from a review until the goods are there before the day's jobs: one at least."""
    return max(past.catalogue.lead_working_days(group), 1)


def _order_days(
    session: Session, past: Past, days: Days, bought: tuple[Mapping[str, Buying], Mapping[str, float]]
) -> dict[str, Reviews]:
    """By supplier the days on which it is ordered from: one a week, or fewer where a week's use is worth less than the
    least it sends."""
    how, use = bought
    spent: dict[str, float] = defaultdict(float)
    for group, one in how.items():
        spent[past.catalogue.parts[group].supplier] += use.get(group, 0.0) / one.step * one.cash
    found = {}
    for name in spent:
        supplier = past.catalogue.suppliers.get(name, Supplier(name))
        weekly = reviews(supplier, days.dates, review_day(session), earlier=days.earlier)
        apart = ceil(supplier.least_order / spent[name]) if spent[name] > 0 else 1
        apart = min(max(apart, 1), _MOST_WEEKS_APART)
        found[name] = Reviews(tuple(days.dates[place] for place in weekly[::apart] or [0]), apart)
    return found
