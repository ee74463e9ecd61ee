"""The few lines most worth counting this week, and parts whose counts keep disagreeing. Pure.

    score    = stake x risk                            pence that are likely wrong
    stake    = value on hand + mean size of past differences, in pence whatever their sign
    risk     = 1 - (1 - rate) ^ exposure               that the ledger is wrong by now
    exposure = movements since the last count + working days since / 20      (never counted: 250 working days)
    rate     = 0.02 + 0.08 x disagreed / (counts + 2)  of going wrong in one movement, or in a month on the shelf

To count by value and use, little and often, is common practice, no source; the constants are starting estimates, no
source. That records go wrong the more often a thing moves and the less it is counted agrees with DeHoratius and Raman,
"Inventory Record Inaccuracy: An Empirical Analysis", Management Science 54(4), 2008, who found 65 % of nearly 370,000
shop records wrong; no number here is theirs. Called by `routines.counting`, and by the reports of counts for what keeps
disagreeing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

RATE = 0.02
RATE_OF_THE_WRONG = 0.08
DAYS_LIKE_A_MOVEMENT = 20
NEVER_COUNTED_DAYS = 250
LEAST_SCORE = 100
"""Pence: less is likely wrong than the two minutes of a count are worth (common practice, no source)."""
LOOK_BACK = 5
MOST_WORTH = 5
"""One line in so many is told as worth a lot, and one as moving often: the dearest fifth, as stock is commonly classed
(common practice, no source)."""
MOVES_OFTEN = 3
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
    listed = list(rows)
    dear = _top_fifth([row.value for row in listed], 1)
    busy = _top_fifth([row.movements for row in listed], MOVES_OFTEN)
    found = [_line(row, moves_often=row.movements >= busy, worth_a_lot=row.value >= dear) for row in listed]
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


def _top_fifth(figures: Sequence[int], least: int) -> int:
    """The smallest figure that is among the largest fifth and at least so much."""
    ranked = sorted(figures, reverse=True)
    return max(ranked[(len(ranked) - 1) // MOST_WORTH], least) if ranked else least


def _line(row: Countable, *, moves_often: bool, worth_a_lot: bool) -> CountLine:
    why = _why(row, moves_often=moves_often, worth_a_lot=worth_a_lot)
    return CountLine(row.part, row.place, score(row), risk(row), row.count_needed, why)


def _why(row: Countable, *, moves_often: bool, worth_a_lot: bool) -> str:
    repeated = _repeated(row)
    reasons = (
        "marked: the ledger went below zero" if row.count_needed else "",
        in_words(repeated) if repeated.disagreed >= OFTEN else _wrong(row),
        _last_counted(row),
        _moved(row, often=moves_often),
        "worth a lot" if worth_a_lot else "",
    )
    return "; ".join(reason for reason in reasons if reason)


def _wrong(row: Countable) -> str:
    wrong = _disagreed(row.past)
    return f"{wrong} of {len(row.past)} counts disagreed" if wrong else ""


def _last_counted(row: Countable) -> str:
    if row.working_days is None:
        return "never counted"
    if row.working_days <= 0:
        return "counted today"
    return f"last counted {row.working_days} working day{'' if row.working_days == 1 else 's'} ago"


def _moved(row: Countable, *, often: bool) -> str:
    times = {1: "once", 2: "twice"}.get(row.movements, f"{row.movements} times")
    since = "" if row.working_days is None else " since"
    if often:
        return f"moves often, {times}{since}"
    return f"moved {times}{since}" if row.movements else ""


def in_words(found: Repeated) -> str:
    """What keeps disagreeing and where to look, which depends on the way it goes (common practice, no source).

    >>> in_words(Repeated("A", "van", 3, 4, -3, one_way=True))
    'short at 3 of the last 4 counts: look for a leak, a wrong pack size, or parts fitted and not logged'
    """
    times = f"{found.disagreed} of the last {found.counts} counts"
    if not found.one_way:
        return f"wrong both ways at {times}: look for a part kept in two places, or two numbers taken for one another"
    if found.difference < 0:
        return f"short at {times}: look for a leak, a wrong pack size, or parts fitted and not logged"
    return f"over at {times}: look for goods not taken in, a wrong pack size, or parts logged and not fitted"
