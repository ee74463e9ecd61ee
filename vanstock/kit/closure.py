"""The levels at which stock finishes most jobs for its cash: a maximum closure, solved exactly by minimum cuts. Pure.

Each job of a stream needs each of its parts at some level or above; a level of a part costs cash and needs the levels
below it. Worth one job at so much cash, the best set of levels is a closure of greatest profit:

    maximise  worth x jobs finished - cash   over levels of all parts

(Picard, Management Science 22, 1976, for the cut; Mamer and Smith, Management Science 28, 1982, for the kit.) As the
worth of a job rises the best sets grow, each holding the one before (Gallo, Grigoriadis and Tarjan, SIAM Journal on
Computing 18, 1989), so the whole curve of cash against finished jobs is found between ever nearer pairs of sets, each
time on what lies between them alone. Cash and worths are whole numbers, and the cuts are exact: what is too large for
the solver is cut first in coarse units, then the remainder in fine ones. Called by `kit.stream` and the routines.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

_LARGEST = 2**29
"""The most that the solver is given to flow: it counts in 32 bits, and an edge with its opposite takes up to twice."""
_TRIED = 8
"""Open jobs, cheapest first, among which one is chosen when levels are filled in between corners."""


class Wanted(NamedTuple):
    """What each job of a stream needs: row by row a job, a part and the least level (1 or more steps) that covers it;
    at most one row for a job and a part. `cash` is what one step of each part costs, in whole pence, above zero, and
    `begun` what its first step costs besides, zero or more."""

    job: Ints
    part: Ints
    level: Ints
    jobs: int
    cash: Ints
    begun: Ints

    def cost(self, levels: Ints) -> int:
        """The pence that a set of levels costs."""
        return int((levels * self.cash + (levels > 0) * self.begun).sum())


class Point(NamedTuple):
    """A set of levels in steps by part, the jobs of the stream that it finishes, and its cash in pence."""

    levels: tuple[int, ...]
    finished: int
    cash: int


def point(wanted: Wanted, levels: Ints) -> Point:
    """What a set of levels finishes and costs."""
    import numpy as np

    short = np.zeros(wanted.jobs, dtype=np.bool_)
    short[wanted.job[wanted.level > levels[wanted.part]]] = True
    return Point(tuple(levels.tolist()), int((~short).sum()), wanted.cost(levels))


def best(wanted: Wanted, worth: int, *, at_cash: int = 1) -> Point:
    """The levels of greatest `worth` x jobs finished - `at_cash` x cash; the least of those that tie. One cut by
    itself: the program goes through `curve` and `around`; this is how tests and measurements try the cut."""
    import numpy as np

    nothing, most = np.zeros(len(wanted.cash), dtype=np.int64), _most(wanted)
    return point(wanted, _between(wanted, nothing, most, (worth, at_cash)))


def curve(wanted: Wanted) -> list[Point]:
    """Every corner of the lower hull of cash against jobs finished, from no stock to all that any job needs."""
    import numpy as np

    low = point(wanted, np.zeros(len(wanted.cash), dtype=np.int64))
    high = point(wanted, _most(wanted))
    found = [low]
    waiting = [(low, high)]
    while waiting:
        left, right = waiting.pop()
        middle = _corner(wanted, left, right)
        if middle is None:
            if right.finished > left.finished:
                found.append(right)
        else:
            waiting += [(middle, right), (left, middle)]
    return found


def around(wanted: Wanted, enough: Callable[[Point], bool], *, start: Ints | None = None) -> tuple[Point, Point]:
    """The two neighbouring corners of the curve of which the upper is the first that is `enough`, found by a few cuts;
    twice the last where none is, twice the first where that is. What is more must be enough too. The curve begins with
    the levels `start`, with none when they are not given."""
    import numpy as np

    lowest = np.zeros(len(wanted.cash), dtype=np.int64) if start is None else start
    left = point(wanted, lowest)
    right = point(wanted, np.maximum(_most(wanted), lowest))
    if enough(left) or not enough(right):
        end = left if enough(left) else right
        return end, end
    while (middle := _corner(wanted, left, right)) is not None:
        left, right = (left, middle) if enough(middle) else (middle, right)
    return left, right


def _corner(wanted: Wanted, left: Point, right: Point) -> Point | None:
    """A point below the line from `left` to `right`, the furthest; None when there is none."""
    import numpy as np

    jobs, cash = right.finished - left.finished, right.cash - left.cash
    if jobs <= 1:
        return None
    low, high = np.array(left.levels, dtype=np.int64), np.array(right.levels, dtype=np.int64)
    found = point(wanted, _between(wanted, low, high, (cash, jobs)))
    gained = (found.finished - left.finished) * cash - (found.cash - left.cash) * jobs
    return found if gained > 0 else None


def _most(wanted: Wanted) -> Ints:
    import numpy as np

    most = np.zeros(len(wanted.cash), dtype=np.int64)
    np.maximum.at(most, wanted.part, wanted.level)
    return most


def _between(wanted: Wanted, low: Ints, high: Ints, prices: tuple[int, int]) -> Ints:
    """The best levels between two sets of which the first is held anyway, for (worth of a job, price of cash)."""
    import numpy as np

    beyond = np.zeros(wanted.jobs, dtype=np.bool_)
    beyond[wanted.job[wanted.level > high[wanted.part]]] = True
    open_rows = np.flatnonzero((wanted.level > low[wanted.part]) & ~beyond[wanted.job])
    if not len(open_rows):
        return low
    steps = _Steps.of(wanted, open_rows, low)
    chosen = _closure(steps, wanted, open_rows, prices)
    levels = low.copy()
    np.maximum.at(levels, steps.part[chosen], steps.level[chosen])
    return levels


class _Steps(NamedTuple):
    """The distinct (part, level) pairs that open jobs need, in order; what each costs above the one below it of the
    same part, and whether there is one; and the pair that each open row needs."""

    part: Ints
    level: Ints
    cash: Ints
    follows: NDArray[np.bool_]
    of_row: Ints

    @classmethod
    def of(cls, wanted: Wanted, rows: Ints, low: Ints) -> _Steps:
        import numpy as np

        key = wanted.part[rows] * (int(wanted.level.max()) + 1) + wanted.level[rows]
        _, first, of_row = np.unique(key, return_index=True, return_inverse=True)
        part, level = wanted.part[rows][first], wanted.level[rows][first]
        follows = np.zeros(len(part), dtype=np.bool_)
        follows[1:] = part[1:] == part[:-1]
        below = np.where(follows, np.concatenate([[0], level[:-1]]), low[part])
        cash = (level - below) * wanted.cash[part] + (below == 0) * wanted.begun[part]
        return cls(part, level, cash, follows, of_row)


def _closure(steps: _Steps, wanted: Wanted, rows: Ints, prices: tuple[int, int]) -> NDArray[np.bool_]:
    """Which steps are worth having: the source side of a minimum cut, the smallest."""
    import numpy as np

    job_ids, job_of_row = np.unique(wanted.job[rows], return_inverse=True)
    jobs, count = len(job_ids), len(steps.part)
    source, sink = 0, jobs + count + 1
    step_node = np.arange(count) + jobs + 1
    following = np.flatnonzero(steps.follows)
    worth = np.full(jobs, prices[0], dtype=np.int64)
    cost = steps.cash * prices[1]
    endless = int(min(worth.sum(), cost.sum())) + 1
    heads = [np.zeros(jobs, dtype=np.int64), job_of_row + 1, step_node[following], step_node]
    tails = [np.arange(jobs) + 1, step_node[steps.of_row], step_node[following - 1], np.full(count, sink)]
    caps = [worth, np.full(len(rows), endless), np.full(len(following), endless), cost]
    network = _Network(np.concatenate(heads), np.concatenate(tails), np.concatenate(caps), sink + 1)
    reached = network.source_side(source, sink, endless)
    return reached[step_node]


class _Network(NamedTuple):
    """Edges from `head` to `tail` with whole capacities."""

    head: Ints
    tail: Ints
    capacity: Ints
    nodes: int

    def source_side(self, source: int, sink: int, bound: int) -> NDArray[np.bool_]:
        """The nodes that the source still reaches when no more can flow; `bound` is more than can ever flow."""
        import numpy as np
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import breadth_first_order

        shape = (self.nodes, self.nodes)
        left: Any = csr_array((self.capacity, (self.head, self.tail)), shape=shape)
        for unit in self._units(bound):
            left = self._flowed(left, source, sink, unit)
        order = breadth_first_order(left, source, return_predecessors=False)
        reached = np.zeros(self.nodes, dtype=np.bool_)
        reached[order] = True
        return reached

    def _units(self, bound: int) -> Iterator[int]:
        """Units to flow in, each finer than the one before, down to 1. What still can flow after a unit is less than
        that unit for each edge, and in the next unit it is to fit the solver."""
        unit = -(-bound // _LARGEST)
        yield max(unit, 1)
        while unit > 1:
            unit = -(-unit * len(self.head) // _LARGEST)
            yield unit

    def _flowed(self, left: Any, source: int, sink: int, unit: int) -> Any:
        """The capacities left when as much as can has flowed in whole `unit`s."""
        import numpy as np
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import maximum_flow

        scaled = left.copy()
        scaled.data = np.minimum(scaled.data // unit, _LARGEST).astype(np.int32)
        scaled.eliminate_zeros()
        flow = maximum_flow(scaled, source, sink).flow
        rest = (left - csr_array(flow).astype(np.int64) * unit).tocsr()
        rest.eliminate_zeros()
        return rest


def filled_in(wanted: Wanted, left: Point, right: Point, jobs: int) -> Point:
    """Levels between two corners of the curve that finish at least so many jobs, from the lower corner job by job.

    Each time, of the few open jobs that cost least by themselves, the one that costs least for all that are finished
    with it; of all sets tried on the way that finish enough, the cheapest. Not itself a corner: there is no better only
    among such steps.
    """
    import numpy as np

    high = np.array(right.levels, dtype=np.int64)
    now, found = left, right
    while now.finished < jobs and (tried := _one_job_more(wanted, now, high)):
        found = min([found, *(one for one in tried if one.finished >= jobs)], key=lambda one: one.cash)
        now = _cheapest_for_its_jobs(now, tried)
    return found


def filled_up(wanted: Wanted, left: Point, cash: int) -> Point:
    """Levels from some others on that cost no more than so much, as many jobs more as fit, chosen as in `filled_in`."""
    import numpy as np

    high = np.maximum(_most(wanted), np.array(left.levels, dtype=np.int64))
    now = left
    while tried := [one for one in _one_job_more(wanted, now, high) if one.cash <= cash]:
        now = _cheapest_for_its_jobs(now, tried)
    return now


def _cheapest_for_its_jobs(now: Point, tried: Sequence[Point]) -> Point:
    return min(tried, key=lambda one: ((one.cash - now.cash) / (one.finished - now.finished), one.cash))


def _one_job_more(wanted: Wanted, now: Point, high: Ints) -> Sequence[Point]:
    """The levels that finish one of the open jobs that cost least by themselves."""
    import numpy as np

    levels = np.array(now.levels, dtype=np.int64)
    beyond = np.zeros(wanted.jobs, dtype=np.bool_)
    beyond[wanted.job[wanted.level > high[wanted.part]]] = True
    rows = np.flatnonzero((wanted.level > levels[wanted.part]) & ~beyond[wanted.job])
    if not len(rows):
        return []
    part = wanted.part[rows]
    more = (wanted.level[rows] - levels[part]) * wanted.cash[part] + (levels[part] == 0) * wanted.begun[part]
    cost = np.bincount(wanted.job[rows], more, wanted.jobs)
    open_jobs = np.unique(wanted.job[rows])
    cheapest = open_jobs[np.argsort(cost[open_jobs], kind="stable")[:_TRIED]]
    found = []
    for job in cheapest.tolist():
        raised = levels.copy()
        mine = rows[wanted.job[rows] == job]
        np.maximum.at(raised, wanted.part[mine], wanted.level[mine])
        found.append(point(wanted, raised))
    return found
