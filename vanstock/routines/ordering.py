"""Orders: from the reorder list, after a last look, to numbered orders that are drafted, sent or cancelled.

What is on order counts in every later list, so that nothing is ordered twice. Goods in are in `goodsin`, the documents
in `exchange.orderdocs`. Called by the faces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from types import MappingProxyType
from typing import NamedTuple

from vanstock.errors import BadValue, NotFound
from vanstock.kit.topup import Candidate, Prudence, TopUp, carriage_of, top_up
from vanstock.ledger import orders as ledger_orders
from vanstock.ledger.entries import Draft
from vanstock.ledger.orderrows import OrderLine, OrderStep, Row
from vanstock.ledger.orders import LineState as LineState
from vanstock.ledger.orders import OrderState as OrderState
from vanstock.model import Catalogue, Entry, Part, Supplier
from vanstock.orderdoc import OrderDoc, OrderDocLine
from vanstock.quantity import parse_qty, round_up_to_packs, show_qty, value_of
from vanstock.routines.naming import find_part
from vanstock.routines.past import group_supply
from vanstock.routines.reorder import Ahead, look_ahead
from vanstock.routines.session import Session, once, one_act
from vanstock.routines.settings import calendar, setting_text
from vanstock.workdays import arrival_date, next_cutoff

DRAFTED = "order drafted"
_NOTHING: Mapping[str, str] = MappingProxyType({})


class LastLook(NamedTuple):
    """What a person changes on the list before it is ordered: amounts to set by part, parts to drop or add, the one
    supplier meant ("": all), the most to spend in pence, whether to order again what is on order already, and whether
    to add to an order to reach free carriage."""

    amounts: Mapping[str, str] = _NOTHING
    drop: tuple[str, ...] = ()
    supplier: str = ""
    budget: int | None = None
    again: bool = False
    top_up: bool = True


UNCHANGED = LastLook()


class ProposedLine(NamedTuple):
    """A line as it would be ordered, and why."""

    part: Part
    qty: int
    cost: int
    why: str


class Proposed(NamedTuple):
    """An order as it would be drafted: until when it must be in, when its goods come (None: not known), what topping it
    up adds, what of its parts was on order already, and what is wrong with sending it as it is."""

    supplier: Supplier
    lines: tuple[ProposedLine, ...]
    cutoff: datetime | None
    expected: date | None
    carriage: int
    topped: TopUp | None
    warnings: tuple[str, ...] = ()
    on_order: Mapping[str, int] | None = None

    @property
    def goods(self) -> int:
        """Pence for the goods ex VAT."""
        return sum(line.cost for line in self.lines)


class Proposal(NamedTuple):
    """The orders that would be drafted, and the parts that the budget left off."""

    orders: tuple[Proposed, ...]
    left_off: tuple[ProposedLine, ...]


def propose(session: Session, look: LastLook = UNCHANGED, ahead: Ahead | None = None) -> Proposal:
    """The reorder list after a last look, order by order; nothing is written. Raises `BadValue` and `NotFound`."""
    ahead = ahead or look_ahead(session)
    known = ahead.past.catalogue
    if look.supplier and look.supplier not in known.suppliers:
        raise NotFound(f"no supplier {look.supplier!r}: there is {', '.join(known.suppliers) or 'none'}")
    lines = _looked_over(session, ahead, look)
    kept, left_off = _within(lines, look.budget, ahead)
    suppliers = sorted({line.part.supplier for line in kept})
    return Proposal(tuple(_order(session, ahead, look, (name, kept)) for name in suppliers), tuple(left_off))


def _looked_over(session: Session, ahead: Ahead, look: LastLook) -> list[ProposedLine]:
    """The list's lines with a person's changes; what is on order already is only added to when told to."""
    known = ahead.past.catalogue
    lines = {
        line.part: ProposedLine(known.parts[line.part], line.qty, line.cost, line.why)
        for order in ahead.orders
        for line in order.lines
    }
    for text in look.drop:
        part = find_part(session, text)
        if lines.pop(part.part, None) is None:
            raise BadValue(f"{part.part} is not on the list: nothing to drop")
    coming = group_supply(ahead.past, ledger_orders.on_order(session.ledger))
    for text, amount in look.amounts.items():
        part = known.parts[known.current(find_part(session, text).part)]
        on_order = coming.get(ahead.past.groups[part.part], 0)
        if part.part not in lines and on_order and not look.again:
            on_the_way = show_qty(on_order, part.unit)
            raise BadValue(f"{on_the_way} of {part.part} are on order already: --again orders more")
        lines[part.part] = by_hand(part, amount)
    return [line for line in lines.values() if look.supplier in ("", line.part.supplier)]


def by_hand(part: Part, amount: str) -> ProposedLine:
    """A line of so much as typed, in whole packs; raises `BadValue` for nothing."""
    qty = parse_qty(amount, part.unit, pack_size=part.pack_size)
    if qty <= 0:
        raise BadValue(f"{amount!r} of {part.part} is nothing to order: --drop {part.part} leaves it off")
    whole = round_up_to_packs(qty, part.pack_size)
    why = "by hand" if whole == qty else f"by hand, {show_qty(qty, part.unit)} in whole packs"
    return ProposedLine(part, whole, value_of(whole, part.unit, part.cost), why)


def _within(
    lines: Sequence[ProposedLine], budget: int | None, ahead: Ahead
) -> tuple[list[ProposedLine], list[ProposedLine]]:
    """What fits a budget, most jobs for its cash first, and what does not; in the order of the list."""
    if budget is None:
        return list(lines), []
    ranked = sorted(lines, key=lambda line: (-ahead.worth(line.part.part) / max(line.cost, 1), line.part.part))
    left, kept = budget, set()
    for line in ranked:
        if line.cost <= left:
            left -= line.cost
            kept.add(line.part.part)
    return [one for one in lines if one.part.part in kept], [one for one in lines if one.part.part not in kept]


def _order(session: Session, ahead: Ahead, look: LastLook, chosen: tuple[str, Sequence[ProposedLine]]) -> Proposed:
    name, every = chosen
    supplier = ahead.past.catalogue.suppliers.get(name, Supplier(name))
    lines = sorted((line for line in every if line.part.supplier == name), key=lambda line: line.part.part)
    goods = sum(line.cost for line in lines)
    topped = None
    if look.top_up and look.budget is None and name:
        left_out = {line.part.part for line in lines} | {find_part(session, text).part for text in look.drop}
        topped = top_up(goods, supplier, _candidates(ahead, supplier, left_out), Prudence(ahead.holding))
        parts, why = ahead.past.catalogue.parts, "brought forward for the carriage"
        lines += [ProposedLine(part := parts[one.part], one.qty, value_of(one.qty, part.unit, part.cost), why)
                  for one in topped.adds]  # fmt: skip
    total = sum(line.cost for line in lines)
    cutoff, expected = when(session, ahead.past.catalogue, supplier, [line.part for line in lines])
    return Proposed(supplier, tuple(lines), cutoff, expected, carriage_of(total, supplier), topped,
                    _warnings(session, supplier, total, cutoff), ledger_orders.on_order(session.ledger))  # fmt: skip


def _candidates(ahead: Ahead, supplier: Supplier, ordered: set[str]) -> list[Candidate]:
    """What else of a supplier would be ordered before long: parts above their min that are used."""
    found = []
    for row in ahead.positions:
        part, use = row.part, ahead.weekly_use.get(row.levels.part, 0.0)
        if part.supplier != supplier.supplier or part.part in ordered or not row.levels.max or use <= 0:
            continue
        room = max(row.levels.max + part.pack_size - row.position, 0) // part.pack_size
        weeks = max(row.position - row.levels.min, 0) / use
        cost = value_of(part.pack_size, part.unit, part.cost)
        if room:
            found.append(Candidate(part.part, part.pack_size, cost, weeks, use, room))
    return found


def when(
    session: Session, catalogue: Catalogue, supplier: Supplier, parts: Sequence[Part]
) -> tuple[datetime | None, date | None]:
    """Until when an order must be in, and when the last of its parts is expected; None where it is not known."""
    days = calendar(session)
    cutoff = (
        next_cutoff(supplier.order_days, supplier.cutoff, now=session.now, calendar=days) if supplier.supplier else None
    )
    if cutoff is None:
        return None, None
    lead = max((catalogue.lead_working_days(part.part) for part in parts), default=supplier.lead_working_days)
    return cutoff, arrival_date(cutoff.date(), lead, days)


def _warnings(session: Session, supplier: Supplier, goods: int, cutoff: datetime | None) -> tuple[str, ...]:
    found = []
    if not supplier.supplier:
        found.append("these parts have no supplier: name one in parts.csv")
    if cutoff is not None and cutoff.date() != session.today:
        found.append(f"today's cut-off has passed or it takes no orders today: it goes with {cutoff:%a %Y-%m-%d %H:%M}")
    if goods < supplier.least_order:
        found.append("the goods are worth less than its least order")
    return tuple(found)


class Ordered(NamedTuple):
    """An order after an act upon it."""

    entry: Entry
    order: OrderState
    document: OrderDoc


@one_act
def draft(session: Session, proposed: Proposed, entry_id: str = "") -> Ordered:
    """Write one order down as drafted, under the next number."""
    asked = (proposed.supplier.supplier, tuple((one.part.part, one.qty, one.part.cost) for one in proposed.lines))
    head = Draft(session.now, DRAFTED, id=entry_id, asked=asked)
    return ordered(session, once(session, head, lambda: plan_draft(session, proposed)))


def plan_draft(session: Session, proposed: Proposed) -> Draft:
    """The entry that drafts an order under the next number; raises `BadValue` when it cannot be ordered so."""
    if not proposed.supplier.supplier:
        raise BadValue("these parts have no supplier: name one in parts.csv, import the folder, and order again")
    _refuse_ordered_since(session, proposed)
    number = ledger_orders.next_number(session.ledger)
    expected = proposed.expected.isoformat() if proposed.expected else ""
    step = OrderStep(number, proposed.supplier.supplier, "drafted", expected)
    lines = [OrderLine(number, one.part.part, one.qty, 0, one.part.cost, expected) for one in proposed.lines]
    return Draft(session.now, DRAFTED, orders=(step, *lines), note=number)


def _refuse_ordered_since(session: Session, proposed: Proposed) -> None:
    """Two people may look at one list: what was ordered after it was worked out is not ordered again."""
    now = ledger_orders.on_order(session.ledger)
    before = now if proposed.on_order is None else proposed.on_order
    for line in proposed.lines:
        if now.get(line.part.part, 0) != before.get(line.part.part, 0):
            raise BadValue(f"{line.part.part} was ordered meanwhile: look at the list again, then order")


def ordered(session: Session, entry: Entry) -> Ordered:
    """The order that an entry is about, as it stands."""
    found = order_named(session, entry.note)
    return Ordered(entry, found, document(session, found))


def order_named(session: Session, number: str) -> OrderState:
    """The order with this number; raises `NotFound`."""
    found = ledger_orders.order_named(session.ledger, number)
    if found is None:
        raise NotFound(f"no order {number!r}: `vanstock order list` shows them")
    return found


@one_act
def sent(session: Session, number: str, entry_id: str = "") -> Ordered:
    """Record that an order went out; raises `BadValue` unless it is drafted."""

    def plan() -> Draft:
        order = order_named(session, number)
        if order.state != "drafted":
            raise BadValue(f"{order.order_no} is {order.shown} already")
        known = document(session, order)
        expected = known.expected.isoformat() if known.expected else ""
        steps: list[Row] = [OrderStep(order.order_no, order.supplier, "sent", expected)]
        steps += [OrderLine(order.order_no, line.part, 0, 0, line.price, expected) for line in order.lines]
        return Draft(session.now, "order sent", orders=tuple(steps), note=order.order_no)

    return ordered(session, once(session, Draft(session.now, "order sent", id=entry_id, asked=(number,)), plan))


@one_act
def cancelled(session: Session, number: str, part_text: str = "", entry_id: str = "") -> Ordered:
    """Cancel what is still to come of an order, or of one of its parts; raises `BadValue` when nothing is."""

    def plan() -> Draft:
        order = order_named(session, number)
        part = find_part(session, part_text).part if part_text else ""
        lines = [line for line in order.lines if line.to_come and part in ("", line.part)]
        if not order.is_open or not lines:
            raise BadValue(f"nothing of {f'{part} on ' if part else ''}{order.order_no} is still to come")
        rows: list[Row] = [OrderLine(order.order_no, one.part, 0, one.to_come, one.price) for one in lines]
        if len(lines) == sum(line.to_come > 0 for line in order.lines):
            state = "received" if any(line.received for line in order.lines) else "cancelled"
            rows.append(OrderStep(order.order_no, order.supplier, state, ""))
        return Draft(session.now, "order cancelled", orders=tuple(rows), note=order.order_no)

    asked = (number, part_text)
    return ordered(session, once(session, Draft(session.now, "order cancelled", id=entry_id, asked=asked), plan))


def order_list(session: Session, *, only_open: bool = True) -> list[OrderState]:
    """Orders that something may still come of, or all, oldest first."""
    return ledger_orders.orders(session.ledger, only_open=only_open)


def late_lines(session: Session, order: OrderState) -> list[LineState]:
    """The lines of an order that was sent whose goods should have come before today."""
    today = session.today.isoformat()
    return [line for line in order.lines if order.state == "sent" and line.to_come > 0 and "" < line.expected < today]


def document(session: Session, order: OrderState) -> OrderDoc:
    """An order as the supplier reads it: what was ordered and not cancelled."""
    from vanstock.ledger.catalogue import read_catalogue

    known = read_catalogue(session.ledger)
    supplier = known.suppliers.get(order.supplier, Supplier(order.supplier))
    lines = tuple(
        OrderDocLine(part, qty, qty // part.pack_size, line.price, value_of(qty, part.unit, line.price))
        for line in order.lines
        if (qty := line.ordered - line.cancelled) > 0 and (part := known.parts[line.part])
    )
    goods = sum(line.cost for line in lines)
    cutoff, expected = when(session, known, supplier, [line.part for line in lines])
    if order.state != "drafted":
        expected = date.fromisoformat(order.expected) if order.expected else None
    return OrderDoc(
        order.order_no, date.fromisoformat(order.drafted[:10]), supplier, setting_text(session, "firm_name"),
        setting_text(session, "currency"), cutoff, expected, lines, goods, carriage_of(goods, supplier),
    )  # fmt: skip
