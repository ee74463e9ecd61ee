"""Goods in: what came on an order, line by line, at what price, and what is still to come.

All as ordered unless said otherwise. Carriage is shared over the lines by their value and is part of what goods cost; a
surcharge is money owed back until the old unit is credited, never cost. Called by `cli.receive`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import NamedTuple

from vanstock.errors import BadValue
from vanstock.ledger import catalogue
from vanstock.ledger.entries import SUPPLIER, Draft
from vanstock.ledger.orderrows import OrderLine, OrderStep, Owing, Row
from vanstock.ledger.orders import LineState, OrderState
from vanstock.ledger.valuing import Line, share_carriage
from vanstock.model import Entry, Part
from vanstock.quantity import format_money, parse_price, parse_qty, show_qty, value_of
from vanstock.routines.expiry import lots_in, told_of_lots
from vanstock.routines.job import read_qty
from vanstock.routines.naming import find_part
from vanstock.routines.oldunits import OLD_UNIT, charged, claim_numbers
from vanstock.routines.ordering import order_named
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import last_day, with_vat
from vanstock.routines.stock import STORE
from vanstock.workdays import parse_date

_NOTHING: Mapping[str, str] = MappingProxyType({})
_DAMAGED = "damaged"


class Came(NamedTuple):
    """What came otherwise than ordered, as typed: amounts by part (0: nothing), prices per unit, damaged amounts that
    go back, days to be used by; carriage in pence; what becomes of the rest: `later` (on `expected`, if known) or
    `cancel`; the place it was put; and the parts that came in place of others, as OTHER:QTY by the part ordered."""

    amounts: Mapping[str, str] = _NOTHING
    prices: Mapping[str, str] = _NOTHING
    damaged: Mapping[str, str] = _NOTHING
    use_by: Mapping[str, str] = _NOTHING
    carriage: int = 0
    rest: str = "later"
    expected: str = ""
    place: str = STORE
    wrong: Mapping[str, str] = _NOTHING


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
    other: Part | None = None
    wrong: int = 0


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

    asked = (number, *(tuple(sorted(one.items())) if isinstance(one, Mapping) else one for one in came))
    entry = once(session, Draft(session.now, "received", id=entry_id, asked=asked), plan)
    return _after(session, entry, came)


def _planned(session: Session, order: OrderState, came: Came) -> list[_Planned]:
    """Every line with what came of it; a part that came and was not on the order gets a line of its own."""
    typed = {name: _by_part(session, getattr(came, name)) for name in ("amounts", "prices", "damaged", "use_by")}
    wrong = _by_part(session, came.wrong)
    named = {part for one in typed.values() for part in one}
    lines = {line.part: line for line in order.lines}
    for other in sorted(wrong.keys() - lines.keys()):
        raise BadValue(f"{other} is not on {order.order_no}: --wrong names the part that was ordered first")
    for other in sorted(named - lines.keys()):
        if other not in typed["amounts"]:
            raise BadValue(f"{other} is not on {order.order_no}: say how much of it came with --came {other}=QTY")
        lines[other] = LineState(other, 0, 0, 0, _part(session, other).cost, "")
    found = [_line(session, line, {name: one.get(number) for name, one in typed.items()}, wrong.get(number, ""))
             for number, line in lines.items()]  # fmt: skip
    if not any(row.good or row.damaged or row.wrong for row in found):
        raise BadValue("nothing came: `vanstock order cancel` cancels what will not")
    return found


def _line(session: Session, line: LineState, typed: Mapping[str, str | None], wrong: str) -> _Planned:
    """One line with what came of it, damaged, at what price, and what came in its place."""
    part, amount, price = _part(session, line.part), typed["amounts"], typed["prices"]
    other, in_place = _instead(session, part, wrong, max(line.to_come, 0)) if wrong else (None, 0)
    came_in = max(line.to_come - in_place, 0) if amount is None else _not_below_zero(amount, part)
    damaged = _not_below_zero(typed["damaged"] or "0", part)
    if damaged > came_in:
        raise BadValue(f"more of {part.part} is damaged than came: {show_qty(damaged, part.unit)} of "
                       f"{show_qty(came_in, part.unit)}")  # fmt: skip
    at = line.price if price is None else parse_price(price, "--price")
    if at < 0:
        raise BadValue(f"--price {price!r} of {part.part} is below zero: write zero or more")
    return _Planned(part, line, came_in - damaged, damaged, at, other, in_place)


def _instead(session: Session, part: Part, text: str, to_come: int) -> tuple[Part, int]:
    """The part that came in place of one that was ordered, and how much of it: all that was to come unless said."""
    name, colon, amount = text.rpartition(":")
    number = (name if colon else amount).strip()
    other = catalogue.part_by_number(session.ledger, number)  # no words: what came by mistake is named by its label
    if other is None:
        raise BadValue(
            f"{number!r} is not in the catalogue: add it to parts.csv and import the folder, or leave it out and say "
            f"--came {part.part}=QTY with what came of {part.part}"
        )
    if other.part == part.part:
        raise BadValue(f"{part.part} is the part that was ordered: --came {part.part}=QTY takes it in")
    if other.unit != part.unit:
        raise BadValue(f"{other.part} and {part.part} are kept in different units: say --came {part.part}=QTY")
    qty = read_qty(amount, other) if colon else to_come
    if qty <= 0:
        raise BadValue(f"nothing of {part.part} was to come: say how much came, {part.part}={other.part}:QTY")
    return other, qty


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
        raise BadValue(f"{text!r} of {part.part} is below zero: write zero or more")
    return qty


def _lines(session: Session, order: OrderState, rows: list[_Planned], where: tuple[Came, str]) -> tuple[Line, ...]:
    """The movements: goods at their price with their share of the carriage."""
    came, place = where
    good = [row for row in rows if row.good]
    if came.carriage and not good:
        raise BadValue(f"carriage of {format_money(came.carriage)} has no sound goods to be shared over: leave it out, "
                       "and ask the supplier for it back")  # fmt: skip
    worth = [value_of(row.good, row.part.unit, row.price) for row in good]
    shares = share_carriage(worth, came.carriage)
    return tuple(
        Line(row.part.part, row.good, SUPPLIER, place, with_vat(session, value + share), order_no=order.order_no)
        for row, value, share in zip(good, worth, shares, strict=True)
    )


def _rows(session: Session, order: OrderState, rows: list[_Planned], came: Came) -> list[Row]:
    """The order's rows: what more was ordered than that (a line of over-delivery), cancelled, still to come; lots;
    surcharges owed back; damaged and wrong goods that go back."""
    found: list[Row] = []
    numbers = claim_numbers(session)
    expected = parse_date(came.expected).isoformat() if came.expected else ""
    if expected and expected < session.today.isoformat():
        raise BadValue(f"--expected {expected} is past: say when the rest is to come")
    still = 0
    for row in rows:
        over = max(row.good - max(row.line.to_come, 0), 0)
        rest = max(row.line.to_come - row.good, 0)
        gone = rest if came.rest == "cancel" else 0
        still += rest - gone
        found.append(OrderLine(order.order_no, row.part.part, over, gone, row.price, expected if rest - gone else ""))
        found += _lot(session, row, came)
        found += _claims(session, order, row, numbers)
    if not still:
        came_in = any(row.good or row.line.received for row in rows)
        found.append(OrderStep(order.order_no, order.supplier, "received" if came_in else "cancelled", ""))
    elif order.state == "drafted" or expected:
        found.append(OrderStep(order.order_no, order.supplier, "sent", expected or order.expected))
    return found


def _claims(session: Session, order: OrderState, row: _Planned, numbers: Iterator[str]) -> Iterator[Owing]:
    """What a line makes owed: surcharges, and what came damaged or wrong, at the price that it is charged at."""
    day, unit_due = session.today.isoformat(), last_day(session, "old_unit_days", session.today).isoformat()
    old = Owing("", OLD_UNIT, order.supplier, row.part.part, row.good, 0, order.order_no, "", unit_due, "owed", day)
    yield from charged(row.part, row.good, old, numbers)
    due = last_day(session, "return_days", session.today).isoformat()
    for part, qty, why in ((row.part, row.damaged, _DAMAGED), (row.other, row.wrong, f"in place of {row.part.part}")):
        if part is not None and qty:
            worth = value_of(qty, part.unit, row.price)
            back = old._replace(claim=next(numbers), kind="return", part=part.part, qty=qty)
            yield back._replace(amount=worth, due=due, why=why)


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
    back = {row.part: row.qty for row in rows if isinstance(row, Owing) and row.why == _DAMAGED}
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
    return Received(entry, order, came.place, tuple(arrived), (*_told(arrived, rows), *_over(arrived, rows), *lots))


def _over(arrived: list[Arrived], rows: list[Row]) -> Iterator[str]:
    """What came beyond what was still to come of the order."""
    over = {row.part: row.ordered for row in rows if isinstance(row, OrderLine) and row.ordered > 0}
    for row in arrived:
        if row.part.part in over:
            amount = show_qty(over[row.part.part], row.part.unit)
            yield f"{amount} x {row.part.part} more than was to come: count the goods again, and see what is charged"


def _told(arrived: list[Arrived], rows: list[Row]) -> tuple[str, ...]:
    told = [
        f"{row.part.part} cost {show_price} before: the average follows what it cost now"
        for row in arrived
        if row.qty and row.price != row.part.cost and (show_price := _price(row.part.cost))
    ]
    return (*told, *(_goes_back(row) for row in rows if isinstance(row, Owing)))


def _goes_back(row: Owing) -> str:
    what = f"the old unit of {row.part}" if row.kind == OLD_UNIT else f"{row.part}, {row.why},"
    return f"{row.claim}: {what} goes back to {row.supplier} by {row.due} ({format_money(row.amount)})"


def _price(cost: int) -> str:
    from vanstock.quantity import format_price

    return format_price(cost)
