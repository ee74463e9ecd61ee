"""Goods in: what came on an order, line by line, at what price, and what is still to come.

All as ordered unless said otherwise. Carriage is shared over the lines by their value and is part of what goods cost; a
surcharge is money owed back until the old unit is credited, never cost. Called by `cli.receive`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta
from types import MappingProxyType
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.ledger import catalogue
from vanstock.ledger import orders as ledger_orders
from vanstock.ledger.entries import SUPPLIER, Draft
from vanstock.ledger.orderrows import OrderLine, OrderStep, Owing, Row
from vanstock.ledger.orders import LineState, OrderState
from vanstock.ledger.valuing import Line, share_carriage
from vanstock.model import Entry, Part
from vanstock.quantity import parse_price, parse_qty, show_qty, value_of
from vanstock.routines.expiry import lots_in, told_of_lots
from vanstock.routines.naming import find_part
from vanstock.routines.ordering import order_named
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import with_vat
from vanstock.routines.stock import STORE
from vanstock.workdays import parse_date

_NOTHING: Mapping[str, str] = MappingProxyType({})
OLD_UNIT_DAYS = 28
"""Days within which a supplier usually wants an old unit back: common practice, no source."""


class Came(NamedTuple):
    """What came otherwise than ordered, as typed: amounts by part (0: nothing), prices per unit, damaged amounts that
    go back, days to be used by; carriage in pence; what becomes of the rest: `later` (on `expected`, if known) or
    `cancel`; and the place it was put."""

    amounts: Mapping[str, str] = _NOTHING
    prices: Mapping[str, str] = _NOTHING
    damaged: Mapping[str, str] = _NOTHING
    use_by: Mapping[str, str] = _NOTHING
    carriage: int = 0
    rest: str = "later"
    expected: str = ""
    place: str = STORE


AS_ORDERED = Came()


class Arrived(NamedTuple):
    """A part that came: good base units, damaged ones, at what price per unit, with its share of the carriage, and what
    is still to come of it."""

    part: Part
    qty: int
    damaged: int
    price: int
    carriage: int
    to_come: int


class Received(NamedTuple):
    """An order after goods came in, line by line, and what to tell."""

    entry: Entry
    order: OrderState
    place: str
    arrived: tuple[Arrived, ...]
    told: tuple[str, ...]


class _Planned(NamedTuple):
    part: Part
    line: LineState
    good: int
    damaged: int
    price: int


@one_act
def receive(session: Session, number: str, came: Came = AS_ORDERED, entry_id: str = "") -> Received:
    """Take an order's goods in; raises `BadValue` when nothing is to come or something cannot be as it was typed."""

    def plan() -> Draft:
        order = order_named(session, number)
        if not any(line.to_come > 0 for line in order.lines):
            raise BadValue(f"nothing of {order.order_no} is still to come: it is {order.shown}")
        place = catalogue.place_named(session.ledger, came.place).place
        rows = _planned(session, order, came)
        return Draft(session.now, "received", _lines(session, order, rows, (came, place)),
                     orders=tuple(_rows(session, order, rows, came)), note=order.order_no)  # fmt: skip

    asked = (number, *(tuple(sorted(one.items())) for one in came[:4]), *came[4:])
    entry = once(session, Draft(session.now, "received", id=entry_id, asked=asked), plan)
    return _after(session, entry, came)


def _planned(session: Session, order: OrderState, came: Came) -> list[_Planned]:
    """Every line with what came of it; a part that came and was not on the order gets a line of its own."""
    typed = {name: _by_part(session, getattr(came, name)) for name in ("amounts", "prices", "damaged", "use_by")}
    named = {part for one in typed.values() for part in one}
    lines = {line.part: line for line in order.lines}
    for other in sorted(named - lines.keys()):
        if other not in typed["amounts"]:
            raise BadValue(f"{other} is not on {order.order_no}: say how much of it came with --came {other}=QTY")
        lines[other] = LineState(other, 0, 0, 0, _part(session, other).cost, "")
    found = []
    for number, line in lines.items():
        part = _part(session, number)
        amount, price = typed["amounts"].get(number), typed["prices"].get(number)
        came_in = max(line.to_come, 0) if amount is None else _not_below_zero(amount, part)
        damaged = _not_below_zero(typed["damaged"].get(number, "0"), part)
        if damaged > came_in:
            raise BadValue(f"more of {number} is damaged than came: {show_qty(damaged, part.unit)} of "
                           f"{show_qty(came_in, part.unit)}")  # fmt: skip
        at = line.price if price is None else parse_price(price, "--price")
        if at < 0:
            raise BadValue(f"--price {price!r} of {number} is below zero")
        found.append(_Planned(part, line, came_in - damaged, damaged, at))
    if not any(row.good or row.damaged for row in found):
        raise BadValue("nothing came: `vanstock order cancel` cancels what will not")
    return found


