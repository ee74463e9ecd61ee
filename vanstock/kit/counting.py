"""The few lines most worth counting this week, and parts whose counts keep disagreeing. Pure.

    score    = stake x risk                            pence that are likely wrong
    stake    = value on hand + mean size of past differences, in pence whatever their sign
    risk     = 1 - (1 - rate) ^ exposure               that the ledger is wrong by now
    exposure = movements since the last count + working days since / 20      (never counted: 250 working days)
    rate     = 0.02 + 0.08 x disagreed / (counts + 2)  of going wrong in one movement, or in a month on the shelf

To count by value and use, little and often, is common practice, no source; the constants are starting estimates, no
source. That records go wrong the more often a thing moves and the less it is counted agrees with DeHoratius and Raman,
"Inventory Record Inaccuracy: An Empirical Analysis", Management Science 54(4), 2008, who found 65 % of nearly 370,000
shop records wrong; no number here is theirs. To be called by the week's routine.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

RATE = 0.02
RATE_OF_THE_WRONG = 0.08
DAYS_LIKE_A_MOVEMENT = 20
NEVER_COUNTED_DAYS = 250
LEAST_SCORE = 100
"""Pence: less is likely wrong than the two minutes of a count are worth (common practice, no source)."""
LOOK_BACK = 5
OFTEN = 3
"""A part is pointed out when so many of its last `LOOK_BACK` counts disagreed."""


class PastCount(NamedTuple):
    """What a count found more (or less, below zero) than the ledger said, in base units and pence."""

    difference: int
    value: int


class Countable(NamedTuple):
    """A part at a place: value on hand in pence, movements since its last count, its past counts from the oldest,
    working days since the last (None: never counted), and whether the ledger asks for a count."""

    part: str
    place: str
    value: int
    movements: int
    past: tuple[PastCount, ...] = ()
    working_days: int | None = None
    count_needed: bool = False


class CountLine(NamedTuple):
    """A line to count: pence that are likely wrong, the odds that the ledger is, whether it asked, and why."""

    part: str
    place: str
    score: float
    risk: float
    count_needed: bool
    why: str


class Repeated(NamedTuple):
    """Counts of a part at a place that keep disagreeing: how many of how many, the base units they came to in all, and
    whether all went one way: then use goes unlogged, or a pack is booked in wrong, rather than miscounted."""

    part: str
    place: str
    disagreed: int
    counts: int
    difference: int
    one_way: bool


def risk(row: Countable) -> float:
    """The odds that the ledger is wrong of a line by now: 0 right after a count, always below 1.

    >>> round(risk(Countable("A", "van", 5_000, 3, working_days=40)), 6)
    0.096079
    """
    days = NEVER_COUNTED_DAYS if row.working_days is None else max(row.working_days, 0)
    exposure = max(row.movements, 0) + days / DAYS_LIKE_A_MOVEMENT
    rate = RATE + RATE_OF_THE_WRONG * _disagreed(row.past) / (len(row.past) + 2)
    return float(1 - (1 - rate) ** exposure)


def stake(row: Countable) -> float:
    """Pence that are wrong if a line is: what it is worth, and what its counts have been out by."""
    sizes = [abs(count.value) for count in row.past if count.difference]
    return abs(row.value) + (sum(sizes) / len(sizes) if sizes else 0)


def score(row: Countable) -> float:
    """Pence of a line that are likely wrong by now."""
    return stake(row) * risk(row)


def worth_counting(rows: Iterable[Countable], *, most: int = 8, least: float = LEAST_SCORE) -> list[CountLine]:
    """At most so many lines to count: those the ledger asks for, then those that score at least `least` pence.

    Each by score, then by part and place; fewer, or none, when no more is worth it.
    """
    found = [_line(row) for row in rows]
    worth = [line for line in found if line.count_needed or (line.score >= least and line.score > 0)]
    return sorted(worth, key=lambda line: (not line.count_needed, -line.score, line.part, line.place))[: max(most, 0)]


def repeated_differences(rows: Iterable[Countable]) -> list[Repeated]:
    """The parts of whose last five counts three or more disagreed, the most often first, then by part and place."""
    found = [_repeated(row) for row in rows]
    often = [one for one in found if one.disagreed >= OFTEN]
    return sorted(often, key=lambda one: (-one.disagreed, one.part, one.place))


def _disagreed(past: Iterable[PastCount]) -> int:
    return sum(count.difference != 0 for count in past)


def _repeated(row: Countable) -> Repeated:
    last = row.past[-LOOK_BACK:]
    ways = {count.difference > 0 for count in last if count.difference}
    total = sum(count.difference for count in last)
    return Repeated(row.part, row.place, _disagreed(last), len(last), total, len(ways) == 1)


def _line(row: Countable) -> CountLine:
    return CountLine(row.part, row.place, score(row), risk(row), row.count_needed, _why(row))


def _why(row: Countable) -> str:
    moved = f"{row.movements} movement{'' if row.movements == 1 else 's'}"
    if row.working_days is None:
        reasons = [f"never counted, {moved}"]
    else:
        days = f"{row.working_days} working day{'' if row.working_days == 1 else 's'}"
        reasons = [f"{moved} since its count {days} ago"]
    wrong = _disagreed(row.past)
    if wrong:
        reasons.append(f"{wrong} of {len(row.past)} counts disagreed")
    if row.count_needed:
        reasons.insert(0, "count needed")
    return "; ".join(reasons)
