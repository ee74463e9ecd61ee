"""The week on one screen: what to order by when, what is late, goes back, is to be counted and expires, which parts
cost second visits, and what lay unused for a year. Only reads; each line is worked out by the routine of its own
command. Called by `cli.week`.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import NamedTuple

from vanstock.ledger import catalogue
from vanstock.ledger.jobrows import missed_between
from vanstock.model import Job, Part, Supplier
from vanstock.routines import booking, counting, ordering, slow
from vanstock.routines.expiry import Expiring, aged, expired_lines, soon_lines
from vanstock.routines.oldunits import Owed
from vanstock.routines.owed import MayGoBack, owed
from vanstock.routines.reorder import reorder
from vanstock.routines.session import Session

BACK_DAYS = 14
"""Days ahead within which what must go back is told of."""
VISIT_WEEKS = 13
"""Weeks back in which second visits are counted."""
MOST_COUNTED, MOST_SLOW = 5, 3


class ToOrder(NamedTuple):
    """What the reorder list holds for a supplier: until when to order, lines, goods and carriage in pence, and what it
    is short of the least that the supplier sends."""

    supplier: Supplier
    cutoff: datetime | None
    lines: int
    total: int
    below_least: int


class Waiting(NamedTuple):
    """An order drafted and not sent: its lines, and until when to send it."""

    order_no: str
    supplier: str
    lines: int
    cutoff: datetime | None


class Late(NamedTuple):
    """Base units of a part that should have come on an order by a day that is past."""

    order_no: str
    supplier: str
    part: Part
    qty: int
    expected: date


class SecondVisit(NamedTuple):
    """A part, the jobs that lacked it in the last weeks, and the latest of them."""

    part: Part
    jobs: int
    last_job: str
    last_day: date


class Unused(NamedTuple):
    """What no job took in a year: how many parts, pence in them, and the dearest of them with their pence."""

    parts: int
    value: int
    dearest: tuple[tuple[Part, int], ...]


class Week(NamedTuple):
    """Everything the week asks for, on a day; `unused` is None while jobs are not known for a year."""

    day: date
    to_order: tuple[ToOrder, ...]
    waiting: tuple[Waiting, ...]
    late: tuple[Late, ...]
    goes_back: tuple[Owed, ...]
    may_go_back: tuple[MayGoBack, ...]
    still_owed: int
    not_finished: tuple[Job, ...]
    to_count: tuple[counting.SheetLine, ...]
    expired: tuple[Expiring, ...]
    expiring: tuple[Expiring, ...]
    second_visits: tuple[SecondVisit, ...]
    unused: Unused | None


def week(session: Session) -> Week:
    """Everything the week asks for, as of now."""
    parts = catalogue.read_catalogue(session.ledger).parts
    back = owed(session)
    until = (session.today + timedelta(days=BACK_DAYS)).isoformat()
    due = [row for one in back.suppliers for row in one.rows
           if not row.claim.sent and not (row.claim.due and row.claim.due > until)]  # fmt: skip
    ages = aged(session)
    return Week(
        session.today, _to_order(session), _waiting(session, parts), _late(session, parts), tuple(due),
        tuple(row for row in back.may_go_back if row.last_day.isoformat() <= until), back.total,
        not_finished(session), _to_count(session), expired_lines(parts, ages, session.today),
        soon_lines(parts, ages, session.today),
        _second_visits(session, parts), _unused(session),
    )  # fmt: skip


def _to_order(session: Session) -> tuple[ToOrder, ...]:
    rows = [
        ToOrder(supplier, cutoff, len(order.lines), order.total, order.below_least)
        for order, supplier, cutoff in reorder(session).orders
    ]
    return tuple(sorted(rows, key=lambda row: (row.cutoff is None, str(row.cutoff), row.supplier.supplier)))


def _waiting(session: Session, parts: Mapping[str, Part]) -> tuple[Waiting, ...]:
    known = catalogue.read_catalogue(session.ledger)
    rows = []
    for order in ordering.order_list(session):
        if order.state == "drafted":
            supplier = known.suppliers.get(order.supplier, Supplier(order.supplier))
            cutoff, _ = ordering.when(session, known, supplier, [parts[line.part] for line in order.lines])
            rows.append(Waiting(order.order_no, order.supplier, len(order.lines), cutoff))
    return tuple(rows)


def _late(session: Session, parts: Mapping[str, Part]) -> tuple[Late, ...]:
    rows = [
        Late(order.order_no, order.supplier, parts[line.part], line.to_come, date.fromisoformat(line.expected))
        for order in ordering.order_list(session)
        for line in ordering.late_lines(session, order)
    ]
    return tuple(sorted(rows, key=lambda row: (row.expected, row.order_no, row.part.part)))


def not_finished(session: Session) -> tuple[Job, ...]:
    """The jobs of past days that are booked still, in time order: what they took is out of the van and not logged."""
    return tuple(job for job in booking.still_booked(session) if job.date < session.today)


def _to_count(session: Session) -> tuple[counting.SheetLine, ...]:
    lines = counting.weekly_sheet(session, most=MOST_COUNTED).lines
    return tuple(sorted(lines, key=lambda line: line.rank))


def _second_visits(session: Session, parts: Mapping[str, Part]) -> tuple[SecondVisit, ...]:
    """The parts that jobs lacked in the last weeks, most jobs first."""
    since = session.today - timedelta(weeks=VISIT_WEEKS)
    lacking: dict[str, list[tuple[date, str]]] = {}
    for job, part, day in missed_between(session.ledger, since, session.today):
        lacking.setdefault(part, []).append((day, job))
    rows = [SecondVisit(parts[part], len(jobs), max(jobs)[1], max(jobs)[0]) for part, jobs in lacking.items()]
    return tuple(sorted(rows, key=lambda row: (-row.jobs, -row.last_day.toordinal(), row.part.part)))


def _unused(session: Session) -> Unused | None:
    found = slow.slow_stock(session)
    if max(slow.MONTHS) not in found.told:
        return None
    parts, value = found.lain(max(slow.MONTHS))
    lain = [(one.part, one.lain[max(slow.MONTHS)][1]) for one in found.slow if max(slow.MONTHS) in one.lain]
    return Unused(parts, value, tuple(sorted(lain, key=lambda row: (-row[1], row[0].part))[:MOST_SLOW]))
