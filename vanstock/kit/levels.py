"""The level of every part, for whole jobs: a corner of the curve of cash against jobs finished, kept steady. Pure.

A corner costs the least cash for the jobs it finishes (see `closure`). A target between two corners is filled in by
single steps. Parts pinned by hand stay at their level. Called by `routines.levels`.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from vanstock.kit import closure
from vanstock.kit.closure import Point, Wanted
from vanstock.kit.stream import Stream

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]


_NO_BOUND = 2**40


class Chosen(NamedTuple):
    """Levels in base units by group; the share of jobs they finish; their cash in pence; what one job of the stream
    costs, in pence, on the part of the curve where they lie (None where it ends)."""

    levels: Mapping[str, int]
    completion: float
    cash: int
    job_costs: float | None


class Problem(NamedTuple):
    """What is left to choose once the pinned parts have their levels: the rows of the stream by the places of free
    shelves, all jobs of the stream, and what pinned stock costs."""

    wanted: Wanted
    free: tuple[int, ...]
    pinned: Mapping[int, int]
    jobs: int
    pinned_cash: int


class Bounds(NamedTuple):
    """What is settled before anything is chosen, in base units by group: levels pinned by hand, and the most that
    another level may be."""

    pinned: Mapping[str, int] = MappingProxyType({})
    most: Mapping[str, int] = MappingProxyType({})


FREE = Bounds()


def problem(stream: Stream, bounds: Bounds) -> Problem:
    """The free part of a stream: without the jobs that no level within the bounds can finish."""
    import numpy as np

    wanted, shelves = stream.wanted, stream.shelves
    fixed = {i: bounds.pinned[one.group] // one.step for i, one in enumerate(shelves) if one.group in bounds.pinned}
    highest = np.array([bounds.most.get(one.group, _NO_BOUND) // one.step for one in shelves], dtype=np.int64)
    is_fixed = np.zeros(len(shelves), dtype=np.bool_)
    for i, steps in fixed.items():
        highest[i], is_fixed[i] = steps, True
    lost = np.zeros(wanted.jobs, dtype=np.bool_)
    lost[wanted.job[wanted.level > highest[wanted.part]]] = True
    rows = np.flatnonzero(~is_fixed[wanted.part] & ~lost[wanted.job])
    number, place = np.cumsum(~lost) - 1, np.cumsum(~is_fixed) - 1
    free = np.flatnonzero(~is_fixed)
    left = Wanted(
        number[wanted.job[rows]], place[wanted.part[rows]], wanted.level[rows], int((~lost).sum()),
        wanted.cash[free], wanted.begun[free],
    )  # fmt: skip
    held = np.where(is_fixed, highest, 0)
    return Problem(left, tuple(free.tolist()), fixed, wanted.jobs, wanted.cost(held))


def choose(
    stream: Stream, bounds: Bounds = FREE, *, completion: float | None = None, cash: int | None = None
) -> Chosen:
    """The least cash that finishes the share `completion` of jobs, within `cash` pence where both are given; with
    `cash` alone the most jobs for it; with neither every job of the stream.

    Bounds make some jobs impossible. What they cost is made up for by the others, but not beyond half of what these may
    miss: one pin that is too low must not make every other part dear."""
    asked = problem(stream, bounds)
    jobs = asked.wanted.jobs if completion is None else jobs_to_finish(completion, asked)
    low, high = closure.around(asked.wanted, lambda one: one.finished >= jobs)
    found = high
    if low.finished < jobs < high.finished:
        found = min(high, closure.filled_in(asked.wanted, low, high, jobs), key=lambda one: one.cash)
    if cash is not None and found.cash > cash - asked.pinned_cash:
        room = max(cash - asked.pinned_cash, 0)
        low, high = closure.around(asked.wanted, lambda one: one.cash > room)
        corner = high if high.cash <= room else low
        found = closure.filled_up(asked.wanted, corner, room)
    return _chosen(stream, asked, found, _job_costs(low, high))


def jobs_to_finish(completion: float, asked: Problem) -> int:
    """How many jobs of a stream to finish for a share of them, seeing that bounds make some impossible."""
    every = ceil(completion * asked.jobs - 1e-9)
    return min(every, ceil((1 + completion) / 2 * asked.wanted.jobs - 1e-9))


def _job_costs(low: Point, high: Point) -> float | None:
    jobs = high.finished - low.finished
    return (high.cash - low.cash) / jobs if jobs else None


def _chosen(stream: Stream, asked: Problem, found: Point, job_costs: float | None) -> Chosen:
    steps = dict(zip(asked.free, found.levels, strict=True)) | dict(asked.pinned)
    levels = {one.group: steps[i] * one.step for i, one in enumerate(stream.shelves)}
    share = found.finished / asked.jobs if asked.jobs else 1.0
    return Chosen(levels, share, found.cash + asked.pinned_cash, job_costs)


class More(NamedTuple):
    """What some more cash would buy: steps of each group that rise, in base units, the share of all jobs finished
    then, and the pence spent."""

    rises: Mapping[str, int]
    completion: float
    spent: int


def more_for(stream: Stream, levels: Mapping[str, int], cash: int, bounds: Bounds = FREE) -> More:
    """The best that so many pence more would buy beside some levels, whole jobs first looked for along the curve."""
    asked = problem(stream, bounds)
    start = in_steps(stream, levels)[list(asked.free)]
    now = closure.point(asked.wanted, start)
    low, high = closure.around(asked.wanted, lambda one: one.cash > now.cash + cash, start=start)
    corner = high if high.cash <= now.cash + cash else low
    found = closure.filled_up(asked.wanted, corner, now.cash + cash)
    rises = {
        stream.shelves[i].group: (new - old) * stream.shelves[i].step
        for i, old, new in zip(asked.free, now.levels, found.levels, strict=True)
        if new > old
    }
    return More(rises, found.finished / asked.jobs if asked.jobs else 1.0, found.cash - now.cash)


class Margin(NamedTuple):
    """What a part's level does for the jobs of a stream: the share of jobs that take the part, and of those that find
    enough of it; the share of all jobs lost with one step less, and gained with one more, all other levels as they
    are; base units of a step and what one costs in pence."""

    group: str
    taken: float
    there: float
    lost: float
    gained: float
    step: int
    cash: int


def margins(stream: Stream, levels: Mapping[str, int]) -> dict[str, Margin]:
    """For each group what its level does."""
    import numpy as np

    wanted, shelves = stream.wanted, stream.shelves
    steps = in_steps(stream, levels)
    short = wanted.level > steps[wanted.part]
    lacks = np.bincount(wanted.job[short], minlength=wanted.jobs)
    at_edge = (wanted.level == steps[wanted.part]) & (lacks[wanted.job] == 0)
    next_up = (wanted.level == steps[wanted.part] + 1) & (lacks[wanted.job] == 1)
    count = [
        np.bincount(wanted.part[rows], minlength=len(shelves)) for rows in (short | ~short, ~short, at_edge, next_up)
    ]
    jobs = max(wanted.jobs, 1)
    return {
        one.group: Margin(
            one.group,
            taken / jobs,
            there / taken if taken else 1.0,
            lost / jobs,
            gained / jobs,
            one.step,
            int(wanted.cash[i]),
        )
        for i, (one, taken, there, lost, gained) in enumerate(zip(shelves, *(c.tolist() for c in count), strict=True))
    }


def in_steps(stream: Stream, levels: Mapping[str, int]) -> Ints:
    """Levels in steps, in the order of the shelves; none where a group is not named."""
    import numpy as np

    return np.array([levels.get(one.group, 0) // one.step for one in stream.shelves], dtype=np.int64)


def outcome(stream: Stream, levels: Mapping[str, int]) -> tuple[float, int]:
    """The share of jobs that some levels finish, and their cash in pence."""
    found = closure.point(stream.wanted, in_steps(stream, levels))
    return found.finished / stream.wanted.jobs if stream.wanted.jobs else 1.0, found.cash


_LEAST_KEPT = 0.005
"""Levels left as they were may cost at most this share of jobs, all together."""


def steady(stream: Stream, chosen: Chosen, before: Mapping[str, int], *, pays: int, bounds: Bounds = FREE) -> Chosen:
    """The same levels, each left where it was `before` unless moving it is worth more than `pays` pence: cash saved,
    and jobs gained at what a job costs on this part of the curve. Groups are tried by name, one after the other; those
    that are pinned, and those that were higher than they may be now, are left out."""
    if chosen.job_costs is None:
        return chosen
    levels = in_steps(stream, chosen.levels)
    now = closure.point(stream.wanted, levels)
    least = now.finished - _LEAST_KEPT * stream.wanted.jobs
    for i, one in sorted(enumerate(stream.shelves), key=lambda row: row[1].group):
        old = before.get(one.group)
        settled = one.group in bounds.pinned or (old or 0) > bounds.most.get(one.group, _NO_BOUND)
        if old is None or settled or old // one.step == levels[i] or old % one.step:
            continue
        tried = levels.copy()
        tried[i] = old // one.step
        then = closure.point(stream.wanted, tried)
        worse = (now.finished - then.finished) * chosen.job_costs - (now.cash - then.cash)
        if worse <= pays and then.finished >= least:
            levels, now = tried, then
    kept = {one.group: int(levels[i]) * one.step for i, one in enumerate(stream.shelves)}
    return chosen._replace(levels=kept, completion=now.finished / max(stream.wanted.jobs, 1), cash=now.cash)
