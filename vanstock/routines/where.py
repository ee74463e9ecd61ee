"""Where a part is: every place it lies, what is on order, which booked jobs may take it, what stands in for it.

Numbers that are stocked as one (superseded, or interchangeable both ways) are looked for together. Distances are not
known, so the nearest answer goes by kind of place: own van, store, a van that can spare some, a counter today, what is
on order, what could be. Reads only. Called by `cli.where`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from vanstock.ledger import catalogue, reading
from vanstock.ledger.orders import orders
from vanstock.model import Catalogue, Job, Part
from vanstock.needs.begun import still_needed
from vanstock.needs.cases import CaseBook
from vanstock.needs.marginals import marginals
from vanstock.quantity import show_qty
from vanstock.routines.expiry import aged
from vanstock.routines.naming import find_part
from vanstock.routines.past import Past, fitted_so_far, read_for_day
from vanstock.routines.rounds import next_round
from vanstock.routines.session import Session
from vanstock.routines.settings import calendar

LOOKED_AT = 200
"""Booked jobs that are gone through, the next ones first: more can belong to a fleet, and somebody is waiting."""
_MAY_TAKE = 0.05
_PROBABLY = 0.5
_MOST_ANSWERS = 4


class Lies(NamedTuple):
    """So many base units of a number at a place, of which so many have expired."""

    part: Part
    place: str
    kind: str
    qty: int
    expired: int
    count_needed: bool

    @property
    def usable(self) -> int:
        """What can be fitted."""
        return max(self.qty - self.expired, 0)


class Comes(NamedTuple):
    """So many base units of a number still to come on an order, as it stands; `expected` empty where not known."""

    part: Part
    order_no: str
    supplier: str
    state: str
    qty: int
    expected: str


class Takes(NamedTuple):
    """A booked job that may take the part: with which probability, and how much when it does."""

    job: Job
    probability: float
    qty: int


class StandsIn(NamedTuple):
    """Another number that is stocked as this one, and why."""

    part: Part
    why: str


class Where(NamedTuple):
    """Everything about where a part is. `looked_at` booked jobs were gone through of `bookings`."""

    part: Part
    stands_in: tuple[StandsIn, ...]
    lies: tuple[Lies, ...]
    comes: tuple[Comes, ...]
    takes: tuple[Takes, ...]
    looked_at: int
    bookings: int
    van: str
    nearest: tuple[str, ...]


def where(session: Session, text: str, *, van: str = "van") -> Where:
    """Where a part is, for somebody who stands by a van; raises `NotFound` or `Ambiguous`."""
    here = catalogue.place_named(session.ledger, van, "van").place
    part = find_part(session, text, place=here)
    ahead = _ahead(session)
    looked_at = ahead[:LOOKED_AT]
    past = read_for_day(session, looked_at)
    numbers = [name for name, group in past.groups.items() if group == past.groups[part.part]]
    lies, comes = _lies(session, past.catalogue, numbers), _comes(session, past.catalogue, numbers)
    takes = _takes(session, past, part, looked_at)
    found = Where(
        part, _stand_ins(past.catalogue, part, numbers), lies, comes, takes, len(looked_at), len(ahead), here, ()
    )
    return found._replace(nearest=tuple(_nearest(session, past.catalogue, found))[:_MOST_ANSWERS])


def _ahead(session: Session) -> list[Job]:
    booked = reading.booked_from(session.ledger, session.today)
    return sorted(booked, key=lambda job: (job.date, not job.time, job.time, job.job))


def _lies(session: Session, known: Catalogue, numbers: Sequence[str]) -> tuple[Lies, ...]:
    kinds = {place.place: place.kind for place in catalogue.places(session.ledger)}
    late = {name: aged(session, part=name).get(name) for name in numbers}
    found = []
    for row in reading.balances(session.ledger, numbers):
        ages = late[row.part]
        expired = ages.expired_at(session.today).get(row.place, 0) if ages else 0
        if row.qty or row.count_needed:
            found.append(Lies(known.parts[row.part], row.place, kinds[row.place], row.qty, expired, row.count_needed))
    return tuple(sorted(found, key=lambda one: (one.kind, one.place, one.part.part)))


def _comes(session: Session, known: Catalogue, numbers: Sequence[str]) -> tuple[Comes, ...]:
    found = [
        Comes(known.parts[line.part], order.order_no, order.supplier, order.shown, line.to_come, line.expected)
        for order in orders(session.ledger, only_open=True)
        for line in order.lines
        if line.part in numbers and line.to_come > 0
    ]
    return tuple(sorted(found, key=lambda one: (one.expected or "9999", one.order_no)))


def _takes(session: Session, past: Past, part: Part, jobs: Sequence[Job]) -> tuple[Takes, ...]:
    """The jobs that may take the part, in order of time; what was fitted on a job already is taken off."""
    if not jobs:
        return ()
    book, group = CaseBook.build(past.finished, past.catalogue, today=session.today), past.groups[part.part]
    component = book.parts.component_of[part.part]
    found = []
    for job in jobs:
        needs = still_needed(book.needs_for(job), fitted_so_far(session, past, job))
        line = next((one for one in marginals(needs, {group: component}) if one.group == group), None)
        if line and line.probability >= _MAY_TAKE:
            found.append(Takes(job, line.probability, line.qty))
    return tuple(found)


def _stand_ins(known: Catalogue, part: Part, numbers: Sequence[str]) -> tuple[StandsIn, ...]:
    after, found = known.chain(part.part)[1:], []
    for name in numbers:
        if name == part.part:
            continue
        if name in after:
            why = f"replaces {part.part}"
        elif part.part in known.chain(name):
            why = f"older, replaced by {known.parts[name].superseded_by}: use it up first"
        else:
            why = "interchangeable both ways"
        found.append(StandsIn(known.parts[name], why))
    return tuple(found)


def _nearest(session: Session, known: Catalogue, found: Where) -> list[str]:
    """What to do, the nearest first."""
    answers = [_here(one) for one in found.lies if one.place == found.van and one.usable]
    answers += [_at_store(one) for one in found.lies if one.kind == "store" and one.usable]
    answers += _at_vans(session, found)
    bought = _buy(session, known, found.part)
    if bought and not known.lead_working_days(known.current(found.part.part)):
        answers.append(bought)
        bought = ""
    answers += [_on_order(one) for one in found.comes]
    return answers + ([bought] if bought else [])


def _here(one: Lies) -> str:
    return f"aboard {one.place}: {show_qty(one.usable, one.part.unit)} x {one.part.part}"


def _at_store(one: Lies) -> str:
    return f"{one.place} has {show_qty(one.usable, one.part.unit)} x {one.part.part}"


def _at_vans(session: Session, found: Where) -> list[str]:
    """The other vans that have some, those that can spare most today first."""
    today: dict[str, list[Takes]] = defaultdict(list)
    for one in found.takes:
        if one.job.date == session.today:
            today[one.job.van].append(one)
    spare = {one: one.usable - _probably(today[one.place]) for one in found.lies if _other_van(one, found.van)}
    ordered = sorted(spare, key=lambda one: (-spare[one], one.place))
    return [f"{one.place} has {show_qty(one.usable, one.part.unit)} x {one.part.part}: {_own(today, one)}"
            for one in ordered]  # fmt: skip


def _other_van(one: Lies, van: str) -> bool:
    return one.kind == "van" and one.place != van and one.usable > 0


def _probably(takes: Sequence[Takes]) -> int:
    return sum(one.qty for one in takes if one.probability >= _PROBABLY)


def _own(today: Mapping[str, Sequence[Takes]], one: Lies) -> str:
    takers = today.get(one.place, ())
    if not takers:
        return "no job of its own today is likely to take it"
    named = ", ".join(f"{take.job.job} {take.job.time}".strip() for take in takers[:2])
    more = f" and {len(takers) - 2} more" if len(takers) > 2 else ""
    return f"its own today may take {show_qty(sum(take.qty for take in takers), one.part.unit)} ({named}{more})"


def _on_order(one: Comes) -> str:
    when = f"expected {one.expected}" if one.expected else "not known when"
    return f"on order {one.order_no} ({one.state}): {show_qty(one.qty, one.part.unit)} x {one.part.part}, {when}"


def _buy(session: Session, known: Catalogue, part: Part) -> str:
    """When it could come if it were ordered now."""
    current = known.parts[known.current(part.part)]
    cutoff, comes = next_round(known, current, session.now, calendar(session))
    if cutoff is None or comes is None:
        return ""
    return f"buy {current.part} from {current.supplier}: order by {_moment(cutoff)}, there {_moment(comes)}"


def _moment(at: datetime) -> str:
    return f"{at:%a %Y-%m-%d}" if at.time() == datetime.min.time() else f"{at:%a %Y-%m-%d %H:%M}"
