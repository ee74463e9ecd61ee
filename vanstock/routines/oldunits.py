"""Old units: what a surcharge makes owed when a part comes in, and the old unit that comes off when it is fitted.

`fit` pays for importing this module: it knows no settings and asks one small question. What goes back otherwise is in
`goingback`. A claim as it is told of is here too, where every reader finds it. Called by `goodsin`, `goingback`,
`apart`, `owed`, `week` and `job`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from itertools import count
from typing import NamedTuple

from vanstock.ledger.claims import Claim, claims, claims_made
from vanstock.ledger.orderrows import Owing, rows_of
from vanstock.model import Entry, Part
from vanstock.quantity import unit, value_of
from vanstock.routines.session import Session

OLD_UNIT = "old unit"
_MOST_APART = 24
"""More pieces than that in one delivery share a claim: nobody hands them back one by one."""


class OldUnit(NamedTuple):
    """An old unit that came off a job: its claim, part and supplier, what is owed for it, the last day to send it."""

    claim: str
    part: str
    supplier: str
    amount: int
    due: str


class Owed(NamedTuple):
    """A claim with its part, and whether its last day passed before it was sent."""

    claim: Claim
    part: Part
    overdue: bool


def told_of(claim: Claim, part: Part, today: date) -> Owed:
    """A claim as it is told on a day."""
    late = bool(claim.due) and claim.due < today.isoformat() and not claim.sent and not claim.closed
    return Owed(claim, part, late)


def claim_numbers(session: Session) -> Iterator[str]:
    """The numbers of claims from the next one on: R0001 and so on."""
    return (f"R{number:04}" for number in count(claims_made(session.ledger) + 1))


def charged(part: Part, qty: int, owed: Owing, numbers: Iterator[str]) -> list[Owing]:
    """The claims that the surcharge on so many base units makes, alike to `owed`: one for each old unit, as each goes
    back by itself; none without a surcharge."""
    whole = unit(part.unit).scale
    pieces = qty // whole if whole == 1 and qty <= _MOST_APART else 1
    amount = value_of(qty // pieces, part.unit, part.surcharge * 100) if qty and part.surcharge else 0
    if amount <= 0:
        return []
    return [owed._replace(claim=next(numbers), qty=qty // pieces, amount=amount) for _ in range(pieces)]


def taken_off(session: Session, job: str, fitted: Iterable[tuple[Part, int]]) -> tuple[Owing, ...]:
    """The steps of old units that come off a job when parts are fitted: the oldest claims of each part that are still
    at owed, as many as were fitted; none for a part without a surcharge, and none invented."""
    found: list[Owing] = []
    for part, qty in fitted:
        if part.surcharge:
            found += _oldest(session, job, part.part, qty)
    return tuple(found)


def _oldest(session: Session, job: str, part: str, left: int) -> Iterator[Owing]:
    for claim in claims(session.ledger, part):
        if (claim.kind, claim.step) == (OLD_UNIT, "owed") and claim.qty <= left:
            left -= claim.qty
            yield step_of(session, claim, "taken off")._replace(job=job)


def step_of(session: Session, claim: Claim, step: str, amount: int = 0, day: str = "") -> Owing:
    """The next step of a claim, of today or a day that was said."""
    when = day or session.today.isoformat()
    return Owing(claim.claim, claim.kind, claim.supplier, claim.part, claim.qty, amount, claim.order_no, claim.job,
                 claim.due, step, when, claim.place, claim.why)  # fmt: skip


def came_off(session: Session, entry: Entry, parts: Iterable[Part]) -> tuple[OldUnit, ...]:
    """The old units that came off with an entry which fitted these parts."""
    if not any(part.surcharge for part in parts):
        return ()
    owed = {claim.claim: claim for part in {part.part for part in parts} for claim in claims(session.ledger, part)}
    return tuple(
        OldUnit(row.claim, row.part, row.supplier, owed[row.claim].open_amount, row.due)
        for row in rows_of(session.ledger, entry.seq)
        if isinstance(row, Owing) and row.claim in owed
    )
