"""Setting apart what must go back: a part that failed on a job, or sound stock that nothing asks for.

A failed part is apart from everything else and no stock: it was fitted, and what it cost is on its job. Unused stock
stays where it lies until it is sent (see `goingback`, which takes every claim further). Called by `cli.owed` and
`owed`.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.ledger import catalogue, reading
from vanstock.ledger.claims import Claim, claims
from vanstock.ledger.entries import Draft
from vanstock.ledger.orderrows import Owing, rows_of
from vanstock.ledger.orders import Receipt, receipts
from vanstock.model import Entry, Part
from vanstock.quantity import format_money, show_qty, value_of
from vanstock.routines.goingback import WARRANTY, claim_named
from vanstock.routines.job import read_qty
from vanstock.routines.naming import find_job, find_part
from vanstock.routines.oldunits import OLD_UNIT, claim_numbers
from vanstock.routines.ordering import order_named
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import last_day
from vanstock.routines.stock import STORE
from vanstock.workdays import parse_date

RETURN = "return"


class Asked(NamedTuple):
    """What goes back, as typed: how much of which part; the job that a failed one came off, and whether it is one; the
    order it came on and the place where it lies, for unused stock; the last day to send it ("": worked out)."""

    part: str
    qty: str = ""
    job: str = ""
    warranty: bool = False
    order: str = ""
    place: str = ""
    by: str = ""


class SetApart(NamedTuple):
    """A new claim and what to tell."""

    entry: Entry
    claim: Claim
    part: Part
    told: tuple[str, ...]


@one_act
def goes_back(session: Session, asked: Asked, entry_id: str = "") -> SetApart:
    """Set apart what must go back: a failed part off a job, or unused stock, which leaves its place once it is sent.

    A failed part most likely came on the newest order of it received up to its job's day. Raises `BadValue` and
    `NotFound`.
    """

    def plan() -> Draft:
        _refuse_muddle(asked)
        part = find_part(session, asked.part)
        qty = read_qty(asked.qty, part)
        owed = _failed(session, asked, part, qty) if asked.warranty else _unused(session, asked, part, qty)
        if not owed.supplier:
            raise BadValue(f"{part.part} has no supplier: name one in parts.csv and import the folder")
        due = parse_date(asked.by).isoformat() if asked.by else owed.due
        return Draft(session.now, "goes back", orders=(owed._replace(due=due),), note=owed.claim)

    entry = once(session, Draft(session.now, "goes back", id=entry_id, asked=tuple(asked)), plan)
    return _apart(session, entry)


def _refuse_muddle(asked: Asked) -> None:
    if asked.warranty != bool(asked.job):
        raise BadValue("a failed part goes back with both --job JOB and --warranty; unused stock with neither")
    if asked.warranty and (asked.order or asked.place):
        raise BadValue("a failed part is no stock: leave --from and --order out, the order is found by the job")


def _failed(session: Session, asked: Asked, part: Part, qty: int) -> Owing:
    job = find_job(session, asked.job)
    came = newest_receipt(session, part.part, job.date)
    owed = _owed(session, part, qty, came, WARRANTY)
    return owed._replace(job=job.job, due="", why=f"failed, off {job.job}")


def _unused(session: Session, asked: Asked, part: Part, qty: int) -> Owing:
    place = catalogue.place_named(session.ledger, asked.place or STORE).place
    came = newest_receipt(session, part.part, session.today)
    if asked.order:
        order = order_named(session, asked.order).order_no
        came = newest_receipt(session, part.part, session.today, order)
        left = left_to_return(session, part.part, order)
        if qty > left:
            raise BadValue(f"no more than {show_qty(max(left, 0), part.unit)} of {part.part} from {order} can go back")
    return _owed(session, part, qty, came, RETURN)._replace(place=place, why="not used")


def _owed(session: Session, part: Part, qty: int, came: Receipt | None, kind: str) -> Owing:
    """What is owed for a part: what was paid for it, or its list cost when no order of it is known."""
    price = came.price if came else part.cost
    due = last_day(session, "return_days", came.day).isoformat() if came else ""
    supplier, order_no = (came.supplier, came.order_no) if came else (part.supplier, "")
    return Owing(next(claim_numbers(session)), kind, supplier, part.part, qty, value_of(qty, part.unit, price),
                 order_no, "", due, "owed", session.today.isoformat())  # fmt: skip


def newest_receipt(session: Session, part: str, until: date, order_no: str = "") -> Receipt | None:
    """The newest goods in of a part on an order, up to a day; None when there is none."""
    found = [one for one in receipts(session.ledger, part) if one.day <= until and order_no in ("", one.order_no)]
    return found[-1] if found else None


def left_to_return(session: Session, part: str, order_no: str) -> int:
    """Base units that came on an order and are not claimed as going or gone back."""
    came = sum(one.qty for one in receipts(session.ledger, part) if one.order_no == order_no)
    return came - sum(
        claim.qty for claim in claims(session.ledger, part)
        if claim.order_no == order_no and claim.place and (claim.sent or not claim.closed)
    )  # fmt: skip


def _apart(session: Session, entry: Entry) -> SetApart:
    """What an entry set apart, read back from the ledger."""
    (row,) = (row for row in rows_of(session.ledger, entry.seq) if isinstance(row, Owing))
    claim, part = claim_named(session, row.claim), find_part(session, row.part)
    told = [] if row.order_no else ["no order of it is known: the amount is its list cost"]
    if row.due and row.due < session.today.isoformat():
        told.append(f"the last day to send it was {row.due}: ask the supplier first")
    told += [f"its surcharge comes back with it: send {one.claim} ({format_money(one.open_amount)}) back too"
             for one in _surcharges(session, claim)]  # fmt: skip
    held = reading.on_hand(session.ledger, row.part, row.place) if row.place else row.qty
    if held < row.qty:
        told.append(f"by the ledger there is only {show_qty(held, part.unit)} in {row.place}: count it")
    return SetApart(entry, claim, part, tuple(told))


def _surcharges(session: Session, claim: Claim) -> list[Claim]:
    """The old units that need not come off any car, because the new part itself goes back: as many as go back, the
    newest of its order."""
    if not claim.place:
        return []
    waits = [one for one in claims(session.ledger, claim.part)
             if (one.kind, one.step, one.order_no) == (OLD_UNIT, "owed", claim.order_no)]  # fmt: skip
    return waits[-claim.qty :]
