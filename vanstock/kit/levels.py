"""The level of every part, for whole jobs: a corner of the curve of cash against jobs finished, kept steady. Pure.

A corner costs the least cash for the jobs it finishes (see `closure`). A target between two corners is filled in by
single steps. Parts pinned by hand stay at their level. Called by `routines.levels`.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from vanstock.kit import closure
from vanstock.kit.closure import Point, Wanted
from vanstock.kit.stream import Stream

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]


class Chosen(NamedTuple):
    """Levels in base units by group; the share of jobs they finish; their cash in pence; what one job of the stream
    costs, in pence, on the part of the curve where they lie (None where it ends); whether they were filled in between
    two corners."""

    levels: Mapping[str, int]
    completion: float
    cash: int
    job_costs: float | None
    filled_in: bool


class Problem(NamedTuple):
    """What is left to choose once the pinned parts have their levels: the rows of the stream by the places of free
    shelves, all jobs of the stream, those that pinned parts make impossible, and what pinned stock costs."""

    wanted: Wanted
    free: tuple[int, ...]
    pinned: Mapping[int, int]
    jobs: int
    impossible: int
    pinned_cash: int


def problem(stream: Stream, pinned: Mapping[str, int]) -> Problem:
    """The free part of a stream when some groups have so many base units whatever comes."""
    import numpy as np

    wanted, shelves = stream.wanted, stream.shelves
    fixed = {i: pinned[one.group] // one.step for i, one in enumerate(shelves) if one.group in pinned}
    level = np.full(len(shelves), -1, dtype=np.int64)
    for i, steps in fixed.items():
        level[i] = steps
    is_fixed = level[wanted.part] >= 0
    lost = np.zeros(wanted.jobs, dtype=np.bool_)
    lost[wanted.job[is_fixed & (wanted.level > level[wanted.part])]] = True
    rows = np.flatnonzero(~is_fixed & ~lost[wanted.job])
    number = np.cumsum(~lost) - 1
    free = tuple(i for i in range(len(shelves)) if i not in fixed)
    place = np.zeros(len(shelves), dtype=np.int64)
    place[list(free)] = np.arange(len(free))
    left = Wanted(
        number[wanted.job[rows]], place[wanted.part[rows]], wanted.level[rows], int((~lost).sum()),
        wanted.cash[list(free)],
    )  # fmt: skip
    cash = sum(steps * int(wanted.cash[i]) for i, steps in fixed.items())
    return Problem(left, free, fixed, wanted.jobs, int(lost.sum()), cash)


def choose(
    stream: Stream, *, completion: float | None = None, cash: int | None = None, pinned: Mapping[str, int] | None = None
) -> Chosen:
    """The least cash that finishes the share `completion` of jobs, within `cash` pence where both are given; with
    `cash` alone the most jobs for it; with neither every job of the stream."""
    asked = problem(stream, pinned or {})
    jobs = asked.jobs if completion is None else ceil(completion * asked.jobs - 1e-9)
    low, high = closure.around(asked.wanted, lambda one: one.finished >= jobs)
    found, filled = high, False
    if low.finished < jobs < high.finished:
        between = closure.filled_in(asked.wanted, low, high, jobs)
        found, filled = (between, True) if between.cash < high.cash else (high, False)
    if cash is not None and found.cash > cash - asked.pinned_cash:
        room = max(cash - asked.pinned_cash, 0)
        low, high = closure.around(asked.wanted, lambda one: one.cash > room)
        found, filled = (high if high.cash <= room else low), False
    return _chosen(stream, asked, found, _job_costs(low, high), filled=filled)


def _job_costs(low: Point, high: Point) -> float | None:
    jobs = high.finished - low.finished
    return (high.cash - low.cash) / jobs if jobs else None


def _chosen(stream: Stream, asked: Problem, found: Point, job_costs: float | None, *, filled: bool) -> Chosen:
    steps = dict(zip(asked.free, found.levels, strict=True)) | dict(asked.pinned)
    levels = {one.group: steps[i] * one.step for i, one in enumerate(stream.shelves)}
    share = found.finished / asked.jobs if asked.jobs else 1.0
    return Chosen(levels, share, found.cash + asked.pinned_cash, job_costs, filled)


class Margin(NamedTuple):
    """What a part's level does for the jobs of a stream: the share of jobs lost with one step less, the share gained
    with one more, and what a step costs in pence."""

    lost: float
    gained: float
    step: int
    cash: int


def margins(stream: Stream, levels: Mapping[str, int]) -> dict[str, Margin]:
    """For each group: what one step less would lose and one more would gain, all other levels as they are."""
    import numpy as np

    wanted, shelves = stream.wanted, stream.shelves
    steps = np.array([levels[one.group] // one.step for one in shelves], dtype=np.int64)
    short = wanted.level > steps[wanted.part]
    lacks = np.bincount(wanted.job[short], minlength=wanted.jobs)
    at_edge = (wanted.level == steps[wanted.part]) & (lacks[wanted.job] == 0) & (wanted.level > 0)
    next_up = (wanted.level == steps[wanted.part] + 1) & (lacks[wanted.job] == 1)
    lost = np.bincount(wanted.part[at_edge], minlength=len(shelves))
    gained = np.bincount(wanted.part[next_up], minlength=len(shelves))
    jobs = max(wanted.jobs, 1)
    return {
        one.group: Margin(int(lost[i]) / jobs, int(gained[i]) / jobs, one.step, int(wanted.cash[i]))
        for i, one in enumerate(shelves)
    }


def steady(stream: Stream, chosen: Chosen, before: Mapping[str, int], *, pays: int) -> Chosen:
    """The same levels, each left where it was `before` unless moving it is worth more than `pays` pence: cash saved,
    and jobs gained at what a job costs on this part of the curve. Groups are tried by name, one after the other."""
    import numpy as np

    if chosen.job_costs is None:
        return chosen
    levels = np.array([chosen.levels[one.group] // one.step for one in stream.shelves], dtype=np.int64)
    now = closure.point(stream.wanted, levels)
    for i, one in sorted(enumerate(stream.shelves), key=lambda row: row[1].group):
        old = before.get(one.group)
        if old is None or old // one.step == levels[i] or old % one.step:
            continue
        tried = levels.copy()
        tried[i] = old // one.step
        then = closure.point(stream.wanted, tried)
        worse = (now.finished - then.finished) * chosen.job_costs - (now.cash - then.cash)
        if worse <= pays:
            levels, now = tried, then
    kept = {one.group: int(levels[i]) * one.step for i, one in enumerate(stream.shelves)}
    return chosen._replace(levels=kept, completion=now.finished / max(stream.wanted.jobs, 1), cash=now.cash)
