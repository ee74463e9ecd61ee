"""A stream of coming jobs, drawn, and the level at which each of them finds each of its parts on the shelf. Pure.

Weeks of working days repeat over and over, each time anew: booked jobs on their days, the rest of each kind at its
weekly rate. At a review, before the day's jobs, a part that would fall below its level S is ordered by its quantity Q;
the order is there some working days later. On day t the last order that has come was placed at a review r(t), after
which the position was S + U, U evenly one of 0 .. Q less a step, so a job finds its part there when

    S + U >= need of the part from r(t) up to and with this job

(periodic review in fixed quantities, position even over the quantity: Hadley and Whitin, Analysis of Inventory
Systems, 1963, ch. 5; base stock: Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. 2019, ch. 4; the whole
job: Mamer and Smith 1982). Limits: earlier jobs draw even when they are not finished; lead times are what they say;
vans and stores are one stock. Called by `routines.coming`; `closure` chooses the levels.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from vanstock.jobneeds import JobNeeds
from vanstock.kit.closure import Wanted
from vanstock.kit.draws import drawn, evenly_spread

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

JOBS = 10_000
_MOST_CELLS = 20_000_000
"""Weeks times shelves: a firm with hardly any jobs is gone through no longer than this, however few jobs are drawn."""


class Kind(NamedTuple):
    """Jobs of one kind: what each takes, and how many come in a full week. Use that is no job, like what counts find
    lost, draws on the stock but does not count as a job that could be finished (`asks` False)."""

    needs: JobNeeds
    weekly: float
    asks: bool = True


class Shelf(NamedTuple):
    """A group as it is stocked: base units in one step of its level, what a step costs in pence, how many steps it is
    ordered by, and for each working day of the weeks ahead the day of the review whose order is the last to have come
    (below 0: before the first)."""

    group: str
    step: int
    cash: int
    quantity: int
    since: Sequence[int]


class Ahead(NamedTuple):
    """The working days ahead: the week of each, how many a full week has, how much more or less than at random the
    jobs of a week vary (variance over mean), and booked jobs by (day, kind of job, needs)."""

    week_of_day: Sequence[int]
    days_in_full_week: int
    dispersion: float
    booked: Sequence[tuple[int, int, JobNeeds]] = ()


class Stream(NamedTuple):
    """What each drawn job wants of each shelf, in steps; which kind each job is (below 0: a booked one, counted from
    minus one down) and on which day it comes; what is used of each shelf in a week, with its variance, in base units.
    """

    shelves: tuple[Shelf, ...]
    wanted: Wanted
    kind: Ints
    day: Ints
    weekly_mean: Floats
    weekly_variance: Floats


def reviews_before(orders: Sequence[int], comes_after: int, days: int) -> list[int]:
    """For each working day the day of the last review whose order has come by then, `comes_after` working days later;
    weeks repeat, so that before the first it is one of the pass before (below 0).

    >>> reviews_before([4, 9], 2, 10)
    [-6, -1, -1, -1, -1, -1, 4, 4, 4, 4]
    """
    turns = range(-(comes_after // days) - 2, 1)
    every = sorted({turn * days + day for turn in turns for day in orders})
    return [max(day for day in every if day + comes_after <= today) for today in range(days)]


def draw_stream(
    kinds: Sequence[Kind], shelves: Sequence[Shelf], ahead: Ahead, *, seed: int, jobs: int = JOBS
) -> Stream:
    """Draw about so many jobs; the same seed always gives the same stream."""
    import numpy as np

    rng = np.random.default_rng(seed)
    weeks, days = max(ahead.week_of_day) + 1, len(ahead.week_of_day)
    weekly = sum(kind.weekly for kind in kinds if kind.asks) + len(ahead.booked) / weeks
    passes = max(1, round(min(jobs / (weekly * weeks), _MOST_CELLS / (weeks * len(shelves) + 1)))) if weekly > 0 else 1
    day, kind = _arrivals(kinds, ahead, passes, rng)
    place = {shelf.group: i for i, shelf in enumerate(shelves)}
    rows = _needs_of(kinds, ahead, kind, place, rng)
    level = _level(rows, day, shelves, days, rng)
    known = [needs.known for _, _, needs in ahead.booked]
    asks = np.array([one.asks for one in kinds] + known[::-1], dtype=np.bool_)[kind]
    mean, variance = _by_week(rows, day, ahead, (len(shelves), passes))
    return Stream(tuple(shelves), _asked(rows, level, asks, shelves), kind[asks], day[asks], mean, variance)


def _arrivals(kinds: Sequence[Kind], ahead: Ahead, passes: int, rng: np.random.Generator) -> tuple[Ints, Ints]:
    """Day and kind of every job in order; a booked one's kind is minus one minus its place among the booked."""
    import numpy as np

    week_of_day = np.array(ahead.week_of_day)
    days = len(week_of_day)
    first = np.searchsorted(week_of_day, np.arange(week_of_day[-1] + 1))
    length = np.bincount(week_of_day)
    mean = np.outer(length / ahead.days_in_full_week, [kind.weekly for kind in kinds])
    _take_off_booked(mean, ahead, np.array([kind.asks for kind in kinds], dtype=np.bool_))
    totals = _counts(np.tile(mean.sum(axis=1), passes), ahead.dispersion, rng)
    weeks = np.repeat(np.arange(len(totals)), totals)
    within, turn = weeks % len(length), weeks // len(length)
    day = turn * days + first[within] + (rng.random(len(weeks)) * length[within]).astype(np.int64)
    edges = np.cumsum(mean, axis=1)
    picked = (evenly_spread(rng, len(weeks))[:, None] * edges[within, -1:] >= edges[within]).sum(axis=1)
    kind_of = np.minimum(picked, max(len(kinds) - 1, 0))
    booked_day = [turn * days + at for turn in range(passes) for at, _, _ in ahead.booked]
    booked_kind = [-1 - i for _ in range(passes) for i in range(len(ahead.booked))]
    every_day = np.concatenate([day, np.array(booked_day, dtype=np.int64)])
    every_kind = np.concatenate([kind_of, np.array(booked_kind, dtype=np.int64)])
    order = np.argsort(every_day, kind="stable")
    return every_day[order], every_kind[order]


