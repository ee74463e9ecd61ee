"""Setting apart what must go back: a part that failed on a job, or sound stock that nothing asks for.

A failed part is apart from everything else and no stock: it was fitted, and what it cost is on its job. Unused stock
stays where it lies until it is sent (see `goingback`, which takes every claim further). Called by `cli.owed` and
`owed`.
"""

from __future__ import annotations

from collections.abc import Mapping
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
from vanstock.routines.oldunits import OLD_UNIT, Owed, claim_numbers, told_of
from vanstock.routines.ordering import order_named
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import last_day
from vanstock.routines.stock import STORE
from vanstock.workdays import parse_date

RETURN = "return"


class Asked(NamedTuple):
    """What goes back, as typed: how much of which part; the job that a failed one came off, and whether it is one; for
    unused stock the order it came on and the place where it lies ("": looked up); the last day to send it ("": worked
    out)."""

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
    row: Owed
    told: tuple[str, ...]

    @property
    def claim(self) -> Claim:
        """The claim alone."""
        return self.row.claim


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
    took, failed = _taken(session, job.job, part.part)
    if took and failed + qty > took:
        before = f", {show_qty(failed, part.unit)} of them claimed already" if failed else ""
        raise BadValue(f"{job.job} took only {show_qty(took, part.unit)} of {part.part}{before}")
    came = newest_receipt(session, part.part, job.date)
    owed = _owed(session, part, qty, came, WARRANTY)
    return owed._replace(job=job.job, due="", why=f"failed, off {job.job}")


def _taken(session: Session, job: str, part: str) -> tuple[int, int]:
    """Base units of a part that a job took, and those of them claimed as failed, what was given up left out."""
    took = sum(used.fitted for used in reading.used_on_job(session.ledger, job) if used.part == part)
    failed = sum(one.qty for one in claims(session.ledger, part)
                 if (one.kind, one.job) == (WARRANTY, job) and (one.credited or not one.closed))  # fmt: skip
    return took, failed


def _unused(session: Session, asked: Asked, part: Part, qty: int) -> Owing:
    place = _place(session, asked, part, qty)
    came = _came_on(session, asked, part, qty)
    return _owed(session, part, qty, came, RETURN)._replace(place=place, why="not used")


def _place(session: Session, asked: Asked, part: Part, qty: int) -> str:
    """Where so much lies that is not set apart: the place that was said, or the store, or the first that holds it."""
    free = _free(session, part.part)
    said = catalogue.place_named(session.ledger, asked.place).place if asked.place else ""
    for place in [said] if said else sorted(free, key=lambda name: name != STORE):  # stable: else as they came there
        if free.get(place, 0) >= qty:
            return place
    wanted = show_qty(qty, part.unit)
    short = (f"only {show_qty(max(free.get(said, 0), 0), part.unit)} of {part.part} in {said}" if said
             else f"no place holds {wanted} of {part.part}")  # fmt: skip
    lies = [f"{amount} {'lies' if amount == '1' else 'lie'} in {place}: --from {place}" for place, one in free.items()
            if one > 0 and place != said and (amount := show_qty(one, part.unit))]  # fmt: skip
    raise BadValue(f"{short} that is not set apart; {', '.join(lies) or '`vanstock count` first if it lies there'}")


def _free(session: Session, part: str) -> dict[str, int]:
    """Base units of a part by place, without what is set apart there and not sent yet."""
    found = {row.place: row.qty for row in reading.balances(session.ledger, [part])}
    for claim in claims(session.ledger, part):
        if claim.place in found and not claim.sent and not claim.closed:
            found[claim.place] -= claim.qty
    return found


def _came_on(session: Session, asked: Asked, part: Part, qty: int) -> Receipt | None:
    """The goods in that so much most likely came with: the newest of the order that was said, or of the newest that
    has so much left to go back; None when nothing is left of any. Raises `BadValue` for more than is left."""
    said = order_named(session, asked.order).order_no if asked.order else ""
    found = [one for one in receipts(session.ledger, part.part) if said in ("", one.order_no)]
    left = {one.order_no: left_to_return(session, part.part, one.order_no) for one in found}
    for one in reversed(found):
        if left[one.order_no] >= qty:
            return one
    nearest = max(reversed(found), key=lambda one: left[one.order_no], default=None)
    if said or (nearest and left[nearest.order_no] > 0):
        raise BadValue(_told_short(part, nearest, said, left))
    return None


def _told_short(part: Part, nearest: Receipt | None, said: str, left: Mapping[str, int]) -> str:
    order = nearest.order_no if nearest else said
    rest = show_qty(max(left.get(order, 0), 0), part.unit)
    if nearest is None:
        return f"no {part.part} came on {order}: leave --order out"
    return f"only {rest} of {part.part} came on {order} and can still go back: set no more than that apart at once"


def _owed(session: Session, part: Part, qty: int, came: Receipt | None, kind: str) -> Owing:
    """What is owed for a part: what was paid for it, or its list cost when no order of it is known."""
    price = came.price if came else part.cost
    due = last_day(session, "return_days", came.day).isoformat() if came else ""
    supplier, order_no = (came.supplier, came.order_no) if came else (part.supplier, "")
    return Owing(next(claim_numbers(session)), kind, supplier, part.part, qty, value_of(qty, part.unit, price),
                 order_no, "", due, "owed", session.today.isoformat())  # fmt: skip


def newest_receipt(session: Session, part: str, until: date) -> Receipt | None:
    """The newest goods in of a part on an order, up to a day; None when there is none."""
    found = [one for one in receipts(session.ledger, part) if one.day <= until]
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
    told = [] if row.order_no else [_told_no_order(session, row)]
    if row.kind == WARRANTY and not _taken(session, row.job, row.part)[0]:
        told.append(f"{row.job} is not known to have taken it: name the job that did, if it is in the ledger")
    if row.due and row.due < session.today.isoformat():
        told.append(f"the last day to send it was {row.due}: ask the supplier first")
    told += [f"its surcharge comes back with it: send {one.claim} ({format_money(one.open_amount)}) back too"
             for one in _surcharges(session, claim)]  # fmt: skip
    return SetApart(entry, told_of(claim, part, session.today), tuple(told))


def _told_no_order(session: Session, row: Owing) -> str:
    known = row.place and receipts(session.ledger, row.part)
    what = "what came on orders goes back already" if known else "no order of it is known"
    return f"{what}: the amount is its list cost"


def _surcharges(session: Session, claim: Claim) -> list[Claim]:
    """The old units that need not come off any car, because the new part itself goes back: as many as go back, the
    newest of its order."""
    if not claim.place:
        return []
    waits = [one for one in claims(session.ledger, claim.part)
             if (one.kind, one.step, one.order_no) == (OLD_UNIT, "owed", claim.order_no)]  # fmt: skip
    return waits[-claim.qty :]
