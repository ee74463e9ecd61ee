"""Stock that no job took for long, and what of the stock may be worth less than it cost: candidates, never a decision.

A job's day counts, from before the ledger too; goods moved between van and store were not taken. Where no job took any
in a time, all that came in before it is still there: so what was bought since is not slow, however slow the rest. Stock
that an import brought in counts as there before. Whether and how far stock is written down is for the firm and its
accountant. Called by `cli.value` and `routines.yearfile`.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Mapping
from datetime import date
from typing import NamedTuple

from vanstock.kit.lots import expired
from vanstock.ledger import catalogue, worth
from vanstock.ledger.worth import Use
from vanstock.model import Part, stock_groups
from vanstock.quantity import round_half_up, show_qty
from vanstock.routines.expiry import left_on
from vanstock.routines.session import Session
from vanstock.routines.value import end_of, past_day

MONTHS = (6, 12)
NEVER = Use("", 0)


class Slow(NamedTuple):
    """A part of which no job took any for six months or longer: the day of the last job that did (None: none ever),
    and by how long (6, 12 months) base units that have lain there so long, and pence in them."""

    part: Part
    last: date | None
    lain: Mapping[int, tuple[int, int]]


class Candidate(NamedTuple):
    """So many base units of a part that may be worth less than the pence they cost, and why."""

    part: Part
    qty: int
    value: int
    why: tuple[str, ...]


class SlowStock(NamedTuple):
    """Slow movers, most money first, and candidates for writing down, at the end of a day; `known_from` is the day of
    the first finished job, and `told` the months (of 6 and 12) that jobs are known for so long."""

    day: date
    slow: tuple[Slow, ...]
    candidates: tuple[Candidate, ...]
    known_from: date | None
    told: tuple[int, ...]

    def lain(self, months: int) -> tuple[int, int]:
        """How many parts lay so many months, and pence in them."""
        found = [slow.lain[months] for slow in self.slow if months in slow.lain]
        return len(found), sum(value for _, value in found)


class _Known(NamedTuple):
    """What is known of the stock at the end of the day, by part: pooled over places, used in a year and when last."""

    day: date
    parts: Mapping[str, Part]
    held: Mapping[str, tuple[int, int]]
    uses: Mapping[str, Use]
    came: Mapping[int, Mapping[str, int]]


def slow_stock(session: Session, day: date | None = None) -> SlowStock:
    """What lay unused for six and twelve months at the end of a day, and what may have to be written down."""
    known = _known(session, past_day(session, day))
    first = worth.jobs_known_from(session.ledger)
    told = tuple(months for months in MONTHS if first and first <= _before(known, months))
    slow = [one for part in known.held if (one := _slow(known, part, told)) is not None]
    slow.sort(key=lambda one: (-max(value for _, value in one.lain.values()), one.part.part))
    return SlowStock(
        known.day, tuple(slow), _candidates(session, known, slow, told), date.fromisoformat(first) if first else None,
        told,
    )  # fmt: skip


def _known(session: Session, day: date) -> _Known:
    until = end_of(day)
    pooled: dict[str, tuple[int, int]] = {}
    for (part, _), (qty, value) in worth.held(session.ledger, until)[0].items():
        old = pooled.get(part, (0, 0))
        pooled[part] = (old[0] + qty, old[1] + value)
    return _Known(
        day,
        {part.part: part for part in catalogue.part_names(session.ledger)},
        {part: pair for part, pair in pooled.items() if pair[0] > 0},
        worth.uses(session.ledger, months_before(day, 12).isoformat(), until),
        {months: worth.came_in(session.ledger, months_before(day, months).isoformat(), until) for months in MONTHS},
    )


def _before(known: _Known, months: int) -> str:
    return months_before(known.day, months).isoformat()


def months_before(day: date, months: int) -> date:
    """The same day so many months before, or the last of its month where it has no such day.

    >>> months_before(date(2027, 8, 31), 6)
    datetime.date(2027, 2, 28)
    """
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _slow(known: _Known, part: str, told: tuple[int, ...]) -> Slow | None:
    """A part's slow stock; None where a job took some in time, or all that lies there came in since."""
    last = known.uses.get(part, NEVER).last
    lain = {}
    for months in told:
        qty = known.held[part][0] - known.came[months].get(part, 0)
        if last <= _before(known, months) and qty > 0:
            lain[months] = (qty, _pence(known, part, qty))
    return Slow(known.parts[part], date.fromisoformat(last) if last else None, lain) if lain else None


def _pence(known: _Known, part: str, qty: int) -> int:
    held, value = known.held[part]
    return round_half_up(value * qty, held)


def _candidates(session: Session, known: _Known, slow: list[Slow], told: tuple[int, ...]) -> tuple[Candidate, ...]:
    """One row a part; its amount is the most that any one reason makes, so that no unit counts twice."""
    reasons: dict[str, list[tuple[int, str]]] = {}
    for one in slow:
        if 12 in one.lain:
            reasons.setdefault(one.part.part, []).append(
                (
                    one.lain[12][0],
                    f"no job took any since {one.last}" if one.last else "no job is known to have taken any",
                )
            )
    if 12 in told:
        for part, over, why in _superseded(session, known):
            reasons.setdefault(part, []).append((over, why))
    for part, qty, why in _expired(session, known):
        reasons.setdefault(part, []).append((qty, why))
    found = []
    for part, named in reasons.items():
        qty = max(amount for amount, _ in named)
        found.append(Candidate(known.parts[part], qty, _pence(known, part, qty), tuple(why for _, why in named)))
    return tuple(sorted(found, key=lambda one: (-one.value, one.part.part)))


def _superseded(session: Session, known: _Known) -> list[tuple[str, int, str]]:
    """Old numbers of which more lies there than a year's jobs took of them and of what stands in for them."""
    groups = stock_groups(catalogue.read_catalogue(session.ledger))
    taken: dict[str, int] = {}
    for part, use in known.uses.items():
        taken[groups[part]] = taken.get(groups[part], 0) + use.qty
    found = []
    for part, (qty, _) in known.held.items():
        one = known.parts[part]
        over = qty - taken.get(groups[part], 0)
        if one.superseded_by and over > 0:
            why = f"superseded by {one.superseded_by}, {show_qty(over, one.unit)} over a year's use"
            found.append((part, over, why))
    return found


def _expired(session: Session, known: _Known) -> list[tuple[str, int, str]]:
    """What is past its use-by date, if first expired went first out."""
    found = []
    for part, remains in left_on(session, known.day).items():
        qty = expired(remains, known.day) if part in known.held else 0
        if qty:
            found.append((part, qty, f"{show_qty(qty, known.parts[part].unit)} past the use-by date"))
    return found