def _take_off_booked(mean: Floats, ahead: Ahead, asks: NDArray[np.bool_]) -> None:
    """Take the jobs booked in a week off those forecast for it: off their own kind first, the rest off all kinds."""
    for at, kind, _ in ahead.booked:
        week = mean[ahead.week_of_day[at]]
        own = min(1.0, float(week[kind])) if kind >= 0 else 0.0
        if kind >= 0:
            week[kind] -= own
        others = float(week[asks].sum())
        if others > 0:
            week[asks] *= max(0.0, 1 - (1 - own) / others)


def _counts(mean: NDArray[np.float64], dispersion: float, rng: np.random.Generator) -> Ints:
    """Jobs of each week: binomial below, Poisson at, negative binomial above a variance equal to the mean."""
    import numpy as np

    if dispersion < 0.95:
        tries = np.ceil(mean / (1 - dispersion)).astype(np.int64)
        return rng.binomial(tries, np.where(tries > 0, mean / np.maximum(tries, 1), 0.0))
    if dispersion > 1.05:
        return rng.poisson(rng.gamma(np.maximum(mean / (dispersion - 1), 1e-12), dispersion - 1))
    return rng.poisson(mean)


def _needs_of(
    kinds: Sequence[Kind],
    ahead: Ahead,
    kind_of: Ints,
    place: Mapping[str, int],
    rng: np.random.Generator,
) -> tuple[Ints, Ints, Ints]:
    """Rows of job, shelf and base units, one for each job and shelf that it needs, in that order."""
    import numpy as np

    jobs: list[Ints] = []
    shelves: list[Ints] = []
    units: list[Ints] = []
    needs = {i: kind.needs for i, kind in enumerate(kinds)} | {-1 - i: n for i, (_, _, n) in enumerate(ahead.booked)}
    for number in sorted(needs):
        mine = np.flatnonzero(kind_of == number)
        if not len(mine) or not needs[number].known:
            continue
        for group, parts in drawn(needs[number], rng, len(mine), evenly=True).items():
            for index, qty in parts if group in place else ():
                jobs.append(mine[index])
                shelves.append(np.full(len(index), place[group]))
                units.append(qty)
    if not jobs:
        return (np.zeros(0, dtype=np.int64),) * 3
    key = np.concatenate(shelves) * len(kind_of) + np.concatenate(jobs)
    both, where = np.unique(key, return_inverse=True)
    total = np.bincount(where, np.concatenate(units)).astype(np.int64)
    return both % len(kind_of), both // len(kind_of), total


def _level(
    rows: tuple[Ints, Ints, Ints], day: Ints, shelves: Sequence[Shelf], days: int, rng: np.random.Generator
) -> Ints:
    """The level that each row needs, in steps: all that was needed since the review of the last order that came, less
    what that order left above the level; one at least."""
    import numpy as np

    job, shelf, units = rows
    since = np.array([list(one.since) for one in shelves], dtype=np.int64).reshape(len(shelves), days)
    when = day[job]
    begins = when - when % days + since[shelf, when % days]
    longest = int(day[-1]) + 2 + days if len(day) else 1
    sums = np.concatenate([[0], np.cumsum(units)])
    from_row = np.searchsorted(shelf * longest + when, shelf * longest + np.maximum(begins, 0))
    needed = sums[1:] - sums[from_row]
    step = np.array([one.step for one in shelves], dtype=np.int64)
    quantity = np.array([one.quantity for one in shelves], dtype=np.int64)
    earliest = int(begins.min(initial=0))
    _, review = np.unique(shelf * (longest - earliest) + begins - earliest, return_inverse=True)
    above = (rng.random(int(review.max(initial=-1)) + 1)[review] * quantity[shelf]).astype(np.int64)
    level: Ints = np.maximum(-(-needed // step[shelf]) - above, 1)
    return level


def _asked(rows: tuple[Ints, Ints, Ints], level: Ints, asks: NDArray[np.bool_], shelves: Sequence[Shelf]) -> Wanted:
    """The rows of jobs alone, the jobs numbered anew."""
    import numpy as np

    job, shelf, _ = rows
    kept = asks[job]
    number = np.cumsum(asks) - 1
    cash = np.array([one.cash for one in shelves], dtype=np.int64)
    begun = cash * np.array([one.quantity - 1 for one in shelves], dtype=np.int64)
    return Wanted(number[job[kept]], shelf[kept], level[kept], int(asks.sum()), cash, begun)


def _by_week(rows: tuple[Ints, Ints, Ints], day: Ints, ahead: Ahead, shape: tuple[int, int]) -> tuple[Floats, Floats]:
    """Mean and variance of the base units used of each shelf in a week as long as they are on average."""
    import numpy as np

    job, shelf, units = rows
    shelves, passes = shape
    week_of_day = np.array(ahead.week_of_day)
    weeks = (int(week_of_day[-1]) + 1) * passes
    week = day // len(week_of_day) * (int(week_of_day[-1]) + 1) + week_of_day[day % len(week_of_day)]
    sums = np.bincount(shelf * weeks + week[job], units, shelves * weeks).reshape(shelves, weeks)
    return sums.mean(axis=1), sums.var(axis=1)