def _by_part(session: Session, typed: Mapping[str, str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for text, value in typed.items():
        part = find_part(session, text).part
        if part in found:
            raise BadValue(f"{part} is named twice: say it once")
        found[part] = value
    return found


def _part(session: Session, number: str) -> Part:
    return find_part(session, number)


def _not_below_zero(text: str, part: Part) -> int:
    qty = parse_qty(text, part.unit, pack_size=part.pack_size)
    if qty < 0:
        raise BadValue(f"{text!r} of {part.part} is below zero")
    return qty


def _lines(session: Session, order: OrderState, rows: list[_Planned], where: tuple[Came, str]) -> tuple[Line, ...]:
    """The movements: goods at their price with their share of the carriage."""
    came, place = where
    good = [row for row in rows if row.good]
    worth = [value_of(row.good, row.part.unit, row.price) for row in good]
    shares = share_carriage(worth, came.carriage)
    return tuple(
        Line(row.part.part, row.good, SUPPLIER, place, with_vat(session, value + share), order_no=order.order_no)
        for row, value, share in zip(good, worth, shares, strict=True)
    )


def _rows(session: Session, order: OrderState, rows: list[_Planned], came: Came) -> list[Row]:
    """The order's rows: what more was ordered than that (a line of over-delivery), cancelled, still to come; lots;
    surcharges owed back; damaged goods that go back."""
    found: list[Row] = []
    numbers = _claim_numbers(session)
    expected = parse_date(came.expected).isoformat() if came.expected else ""
    still = 0
    for row in rows:
        over = max(row.good - max(row.line.to_come, 0), 0)
        rest = max(row.line.to_come - row.good, 0)
        gone = rest if came.rest == "cancel" else 0
        still += rest - gone
        found.append(OrderLine(order.order_no, row.part.part, over, gone, row.price, expected if rest - gone else ""))
        found += _lot(session, row, came)
        if row.good and row.part.surcharge:
            due = (session.today + timedelta(days=OLD_UNIT_DAYS)).isoformat()
            amount = value_of(row.good, row.part.unit, row.part.surcharge * 100)
            found.append(Owing(next(numbers), "old unit", order.supplier, row.part.part, row.good, amount,
                               order.order_no, "", due, "owed"))  # fmt: skip
        if row.damaged:
            worth = value_of(row.damaged, row.part.unit, row.price)
            found.append(Owing(next(numbers), "return", order.supplier, row.part.part, row.damaged, worth,
                               order.order_no, "", "", "owed"))  # fmt: skip
    if not still:
        came_in = any(row.good or row.line.received for row in rows)
        found.append(OrderStep(order.order_no, order.supplier, "received" if came_in else "cancelled", ""))
    elif order.state == "drafted" or expected:
        found.append(OrderStep(order.order_no, order.supplier, "sent", expected or order.expected))
    return found


def _claim_numbers(session: Session) -> Iterator[str]:
    """The numbers of claims from the next one on: R0001 and so on."""
    from itertools import count

    return (f"R{number:04}" for number in count(ledger_orders.claims_made(session.ledger) + 1))


def _lot(session: Session, row: _Planned, came: Came) -> list[Row]:
    """The lot that came in, where the part expires: the day said, else its whole shelf life from today."""
    said = {find_part(session, text).part: value for text, value in came.use_by.items()}.get(row.part.part)
    return list(lots_in(session, row.part, row.good, said))


def _after(session: Session, entry: Entry, came: Came) -> Received:
    """What an entry of goods in says, read back from the ledger."""
    from vanstock.ledger.orderrows import rows_of
    from vanstock.ledger.reading import lines_of

    order = order_named(session, entry.note)
    states = {line.part: line for line in order.lines}
    rows = rows_of(session.ledger, entry.seq)
    back = {row.part: row.qty for row in rows if isinstance(row, Owing) and row.kind == "return"}
    moved = {line.part: line for line in lines_of(session.ledger, entry).movements if line.qty}
    arrived = []
    for row in rows:
        if isinstance(row, OrderLine) and (row.part in moved or row.part in back or states[row.part].to_come):
            part, line = _part(session, row.part), moved.get(row.part)
            qty = line.qty if line else 0
            carriage = (line.value if line else 0) - with_vat(session, value_of(qty, part.unit, row.price))
            to_come = states[row.part].to_come
            arrived.append(Arrived(part, qty, back.get(row.part, 0), row.price, max(carriage, 0), to_come))
    lots = told_of_lots(session, rows, {row.part.part: row.part for row in arrived})
    return Received(entry, order, came.place, tuple(arrived), (*_told(arrived, rows), *lots))


def _told(arrived: list[Arrived], rows: list[Row]) -> tuple[str, ...]:
    told = [
        f"{row.part.part} cost {show_price} before: the average follows what it cost now"
        for row in arrived
        if row.qty and row.price != row.part.cost and (show_price := _price(row.part.cost))
    ]
    told += [f"{row.claim}: the old unit of {row.part} goes back by {row.due}" for row in rows
             if isinstance(row, Owing) and row.kind == "old unit"]  # fmt: skip
    told += [f"{row.claim}: what came damaged of {row.part} goes back" for row in rows
             if isinstance(row, Owing) and row.kind == "return"]  # fmt: skip
    return tuple(told)


def _price(cost: int) -> str:
    from vanstock.quantity import format_price

    return format_price(cost)
