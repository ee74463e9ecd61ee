"""How many jobs each level's neighbours are worth, chosen by held-out log score on the firm's own jobs. Pure.

The later finished jobs are cut into blocks; each block is foretold from the jobs before it alone, by the levels and
the formula that `cases` uses, and scored by the logarithm of the probability given to what each job took and did not
take, component by component. The worths start from those that served many made-up firms and move, one level after
the other, to what scores best here; with too few jobs to tell they stay. Called by `cases`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

from vanstock.needs.levels import HALF_LIFE_DAYS, Marks, likeness, measured_alike
from vanstock.needs.shrink import shrunken

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

TRIED = (2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
TRIED_ALIKE = (1.0, 1.5, 2.0, 4.0)
LEAST_JOBS = 60
"""Jobs foretold below which the worths stay as they are."""
_BLOCKS = 8
_FORETOLD_FROM = 0.3
_MOST_FORETOLD = 800
_MOST_PAST = 3_000
MOST_JOBS = _MOST_PAST + _MOST_FORETOLD
"""The newest jobs of a firm, which are all that its worths are learnt from."""
_LEAST_GAIN, _LEAST_GAIN_ALIKE = 1e-4, 2e-3
"""The share by which the score must be better before a worth moves, or before readings count: less is chance."""
_SURE = 0.03
"""No probability is taken as nearer to 0 or 1 than this when it is scored: the rare surprise of a part that hardly ever
is taken would else choose the worths, at the cost of parts and whole jobs that are in doubt."""


class Worths(NamedTuple):
    """What the level above is worth, in jobs, to each level, near to far; how many times more a case counts that was
    measured alike (1: readings do not matter); and how many of the firm's jobs chose all this (0: none did)."""

    code: float = 12.0
    family: float = 24.0
    other_family: float = 16.0
    job_type: float = 16.0
    alike: float = 1.0
    chosen_on: int = 0


class UsualOdds(NamedTuple):
    """The usual table for each job (row): the probability of each component (column), and its worth in jobs."""

    probability: Floats
    worth: Floats


class HeldOut(NamedTuple):
    """Jobs foretold from earlier ones, one a row: for each level, near to far and then all jobs, the faded sum of
    earlier cases by component and their number as a column; the usual table; what was taken and what can be."""

    levels: Sequence[tuple[Floats, Floats]]
    usual: UsualOdds
    taken: NDArray[np.bool_]
    can_be: NDArray[np.bool_]


class History(NamedTuple):
    """Finished jobs in order of date, one a row: day numbers, marks, components taken and those that can be taken."""

    day: NDArray[np.int64]
    marks: Marks
    taken: NDArray[np.bool_]
    can_be: NDArray[np.bool_]
    usual: UsualOdds


def foretold(held: HeldOut, worths: Worths) -> Floats:
    """The probability that each job (row) takes each component (column), as the levels and the usual table give it."""
    near, family, other, job_type, every = held.levels
    there = every[1].clip(1e-12)
    above: Any = every[0] / there
    above = shrunken(*job_type, above, there.clip(max=worths.job_type))
    above = shrunken(*other, above, there.clip(max=worths.other_family))
    known = held.usual.worth[:, None]
    kind = family[1] + known
    above = shrunken(family[0] + known * held.usual.probability, kind, above, there.clip(max=worths.family))
    found: Floats = shrunken(*near, above, there.clip(min=kind).clip(max=worths.code))
    return found


def log_score(held: HeldOut, worths: Worths) -> float:
    """The mean of minus the logarithm of what was given to the truth, over all that could be taken; less is better."""
    import numpy as np

    given = foretold(held, worths)[held.can_be].clip(_SURE, 1 - _SURE)
    return float(-np.log(np.where(held.taken[held.can_be], given, 1 - given)).mean())


def held_out(history: History, *, alike: float = 1.0, half_life_days: float = HALF_LIFE_DAYS) -> HeldOut | None:
    """The later jobs of a history, each foretold from those before its block; None when they are too few."""
    import numpy as np

    jobs = len(history.day)
    first = max(int(jobs * _FORETOLD_FROM), jobs - _MOST_FORETOLD)
    if jobs - first < LEAST_JOBS:
        return None
    edges = np.unique(np.linspace(first, jobs, _BLOCKS + 1).astype(int)).tolist()
    blocks = [
        _foretold(history, slice(max(start - _MOST_PAST, 0), start), slice(start, end), (alike, half_life_days))
        for start, end in pairwise(edges)
    ]
    joined = [(np.concatenate([b[i][0] for b in blocks]), np.concatenate([b[i][1] for b in blocks])) for i in range(5)]
    tail = slice(first, jobs)
    usual = UsualOdds(history.usual.probability[tail], history.usual.worth[tail])
    return HeldOut(joined, usual, history.taken[tail], history.can_be[tail])


def _foretold(history: History, past: slice, block: slice, ways: tuple[float, float]) -> list[tuple[Floats, Floats]]:
    """For each level the faded sums and numbers of past jobs that the jobs of a block look back on."""
    import numpy as np

    alike, half_life = ways
    fade = 0.5 ** ((history.day[block.start] - history.day[past]) / half_life)
    wanted, earlier = history.marks.rows(block), history.marks.rows(past)
    weight = np.broadcast_to(fade, (len(wanted.type_of), len(fade)))
    if alike != 1:
        weight = weight * alike ** measured_alike(wanted, earlier)
    taken = history.taken[past].astype(np.float64)
    found = [weight * mask for mask in likeness(wanted, earlier)]
    return [(level @ taken, level.sum(axis=1)[:, None]) for level in [*found, weight]]


def learnt(history: History, *, start: Worths | None = None) -> Worths:
    """The worths that foretell a firm's own later jobs best; those of `start` when there are too few to tell."""
    found = start or Worths()
    held = held_out(history, alike=found.alike)
    if held is None or not held.can_be.any():
        return found
    best = log_score(held, found)
    for name in ("family", "code", "other_family", "job_type"):
        found, best = _best_of(held, found, name, best)
    if history.marks.readings:
        found = _best_alike(history, held, found)
    return found._replace(chosen_on=len(held.taken))


def _best_of(held: HeldOut, found: Worths, name: str, best: float) -> tuple[Worths, float]:
    for worth in TRIED:
        tried = _with(found, name, worth)
        score = log_score(held, tried)
        if score < best * (1 - _LEAST_GAIN):
            found, best = tried, score
    return found, best


def _with(worths: Worths, name: str, value: float) -> Worths:
    changed: Mapping[str, Any] = {name: value}
    return worths._replace(**changed)


def _best_alike(history: History, held: HeldOut, found: Worths) -> Worths:
    """How much readings in one band are worth: as much as foretells best, nothing unless it pays."""
    best = log_score(held, found)
    for alike in TRIED_ALIKE:
        tried = held_out(history, alike=alike)
        if tried and (score := log_score(tried, found)) < best * (1 - _LEAST_GAIN_ALIKE):
            found, best = found._replace(alike=alike), score
    return found
