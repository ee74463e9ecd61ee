"""What goes back to a supplier, step by step: sent, credited, or given up.

Money owed is no stock and no cost until it is lost. What a step does to the value that the ledger follows:

- Unused stock leaves its place when it is *sent back*, at its average value, to the supplier. What that value (carriage
  and other prices are in it) differs from the amount to be credited goes from the supplier to write-off, or from
  write-off to the supplier, at once: after it the supplier holds just what is owed.
- What is *given up* goes, as value alone, from the supplier to write-off: a cost of the year. So does a surcharge,
  which never was a cost before. Given up before it was sent, unused stock just stays; a failed part's cost is on its
  job already.
- What is *credited* within what is owed moves nothing. More than that comes from write-off to the supplier: a gain.
  What a failed part is credited comes off what the job cost: from the customer to the supplier.

So at all times write-off holds what was lost less what was gained. Amounts owed are ex VAT; value has the VAT that the
firm cannot reclaim. Claims are made in `apart`, `oldunits` and `goodsin`. Called by `cli.owed`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from vanstock.errors import BadValue, NotFound
from vanstock.ledger import reading
from vanstock.ledger.claims import Claim, claims
from vanstock.ledger.entries import CUSTOMER, SUPPLIER, WRITE_OFF, Draft, valued
from vanstock.ledger.orderrows import Owing, rows_of
from vanstock.ledger.valuing import Line
from vanstock.model import Entry
from vanstock.quantity import format_money, show_qty
from vanstock.routines.naming import find_part
from vanstock.routines.oldunits import Owed, step_of, told_of
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import with_vat
from vanstock.workdays import parse_date

WARRANTY = "warranty"


class Stepped(NamedTuple):
    """Claims after a step, the pence credited and lost by it, and what to tell."""

    entry: Entry
    rows: tuple[Owed, ...]
    credited: int
    lost: int
    told: tuple[str, ...] = ()

    @property
    def claims(self) -> tuple[Claim, ...]:
        """The claims alone."""
        return tuple(row.claim for row in self.rows)


def claim_named(session: Session, name: str) -> Claim:
    """The claim with this number, any case; raises `NotFound`."""
    for claim in claims(session.ledger):
        if claim.claim.lower() == name.strip().lower():
            return claim
    raise NotFound(f"no claim {name!r}: `vanstock owed` shows what must go back")


@one_act
def sent_back(session: Session, names: Sequence[str], on: str = "", entry_id: str = "") -> Stepped:
    """Record that claims went back to their suppliers, today or `on` a day before.

    Stock that does not lie at its place by the ledger is refused, all of it: raises `BadValue`.
    """

    def plan() -> Draft:
        found = [claim_named(session, name) for name in dict.fromkeys(name.strip().upper() for name in names)]
        for claim in found:
            _refuse_closed(claim)
            if claim.sent:
                raise BadValue(f"{claim.claim} was sent back on {claim.since} already" if claim.step == "sent back"
                               else f"{claim.claim} was sent back already")  # fmt: skip
        day = _day(session, on, found)
        return _draft(session, "sent back", _stock_lines(session, found),
                      [step_of(session, claim, "sent back", day=day) for claim in found])  # fmt: skip

    entry = once(session, Draft(session.now, "sent back", id=entry_id, asked=(tuple(names), on)), plan)
    return _after(session, entry, _told_of_value(session, entry))


def _refuse_closed(claim: Claim) -> None:
    if claim.closed:
        raise BadValue(f"{claim.claim} is {claim.shown} since {claim.since}: nothing is owed for it any more")


def _day(session: Session, on: str, found: Sequence[Claim]) -> str:
    day = parse_date(on) if on else session.today
    if day > session.today:
        raise BadValue(f"{on} is still to come: say it once it has gone")
    early = [claim.claim for claim in found if day.isoformat() < claim.since]
    if early:
        raise BadValue(f"{early[0]} was not there yet on {on}: it is {_of(found, early[0])}")
    return day.isoformat()


def _of(found: Sequence[Claim], name: str) -> str:
    return next(f"{claim.step} since {claim.since}" for claim in found if claim.claim == name)


def _draft(session: Session, kind: str, lines: Sequence[Line], steps: Sequence[Owing]) -> Draft:
    note = ", ".join(dict.fromkeys(step.claim for step in steps))
    return Draft(session.now, kind, tuple(lines), orders=tuple(steps), note=note)


def _stock_lines(session: Session, found: Sequence[Claim]) -> list[Line]:
    """The movements of unused stock that leaves its place, and what its value differs from the amount owed."""
    stock = sorted((claim for claim in found if claim.place), key=lambda claim: claim.part)
    _refuse_gone(session, stock)
    wanted = [Line(claim.part, claim.qty, claim.place, SUPPLIER) for claim in stock]
    moved = [line for line in valued(session.ledger, wanted) if line.qty]
    lines = list(moved)
    for claim, line in zip(stock, moved, strict=True):
        lines += _lost(claim, (line.value or 0) - with_vat(session, claim.open_amount))
    return lines


def _refuse_gone(session: Session, stock: Sequence[Claim]) -> None:
    """What the ledger does not hold cannot leave: who has it in hand all the same counts it first."""
    left = {(one.part, one.place): reading.on_hand(session.ledger, one.part, one.place) for one in stock}
    for claim in stock:
        key = claim.part, claim.place
        if left[key] < claim.qty:
            held = show_qty(max(left[key], 0), find_part(session, claim.part).unit)
            raise BadValue(
                f"{claim.claim}: {held} of {claim.part} left in {claim.place}: it was fitted or moved; "
                f"`vanstock give-up {claim.claim}`, or `vanstock count` it if it lies there"
            )
        left[key] -= claim.qty


def _lost(claim: Claim, value: int) -> list[Line]:
    """Value alone from the supplier to write-off; below zero the other way."""
    if not value:
        return []
    ways = (SUPPLIER, WRITE_OFF) if value > 0 else (WRITE_OFF, SUPPLIER)
    return [Line(claim.part, 0, *ways, abs(value))]


def _told_of_value(session: Session, entry: Entry) -> tuple[str, ...]:
    told = []
    for line in sorted(reading.lines_of(session.ledger, entry).movements, key=lambda line: not line.qty):
        worth, ways = format_money(line.value), (line.from_place, line.to_place)
        if line.qty:
            amount = show_qty(line.qty, find_part(session, line.part).unit)
            told.append(f"{amount} x {line.part} left {line.from_place}, in the books at {worth}")
        elif ways == (SUPPLIER, WRITE_OFF):
            told.append(f"{line.part}: {worth} more than will be credited, written off, a cost of the year")
        elif ways == (WRITE_OFF, SUPPLIER):
            told.append(f"{line.part}: {worth} less than will be credited, a gain of the year")
    return tuple(told)


def _after(session: Session, entry: Entry, told: tuple[str, ...] = ()) -> Stepped:
    """What a step did, read back from its entry, with the claims as they stand now."""
    rows = [row for row in rows_of(session.ledger, entry.seq) if isinstance(row, Owing)]
    named = {row.claim for row in rows}
    sums = {step: sum(row.amount for row in rows if row.step == step) for step in ("credited", "given up")}
    found = [claim for claim in claims(session.ledger) if claim.claim in named]
    rows_now = tuple(told_of(claim, find_part(session, claim.part), session.today) for claim in found)
    return Stepped(entry, rows_now, sums["credited"], sums["given up"], told)


@one_act
def credited(
    session: Session, name: str, amount: int | None = None, *, give_up_rest: bool = False, more: bool = False,
    entry_id: str = "",
) -> Stepped:  # fmt: skip
    """Record that so many pence (None: all that is owed) were credited for a claim.

    Less than is owed leaves the rest owed, unless it is given up; `more` says that more than owed is meant. Raises
    `BadValue`.
    """

    def plan() -> Draft:
        claim = claim_named(session, name)
        _refuse_closed(claim)
        if claim.place and not claim.sent:
            raise BadValue(f"{claim.claim} still lies in {claim.place}: `vanstock sent-back {claim.claim}` first")
        paid = claim.open_amount if amount is None else amount
        _refuse_amount(claim, paid, more=more)
        over, rest = max(paid - claim.open_amount, 0), max(claim.open_amount - paid, 0)
        lost = rest if give_up_rest else 0
        steps = [step_of(session, claim, "owed", over)] if over else []
        steps.append(step_of(session, claim, "credited", paid))
        steps += [step_of(session, claim, "given up", lost)] if lost else []
        return _draft(session, "credited", _credit_lines(session, claim, paid, lost - over), steps)

    asked = (name, amount, give_up_rest, more)
    entry = once(session, Draft(session.now, "credited", id=entry_id, asked=asked), plan)
    return _after(session, entry, _told_of_credit(session, entry))


def _told_of_credit(session: Session, entry: Entry) -> tuple[str, ...]:
    told = []
    for line in reading.lines_of(session.ledger, entry).movements:
        worth = format_money(line.value)
        if line.to_place == WRITE_OFF:
            told.append(f"{worth} is lost: written off, a cost of the year")
        elif line.from_place == WRITE_OFF:
            told.append(f"{worth} more than was owed: a gain of the year")
        else:
            told.append(f"{worth} comes off what job {line.job} cost")
    return tuple(told)


def _refuse_amount(claim: Claim, paid: int, *, more: bool) -> None:
    if paid < 0 or (paid == 0 and claim.open_amount):
        raise BadValue(f"{format_money(paid)} is no credit: `vanstock give-up {claim.claim}` says that nothing comes")
    if paid > claim.open_amount and not more:
        raise BadValue(
            f"{format_money(paid)} is more than the {format_money(claim.open_amount)} that is owed for {claim.claim}: "
            "add --more if that is right"
        )


def _credit_lines(session: Session, claim: Claim, paid: int, lost: int) -> list[Line]:
    """What a credit does to value: a failed part's comes off its job, anything else moves only what is lost or (below
    zero) gained."""
    if claim.kind != WARRANTY:
        return _lost(claim, with_vat(session, abs(lost)) * (1 if lost > 0 else -1))
    return [Line(claim.part, 0, CUSTOMER, SUPPLIER, with_vat(session, paid), claim.job)] if paid else []


@one_act
def give_up(session: Session, name: str, entry_id: str = "") -> Stepped:
    """Record that what is still owed for a claim will not come; raises `BadValue`."""

    def plan() -> Draft:
        claim = claim_named(session, name)
        _refuse_closed(claim)
        stays = claim.kind == WARRANTY or (claim.place and not claim.sent)
        lines = [] if stays else _lost(claim, with_vat(session, claim.open_amount))
        return _draft(session, "given up", lines, [step_of(session, claim, "given up", claim.open_amount)])

    entry = once(session, Draft(session.now, "given up", id=entry_id, asked=(name,)), plan)
    found = _after(session, entry)
    written = sum(line.value for line in reading.lines_of(session.ledger, entry).movements)
    return found._replace(told=(_told_lost(found, written),))


def _told_lost(found: Stepped, written: int) -> str:
    claim, lost = found.claims[0], format_money(found.lost)
    if claim.kind == WARRANTY:
        return f"{lost} will not come: what the part cost stays a cost of job {claim.job}"
    if claim.place and not claim.sent:
        return f"nothing is lost: it stays in {claim.place}"
    added = "" if written == found.lost else f", {lost} and VAT"
    return f"{format_money(written)} is lost{added}: written off, a cost of the year"
